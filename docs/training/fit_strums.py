"""Fits the judges of strums (src/hearing/voicing/strums.rs) on rows of `cargo run --release --example strum_rows`.

    python3 fit_strums.py --data rows1.txt rows2.txt --test rows3.txt --out ../../src/hearing/weights/strums.bin

One judges the strings of a shape, one what is heard beside them.  For each, three nets of one
hidden layer, fitted by cross-entropy with different seeds, are written as one (their mean, hidden
units side by side), as little-endian f32.  Prints precision, recall and F of what the nets say,
beside what was heard before.  The same numbers every time on one machine; two minutes.
"""
import argparse
from pathlib import Path

import numpy as np
import torch
import torch.nn as nn
import torch.nn.functional as F

SEEDS, EPOCHS, BATCH, RATE = 3, 40, 128, 3e-3
HIDDEN = {"string": 32, "stray": 12}
LEAST = .45


def rows(path, kind):
    """Numbers (rows, numbers) and whether each was struck (rows)."""
    lines = (line.split()[1:] for line in open(path) if line.startswith(kind + " "))
    table = np.array(list(lines), dtype=np.float32)
    return table[:, 1:], table[:, 0]


def fitted(x, y, seed, hidden):
    """Weights of the hidden units (constant last), of the output, and its constant."""
    mean, spread = x.mean(0), x.std(0) + 1e-3
    torch.manual_seed(seed)
    net = nn.Sequential(nn.Linear(x.shape[1], hidden), nn.ReLU(), nn.Linear(hidden, 1))
    xs, ys = torch.from_numpy((x - mean) / spread), torch.from_numpy(y)
    opt = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=1e-2)
    steps = EPOCHS * (len(x) // BATCH)
    plan = torch.optim.lr_scheduler.CosineAnnealingLR(opt, steps)
    for _ in range(EPOCHS):
        for part in torch.randperm(len(x))[: len(x) // BATCH * BATCH].view(-1, BATCH):
            batch = xs[part]
            loss = F.binary_cross_entropy_with_logits(net(batch + .05 * torch.randn(batch.shape))[:, 0], ys[part])
            opt.zero_grad()
            loss.backward()
            opt.step()
            plan.step()
    w, b = net[0].weight.detach().numpy(), net[0].bias.detach().numpy()
    units = np.concatenate([w / spread, (b - (w * (mean / spread)).sum(1))[:, None]], 1)
    return units, net[2].weight.detach().numpy()[0], net[2].bias.detach().numpy()


def said(nets, x):
    return sum(np.maximum(x @ units[:, :-1].T + units[:, -1], 0) @ out + constant for units, out, constant in nets) / SEEDS


def report(path, kind, nets):
    x, y = rows(path, kind)
    heard = 1 / (1 + np.exp(-x[:, 0]))
    if kind == "string":
        heard = heard * (x[:, 1] == 0)
    for name, yes in (("heard", heard >= LEAST), ("judged", said(nets, x) >= np.log(LEAST / (1 - LEAST)))):
        hits = (yes & (y == 1)).sum()
        print(f"{Path(path).name:<24} {kind:<7} {name:<7} P {hits / max(1, yes.sum()):.3f} R {hits / y.sum():.3f}"
              f" F {2 * hits / (yes.sum() + y.sum()):.3f} of {len(y)}")


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--data", nargs="+", required=True)
    ap.add_argument("--strays", nargs="*", default=[], help="more rows for the judge of what is beside the strings")
    ap.add_argument("--test", nargs="*", default=[])
    ap.add_argument("--out", type=Path, required=True)
    args = ap.parse_args()
    torch.set_num_threads(1)
    weights = []
    for kind, hidden in HIDDEN.items():
        data = args.data + (args.strays if kind == "stray" else [])
        x, y = (np.concatenate(parts) for parts in zip(*(rows(path, kind) for path in data)))
        nets = [fitted(x, y, seed, hidden) for seed in range(SEEDS)]
        units = np.concatenate([n[0] for n in nets])
        out = np.concatenate([n[1] for n in nets]) / SEEDS
        constant = sum(n[2] for n in nets) / SEEDS
        weights += [units.ravel(), out, constant]
        for path in sorted(set(data)) + args.test:
            report(path, kind, nets)
    args.out.write_bytes(np.concatenate(weights).astype("<f4").tobytes())


if __name__ == "__main__":
    main()
