"""The acoustic net: two spectra in, notes and chords out.

Shapes: [batch, channel, time, bin or pitch].  Every stride and dilation is written out.
"""
from __future__ import annotations

import torch
import torch.nn as nn
import torch.nn.functional as F

LONG_SHIFTS = [-36, 0, 36, 57, 72, 84, 93, 101, 108]      # partials 1/2, 1..8 in thirds of a semitone
SHORT_SHIFTS = [-12, 0, 12, 19, 24, 28, 31]               # 1/2, 1..6 in semitones
QUALITIES, PITCHES, LOWEST = 23, 64, 4                    # MIDI 28 is index 4 above C1


def conv(a, b, kernel, stride=(1, 1), padding=(0, 0), dilation=(1, 1), groups=1, bias=True):
    return nn.Conv2d(a, b, kernel, stride=stride, padding=padding, dilation=dilation, groups=groups, bias=bias)


class Block(nn.Module):
    """Convolution, normalization, ReLU; with the input added where it is a residual."""

    def __init__(self, a, b, kernel, residual=False, **how):
        super().__init__()
        self.conv, self.norm, self.residual = conv(a, b, kernel, bias=False, **how), nn.BatchNorm2d(b), residual

    def forward(self, x):
        y = F.relu(self.norm(self.conv(x)))
        return x + y if self.residual else y


class Circular(nn.Module):
    """Over the 12 pitch classes, the same weights for every transposition."""

    def __init__(self, r):
        super().__init__()
        self.conv, self.norm = conv(r, r, (1, 12), bias=False), nn.BatchNorm2d(r)

    def forward(self, x):
        y = torch.cat([x, x[:, :, :, :11]], 3)
        return x + F.relu(self.norm(self.conv(y)))


class Over(nn.Module):
    """Over time: a depthwise dilated convolution, then the channels are mixed."""

    def __init__(self, r, dilation):
        super().__init__()
        self.time = conv(r, r, (5, 1), padding=(2 * dilation, 0), dilation=(dilation, 1), groups=r)
        self.mix, self.norm = conv(r, r, (1, 1), bias=False), nn.BatchNorm2d(r)

    def forward(self, x):
        return x + F.relu(self.norm(self.mix(self.time(x))))


def answers(o, none):
    """The heads' outputs [B, QUALITIES + 2, T, 12] and those for none [B, 2, T] as logits of
    chord [B, T, 277], bass [B, T, 13] and pitch classes [B, T, 12]."""
    b, t = o.shape[0], o.shape[2]
    chord = o[:, :QUALITIES].permute(0, 2, 1, 3).reshape(b, t, QUALITIES * 12)
    chord = torch.cat([chord, none[:, 0, :, None]], 2)
    return chord, torch.cat([o[:, QUALITIES], none[:, 1, :, None]], 2), o[:, QUALITIES + 1]


def stacked(x, shifts):
    """[B, T, N] -> [B, len(shifts), T, N], each moved down by its shift, zeros beyond."""
    n = x.shape[2]
    low, high = max(0, -min(shifts)), max(shifts)
    padded = F.pad(x, (low, high))
    return torch.stack([padded[:, :, low + s:low + s + n] for s in shifts], 1)


class Net(nn.Module):
    def __init__(self, c=12, p=32, r=48, dropout=0.15):
        super().__init__()
        self.sizes = {"c": c, "p": p, "r": r}
        self.long1 = Block(len(LONG_SHIFTS), c, (3, 5), padding=(1, 2))
        self.long2 = Block(c, c, (3, 3), residual=True, padding=(1, 1))
        self.long3 = Block(c, p, (1, 5), stride=(1, 3), padding=(0, 1))
        self.short = Block(len(SHORT_SHIFTS), 12, (3, 3), padding=(1, 1))
        self.join = Block(p + 12, p, (1, 1))
        self.pitch1 = Block(p, p, (3, 3), residual=True, padding=(1, 1))
        self.pitch2 = Block(p, p, (3, 1), residual=True, padding=(2, 0), dilation=(2, 1))
        self.notes = conv(p, 2, (1, 1))
        self.reduce = Block(p + 2, 16, (1, 1))
        self.fold = Block(16 * 7, r, (1, 1))
        self.circle1, self.circle2 = Circular(r), Circular(r)
        self.over = nn.ModuleList([Over(r, d) for d in (1, 2, 4, 8, 16)])
        self.drop = nn.Dropout(dropout)
        self.heads = conv(r, QUALITIES + 2, (1, 1))
        self.none = conv(r, 2, (1, 1))

    def forward(self, xl, xs):
        """xl [B, T, 252], xs [B, T, 84] -> chord [B, T, 277], bass [B, T, 13], pitch
        classes [B, T, 12], struck and sounding [B, T, 64]; all logits."""
        h = self.long3(self.long2(self.long1(stacked(xl, LONG_SHIFTS))))
        h = self.join(torch.cat([h, self.short(stacked(xs, SHORT_SHIFTS))], 1))
        h = self.pitch2(self.pitch1(h))
        n = self.notes(h)
        z = self.reduce(torch.cat([h, torch.sigmoid(n)], 1))          # [B, 16, T, 84]
        z = torch.cat([z[:, :, :, 12 * o:12 * o + 12] for o in range(7)], 1)
        z = self.circle1(self.fold(z))                                # [B, R, T, 12]
        for k, layer in enumerate(self.over):
            z = layer(z)
            if k == 2:
                z = self.circle2(z)
        z = self.drop(z)
        o = self.heads(z)
        none = self.none(z).mean(3)                                   # [B, 2, T]
        keep = n[:, :, :, LOWEST:LOWEST + PITCHES]
        return *answers(o, none), keep[:, 0], keep[:, 1]


