"""Variation made on the accelerator: transposition, detuning, timbre, noise, room.

Spectra are decibels, long [B, T, 280] and short [B, T, 94] with margins.
"""
from __future__ import annotations

import math

import torch
import torch.nn.functional as F

BINS, PITCHES = 252, 84
C1, RATE = 32.70319566, 22050


def moved(d, start, width):
    """Rows of `width` bins from the fractional bin start [B]."""
    at = start[:, None] + torch.arange(width, device=d.device)[None]
    low = at.floor().long().clamp(0, d.shape[2] - 2)
    part = (at - low).clamp(0, 1)[:, None]
    take = lambda k: torch.gather(d, 2, k[:, None].expand(-1, d.shape[1], -1))
    return take(low) * (1 - part) + take(low + 1) * part


def transposed(long, short, semitones, cents):
    """What would have been heard that many semitones and cents higher."""
    up = semitones + cents / 100
    return moved(long, 14 - 3 * up, BINS), moved(short, 5 - up, PITCHES)


class Timbre:
    def __init__(self, device, narrow=.15):
        self.narrow = narrow
        self.octave = torch.arange(BINS, device=device) / 36
        self.hz = C1 * 2 ** self.octave
        n_long = (36 * RATE / self.hz).clamp(max=8192)
        n_short = (12 * RATE / self.hz[::3]).clamp(min=256).clamp(max=2730)
        self.noise_long = -10 * torch.log10(n_long / 2000)       # a short window hears more noise
        self.noise_short = -10 * torch.log10(n_short / 2000)
        self.device = device

    def __call__(self, long, short):
        b, dev, oct_ = long.shape[0], self.device, self.octave[None]

        def r(low, high, *shape):
            return torch.rand(b, *(shape or (1,)), device=dev) * (high - low) + low

        def maybe(p):
            return (torch.rand(b, 1, device=dev) < p).float()
        e = r(-5, 5) * (oct_ - 3.5) * maybe(.7)
        for _ in range(6):
            e = e + r(-13, 13) * torch.exp(-.5 * ((oct_ - r(0, 7)) / r(.06, .9)) ** 2) * maybe(.6)
        delay = torch.exp(r(math.log(2e-4), math.log(4e-3)))
        a = r(0, .92) * maybe(.4)
        e = e + 10 * torch.log10(1 + a * a + 2 * a * torch.cos(2 * math.pi * self.hz[None] * delay) + 1e-4)
        narrow = F.conv1d(torch.randn(b, 1, BINS, device=dev), torch.hann_window(9, device=dev)[None, None] / 2, padding=4)[:, 0]
        e = e + narrow * r(0, 4) * maybe(.8)
        e = e - r(6, 24) * F.relu(r(.8, 2.4) - oct_) * maybe(.22) - r(6, 24) * F.relu(oct_ - r(4.4, 7.5)) * maybe(.35)
        e = e - self.small(r, oct_) * maybe(self.narrow)
        long, short = long + e[:, None], short + e[:, None, ::3]

        top = long.amax(2)                                        # compression or expansion
        smooth = F.avg_pool1d(top[:, None], 5, 1, 2)[:, 0]
        gain = (r(-.35, .65) * maybe(.6)) * (top.amax(1, keepdim=True) - smooth).clamp(max=50)
        long, short = 10 ** ((long + gain[..., None]) / 20), 10 ** ((short + gain[..., None]) / 20)

        peak = long.amax((1, 2))[:, None]
        level = r(-80, -30) + r(-4, 4) * (oct_ - 3.5)
        on = maybe(.6)
        long = self.noisy(long, level + self.noise_long[None], peak, on)
        short = self.noisy(short, level[:, ::3] + self.noise_short[None], peak, on)

        tail, wet = r(.3, .8)[..., None], (r(.05, .4) * maybe(.25))[..., None]
        return self.smeared(long, tail, wet), self.smeared(short, tail, wet)

    @staticmethod
    def small(r, octave):
        """Decibels that a small microphone or a narrow line takes away: the lowest strings' first
        partials go, and the brightness; to be heard only by the partials above."""
        return r(12, 60) * F.relu(r(1.2, 3.3) - octave) + r(0, 48) * F.relu(octave - r(4.6, 7.))

    @staticmethod
    def noisy(m, level, peak, on):
        power = (10 ** (level / 20) * peak * on)[:, None] ** 2
        return torch.sqrt(m * m - power * torch.log(torch.rand_like(m).clamp(1e-6, 1 - 1e-6)) + 1e-14)

    @staticmethod
    def smeared(m, tail, wet):
        y, k, a = m, 1, tail
        for _ in range(5):                                        # geometric sum of 32 frames
            y = y + a * F.pad(y, (0, 0, k, 0))[:, :-k]
            a, k = a * a, k * 2
        return (1 - wet) * m + wet * (1 - tail) * y


def compressed(long, short, lens=None):
    """Magnitudes to the net's input; with `lens` only so many frames of each count for its loudness."""
    top = long.amax(2)
    if lens is None:
        peak = torch.quantile(top, 0.97, dim=1)
    else:
        peak = torch.stack([torch.quantile(row[:n], 0.97) for row, n in zip(top, lens)])
    peak = peak[:, None, None] + 1e-9
    scale = math.log(101)
    return torch.log1p(100 * long / peak) / scale, torch.log1p(100 * short / peak) / scale


def masked(xl, xs):
    """Spans of frequency or time fall silent."""
    b, t, dev = xl.shape[0], xl.shape[1], xl.device
    start, width = torch.randint(0, PITCHES, (b, 1), device=dev), torch.randint(0, 10, (b, 1), device=dev)
    k = torch.arange(PITCHES, device=dev)[None]
    gone = (k >= start) & (k < start + width) & (torch.rand(b, 1, device=dev) < .3)
    at, long_ = torch.randint(0, t, (b, 1), device=dev), torch.randint(0, 6, (b, 1), device=dev)
    f = torch.arange(t, device=dev)[None]
    lost = (f >= at) & (f < at + long_) & (torch.rand(b, 1, device=dev) < .1)
    xl = xl.masked_fill(gone.repeat_interleave(3, 1)[:, None] | lost[..., None], 0.)
    return xl, xs.masked_fill(gone[:, None] | lost[..., None], 0.)
