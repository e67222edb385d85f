"""What taught nets say of takes as they are, for a leaner net to learn from.

The teachers (nets of net.py's Net) hear every take once, clean and whole, at several transpositions;
the mean of their logits is kept.  The learner hears the take varied (augment.py) and is to say the
same.  Hinton, Vinyals and Dean, "Distilling the knowledge in a neural network", arXiv:1503.02531.
"""
from __future__ import annotations

import torch
import torch.nn.functional as F

import augment
from net import Net

TURNS = (0, -3, 2)                               # semitones at which the teachers hear


def load(path, device):
    kept = torch.load(path, map_location=device)
    net = Net(**kept["sizes"]).to(device).eval()
    net.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in kept["state"].items()})
    return net


def turned_back(out, s):
    """Logits of a take heard s semitones up as those of the take itself."""
    chord, bass, tones, hit, ring = (o.float() for o in out)
    b, t = chord.shape[:2]
    chord = torch.cat([chord[..., :276].reshape(b, t, 23, 12).roll(-s, 3).flatten(2), chord[..., 276:]], 2)
    bass = torch.cat([bass[..., :12].roll(-s, 2), bass[..., 12:]], 2)
    inside = lambda n: F.pad(n, (0, s), value=-8.)[..., s:] if s > 0 else F.pad(n, (-s, 0), value=-8.)[..., :64]
    return chord, bass, tones.roll(-s, 2), inside(hit), inside(ring)


class Taught:
    """Mean logits of the teachers for every frame of a pack, half precision."""

    @torch.no_grad()
    def __init__(self, pack, paths, decibels, device, at_once=24):
        nets = [load(p, device) for p in paths]
        n = len(pack.x)
        room = lambda k: torch.zeros(n, k, dtype=torch.float16, device=device)
        self.chord, self.bass, self.tones, self.hit, self.ring = (room(k) for k in (277, 13, 12, 64, 64))
        everything = (self.chord, self.bass, self.tones, self.hit, self.ring)
        order = sorted(range(len(pack.lens)), key=lambda i: pack.lens[i])
        for first in range(0, len(order), at_once):
            takes = order[first:first + at_once]
            longest = int(max(pack.lens[i] for i in takes))
            long, short = [], []
            for i in takes:
                a, m = int(pack.starts[i]), int(pack.lens[i])
                dl, ds = decibels(pack.x[a:a + m])
                long.append(F.pad(dl, (0, 0, 0, longest - m), value=-200.))
                short.append(F.pad(ds, (0, 0, 0, longest - m), value=-200.))
            long, short = torch.stack(long), torch.stack(short)
            lens = [int(pack.lens[i]) for i in takes]
            sums = None
            for s in TURNS:
                by = torch.full((len(takes),), float(s), device=device)
                dl, ds = augment.transposed(long, short, by, torch.zeros_like(by))
                xl, xs = augment.compressed(10 ** (dl / 20), 10 ** (ds / 20), lens)
                for net in nets:
                    with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
                        out = net(xl, xs)
                    out = turned_back(out, s)
                    sums = out if sums is None else [a + b for a, b in zip(sums, out)]
            for kept, total in zip(everything, sums):
                mean = (total / (len(nets) * len(TURNS))).half()
                for k, i in enumerate(takes):
                    a, m = int(pack.starts[i]), int(pack.lens[i])
                    kept[a:a + m] = mean[k, :m]

    def __call__(self, at, semis):
        """Targets of frames at [B, T], transposed by semis [B]: probabilities."""
        s, dev = semis[:, None], at.device
        n = at.shape[1]
        turn = (torch.arange(12, device=dev)[None] - s) % 12                       # [B, 12]
        chord = self.chord[at].float()
        b = chord.shape[0]
        body = chord[..., :276].reshape(b, n, 23, 12)
        body = torch.gather(body, 3, turn[:, None, None].expand(-1, n, 23, -1)).flatten(2)
        chord = torch.cat([body, chord[..., 276:]], 2).log_softmax(2)
        bass = self.bass[at].float()
        bass = torch.cat([torch.gather(bass[..., :12], 2, turn[:, None].expand(-1, n, -1)), bass[..., 12:]], 2).softmax(2)
        tones = torch.gather(self.tones[at].float(), 2, turn[:, None].expand(-1, n, -1)).sigmoid()
        k = torch.arange(64, device=dev)[None] - s
        inside = ((k >= 0) & (k < 64))[:, None]
        k = k.clamp(0, 63)[:, None].expand(-1, n, -1)
        moved = lambda v: torch.gather(v[at].float(), 2, k).sigmoid() * inside
        return chord, bass, tones, moved(self.hit), moved(self.ring)


def loss(out, taught, weight, by_root):
    """Divergence from what the teachers say, weighted as train.py's losses."""
    chord, low, tones, hit, ring = (o.float() for o in out)
    t_chord, t_bass, t_tones, t_hit, t_ring = taught
    ln = chord.log_softmax(2)
    l_chord = (F.kl_div(ln, t_chord, log_target=True, reduction="none").sum(2) * weight).mean()
    l_root = (F.kl_div(by_root(ln), by_root(t_chord), log_target=True, reduction="none").sum(2) * weight).mean()
    l_bass = F.cross_entropy(low.flatten(0, 1), t_bass.flatten(0, 1))
    l_tones = (F.binary_cross_entropy_with_logits(tones, t_tones, reduction="none").mean(2) * weight).mean()
    l_hit = F.binary_cross_entropy_with_logits(hit, t_hit)
    l_ring = F.binary_cross_entropy_with_logits(ring, t_ring)
    return l_chord + .5 * l_root + .7 * l_bass + .5 * l_tones + 6 * l_hit + 1.5 * l_ring