def harmonics(xl, xs):
    """[B, T, 252] and [B, T, 84] -> [B, STACKED, T, WIDTH]: for each pitch from C1 what lies at its
    partials and neighbours, the long spectrum with all three bins of each semitone."""
    thirds = xl.reshape(xl.shape[0], xl.shape[1], 84, 3).permute(0, 3, 1, 2)
    padded = [F.pad(x, (12, 36)) for x in (thirds, xs[:, None])]
    return torch.cat([x[:, :, :, 12 + s:12 + s + WIDTH]
                      for x, shifts in zip(padded, (STACK_LONG, STACK_SHORT)) for s in shifts], 1)


STACK_LONG = [-12, -1, 0, 1, 12, 19, 24, 28, 31, 34, 36]  # semitones: neighbours, partials 1/2, 1..8
STACK_SHORT = [-12, -1, 0, 1, 12, 19, 24, 28, 31]
STACKED, WIDTH = 3 * len(STACK_LONG) + len(STACK_SHORT), 72


class Narrow(nn.Module):
    """A residual whose costly convolution sees few channels."""

    def __init__(self, wide, narrow, kernel, circular=False, **how):
        super().__init__()
        self.less, self.more = Block(wide, narrow, (1, 1)), Block(narrow, wide, kernel, **how)
        self.circular = circular

    def forward(self, x):
        y = self.less(x)
        if self.circular:                         # over the 12 pitch classes
            y = torch.cat([y, y[:, :, :, :11]], 3)
        return x + self.more(y)


