"""The song net: two spectra in; the song's chord, what the hand plays, notes, beats and strums out.

Shapes are [batch, channel, time, pitch or pitch class]. Fine frames come each 23.2 ms; chords are
told for slow frames of four. It has three parts, which the program runs one after the other:

* `Front` reads what lies at each pitch's partials (`net.harmonics`), the long spectrum at every
  other fine frame and the short one at every frame: notes struck and sounding, a fold of the
  pitches to pitch classes, and loudness by bands for the beat.
* `Back` hears chords over about 12 s each way, alike under transposition.
* `Pulse` hears beats, downbeats, strums, their direction and a voice.
"""
from __future__ import annotations

import torch
import torch.nn.functional as F
from torch import nn

from net import LOWEST, PITCHES, STACK_LONG, STACK_SHORT, WIDTH, Block, Narrow, conv
from theory import QUALITIES as NAMES

QUALITIES = len(NAMES)
LONG_LAYERS, SHORT_LAYERS = 3 * len(STACK_LONG), len(STACK_SHORT)
BANDS = 6                                          # of WIDTH pitches, for the beat


def layers(x, shifts, parts):
    """[B, T, 84 parts] -> [B, len(shifts) parts, T, WIDTH]: what lies each shift above a pitch."""
    rows = x.reshape(x.shape[0], x.shape[1], 84, parts).permute(0, 3, 1, 2)
    padded = F.pad(rows, (12, 36))
    return torch.cat([padded[:, :, :, 12 + s:12 + s + WIDTH] for s in shifts], 1)


