"""Truth per frame, from a take's chords and notes."""
from __future__ import annotations

import numpy as np

import theory
from features import HOP, RATE

LOWEST, PITCHES = 28, 64                      # MIDI 28..91


def frame_labels(chords, notes, frames, ahead=0):
    """chords: (start, end, parsed label or None, lowest pitch class or None); notes: (on, off, midi).

    Gives class [T] (276 none, 65535 ignored), bass [T] (12 none), pitch classes [T, 12],
    sounding [T, 64], struck [T, 64] and where in its frame a note was struck, as bits of
    the neighbour that is nearer (struck_next, struck_before are left to training).  Frame t
    speaks of sample 1024 t + ahead.
    """
    t = (np.arange(frames) * HOP + ahead) / RATE
    cls = np.full(frames, theory.NONE, np.uint16)
    bass = np.full(frames, 12, np.uint8)
    pcs = np.zeros((frames, 12), bool)
    for start, end, parsed, low in chords:
        inside = (t >= start) & (t < end)
        if parsed == "N":
            continue
        if parsed is None:
            cls[inside] = theory.IGNORE
            bass[inside] = 12 if low is None else low
            continue
        root, quality, up = parsed
        cls[inside] = theory.NAMES.index(quality) * 12 + root
        bass[inside] = (root + up) % 12 if low is None else low
        tones = {(root + i) % 12 for i in theory.QUALITIES[quality]} | {(root + up) % 12}
        pcs[np.ix_(inside, sorted(tones))] = True
    sounding = np.zeros((frames, PITCHES), bool)
    struck = np.zeros((frames, PITCHES), np.int8)
    for on, off, midi in notes:
        p = midi - LOWEST
        if not 0 <= p < PITCHES:
            continue
        exact = (on * RATE - ahead) / HOP
        i, j = int(round(exact)), int(round((off * RATE - ahead) / HOP))
        sounding[max(i, 0):max(i + 1, j, 0), p] = True
        if 0 <= i < frames:
            struck[i, p] = 3
            rest = exact - i                  # the neighbour on the other side of the border
            if abs(rest) > 0.2:
                n = i + (1 if rest > 0 else -1)
                if 0 <= n < frames and struck[n, p] == 0:
                    struck[n, p] = 2 if abs(rest) > 0.35 else 1
    return cls, bass, np.packbits(pcs, 1), np.packbits(sounding, 1), struck
