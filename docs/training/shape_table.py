"""Playable shapes of every chord, kept in a file: the search of shapes.py takes two minutes.

    python3 shape_table.py SHAPES.pkl
"""
from __future__ import annotations

import pickle
import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from shapes import shapes
from theory import QUALITIES

KEPT = ("standard", "drop-d")


def of_quality(job):
    tuning, quality = job
    out = {}
    tones = QUALITIES[quality]
    basses = {0, *tones} | ({2, 5, 10, 11} if quality in ("maj", "min") else set())
    for root in range(12):
        for bass in basses:
            found, scores = shapes(root, quality, bass, tuning)
            if found:
                order = list(np.argsort(-scores))
                small = [i for i in order if sum(f is not None for f in found[i]) <= 4]
                keep = dict.fromkeys([*order[:24], *small[:16]])
                out[tuning, root, quality, bass] = [(found[i], float(scores[i])) for i in keep]
    return out


def make(path: str):
    """Writes {(tuning, root, quality, bass): [(frets, weight), ...]}, easiest first."""
    table = {}
    with ProcessPoolExecutor() as pool:
        for part in pool.map(of_quality, [(t, q) for t in KEPT for q in QUALITIES]):
            table |= part
    with open(path, "wb") as f:
        pickle.dump(table, f)


if __name__ == "__main__":
    make(sys.argv[1])
