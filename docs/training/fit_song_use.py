"""How far the program trusts the song net: weights of its say in notes and in the count.

    cargo run --release --example hearing_rows -- TAKES > ROWS.jsonl       # TAKES: suite.py fit
    python3 fit_song_use.py ROWS.jsonl TAKES WEIGHTS     # a folder with both files

Notes: a logistic regression of "a note begins within 50 ms" on the log odds of the song net, beside
those of the note classifier, whose weight is held. Counts: a conditional logit (McFadden 1974) that maximizes the expected F of
beats and, with weight .6, of downbeats. The rank's weight is not fitted but kept at RANK: on takes
that are played cleanly, of which the suite has few, the rank is nearly always right. Both are
judged on takes left out, in four parts. Writes notes.json and count-choice.json.
"""
from __future__ import annotations

import argparse
import json
from pathlib import Path

import mir_eval
import numpy as np
import torch

RANK, DOWNBEATS, NEAR = .2, .6, .05
# it was fitted on recorded guitars that the suite lacks
CLASSIFIER = 1.0


def log_odds(p):
    p = np.clip(p, .0025, .9975)
    return np.log(p / (1 - p))


def note_rows(row, truth):
    """(classifier, song, whether a note begins) of each sample."""
    begins = {}
    for n in truth["notes"]:
        begins.setdefault(round(n[2]), []).append(n[0])
    of_song = lambda s, overtone: min(s, .5) if overtone else s
    return [(c, of_song(s, o), any(abs(t - b) < NEAR for b in begins.get(m, []))) for t, m, c, s, o in row["notes"]]


def fit_notes(takes):
    rows = np.array([r for row, truth in takes for r in note_rows(row, truth)], float)
    held, b = CLASSIFIER * log_odds(rows[:, 0]), log_odds(rows[:, 1])
    # weights of the song net and of 1, the classifier's held: Newton's method with an offset
    x, y, w = np.stack([b, np.ones_like(b)], 1), rows[:, 2], np.zeros(2)
    for _ in range(60):
        p = 1 / (1 + np.exp(-(x @ w + held)))
        w += np.linalg.solve((x * (p * (1 - p))[:, None]).T @ x + .1 * np.eye(2), x.T @ (y - p))
    return {"classifier": CLASSIFIER, "song": w[0], "bias": w[1]}


def count_table(row, truth):
    beats, downs = np.array(truth["beats_s"]), np.array(truth["downbeats_s"])
    f = lambda true, got: mir_eval.beat.f_measure(true, got) if len(got) else 0.0
    x, q = [], []
    for count in row["counts"]:
        t = np.array([b[0] for b in count["beats"]])
        places = np.array([b[1] for b in count["beats"]])
        x.append(count["numbers"]), q.append((f(beats, t), f(downs, t[places == 1])))
    return np.array(x, np.float32), np.array(q, np.float32)


def fit_counts(tables, names, steps=350):
    at = names.index("rank")
    w = torch.zeros(len(names), requires_grad=True)
    opt = torch.optim.Adam([w], .03)
    scale = torch.tensor([3.0 if n == "downbeat" else 1.0 for n in names])
    data = [(torch.from_numpy(x) * scale, torch.from_numpy(q[:, 0] + DOWNBEATS * q[:, 1])) for x, q in tables]
    hold = torch.tensor([RANK if k == at else 0.0 for k in range(len(names))])
    free = torch.tensor([0.0 if k == at else 1.0 for k in range(len(names))])
    for _ in range(steps):
        v = w * free + hold
        loss = -sum((torch.softmax(1.5 * (x @ v), 0) * q).sum() for x, q in data) / len(data) + .02 * (v ** 2).mean()
        opt.zero_grad(), loss.backward(), opt.step()
    return ((w * free + hold) * scale).detach().numpy()


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
    names = rows[0]["names"]
    tables = [count_table(r, t) for r, t in takes if r["counts"]]
    held = []
    for part in range(4):
        w = fit_counts([t for k, t in enumerate(tables) if k % 4 != part], names)
        held += [q[int((x @ w).argmax())] for x, q in tables[part::4]]
    w = fit_counts(tables, names)
    best = np.mean([q[int(q.sum(1).argmax())] for _, q in tables], 0)
    print(f"counts of {len(tables)} of {len(takes)} takes: beat and downbeat F held out {np.mean(held, 0)}, of the best there are {best}")
    print(dict(zip(names, np.round(w, 3).tolist())))
    for file, part, values in (("notes.json", "joint", joint), ("count-choice.json", "weights", dict(zip(names, w)))):
        whole = json.loads((a.weights / file).read_text())
        whole[part].update({k: round(float(v), 3) for k, v in values.items()})
        (a.weights / file).write_text(json.dumps(whole, indent=2) + "\n")


if __name__ == "__main__":
    main()
