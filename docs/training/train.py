"""Trains the acoustic net on packs made by make_packs.py.

    python3 train.py --data part1.xz part2.xz --eval dev.xz held.xz --out DIR --seconds 480 --name A
    python3 train.py --teachers A.pt B.pt --data part1.xz part2.xz --eval held.xz --out DIR --seconds 1200 --name C

Runs unattended: reads the packs, trains for --seconds of wall-clock time, then evaluates the
averaged weights and writes NAME.pt (half precision), NAME.onnx, NAME.json (figures) and
NAME_<eval>.npz (outputs).  NAME.pt is also written every 100 s.
"""
from __future__ import annotations

import argparse
import copy
import io
import json
import lzma
import math
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F

import augment
import teach
from net import REACH, STACKED, WIDTH, Lean, LiveNet, Net, cost

NONE, IGNORE = 276, 65535
FRAMES = 256
DB_STEP, DB_LOW, LONG_WIDTH = 1.5, -80.0, 280


class Pack:
    def __init__(self, paths, device):
        packs = [np.load(io.BytesIO(lzma.decompress(Path(p).read_bytes()))) for p in paths]
        get = lambda k: torch.from_numpy(np.concatenate([p[k] for p in packs]))
        self.x = torch.from_numpy(np.concatenate([np.ascontiguousarray(p["X"].T) for p in packs])).to(device)
        self.cls = torch.from_numpy(np.concatenate([p["cls"] for p in packs]).astype(np.int64)).to(device)
        self.bass = get("bass").long().to(device)
        bits = lambda k, n: torch.from_numpy(np.unpackbits(np.concatenate([p[k] for p in packs]), axis=1)[:, :n]).to(device)
        self.pcs, self.sounding = bits("pcs", 12), bits("sounding", 64)
        self.struck = get("struck").to(device)
        self.lens = np.concatenate([p["lens"] for p in packs])
        self.fragment = np.concatenate([p["fragment"] for p in packs])
        self.names = np.concatenate([p["names"] for p in packs])
        self.textures = np.concatenate([p["textures"] for p in packs])
        self.starts = np.concatenate([[0], np.cumsum(self.lens)[:-1]])

    @property
    def minutes(self):
        return float(self.lens.sum()) * 1024 / 22050 / 60


def decibels(x):
    d = x.float() * DB_STEP + DB_LOW
    return d[..., :LONG_WIDTH], d[..., LONG_WIDTH:]


SOFT = (0.0, 0.3, 0.5, 1.0)                     # struck codes of labels.py as targets


