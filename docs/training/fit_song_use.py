"""How far the program trusts the song net in notes: the weights of its say.

    cargo run --release --example hearing_rows -- TAKES > ROWS.jsonl       # TAKES: suite.py fit
    python3 fit_song_use.py ROWS.jsonl TAKES WEIGHTS     # a folder with notes.json

A logistic regression of "a note begins within 50 ms" on the log odds of the note classifier and of
the song net. The classifier's weight is not fitted but kept: it learned from recorded guitars, which
the suite lacks. Writes notes.json.
"""
from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

NEAR = .05
# the classifier's say is at least so much: it was fitted on recorded guitars that the suite lacks
LEAST_CLASSIFIER = .8


def log_odds(p):
    p = np.clip(p, .0025, .9975)
    return np.log(p / (1 - p))


def logistic(x, y, ridge=.1):
    w = np.zeros(x.shape[1])
    for _ in range(60):
        p = 1 / (1 + np.exp(-x @ w))
        w += np.linalg.solve((x * (p * (1 - p))[:, None]).T @ x + ridge * np.eye(len(w)), x.T @ (y - p) - ridge * w)
    return w


def note_rows(row, truth):
    """(classifier or nan, song, whether a note begins) of each sample."""
    begins = {}
    for n in truth["notes"]:
        begins.setdefault(round(n[2]), []).append(n[0])
    return [(np.nan if c is None else c, s, any(abs(t - b) < NEAR for b in begins.get(m, []))) for t, m, c, s in row["notes"]]


def fit_notes(takes):
    rows = np.array([r for row, truth in takes for r in note_rows(row, truth)], float)
    known = ~np.isnan(rows[:, 0])
    a, b = log_odds(rows[known, 0]), log_odds(rows[known, 1])
    both = 0.0
    held = LEAST_CLASSIFIER * a + both * a * b
    # weights of the song net and of 1, the classifier's held: Newton's method with an offset
    x, y, w = np.stack([b, np.ones_like(b)], 1), rows[known, 2], np.zeros(2)
    for _ in range(60):
        p = 1 / (1 + np.exp(-(x @ w + held)))
        w += np.linalg.solve((x * (p * (1 - p))[:, None]).T @ x + .1 * np.eye(2), x.T @ (y - p))
    alone = logistic(np.stack([log_odds(rows[~known, 1]), np.ones((~known).sum())], 1), rows[~known, 2])
    return {"classifier": LEAST_CLASSIFIER, "song": w[0], "both": both, "bias": w[1], "alone": alone[0], "alone_bias": alone[1]}


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("rows", type=Path)
    p.add_argument("takes", type=Path)
    p.add_argument("weights", type=Path)
    a = p.parse_args()
    rows = [json.loads(line) for line in a.rows.read_text().splitlines()]
    takes = [(r, json.loads((a.takes / f"{r['take']}.truth.json").read_text())) for r in rows]
    joint = fit_notes(takes)
    print("notes", {k: round(float(v), 3) for k, v in joint.items()})
    whole = json.loads((a.weights / "notes.json").read_text())
    whole["joint"].update({k: round(float(v), 3) for k, v in joint.items()})
    (a.weights / "notes.json").write_text(json.dumps(whole, indent=2) + "\n")


if __name__ == "__main__":
    main()
