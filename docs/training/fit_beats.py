"""Fits the log odds of beats, divisions and downbeats on rows of `beat_rows`.

    python3 fit_beats.py --data rows.txt --out beats.json

Logistic regression with a little ridge; moments that are none count as often as they come (one in
seven is in the rows: their weight is seven).  Writes each model's thirteen numbers, the constant
last, beside the ranks that the program's file has, and prints how well it parts every fifth block
of rows, which it was not fitted on.
"""
import argparse
import json
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

BUILT_IN = Path(__file__).resolve().parent.parent.parent / "src/hearing/weights/beats.json"
KINDS, THINNED, RIDGE, BLOCK = ("beat", "division", "downbeat"), 7, 1e-3, 500


def rows(paths, kind):
    lines = [line.split()[1:] for p in paths for line in open(p) if line.startswith(kind + " ")]
    if not lines:
        raise SystemExit(f"no row of a {kind} in {', '.join(map(str, paths))}")
    table = np.array(lines, dtype=float)
    return table[:, 1:], table[:, 0]


def fitted(x, y, weight):
    def loss(w):
        z = x @ w
        return (weight * (np.logaddexp(0, z) - y * z)).sum() / weight.sum() + RIDGE * (w[:-1] ** 2).sum(), \
            x.T @ (weight * (1 / (1 + np.exp(-z)) - y)) / weight.sum() + 2 * RIDGE * np.append(w[:-1], 0)
    return minimize(loss, np.zeros(x.shape[1]), jac=True, method="L-BFGS-B").x


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--data", nargs="+", required=True)
    ap.add_argument("--out", type=Path, required=True)
    a = ap.parse_args()
    models, metrics = {}, {}
    for kind in KINDS:
        x, y = rows(a.data, kind)
        weight = np.where(y == 0, 1.0 if kind == "downbeat" else THINNED, 1.0)
        apart = np.arange(len(y)) // BLOCK % 5 == 4
        if apart.any() and (~apart).any():
            w = fitted(x[~apart], y[~apart], weight[~apart])
            z, t = x[apart] @ w, y[apart]
            order = np.argsort(np.argsort(z)) + 1
            n, m = t.sum(), (1 - t).sum()
            metrics[kind] = round(float((order[t == 1].sum() - n * (n + 1) / 2) / (n * m)), 4) if n and m else None
        models[kind] = [round(float(v), 4) for v in fitted(x, y, weight)]
        print(f"{kind}: {len(y)} rows, area under the curve on rows apart {metrics.get(kind)}")
    a.out.write_text(json.dumps(json.loads(BUILT_IN.read_text()) | models, indent=2) + "\n")


if __name__ == "__main__":
    main()