class Front(nn.Module):
    def __init__(self, c, b, s, r, deep):
        super().__init__()
        self.first = Block(LONG_LAYERS, c, (1, 1))
        self.near = nn.Sequential(*[Narrow(c, b, (3, 3), padding=(1, 1)) for _ in range(deep)])
        self.short = Block(SHORT_LAYERS, s, (3, 3), padding=(1, 1))
        self.up = Block(c, s, (1, 1))
        self.join = Block(2 * s, s, (3, 3), padding=(1, 1))
        self.after = Block(s, s, (5, 1), padding=(2, 0), residual=True)
        self.notes = conv(s, 2, (1, 1))
        self.reduce = Block(c + s + 2, 16, (1, 1))
        self.fold = Block(16 * (WIDTH // 12), r, (2, 1), stride=(2, 1))
        self.beat = Block(s + 1, 12, (1, 1))

    def forward(self, long, short):
        """long [B, LONG_LAYERS, T / 2, WIDTH], short [B, SHORT_LAYERS, T, WIDTH], T a multiple of 4 ->
        fold [B, r, T / 4, 12], struck and sounding [B, T, PITCHES] logits, bands [B, 12 BANDS, T]."""
        slow = self.near(self.first(long))
        up = self.up(slow).repeat_interleave(2, dim=2)
        h = self.after(self.join(torch.cat([up, self.short(short)], 1)))
        n = self.notes(h)
        quiet = torch.cat([h, torch.sigmoid(n)], 1)
        half = F.max_pool2d(quiet, (2, 1), (2, 1))
        z = self.reduce(torch.cat([slow, half], 1))
        z = torch.cat([z[:, :, :, o:o + 12] for o in range(0, WIDTH, 12)], 1)
        w = self.beat(torch.cat([h, short[:, 2:3]], 1))
        width = WIDTH // BANDS
        bands = torch.cat([w[:, :, :, k * width:(k + 1) * width].mean(3) for k in range(BANDS)], 1)
        keep = n[:, :, :, LOWEST:LOWEST + PITCHES]
        return self.fold(z), keep[:, 0], keep[:, 1], bands


class Back(nn.Module):
    def __init__(self, r, q, dropout):
        super().__init__()
        circle = lambda: Narrow(r, 32, (1, 12), circular=True)
        over = lambda d: Narrow(r, q, (3, 1), padding=(d, 0), dilation=(d, 1))
        self.over = nn.Sequential(circle(), over(1), over(2), circle(), over(4), over(8), circle(), over(16), over(32), over(64), circle(), over(1))
        self.drop = nn.Dropout(dropout)
        self.song, self.song_none = conv(r, QUALITIES + 1, (1, 1)), conv(r, 2, (1, 1))
        self.now, self.now_none = conv(r, QUALITIES + 2, (1, 1)), conv(r, 2, (1, 1))

    def forward(self, z):
        """fold -> song's chord [B, S, 277] and bass [B, S, 13], the same of the moment, its pitch classes
        [B, S, 12] (all logits), and the mean over pitch classes [B, r, S] for the beat; S slow frames."""
        z = self.drop(self.over(z))
        mean = z.mean(3)

        def told(o, none):
            chord = o[:, :QUALITIES].permute(0, 2, 1, 3).flatten(2)
            none = none.mean(3)
            return torch.cat([chord, none[:, 0, :, None]], 2), torch.cat([o[:, QUALITIES], none[:, 1, :, None]], 2)
        chord, bass = told(self.song(z), self.song_none(z))
        now = self.now(z)
        fine, low = told(now, self.now_none(z))
        return chord, bass, fine, low, now[:, QUALITIES + 1], mean


class Step(nn.Module):
    """A residual over time, dilated."""

    def __init__(self, c, dilation, dropout):
        super().__init__()
        self.t = nn.Conv1d(c, c, 3, padding=dilation, dilation=dilation, bias=False)
        self.n = nn.BatchNorm1d(c)
        self.p = nn.Conv1d(c, c, 1)
        self.drop = nn.Dropout(dropout)

    def forward(self, x):
        return x + self.drop(self.p(F.relu(self.n(self.t(x)))))


class Pulse(nn.Module):
    def __init__(self, r, b, dropout):
        super().__init__()
        self.slow = nn.Conv1d(r, b, 1)
        self.into = nn.Conv1d(12 * BANDS, b, 3, padding=1)
        self.steps = nn.Sequential(*[Step(b, 2 ** k, dropout) for k in range(10)])
        self.head = nn.Conv1d(b, 5, 1)

    def forward(self, bands, mean):
        """bands [B, 12 BANDS, T], mean [B, r, T / 4] -> beat, downbeat, strum, up-strum, voice [B, 5, T] logits."""
        x = self.into(bands) + self.slow(mean).repeat_interleave(4, dim=2)
        return self.head(self.steps(x))


class SongNet(nn.Module):
    def __init__(self, c=48, b=16, s=16, r=72, q=28, beat=72, deep=2, dropout=.1):
        super().__init__()
        self.sizes = dict(c=c, b=b, s=s, r=r, q=q, beat=beat, deep=deep)
        self.front, self.back, self.pulse = Front(c, b, s, r, deep), Back(r, q, dropout), Pulse(r, beat, dropout)

    def forward(self, long, short):
        """long [B, T, 252] and short [B, T, 84] as the program compresses them, T a multiple of 4: all answers
        of Back, struck, sounding [B, T, PITCHES], and Pulse's."""
        fold, struck, sounding, bands = self.front(layers(long[:, ::2], STACK_LONG, 3), layers(short, STACK_SHORT, 1))
        chord, bass, fine, low, tones, mean = self.back(fold)
        return chord, bass, fine, low, tones, struck, sounding, self.pulse(bands, mean)


def cost(net, frames=400):
    """Weights, and multiply-adds a fine frame of the convolutions."""
    total = []

    def count(module, _, out):
        per = module.weight[0].numel()
        total.append(out.numel() * per)
    hooks = [m.register_forward_hook(count) for m in net.modules() if isinstance(m, (nn.Conv2d, nn.Conv1d))]
    net.eval()
    with torch.no_grad():
        net(torch.zeros(1, frames, 252), torch.zeros(1, frames, 84))
    for h in hooks:
        h.remove()
    return sum(p.numel() for p in net.parameters()), sum(total) / frames


if __name__ == "__main__":
    net = SongNet()
    for name, part in (("front", net.front), ("back", net.back), ("pulse", net.pulse)):
        print(name, sum(p.numel() for p in part.parameters()))
    weights, per = cost(net)
    print(weights, "weights,", round(per), "multiply-adds a frame,", round(per * 60 * 22050 / 512 / 1e9, 2), "G a minute")
