"""Truth of a piece on the net's frames.

Fine frames: one each HOP samples (23.2 ms), frame t centered on sample HOP t. Slow frames: four
fine ones, speaking of the middle of the four.
"""
from __future__ import annotations

import math

import numpy as np

from music import GUITAR, LEAD, SECONDS
from theory import QUALITIES

HOP, RATE, SLOW = 512, 22050, 4
FRAMES = 1120
NAMES = list(QUALITIES)
NONE = len(NAMES) * 12
LOWEST, PITCHES = 28, 64
IGNORE = -100


def harmony(rows, n):
    """Class and bass of slow frames from (start, end, root, quality, bass interval) rows; root None is silence."""
    center = (np.arange(n) * SLOW + (SLOW - 1) / 2) * HOP / RATE
    cls, bass = np.full(n, NONE, np.int64), np.full(n, 12, np.int64)
    for a, b, root, quality, up in rows:
        if root is None:
            rest = (center >= a) & (center < a + .4)          # strings die away
            cls[rest] = bass[rest] = IGNORE
            continue
        inside = (center >= a) & (center < b)
        cls[inside] = NAMES.index(quality) * 12 + root
        bass[inside] = (root + up) % 12
    return cls, bass


def detail_rows(p):
    rows = sorted((d for d in p.detail), key=lambda d: d[0])
    ends = [d[0] for d in rows[1:]] + [p.chords[-1][1]]
    return [(a[0], max(a[0], end), *a[1:]) for a, end in zip(rows, ends)]


def labels(p):
    """Arrays of a piece: see the module's head for frames; targets of struck notes, beats and strums are soft by a frame."""
    n = FRAMES // SLOW
    chord, bass = harmony(p.chords, n)
    fine, low = harmony(detail_rows(p), n)
    off = chord == NONE
    fine[off], low[off] = NONE, 12
    tones = np.zeros((n, 12), np.uint8)
    for k in range(NONE):
        inside = fine == k
        if inside.any():
            q, root = divmod(k, 12)
            tones[np.ix_(inside, [(root + i) % 12 for i in QUALITIES[NAMES[q]]])] = 1
    sure = (low >= 0) & (low < 12)
    tones[np.nonzero(sure)[0], low[sure]] = 1
    if p.style == "solo":
        for a in (chord, bass, fine, low):
            a[a != NONE] = IGNORE
    beat = np.zeros((2, FRAMES), np.float32)
    for row, times in ((0, p.beats), (1, p.downbeats)):
        for t in times:
            if -.1 < t < SECONDS + .1:
                x = t * RATE / HOP
                for k in range(int(x) - 2, int(x) + 4):
                    if 0 <= k < FRAMES:
                        beat[row, k] = max(beat[row, k], math.exp(-.5 * ((k - x) / 1.0) ** 2))
    first = min((e[0] for e in p.events if e[2] == GUITAR), default=0)
    at = np.arange(FRAMES) * HOP / RATE
    mask = ((at >= max(0, first - .3)) & (at < p.beat_end + .5)).astype(np.float32)
    strum = np.zeros((2, FRAMES), np.float32)
    for t, way in p.strums:
        x = t * RATE / HOP
        for k in range(int(x) - 1, int(x) + 3):
            if 0 <= k < FRAMES:
                v = math.exp(-.5 * ((k - x) / .7) ** 2)
                if v > strum[0, k]:
                    strum[0, k] = v
                    strum[1, k] = 0 if v < .3 else 1 if way == "U" else -1
    voice = np.zeros(FRAMES, np.uint8)
    if getattr(p, "sung", False):
        for a, b in p.lead_voices:
            voice[max(0, int(a * RATE / HOP)):max(0, int(b * RATE / HOP))] = 1
    struck, sounding = np.zeros((FRAMES, PITCHES), np.uint8), np.zeros((FRAMES, PITCHES), np.uint8)
    for t, midi, e in p.notes:
        i = midi - LOWEST
        if not 0 <= i < PITCHES:
            continue
        x = t * RATE / HOP
        k = int(round(x))
        near = k + (1 if x > k else -1)
        for j, v in ((k, 2), (near, 1)):
            if 0 <= j < FRAMES:
                struck[j, i] = max(struck[j, i], v)
        end = min(e[1], t + 2.0)
        sounding[max(0, k):max(0, int(end * RATE / HOP)), i] = 1
    return dict(chord=chord, bass=bass, fine=fine, low=low, tones=tones, beat=beat, mask=mask, strum=strum,
                voice=voice, struck=struck, sounding=sounding)