class LeanFront(nn.Module):
    """Notes, and a fold to pitch classes; it reads harmonics()."""

    def __init__(self, c, b, r, deep):
        super().__init__()
        self.first = Block(STACKED, c, (1, 1))
        near = [Narrow(c, b, (3, 3), padding=(1, 1)) for _ in range(deep)]
        self.pitch = nn.Sequential(*near, Narrow(c, b, (3, 1), padding=(2, 0), dilation=(2, 1)))
        self.notes = conv(c, 2, (1, 1))
        self.reduce = Block(c + 2, 16, (1, 1))
        self.fold = Block(16 * (WIDTH // 12), r, (1, 1))

    def forward(self, x):
        h = self.pitch(self.first(x))
        n = self.notes(h)
        z = self.reduce(torch.cat([h, torch.sigmoid(n)], 1))
        z = torch.cat([z[:, :, :, o:o + 12] for o in range(0, WIDTH, 12)], 1)
        keep = n[:, :, :, LOWEST:LOWEST + PITCHES]
        return self.fold(z), keep[:, 0], keep[:, 1]


class LeanBack(nn.Module):
    """Chord, bass and pitch classes over seconds."""

    def __init__(self, r, q, dropout):
        super().__init__()
        circle = lambda: Narrow(r, 24, (1, 12), circular=True)
        over = lambda d: Narrow(r, q, (5, 1), padding=(2 * d, 0), dilation=(d, 1))
        self.over = nn.Sequential(circle(), over(1), over(2), over(4), circle(), over(8), over(16))
        self.drop = nn.Dropout(dropout)
        self.heads, self.none = conv(r, QUALITIES + 2, (1, 1)), conv(r, 2, (1, 1))

    def forward(self, z):
        z = self.drop(self.over(z))
        o, none = self.heads(z), self.none(z).mean(3)
        return answers(o, none)


class Lean(nn.Module):
    """The net for files: what Net does, with few costly layers; taught by several of it."""

    def __init__(self, c=48, b=16, r=64, q=16, deep=2, dropout=0.1):
        super().__init__()
        self.sizes = {"c": c, "b": b, "r": r, "q": q, "deep": deep}
        self.front, self.back = LeanFront(c, b, r, deep), LeanBack(r, q, dropout)

    def forward(self, xl, xs):
        """As Net.forward."""
        z, struck, sounding = self.front(harmonics(xl, xs))
        return *self.back(z), struck, sounding


class Late(nn.Module):
    """A block over time without padding: it needs `reach` frames before each frame it gives."""

    def __init__(self, a, b, kernel, dilation=1, residual=False, **how):
        super().__init__()
        self.conv = conv(a, b, kernel, dilation=(dilation, 1), bias=False, **how)
        self.norm, self.residual, self.reach = nn.BatchNorm2d(b), residual, (kernel[0] - 1) * dilation

    def forward(self, x):
        y = F.relu(self.norm(self.conv(x)))
        return x[:, :, self.reach:] + y if self.residual else y


class LateOver(nn.Module):
    """As Over, without padding and without a frame to come."""

    def __init__(self, r, dilation):
        super().__init__()
        self.time = conv(r, r, (5, 1), dilation=(dilation, 1), groups=r)
        self.mix, self.norm, self.reach = conv(r, r, (1, 1), bias=False), nn.BatchNorm2d(r), 4 * dilation

    def forward(self, x):
        return x[:, :, self.reach:] + F.relu(self.norm(self.mix(self.time(x))))


class Front(nn.Module):
    """The live net's first half: notes and a fold to pitch classes, from FRONT_REACH + 1 frames."""

    def __init__(self, c, p, r):
        super().__init__()
        self.long1 = Late(len(LONG_SHIFTS), c, (3, 5), padding=(0, 2))
        self.long2 = Late(c, c, (3, 3), residual=True, padding=(0, 1))
        self.long3 = Block(c, p, (1, 5), stride=(1, 3), padding=(0, 1))
        self.short = Late(len(SHORT_SHIFTS), 12, (3, 3), padding=(0, 1))
        self.join = Block(p + 12, p, (1, 1))
        self.pitch1 = Late(p, p, (3, 3), residual=True, padding=(0, 1))
        self.pitch2 = Late(p, p, (2, 1), dilation=2, residual=True)
        self.notes = conv(p, 2, (1, 1))
        self.reduce = Block(p + 2, 16, (1, 1))
        self.fold = Block(16 * 7, r, (1, 1))
        self.circle = Circular(r)

    def forward(self, xl, xs):
        h = self.long3(self.long2(self.long1(stacked(xl, LONG_SHIFTS))))
        h = self.join(torch.cat([h, self.short(stacked(xs, SHORT_SHIFTS))[:, :, 2:]], 1))
        h = self.pitch2(self.pitch1(h))
        n = self.notes(h)
        z = self.reduce(torch.cat([h, torch.sigmoid(n)], 1))
        z = torch.cat([z[:, :, :, 12 * o:12 * o + 12] for o in range(7)], 1)
        keep = n[:, :, :, LOWEST:LOWEST + PITCHES]
        return self.circle(self.fold(z)), keep[:, 0], keep[:, 1]


FRONT_REACH, BACK_REACH = 8, 60


class Back(nn.Module):
    """Its second half: chord, bass and pitch classes, from BACK_REACH + 1 frames of the first."""

    def __init__(self, r, dropout):
        super().__init__()
        self.over = nn.ModuleList([LateOver(r, d) for d in (1, 2, 4, 8)])
        self.circle, self.drop = Circular(r), nn.Dropout(dropout)
        self.heads, self.none = conv(r, QUALITIES + 2, (1, 1)), conv(r, 2, (1, 1))

    def forward(self, z):
        for layer in self.over:
            z = layer(z)
        z = self.drop(self.circle(z))
        o, none = self.heads(z), self.none(z).mean(3)
        return answers(o, none)


class LiveNet(nn.Module):
    """No frame to come is needed.  What it says of frame t needs REACH frames before it, which
    training gives as they were and a stream that has just begun as silence."""

    def __init__(self, c=12, p=28, r=44, dropout=0.15):
        super().__init__()
        self.sizes = {"c": c, "p": p, "r": r}
        self.front, self.back = Front(c, p, r), Back(r, dropout)

    def forward(self, xl, xs):
        """As Net.forward; the first REACH frames are missing from what it gives."""
        z, struck, sounding = self.front(xl, xs)
        chord, bass, tones = self.back(z)
        return chord, bass, tones, struck[:, BACK_REACH:], sounding[:, BACK_REACH:]


REACH = FRONT_REACH + BACK_REACH


def cost(net):
    """Weights, and multiply-adds per frame of the convolutions."""
    total = []

    def count(module, _, out):
        per = module.weight.shape[1] * module.weight.shape[2] * module.weight.shape[3]
        total.append(out.shape[1] * out.shape[3] * per)
    hooks = [m.register_forward_hook(count) for m in net.modules() if isinstance(m, nn.Conv2d)]
    device = next(net.parameters()).device
    was = net.training
    net.eval()
    with torch.no_grad():
        net(torch.zeros(1, REACH + 8, 252, device=device), torch.zeros(1, REACH + 8, 84, device=device))
    net.train(was)
    for h in hooks:
        h.remove()
    return sum(p.numel() for p in net.parameters()), sum(total)
