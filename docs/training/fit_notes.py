"""Fits the judge of notes (src/hearing/notes/classifier.rs) on packs made by make_packs.py.

    python3 fit_notes.py --net ../../src/hearing/weights/acoustic-front.onnx --data partA.xz partB.xz \
        --test held.xz --out ../../src/hearing/weights/notes.bin

Hears every take with the acoustic net, gathers the candidates and what speaks for them
(note_evidence.py), fits two small nets by cross-entropy (the second also reads what the first,
fitted on the other half of the takes, said of the other candidates), sets the second's
temperature on every sixth take, which neither was fitted on, and writes both as f32.  Prints
precision, recall and F of the notes (onset within 50 ms) and how honest the probabilities are,
on the sixth takes and on each --test pack, without takes of several players.  Give packs that
the acoustic net was not trained on.  Hears on some cores,
fits on one; the same numbers every time on one machine.
"""
from __future__ import annotations

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import argparse
import io
import lzma
import math
import multiprocessing
from pathlib import Path

import numpy as np
import onnxruntime
import torch
import torch.nn as nn
import torch.nn.functional as F

import note_evidence
from features import DB_LOW, DB_STEP, LONG, SHORT
from net import harmonics

HIDDEN, EPOCHS, BATCH, RATE = 32, 12, 512, 2e-3
NEAR, SAME = 1.08, 2.0                          # frames: 50 ms; a peak that far off is that note's still
SIDE = {1: .27, 2: .43}                         # frames that the codes of labels.py stand for
PARTS = 2                                       # processes a pack
SHARES = (.3, .35, .4, .45, .5, .6)


def tuning(long):
    """Cents off equal temperament: the circular mean of the peaks of the long spectrum."""
    top = long.max(1, keepdims=True)
    peak = (long[:, 1:-1] > long[:, :-2]) & (long[:, 1:-1] >= long[:, 2:]) & (long[:, 1:-1] > top - 26)
    peak[:, :50], peak[:, 194:] = False, False            # 65 Hz to 1050 Hz
    t, k = np.nonzero(peak)
    k = k + 1
    a, b, c = long[t, k - 1], long[t, k], long[t, k + 1]
    cents = (k - LONG["margin"] + np.clip(.5 * (a - c) / np.minimum(a - 2 * b + c, -1e-3), -.5, .5)) * 100 / 3
    weight = 10 ** ((b - top[t, 0]) / 40)
    mean = np.angle((weight * np.exp(2j * np.pi * cents / 100)).sum()) / (2 * np.pi) * 100
    off = (cents - mean + 50) % 100 - 50
    near = np.abs(off) < 25
    mean += (weight * off)[near].sum() / max(weight[near].sum(), 1e-9)
    return (mean + 50) % 100 - 50


def shifted(db, kind, cents):
    at = kind["margin"] + np.arange(kind["bins"]) + cents / 100 * kind["per_octave"] / 12
    low = np.floor(at).astype(int)
    part = (at - low).astype(np.float32)
    return db[:, low] * (1 - part) + db[:, low + 1] * part


def heard(net, long, short, cents):
    """Struck and sounding probabilities [T, 64] in 255ths, as takebook keeps them."""
    loud = np.sort(long[:, LONG["margin"]:-LONG["margin"]].max(1))
    p = 10 ** (loud[round((len(loud) - 1) * .97)] / 20)
    compressed = lambda db: (np.log1p(100 * 10 ** (db / 20) / p) / math.log(101)).astype(np.float32)[None]
    both = [torch.from_numpy(compressed(shifted(db, kind, cents))) for db, kind in ((long, LONG), (short, SHORT))]
    out = net.run(["struck", "sounding"], {"stacked": harmonics(*both).numpy()})
    return [np.round(255 / (1 + np.exp(-v[0]))).astype(np.float32) / 255 for v in out]


def truth(codes):
    """Time (frames) and pitch of every note struck."""
    t, p = np.nonzero(codes == 3)
    pad = np.pad(codes, ((1, 1), (0, 0)))
    later, sooner = pad[t + 2, p], pad[t, p]
    side = np.vectorize(lambda c: SIDE.get(int(c), 0.0), otypes=[float])
    return np.where(np.isin(later, (1, 2)), t + side(later), t - side(sooner)), p