class Batches:
    """Random stretches of takes, transposed, with their truth.

    For the live net the truth is that of `late` frames before, and is given from frame REACH on.
    """

    def __init__(self, pack, size, device, seed, live=False, late=0, taught=None, fragments=.5, narrow=.15):
        self.pack, self.size, self.device, self.late, self.taught = pack, size, device, late, taught
        self.skip = REACH if live else 0
        self.fragments = fragments
        self.rng = np.random.default_rng(seed)
        self.share = pack.lens / pack.lens.sum()
        self.timbre = augment.Timbre(device, narrow)
        self.soft = torch.tensor(SOFT, device=device)

    def __call__(self):
        p, b, dev = self.pack, self.size, self.device
        which = self.rng.choice(len(p.lens), b, p=self.share)
        start = [p.starts[i] + self.rng.integers(0, max(1, p.lens[i] - FRAMES + 1)) for i in which]
        start = np.minimum(start, max(0, len(p.x) - FRAMES))
        at = torch.as_tensor(np.array(start), device=dev)[:, None] + torch.arange(FRAMES, device=dev)
        at = at.clamp(max=len(p.x) - 1)
        semis = torch.randint(-4, 5, (b,), device=dev)
        cents = (torch.randn(b, device=dev) * 9).clamp(-35, 35)
        wide = torch.rand(b, device=dev) < .2
        cents = torch.where(wide, torch.rand(b, device=dev) * 70 - 35, cents)
        long, short = augment.transposed(*decibels(p.x[at]), semis.float(), cents)
        long, short = self.timbre(long, short)
        xl, xs = augment.compressed(long, short)
        gain = 1 + .12 * torch.randn(b, 1, 1, device=dev)
        xl, xs = augment.masked(xl * gain, xs * gain)

        if self.skip:                            # a stream that has just begun: silence before it
            fresh = torch.randint(0, FRAMES // 2, (b, 1), device=dev) * (torch.rand(b, 1, device=dev) < .15)
            silent = torch.arange(FRAMES, device=dev)[None] < fresh
            xl, xs = xl.masked_fill(silent[..., None], 0.), xs.masked_fill(silent[..., None], 0.)
        s = semis[:, None]
        at = (at - self.late).clamp(min=0)
        if self.skip:
            at = at[:, self.skip:]
        n = at.shape[1]
        cls, bass = p.cls[at], p.bass[at]
        cls = torch.where(cls < NONE, cls // 12 * 12 + (cls % 12 + s) % 12, cls)
        bass = torch.where(bass < 12, (bass + s) % 12, bass)
        turn = (torch.arange(12, device=dev)[None] - s) % 12
        pcs = torch.gather(p.pcs[at], 2, turn[:, None].expand(-1, n, -1)).float()
        k = torch.arange(64, device=dev)[None] - s
        inside = ((k >= 0) & (k < 64))[:, None]
        k = k.clamp(0, 63)[:, None].expand(-1, n, -1)
        struck = self.soft[torch.gather(p.struck[at], 2, k).long()] * inside
        sounding = torch.gather(p.sounding[at], 2, k).float() * inside
        weight = torch.where(torch.as_tensor(p.fragment[which], device=dev), self.fragments, 1.)[:, None].expand(-1, n)
        said = self.taught(at, semis) if self.taught else None
        return xl, xs, said, (cls, bass, pcs, struck, sounding, weight)


def by_root(chord):
    """Chord logits to root logits (12 and none)."""
    b, t = chord.shape[:2]
    return torch.cat([torch.logsumexp(chord[..., :NONE].reshape(b, t, -1, 12), 2), chord[..., NONE:]], 2)


def losses(out, cls, bass, pcs, struck, sounding, weight):
    chord, low, tones, hit, ring = (o.float() for o in out)
    known = (cls != IGNORE).float() * weight
    target = torch.where(cls == IGNORE, NONE, cls)
    mean = lambda v: (v * known).sum() / known.sum().clamp(min=1)
    l_chord = mean(F.cross_entropy(chord.flatten(0, 1), target.flatten(), label_smoothing=.02, reduction="none").view_as(known))
    root = torch.where(target < NONE, target % 12, 12)
    l_root = mean(F.cross_entropy(by_root(chord).flatten(0, 1), root.flatten(), reduction="none").view_as(known))
    l_bass = F.cross_entropy(low.flatten(0, 1), bass.flatten())
    l_tones = mean(F.binary_cross_entropy_with_logits(tones, pcs, reduction="none").mean(2))
    l_hit = F.binary_cross_entropy_with_logits(hit, struck, pos_weight=torch.tensor(3., device=hit.device))
    l_ring = F.binary_cross_entropy_with_logits(ring, sounding)
    total = l_chord + .5 * l_root + .7 * l_bass + .5 * l_tones + 4 * l_hit + 1.5 * l_ring
    return total, {"chord": l_chord, "root": l_root, "bass": l_bass, "tones": l_tones, "struck": l_hit, "sounding": l_ring}


class Average:
    """Exponential average of the weights; short memory at first."""

    def __init__(self, net, keep=.9985):
        self.net, self.keep, self.n = copy.deepcopy(net).eval(), keep, 0

    @torch.no_grad()
    def add(self, net):
        self.n += 1
        keep = min(self.keep, (1 + self.n) / (10 + self.n))
        mine, theirs = list(self.net.state_dict().values()), list(net.state_dict().values())
        floats = [(a, b) for a, b in zip(mine, theirs) if a.is_floating_point()]
        torch._foreach_lerp_([a for a, _ in floats], [b for _, b in floats], 1 - keep)
        for a, b in zip(mine, theirs):
            if not a.is_floating_point():
                a.copy_(b)


def half(net):
    state = {k: v.half() if v.is_floating_point() else v for k, v in net.state_dict().items()}
    return {"state": state, "sizes": net.sizes}


@torch.no_grad()
def evaluate(net, pack, device, save_to=None, late=0):
    """Figures over a pack.  For the live net `late` tells how many frames later it speaks."""
    net.eval()
    live = isinstance(net, LiveNet)
    figures, per, saved = {}, {}, []
    count = {k: 0 for k in ("frames", "chord", "root", "bass", "all")}
    grid = {s: np.zeros(3) for s in (.2, .3, .4, .5, .6, .7)}
    ring = np.zeros(3)
    for i, (at, n) in enumerate(zip(pack.starts, pack.lens)):
        cut = slice(int(at), int(at + n))
        dl, ds = decibels(pack.x[cut][None])
        xl, xs = augment.compressed(10 ** (dl[..., 14:266] / 20), 10 ** (ds[..., 5:89] / 20))
        if live:                                  # silence before the take
            xl, xs = F.pad(xl, (0, 0, REACH, 0)), F.pad(xs, (0, 0, REACH, 0))
        chord, low, tones, hit, sound = (o.float()[0] for o in net(xl, xs))
        if late:
            chord, low, tones, hit, sound = (o.roll(-late, 0) for o in (chord, low, tones, hit, sound))
        cls, bass = pack.cls[cut], pack.bass[cut]
        known = cls != IGNORE
        root_true = torch.where(cls < NONE, cls % 12, 12)
        root = by_root(chord[None])[0].argmax(1)
        right = {"chord": chord.argmax(1) == cls, "root": root == root_true, "bass": low.argmax(1) == bass}
        for key, value in right.items():
            count[key] += int((value & known).sum())
        count["frames"] += int(known.sum())
        t = str(pack.textures[i])
        a, b, c = per.get(t, (0, 0, 0))
        per[t] = a + int(known.sum()), b + int((right["chord"] & known).sum()), c + int((right["bass"] & known).sum())
        truth = pack.struck[cut] == 3
        wide = F.max_pool1d(truth.float().T[None], 3, 1, 1)[0].T > 0
        p = torch.sigmoid(hit)
        for s, sums in grid.items():
            # a peak in time over the threshold, within a frame of a struck note
            peak = (p > s) & (p >= F.max_pool1d(p.T[None], 3, 1, 1)[0].T)
            near = F.max_pool1d(peak.float().T[None], 3, 1, 1)[0].T > 0
            sums += [int((peak & wide).sum()), int(peak.sum()), int((truth & ~near).sum())]
        said = torch.sigmoid(sound) > .5
        true = pack.sounding[cut] > 0
        ring += [int((said & true).sum()), int(said.sum()), int(true.sum())]
        if save_to:
            q = lambda v: (-v.clamp(-21, 0) * 12).round().byte().cpu().numpy()
            bits = lambda v: (torch.sigmoid(v) * 127).round().byte().cpu().numpy()
            saved.append([q(F.log_softmax(chord, 1)), q(F.log_softmax(low, 1)), bits(tones), bits(hit), bits(sound)])
    for key in ("chord", "root", "bass"):
        figures[key] = round(count[key] / max(1, count["frames"]), 4)
    best = 0.0
    for s, (good, all_, missed) in grid.items():
        total = max(1, int((pack.struck == 3).sum()))
        precision, recall = good / max(1, all_), 1 - missed / total
        f = 2 * precision * recall / max(1e-9, precision + recall)
        if f > best:
            best = f
            figures["struck"] = {"F": round(f, 4), "P": round(precision, 4), "R": round(recall, 4), "threshold": s}
    figures["sounding_F"] = round(2 * ring[0] / max(1, ring[1] + ring[2]), 4)
    figures["texture"] = {k: {"chord": round(b / max(1, a), 4), "bass": round(c / max(1, a), 4)} for k, (a, b, c) in sorted(per.items())}
    if save_to:
        keys = ("chord_logp", "bass_logp", "tones", "struck", "sounding")
        np.savez_compressed(save_to, lens=pack.lens, names=pack.names, **{k: np.concatenate([s[j] for s in saved]) for j, k in enumerate(keys)})
    return figures


def export(net, path):
    """ONNX, opset 17, batch 1, any number of frames."""
    net = copy.deepcopy(net).cpu().float().eval()
    example = (torch.rand(1, 200, 252), torch.rand(1, 200, 84))
    names = ["chord", "bass", "tones", "struck", "sounding"]
    how = {"opset_version": 17, "dynamo": False}
    if isinstance(net, (LiveNet, Lean)):          # two halves: notes from a few frames, chords over seconds
        stacked = isinstance(net, Lean)
        inputs = ["stacked"] if stacked else ["long", "short"]
        first, last = ["folded", "struck", "sounding"], names[:3]
        over = {"folded": {2: "T"}, "stacked": {2: "T"}, **{k: {1: "T"} for k in ["long", "short", *names]}}
        of = lambda used: {k: over[k] for k in used}
        torch.onnx.export(net.front, (torch.rand(1, STACKED, 200, WIDTH),) if stacked else example, str(path).replace(".onnx", "-front.onnx"),
                          input_names=inputs, output_names=first, dynamic_axes=of([*inputs, *first]), **how)
        torch.onnx.export(net.back, (torch.rand(1, net.sizes["r"], 200, 12),), str(path).replace(".onnx", "-back.onnx"),
                          input_names=["folded"], output_names=last, dynamic_axes=of(["folded", *last]), **how)
        return
    torch.onnx.export(net, example, str(path), input_names=["long", "short"], output_names=names,
                      dynamic_axes={k: {1: "T"} for k in ["long", "short", *names]}, **how)


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--data", nargs="+", required=True)
    ap.add_argument("--eval", nargs="*", default=[])
    ap.add_argument("--out", required=True)
    ap.add_argument("--seconds", type=float, default=480, help="training time; reading and evaluation come on top (about 60 s)")
    ap.add_argument("--steps", type=int, default=10 ** 9)
    ap.add_argument("--name", default="A")
    ap.add_argument("--c", type=int, default=12)
    ap.add_argument("--p", type=int, default=32)
    ap.add_argument("--r", type=int, default=48)
    ap.add_argument("--dropout", type=float, default=.15)
    ap.add_argument("--batch", type=int, default=32)
    ap.add_argument("--lr", type=float, default=3e-3)
    ap.add_argument("--seed", type=int, default=0)
    ap.add_argument("--live", action="store_true", help="the live net, on packs made with --live")
    ap.add_argument("--late", type=int, default=0, help="frames that the live net may wait")
    ap.add_argument("--teachers", nargs="*", default=[], help="weights (.pt) of nets that teach a lean one")
    ap.add_argument("--lean", nargs=5, type=int, default=[48, 16, 64, 16, 2], help="its sizes c b r q deep (net.py)")
    ap.add_argument("--split", action="store_true", help="the lean net of two halves from the truth alone, without teachers")
    ap.add_argument("--init", help="go on from these weights (.pt)")
    ap.add_argument("--fragments", type=float, default=.5, help="weight of the chord losses in takes of two plucked notes")
    ap.add_argument("--narrow", type=float, default=.15, help="share of stretches heard through a small microphone")
    ap.add_argument("--save-outputs", nargs="*", default=["dev"], help="evaluation packs whose outputs are kept")
    a = ap.parse_args()
    out = Path(a.out)
    out.mkdir(parents=True, exist_ok=True)
    began = time.time()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(a.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    pack = Pack(a.data, device)
    print(f"{a.name}: {len(pack.lens)} takes, {pack.minutes:.1f} min, read in {time.time() - began:.0f} s, {device}", flush=True)
    if a.teachers or a.split:
        net = Lean(*a.lean, dropout=a.dropout)
    else:
        net = (LiveNet if a.live else Net)(a.c, a.p, a.r, a.dropout)
    net = net.to(device, memory_format=torch.channels_last)       # twice the steps a second on an H100
    if a.init:
        net.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in torch.load(a.init, map_location=device)["state"].items()})
    weights, work = cost(net)
    print(f"{a.name}: {weights} weights, {work} multiply-adds a frame", flush=True)
    figures = {"weights": weights, "multiply_adds_per_frame": work, "minutes": round(pack.minutes, 1), "args": vars(a)}
    # takes of many lengths come before this: choosing kernels for each would take longer than it brings
    taught = teach.Taught(pack, a.teachers, decibels, device) if a.teachers else None
    print(f"{a.name}: ready in {time.time() - began:.0f} s", flush=True)
    torch.backends.cudnn.benchmark = True
    batches = Batches(pack, a.batch, device, a.seed, a.live, a.late, taught, a.fragments, a.narrow)
    average = Average(net)
    decay = [p for p in net.parameters() if p.dim() > 1]
    plain = [p for p in net.parameters() if p.dim() <= 1]
    opt = torch.optim.AdamW([{"params": decay, "weight_decay": 1e-2}, {"params": plain, "weight_decay": 0.0}], lr=a.lr)
    step, first, saved_at = 0, None, time.time()
    while step < a.steps:
        if step == 20 or first is None:
            first = time.time()                                   # the first steps choose kernels
        part = (time.time() - first) / a.seconds if step >= 20 else 0.0
        if part >= 1:
            break
        rate = a.lr * min(1, (step + 1) / 200) * (.5 + .5 * math.cos(math.pi * min(1, part))) + 1e-5
        for group in opt.param_groups:
            group["lr"] = rate
        with torch.no_grad():
            xl, xs, said, truth = batches()
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            result = net(xl, xs)
        loss, parts = losses(result, *truth)
        if said:
            parts["taught"] = teach.loss(result, said, truth[-1], by_root)
            loss = .5 * loss + .5 * parts["taught"]
        opt.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        opt.step()
        average.add(net)
        if step % 500 == 0 or step in (20, 50, 100, 200):
            said = " ".join(f"{k} {v.item():.4f}" for k, v in parts.items())
            print(f"{a.name} step {step} {time.time() - began:.0f} s loss {loss.item():.3f} {said}", flush=True)
            if not math.isfinite(loss.item()):
                raise SystemExit("the loss is no number; lower --lr")
        if time.time() - saved_at > 100:
            torch.save(half(average.net), out / f"{a.name}.pt")
            saved_at = time.time()
        step += 1
    figures.update(steps=step, train_seconds=round(time.time() - began))
    torch.save(half(average.net), out / f"{a.name}.pt")
    # what is delivered is half precision: evaluate exactly that
    final = copy.deepcopy(net).to(memory_format=torch.contiguous_format).eval()
    final.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in half(average.net)["state"].items()})
    try:
        export(final, out / f"{a.name}.onnx")
        figures["onnx_bytes"] = sum(p.stat().st_size for p in out.glob(f"{a.name}*.onnx"))
    except Exception as error:                                    # the weights are safe; export elsewhere
        print(f"{a.name}: export failed: {error!r}"[:500], flush=True)
    for path in a.eval:
        name = Path(path).stem
        keep = out / f"{a.name}_{name}.npz" if name in a.save_outputs else None
        figures[name] = evaluate(final, Pack([path], device), device, keep, a.late)
        print(f"{a.name} on {name}: {json.dumps(figures[name])}", flush=True)
        (out / f"{a.name}.json").write_text(json.dumps(figures, indent=1) + "\n")
    (out / f"{a.name}.json").write_text(json.dumps(figures, indent=1) + "\n")
    print(f"{a.name}: done in {time.time() - began:.0f} s, {step} steps", flush=True)


if __name__ == "__main__":
    main()
