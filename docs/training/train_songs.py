"""Trains the song net on takes that are rendered while it trains: none is heard twice.

    python3 train_songs.py --bank BANK.npz --shapes SHAPES.pkl --out OUT --seconds 560
    python3 train_songs.py ... --init OUT/songs.pt --span .4 .8     # goes on: the middle of one schedule
    python3 train_songs.py ... --init ../../src/hearing/weights     # goes on from the program's own weights

On a machine with several accelerators each works on takes of its own and gradients are averaged;
without one it runs on the processor, slower. `--steps N` ends after so many steps instead of
seconds. OUT/songs.pt holds net, averaged net and optimizer; export_songs.py makes the program's
weights of it.
"""
from __future__ import annotations

import argparse
import copy
import json
import math
import os
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F

from music import piece
from songnet import SongNet
from studio import Bank, Studio, pack
from truth import IGNORE, NONE, labels

SUITE = "songs-train-2"                            # its seeds: from TRAIN_FROM on
TRAIN_FROM, A_WORKER = 1_000_000_000, 10_000_000


def arguments():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--bank", required=True)
    p.add_argument("--shapes", required=True)
    p.add_argument("--out", required=True)
    p.add_argument("--seconds", type=float, default=560)
    p.add_argument("--steps", type=int, default=0)
    p.add_argument("--tidy", type=float, default=.25, help="share of takes played cleanly")
    p.add_argument("--init")
    p.add_argument("--span", type=float, nargs=2, default=[0, 1], help="which part of the whole schedule this run is")
    p.add_argument("--lr", type=float, default=3e-3)
    p.add_argument("--batch", type=int, default=40, help="takes a step and device")
    p.add_argument("--workers", type=int, default=14)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--name", default="songs")
    return p.parse_args()


class Takes(torch.utils.data.IterableDataset):
    """Batches of packed pieces and their labels; seeds differ by run, device and worker."""

    def __init__(self, bank, a, rank):
        self.bank, self.a, self.rank = bank, a, rank

    def __iter__(self):
        w = torch.utils.data.get_worker_info()
        worker = (self.a.seed * 16 + self.rank) * 64 + (w.id if w else 0)
        n, failed = TRAIN_FROM + worker * A_WORKER, 0
        torch.set_num_threads(1)
        while True:
            ints, floats, drive, rows = [], [], [], []
            while len(rows) < self.a.batch:
                n += 1
                try:
                    take = piece(n, tidy=n % 1000 < self.a.tidy * 1000)
                    i, f, d = pack(take, self.bank, len(rows))
                    row = labels(take)
                except (ValueError, IndexError, KeyError, StopIteration) as e:
                    failed += 1                    # a take that nobody could play: counted, never many
                    if failed > 100 and failed > .02 * (n % A_WORKER):
                        raise RuntimeError(f"{failed} of {n % A_WORKER} takes cannot be made; the last: seed {n}") from e
                    continue
                ints.append(i), floats.append(f), drive.append(d), rows.append(row)
            yield (torch.from_numpy(np.concatenate(ints)), torch.from_numpy(np.concatenate(floats)), torch.tensor(drive, dtype=torch.float32),
                   {k: torch.from_numpy(np.stack([r[k] for r in rows])) for k in rows[0]})


def losses(out, y):
    chord, bass, fine, low, tones, struck, sounding, pulse = (o.float() for o in out)
    device = chord.device
    two = torch.tensor(2.0, device=device)
    ce = lambda o, t: F.cross_entropy(o.flatten(0, 1), t.flatten(), ignore_index=IGNORE)
    bce = F.binary_cross_entropy_with_logits
    known = (y["fine"] >= 0).float()[:, :, None]
    hit = y["struck"].float()
    part = {"chord": ce(chord, y["chord"]), "bass": ce(bass, y["bass"]), "fine": .5 * ce(fine, y["fine"]), "low": .5 * ce(low, y["low"])}
    part["tones"] = .5 * (bce(tones, y["tones"].float(), reduction="none") * known).sum() / (known.sum() * 12 + 1)
    part["struck"] = 14 * bce(struck, (hit == 2).float() + .4 * (hit == 1).float(), pos_weight=two)
    part["sounding"] = 2 * bce(sounding, y["sounding"].float())
    b = bce(pulse[:, :2], y["beat"], reduction="none", pos_weight=two)
    part["beat"] = 2.5 * (b * y["mask"][:, None]).mean()
    part["strum"] = 3 * bce(pulse[:, 2], y["strum"][:, 0], pos_weight=two)
    way = y["strum"][:, 1]
    part["way"] = .2 * (bce(pulse[:, 3], (way > 0).float(), reduction="none") * (way != 0)).sum() / ((way != 0).sum() + 1)
    part["voice"] = .2 * bce(pulse[:, 4], y["voice"].float())
    return part


def right(out, y):
    """Shares of slow frames whose song chord, its root, and bass are right, and F of struck notes by frames."""
    with torch.no_grad():
        good, best = y["chord"] >= 0, out[0].argmax(2)
        root = ((best % 12 == y["chord"] % 12) & (best < NONE) == (y["chord"] < NONE))[good].float().mean()
        hit, said = y["struck"] == 2, out[5] > 0
        true = (said & (y["struck"] > 0)).sum()
        return {"acc": (best == y["chord"])[good].float().mean(), "root": root, "bass_acc": (out[1].argmax(2) == y["bass"])[y["bass"] >= 0].float().mean(),
                "fine_acc": (out[2].argmax(2) == y["fine"])[y["fine"] >= 0].float().mean(), "noteP": true / (said.sum() + 1), "noteR": (said & hit).sum() / (hit.sum() + 1)}