def matched(p, center, true_time, true_pitch):
    """1 a note, 0 none, 2 a note but more than 50 ms off; each note has one candidate."""
    y, pairs = np.zeros(len(p), np.int8), []
    for i, (time, pitch) in enumerate(zip(true_time, true_pitch)):
        for j in np.nonzero((p == pitch) & (np.abs(center - time) <= SAME))[0]:
            pairs.append((abs(center[j] - time), int(j), i))
    candidates, notes = set(), set()
    for off, j, i in sorted(pairs):
        if j not in candidates and i not in notes:
            candidates.add(j)
            notes.add(i)
            y[j] = 1 if off <= NEAR else 2
    return y


def takes(paths, net):
    """Every take of the packs: its candidates, their evidence and whether they are notes."""
    jobs = [(path, part, net) for path in paths for part in range(PARTS)]
    with multiprocessing.get_context("spawn").Pool(min(len(jobs), os.cpu_count() or 1)) as pool:
        return sorted((take for some in pool.starmap(heard_takes, jobs, 1) for take in some), key=lambda k: k["place"])


def heard_takes(path, part, net):
    """Every PARTS-th take of a pack."""
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    net, found = onnxruntime.InferenceSession(net, options), []
    pack = np.load(io.BytesIO(lzma.decompress(Path(path).read_bytes())))
    x, struck, at = pack["X"].T, pack["struck"], 0
    for i, (name, texture, sound, n) in enumerate(zip(pack["names"], pack["textures"], pack["sounds"], pack["lens"])):
        if i % PARTS != part:
            at += n
            continue
        db = np.ascontiguousarray(x[at:at + n]).astype(np.float32) * DB_STEP + DB_LOW
        split = LONG["bins"] + 2 * LONG["margin"]
        long, short = db[:, :split], db[:, split:]
        cents = tuning(long)
        hit, ring = heard(net, long, short, cents)
        p, t, center = note_evidence.candidates(hit)
        numbers, _ = note_evidence.evidence(hit, ring, long, short, cents, p, t)
        true_time, true_pitch = truth(struck[at:at + n])
        at += n
        found.append({"place": (str(path), i), "texture": str(texture), "sound": str(sound), "frames": int(n), "p": p, "t": t,
               "x": numbers.astype(np.float16), "y": matched(p, center, true_time, true_pitch), "notes": len(true_time)})
    return found


