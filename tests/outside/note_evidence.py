"""Reads a take's acoustic result from stdin, writes what docs/training/note_evidence.py makes of it.

In: {"frames", "cents", "struck", "sounding" (255ths), "spectra" (half decibels over -115 dB),
"logits" (of the first look, one a candidate)}.  Out: {"candidates": [[pitch, frame, center]],
"evidence": [[...]], "second": [[...]]}.
"""
import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "docs/training"))
import note_evidence  # noqa: E402

given = json.load(sys.stdin)
n = given["frames"]
grid = lambda name: np.array(given[name], np.float64).reshape(n, -1)
struck, sounding = grid("struck") / 255, grid("sounding") / 255
db = grid("spectra") * .5 - 115
p, t, center = note_evidence.candidates(struck)
evidence, _ = note_evidence.evidence(struck, sounding, db[:, :280], db[:, 280:], given["cents"], p, t)
z = np.resize(np.array(given["logits"], np.float64), len(p))
second = note_evidence.second_look(p, t, 1 / (1 + np.exp(-z)), n)
json.dump({
    "candidates": np.stack([p, t, center], 1).tolist(),
    "evidence": evidence.tolist(),
    "second": second.tolist(),
}, sys.stdout)