def train(rank, world, a):
    t0 = time.time()
    cuda = torch.cuda.is_available()
    device = f"cuda:{rank}" if cuda else "cpu"
    if cuda:
        torch.cuda.set_device(rank)
        torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
        torch.backends.cudnn.benchmark = True
    if world > 1:
        os.environ.setdefault("MASTER_ADDR", "127.0.0.1")
        os.environ.setdefault("MASTER_PORT", "29511")
        torch.distributed.init_process_group("nccl", rank=rank, world_size=world)
    os.environ["SHAPES"] = a.shapes
    bank = Bank(a.bank)
    light = copy.copy(bank)
    light.sound = None
    loader = iter(torch.utils.data.DataLoader(Takes(light, a, rank), batch_size=None, num_workers=a.workers, prefetch_factor=3 if a.workers else None))
    studio = Studio(bank, device, 1)
    torch.manual_seed(a.seed * 100 + rank)
    raw = SongNet()
    if a.init and Path(a.init).is_dir():
        from export_songs import restored
        ints, floats, drive, _ = next(loader)
        with torch.no_grad():
            raw = restored(Path(a.init), *studio.input(studio.render(ints, floats, drive, a.batch))).train()
    raw = raw.to(device).to(memory_format=torch.channels_last)
    ema = copy.deepcopy(raw).eval()
    opt = torch.optim.AdamW(raw.parameters(), lr=a.lr, weight_decay=.01)
    step = 0
    if a.init and not Path(a.init).is_dir():
        z = torch.load(a.init, map_location=device, weights_only=True)
        raw.load_state_dict(z["net"]), ema.load_state_dict(z["ema"])
        if "opt" in z:
            opt.load_state_dict(z["opt"])
            step = z["step"]
    net = torch.nn.parallel.DistributedDataParallel(raw, device_ids=[rank]) if world > 1 else raw
    of = lambda m: [v for v in m.state_dict().values() if v.dtype.is_floating_point]
    soft_ema, soft_net = of(ema), of(raw)
    begun, first, told, sums = step, time.time(), time.time(), {}
    print(f"rank {rank} ready after {first - t0:.0f}s", flush=True)
    while True:
        share = (step - begun) / a.steps if a.steps else (time.time() - first) / (a.seconds - (first - t0) - 6)
        stop = torch.tensor(float(share >= 1), device=device)
        if world > 1:
            torch.distributed.all_reduce(stop, torch.distributed.ReduceOp.MAX)
        if stop > 0:
            break
        whole = a.span[0] + (a.span[1] - a.span[0]) * min(1, share)
        lr = a.lr * min(1, (step + 1) / 300) * (.5 * (1 + math.cos(math.pi * whole)) * .98 + .02)
        for g in opt.param_groups:
            g["lr"] = lr
        ints, floats, drive, y = next(loader)
        with torch.no_grad():
            long, short = studio.input(studio.render(ints, floats, drive, a.batch))
            y = {k: v.to(device, non_blocking=True) for k, v in y.items()}
        with torch.autocast("cuda" if cuda else "cpu", torch.bfloat16, enabled=cuda):
            out = net(long, short)
        part = losses(out, y)
        opt.zero_grad(set_to_none=True)
        sum(part.values()).backward()
        torch.nn.utils.clip_grad_norm_(raw.parameters(), 2.0)
        opt.step()
        keep = min(.999, (step + 1) / (step + 20))
        with torch.no_grad():
            torch._foreach_lerp_(soft_ema, soft_net, 1 - keep)
        step += 1
        if rank == 0 and (step % 20 == 0 or a.steps and a.steps < 20):
            for k, v in (part | right(out, y)).items():
                sums[k] = .8 * sums.get(k, float(v.detach())) + .2 * float(v.detach())
            if time.time() - told > 20 or step - begun in (20, 40) or a.steps and a.steps < 20:
                told = time.time()
                print(f"{told - t0:.0f}s step {step} lr {lr:.5f} " + " ".join(f"{k} {v:.3f}" for k, v in sums.items()), flush=True)
    if rank == 0:
        Path(a.out).mkdir(parents=True, exist_ok=True)
        torch.save({"net": raw.state_dict(), "ema": ema.state_dict(), "opt": opt.state_dict(), "step": step, "sizes": raw.sizes}, f"{a.out}/{a.name}.pt")
        told = {"suite": SUITE, "seed": a.seed, "devices": world, "step": step, "takes": (step - begun) * a.batch * world,
                "hours": round((step - begun) * a.batch * world * 26 / 3600, 1), "seconds": round(time.time() - t0), "span": a.span, "lr": a.lr,
                "tidy": a.tidy, "last": {k: round(v, 4) for k, v in sums.items()}}
        Path(f"{a.out}/{a.name}.json").write_text(json.dumps(told, indent=1))
        print(json.dumps(told), flush=True)
    for w in getattr(loader, "_workers", []):      # they never end by themselves
        w.kill()
    os._exit(0)


def main():
    a = arguments()
    world = torch.cuda.device_count() if torch.cuda.is_available() else 1
    if world > 1:
        torch.multiprocessing.spawn(train, (world, a), world)
    else:
        train(0, 1, a)


if __name__ == "__main__":
    main()