class Fitted:
    """A net of one hidden layer; its input's mean and spread are folded into its weights."""

    def __init__(self, x, y, weight, seed):
        mean, spread = x.mean(0), x.std(0) + 1e-3
        torch.manual_seed(seed)
        net = nn.Sequential(nn.Linear(x.shape[1], HIDDEN), nn.ReLU(), nn.Linear(HIDDEN, 1))
        xs, ys, ws = (torch.from_numpy(np.asarray(v, np.float32)) for v in ((x - mean) / spread, y, weight))
        opt = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=1e-3)
        n, step = len(x), 0
        steps = EPOCHS * (n // BATCH)
        for _ in range(EPOCHS):
            for part in torch.randperm(n)[: n // BATCH * BATCH].view(-1, BATCH):
                batch = xs[part]
                batch = F.dropout(batch + .05 * torch.randn(batch.shape), .1)
                opt.param_groups[0]["lr"] = RATE * min(1, (step + 1) / 100) * .5 * (1 + math.cos(math.pi * step / steps))
                loss = (F.binary_cross_entropy_with_logits(net(batch)[:, 0], ys[part], reduction="none") * ws[part]).mean()
                opt.zero_grad()
                loss.backward()
                opt.step()
                step += 1
        w, b = net[0].weight.detach().numpy(), net[0].bias.detach().numpy()
        self.w = (w / spread).astype(np.float32)
        self.b = (b - (w * (mean / spread)).sum(1)).astype(np.float32)
        self.out, self.constant = net[2].weight.detach().numpy()[0].copy(), float(net[2].bias.detach())

    def __call__(self, x):
        return np.maximum(x.astype(np.float32) @ self.w.T + self.b, 0) @ self.out + self.constant

    def tempered(self, z, y):
        """Scales the output so that these logits are most likely."""
        z, y = torch.from_numpy(z), torch.from_numpy(y.astype(np.float32))
        ab = torch.tensor([1.0, 0.0], requires_grad=True)
        opt = torch.optim.LBFGS([ab], max_iter=50)

        def closure():
            opt.zero_grad()
            loss = F.binary_cross_entropy_with_logits(ab[0] * z + ab[1], y)
            loss.backward()
            return loss
        opt.step(closure)
        a, b = ab.detach().tolist()
        self.out, self.constant = self.out * a, self.constant * a + b

    def bytes(self):
        rows = np.concatenate([self.w, self.b[:, None]], 1).ravel()
        return np.concatenate([rows, self.out, [self.constant]]).astype("<f4").tobytes()


def sigmoid(z):
    return 1 / (1 + np.exp(-z))


def per_take(all_takes, values):
    return np.split(values, np.cumsum([len(k["p"]) for k in all_takes])[:-1])


def joined(all_takes, logits):
    """The second look's numbers."""
    first = np.concatenate([k["x"] for k in all_takes]).astype(np.float32)
    parts = zip(all_takes, per_take(all_takes, logits))
    return np.concatenate([first, np.concatenate([note_evidence.second_look(k["p"], k["t"], sigmoid(z), k["frames"]) for k, z in parts])], 1)


def together(all_takes):
    x = np.concatenate([k["x"] for k in all_takes]).astype(np.float32)
    y = np.concatenate([k["y"] for k in all_takes])
    return x, y == 1, y != 2


def report(title, all_takes, logits):
    sums = {}
    for take, z in zip(all_takes, per_take(all_takes, logits)):
        for key in (take["texture"], "all"):
            rows = sums.setdefault(key, [np.zeros(3) for _ in SHARES])
            for row, share in zip(rows, SHARES):
                said = sigmoid(z) >= share
                row += [(said & (take["y"] == 1)).sum(), said.sum(), take["notes"]]
    print(f"{title}: precision/recall/F where at least as likely as …")
    print(" " * 12 + "".join(f"{s:<18}" for s in SHARES))
    for key, rows in sorted(sums.items()):
        cells = (f"{a / max(b, 1):.3f}/{a / c:.3f}/{2 * a / (b + c):.3f}" for a, b, c in rows)
        print(f"{key:<12}" + "".join(f"{cell:<18}" for cell in cells) + f"{int(rows[0][2])} notes")
    p, y = sigmoid(logits), np.concatenate([k["y"] for k in all_takes]) == 1
    bins = np.minimum((p * 10).astype(int), 9)
    rows = [(p[bins == b].mean(), y[bins == b].mean(), (bins == b).mean()) for b in range(10) if (bins == b).any()]
    print("said/true: " + " ".join(f"{s:.2f}/{r:.2f}" for s, r, _ in rows), f"calibration error {sum(abs(s - r) * w for s, r, w in rows):.3f}", flush=True)


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--net", required=True)
    ap.add_argument("--data", nargs="+", required=True)
    ap.add_argument("--test", nargs="*", default=[])
    ap.add_argument("--out", type=Path, required=True)
    ap.add_argument("--seed", type=int, default=0)
    a = ap.parse_args()
    torch.set_num_threads(1)
    data = takes(a.data, a.net)
    apart, fitted = data[::6], [k for i, k in enumerate(data) if i % 6]
    print(f"{len(fitted)} takes, {sum(len(k['p']) for k in fitted)} candidates, {sum(k['notes'] for k in fitted)} notes; "
          f"{sum((k['y'] == 1).sum() for k in fitted)} notes have a candidate", flush=True)
    x, y, counts = together(fitted)
    half = np.repeat(np.arange(len(fitted)) % 2, [len(k["p"]) for k in fitted]) == 0
    unseen = np.empty(len(x), np.float32)
    unseen[half] = Fitted(x[~half], y[~half], counts[~half], a.seed)(x[half])
    unseen[~half] = Fitted(x[half], y[half], counts[half], a.seed)(x[~half])
    first = Fitted(x, y, counts, a.seed)
    second = Fitted(joined(fitted, unseen), y, counts, a.seed)
    alone = lambda group: [k for k in group if "+band" not in k["sound"]]
    x, y, counts = together(apart)
    second.tempered(second(joined(apart, first(x)))[counts], y[counts])
    a.out.write_bytes(first.bytes() + second.bytes())
    report("every sixth take", alone(apart), second(joined(alone(apart), first(together(alone(apart))[0]))))
    for path in a.test:
        test = alone(takes([path], a.net))
        report(Path(path).stem, test, second(joined(test, first(together(test)[0]))))


if __name__ == "__main__":
    main()
