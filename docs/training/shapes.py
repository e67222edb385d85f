"""Playable guitar fingerings for a chord, found by search.

A shape is a tuple of six frets, low string to high, None = not played.
"""
from __future__ import annotations

import functools

import numpy as np

from theory import QUALITIES

STANDARD = (40, 45, 50, 55, 59, 64)
TUNINGS = {"standard": STANDARD, "drop-d": (38, 45, 50, 55, 59, 64),
           "dadgad": (38, 45, 50, 55, 57, 62)}
OPTIONAL_FIFTH = {q for q, tones in QUALITIES.items() if len(tones) >= 4 and 7 in tones}


@functools.lru_cache(None)
def shapes(root: int, quality: str, bass: int, tuning: str = "standard"):
    """All shapes within four frets whose lowest note is the bass, and a weight for each.

    root and bass are relative to the open strings' names (a capo moves both).
    """
    opens = np.array(TUNINGS[tuning])
    tones = {(root + i) % 12 for i in QUALITIES[quality]}
    low = (root + bass) % 12
    must = {(root + i) % 12 for i in QUALITIES[quality] if not (i == 7 and quality in OPTIONAL_FIFTH)}
    must.add(low)
    allowed = tones | {low}
    found = {}
    for place in range(1, 12):
        choices = []
        for o in opens:
            frets = [0] if place <= 4 else []
            frets += [f for f in range(place, place + 4)]
            choices.append(np.array([-1] + [f for f in frets if (o + f) % 12 in allowed]))
        grid = np.stack(np.meshgrid(*choices, indexing="ij"), -1).reshape(-1, 6)
        for frets in grid[_good(grid, opens, low, must, quality)]:
            found[tuple(int(f) for f in frets)] = None
    out, weights = [], []
    for frets in found:
        out.append(tuple(None if f < 0 else f for f in frets))
        weights.append(_weight(np.array(frets), opens, root))
    return out, np.array(weights)


def _good(grid, opens, low, must, quality):
    played = grid >= 0
    count = played.sum(1)
    good = (count >= (2 if quality == "5" else 3)) & (count <= (4 if quality == "5" else 6))
    pitch = np.where(played, grid + opens, 999)
    good &= pitch.min(1) % 12 == low
    first = played.argmax(1)
    good &= pitch[np.arange(len(grid)), first] == pitch.min(1)
    last = 5 - played[:, ::-1].argmax(1)
    good &= (last - first + 1 - count) <= 1                    # one muted string inside
    for pc in must:
        good &= ((pitch % 12 == pc) & played).any(1)
    pressed = grid > 0
    lowest = np.where(pressed, grid, 99).min(1)
    at_lowest = (grid == lowest[:, None]).sum(1)
    barred = np.where(at_lowest > 1, at_lowest - 1, 0)
    open_above = (grid == 0).any(1) & (at_lowest > 1)          # no open string under a barre
    fingers = pressed.sum(1) - np.where(open_above, 0, barred)
    return good & (fingers <= 4)


def _weight(frets, opens, root):
    """Ease and habit: full, low, with open strings, root below."""
    played = frets >= 0
    pressed = frets[frets > 0]
    place = pressed.min() if len(pressed) else 1
    score = 0.55 * played.sum() - 0.22 * place + 0.25 * (frets == 0).sum()
    first, last = played.argmax(), 5 - played[::-1].argmax()
    score -= 0.9 * (last - first + 1 - played.sum())
    if len(pressed):
        score -= 0.3 * (pressed.max() - place)
    score += 0.4 * ((opens + frets)[first] % 12 == root)
    return score


def choose(rng, root, quality, bass, tuning, adventurous: float, strings=None):
    """One shape; adventurous 0 = the usual one, 1 = any position on the neck."""
    found, scores = shapes(root, quality, bass, tuning)
    if not found:
        return None
    heat = 0.25 + 1.6 * adventurous
    w = np.exp((scores - scores.max()) / heat)
    if strings:
        counts = np.array([sum(f is not None for f in s) for s in found])
        if (counts == strings).any():
            w = w * (counts == strings)
    return found[rng.choice(len(found), p=w / w.sum())]
