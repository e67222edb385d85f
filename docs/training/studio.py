"""Events to sound, as a room and a microphone give it, and sound to the net's input.

`Bank` says which clip plays which note; `pack` turns a piece into rows; `Studio` renders a batch
on a torch device: on an accelerator by a kernel that plays all events at once, on a processor
event by event. What a batch sounds like is drawn anew each time.
"""
from __future__ import annotations

import math
from functools import partial

import numpy as np
import torch

import features
from music import BASS, DRUM, GUITAR, LEAD, NOISE, SECONDS
from truth import FRAMES, HOP, RATE

try:
    import triton
    import triton.language as tl
except ImportError:                                # a processor alone
    triton = None

N = FRAMES * HOP
SYNTHS, VOICES, NOISES = 112, 24, 24
SYNTH_KEYS, VOICE_KEYS = list(range(38, 90, 2)), list(range(46, 86, 3))
SYNTH_LENGTH, VOICE_LENGTH, NOISE_LENGTH = 52920, 39690, 4410


class Bank:
    """Which clip plays which note of which instrument: recorded ones from bank.py's file, then those made here."""

    def __init__(self, path):
        z = np.load(path)
        self.sound, names = z["sound"], [str(x) for x in z["names"]]
        rows = [tuple(int(v) for v in r) for r in z["index"]]
        at = len(self.sound)
        self.synth_at = at
        for k in range(SYNTHS):
            names.append(f"guitar-own-{k}")
            for key in SYNTH_KEYS:
                rows.append((len(names) - 1, key, at, SYNTH_LENGTH))
                at += SYNTH_LENGTH
        self.voice_at = at
        for k in range(VOICES):
            names.append(f"voice-own-{k}")
            for key in VOICE_KEYS:
                rows.append((len(names) - 1, key, at, VOICE_LENGTH))
                at += VOICE_LENGTH
        self.noise_at = at
        names.append("noise")
        for k in range(NOISES):
            rows.append((len(names) - 1, k, at, NOISE_LENGTH))
            at += NOISE_LENGTH
        self.total, self.names = at, names
        lut = np.zeros((len(names), 128, 3), np.int64)      # first sample, samples, key
        for i in range(len(names)):
            mine = [r for r in rows if r[0] == i]
            keys = np.array([r[1] for r in mine])
            for m in range(128):
                r = mine[int(np.argmin(np.abs(keys - m)))]
                lut[i, m] = r[2], r[3], r[1]
        self.lut = lut
        pick = lambda *starts: [i for i, n in enumerate(names) if n.startswith(starts)]
        rough = lambda i: any(w in names[i] for w in ("mute", "drive", "distortion"))
        self.clean = [i for i in pick("guitar-fluid", "guitar-score", "guitar-patches") if not rough(i)]
        self.real = pick("guitar-real") or self.clean
        self.dirty = [i for i in pick("guitar") if "drive" in names[i] or "distortion" in names[i]]
        self.own, self.basses, self.drums = pick("guitar-own"), pick("bass"), pick("drums")
        self.leads, self.voices = pick("lead"), pick("voice-own", "voice-fluid", "voice-score")
        self.sung, self.noise = pick("voice-sung") or pick("voice-own"), pick("noise")[0]


def pack(p, bank, take):
    """A piece's rows: ints (out, length, held, clip, its length, take), floats (rate, gain, tau, bend, bend at, vibrato, w); and the drive."""
    r = p.r
    e = np.array(p.events, np.float64)
    e = e[(e[:, 0] < SECONDS) & (e[:, 1] > 0)]
    drive = 0.0
    if p.style == "power":
        guitar = r.choice(bank.dirty)
        if r.random() > .6:
            guitar, drive = r.choice(bank.clean + bank.own), r.uniform(3, 30)
    elif r.random() < .05:
        guitar = r.choice(bank.dirty)
    else:
        which = r.random()
        guitar = r.choice(bank.clean if which < .36 else bank.real if which < .52 else bank.own)
        if r.random() < .06:
            drive = r.uniform(1, 6)
    what = r.random()
    p.sung = what < .8
    lead = r.choice(bank.sung if what < .45 else bank.voices if what < .8 else bank.leads)
    inst = {GUITAR: guitar, BASS: r.choice(bank.basses), DRUM: r.choice(bank.drums), LEAD: lead, NOISE: bank.noise}
    kind = e[:, 2].astype(int)
    ins = np.array([inst[k] for k in range(5)])[kind]
    tonal = (kind == GUITAR) | (kind == BASS) | (kind == LEAD)
    midi = e[:, 3]
    row = bank.lut[ins, np.clip(np.round(midi).astype(int), 0, 127)]
    rate = np.where(tonal, 2 ** ((midi - row[:, 2]) / 12), 1.0) * np.where(kind == NOISE, p.np.uniform(.7, 1.5, len(e)), 1)
    release = {GUITAR: r.uniform(.008, .06), BASS: .03, DRUM: .3, LEAD: .04, NOISE: .1}
    tau = np.array([release[k] for k in range(5)])[kind]
    held = np.maximum(e[:, 1] - e[:, 0], .01)
    length = np.minimum((held + 5 * tau) * RATE, (row[:, 1] - 2) / rate / 1.1)
    ints = np.stack([np.round(e[:, 0] * RATE), length, held * RATE, row[:, 0], row[:, 1], np.full(len(e), take)], 1).astype(np.int64)
    bend = np.where(e[:, 5] != 0, 2 ** (e[:, 5] / 12) - 1, 0)
    w = 2 * math.pi * e[:, 8] / RATE
    vib = 2 ** (e[:, 7] / 1200) - 1
    floats = np.stack([rate, e[:, 4], tau * RATE, bend, np.maximum(0, (e[:, 6] - e[:, 0]) * RATE), vib, w], 1).astype(np.float32)
    floats[kind == GUITAR, 1] *= .5
    # on many guitars the high frets are weaker than the rest (common practice, no source)
    weaker = r.uniform(0, 6) if r.random() < .4 else 0
    floats[kind == GUITAR, 1] *= 10 ** (-weaker * np.maximum(0, midi[kind == GUITAR] - 57) / 12 / 20)
    return ints, floats, drive


if triton is not None:
    @triton.jit
    def play_kernel(out, sound, ints, floats, n, BLOCK: tl.constexpr):
        e = tl.program_id(0)
        i = tl.program_id(1) * BLOCK + tl.arange(0, BLOCK)
        length = tl.load(ints + e * 6 + 1)
        if tl.program_id(1) * BLOCK < length:
            start = tl.load(ints + e * 6)
            held = tl.load(ints + e * 6 + 2).to(tl.float32)
            offset = tl.load(ints + e * 6 + 3)
            size = tl.load(ints + e * 6 + 4)
            take = tl.load(ints + e * 6 + 5)
            rate = tl.load(floats + e * 7)
            gain = tl.load(floats + e * 7 + 1)
            tau = tl.load(floats + e * 7 + 2)
            bend = tl.load(floats + e * 7 + 3)
            bend_at = tl.load(floats + e * 7 + 4)
            vib = tl.load(floats + e * 7 + 5)
            w = tl.load(floats + e * 7 + 6)
            t = i.to(tl.float32)
            pos = t + bend * tl.maximum(t - bend_at, 0.0) + vib / tl.maximum(w, 1e-6) * (1.0 - tl.cos(w * t))
            pos = pos * rate
            k = pos.to(tl.int32)
            f = pos - k.to(tl.float32)
            ok = (i < length) & (k >= 0) & (k < size - 1)
            a = tl.load(sound + offset + k, mask=ok, other=0.0).to(tl.float32)
            b = tl.load(sound + offset + k + 1, mask=ok, other=0.0).to(tl.float32)
            env = tl.exp(-tl.maximum(t - held, 0.0) / tau)
            y = (a + f * (b - a)) * gain * env
            o = start + i
            tl.atomic_add(out + take * n + o, y, mask=ok & (o >= 0) & (o < n))


def play_slowly(out, sound, ints, floats):
    """What the kernel does, event by event."""
    for row, f in zip(ints.tolist(), floats.tolist()):
        start, length, held, offset, size, take = row
        rate, gain, tau, bend, bend_at, vib, w = f
        first = max(0, -start)
        last = min(length, N - start)
        if last <= first:
            continue
        t = torch.arange(first, last, dtype=torch.float32)
        pos = (t + bend * (t - bend_at).clamp(min=0) + vib / max(w, 1e-6) * (1 - torch.cos(w * t))) * rate
        k = pos.long()
        ok = (k >= 0) & (k < size - 1)
        part = pos - k
        k = k.clamp(0, size - 2)
        a, b = sound[offset + k].float(), sound[offset + k + 1].float()
        y = (a + part * (b - a)) * gain * torch.exp(-(t - held).clamp(min=0) / tau) * ok
        out[take, start + first:start + last] += y


class Studio:
    def __init__(self, bank, device, seed=1):
        self.bank, self.d = bank, torch.device(device)
        torch.manual_seed(seed)
        # a processor has no need of the made instruments' memory at once, but the same code is worth more
        s = torch.zeros(bank.total, dtype=torch.float16, device=self.d)
        s[:len(bank.sound)] = torch.from_numpy(bank.sound.astype(np.float16) / np.float16(32000)).to(self.d)
        self.sound = s
        self.unmade = {}                                        # first sample: what makes the clip there
        self.make_strings()
        self.make_voices()
        self.make_noises()
        if self.d.type == "cuda":
            self.make(list(self.unmade))
        self.kernel = self.kernels()

    def make(self, firsts):
        """Makes the clips that begin at these samples, if nobody did: on a processor only what is played."""
        for first in firsts:
            if first in self.unmade:
                self.unmade.pop(first)()

    # ---- instruments made here
    def make_strings(self):
        """Stiff plucked strings: decaying partials shaped by pluck place, pick-up and body (Fletcher and
        Rossing, The Physics of Musical Instruments, chapter on plucked strings; from memory)."""
        rng, at = np.random.default_rng(7), self.bank.synth_at
        for _ in range(SYNTHS):
            kind = rng.choice(["steel", "nylon", "electric"], p=[.42, .33, .25])
            stiff = 10 ** rng.uniform(-5, -3.8) * (.4 if kind == "nylon" else 1)
            place, pickup = rng.uniform(.06, .35), rng.uniform(.06, .28)
            slope = rng.uniform(.4, 1.6) + (.3 if kind == "nylon" else 0)
            corner = math.exp(rng.uniform(math.log(900), math.log(6500)))
            sustain = math.exp(rng.uniform(math.log(1.2), math.log(8))) * (.6 if kind == "nylon" else 1)
            l1, l2, loss = 10 ** rng.uniform(-4.0, -2.8), 10 ** rng.uniform(-7.4, -6.3), rng.uniform(0, 6) * (rng.random() < .7)
            body = [(math.exp(rng.uniform(math.log(80), math.log(1200))), rng.uniform(-8, 10), rng.uniform(.06, .4)) for _ in range(8)]
            click, ctime = 10 ** (rng.uniform(-45, -10) / 20), rng.uniform(.002, .015)
            attack = rng.uniform(.0005, .006)
            how = kind, stiff, place, pickup, slope, corner, sustain, l1, l2, loss, body, click, ctime, attack
            for key in SYNTH_KEYS:
                self.unmade[at] = partial(self.string, at, key, how, rng.uniform(.1, .8), 10 ** (rng.normal(0, 1) / 20))
                at += SYNTH_LENGTH

    def string(self, at, key, how, second, level):
        """One note of a string, into the bank."""
        kind, stiff, place, pickup, slope, corner, sustain, l1, l2, loss, body, click, ctime, attack = how
        d = self.d
        t = torch.arange(SYNTH_LENGTH, device=d) / RATE
        k = torch.arange(1, 41, device=d).float()[:, None]
        f0 = 440 * 2 ** ((key - 69) / 12)
        f = k * f0 * torch.sqrt(1 + stiff * k * k)
        amp = k ** -slope * torch.abs(torch.sin(math.pi * k * place)) / (1 + (f / corner) ** 2)
        if kind == "electric":
            amp = amp * torch.abs(torch.sin(math.pi * k * pickup)) * k ** .5
        db = sum(g * torch.exp(-(torch.log2(f / c) / wd) ** 2) for c, g, wd in body)
        amp = amp * 10 ** (db / 20) * 10 ** (torch.randn_like(f) * 2.5 / 20) * (f < 10500)
        rate = 1 / sustain + l1 * f + l2 * f * f + loss * max(0, key - 57) / 12 * .5
        phase = torch.rand_like(f) * 6.283
        y = (amp * torch.exp(-rate * t) * torch.sin(6.2831853 * f * t + phase)).sum(0)
        y2 = (amp * torch.exp(-rate * 2.5 * t) * torch.sin(6.2831853 * f * 1.0006 * t)).sum(0)
        y = (y + second * y2) * (1 - torch.exp(-t / attack))
        y = y / y.abs().max()
        y = y + click * torch.randn_like(y) * torch.exp(-t / ctime)
        y[-600:] *= torch.linspace(1, 0, 600, device=d)
        self.sound[at:at + SYNTH_LENGTH] = (y / y.abs().max() * level).clamp(-2, 2).half()

    def make_voices(self):
        """Voices on held notes: partials under formants that move from one vowel to another."""
        rng, at = np.random.default_rng(8), self.bank.voice_at
        vowels = [(300, 870, 2240), (730, 1090, 2440), (530, 1840, 2480), (270, 2290, 3010), (570, 840, 2410), (490, 1350, 1690)]
        # vowels: first three formants, Hz (Peterson and Barney, JASA 24, 1952; from memory)
        for _ in range(VOICES):
            size = rng.uniform(.9, 1.2)
            breath = 10 ** (rng.uniform(-40, -18) / 20)
            for key in VOICE_KEYS:
                vowel = vowels[rng.integers(6)], vowels[rng.integers(6)], rng.uniform(.1, 1.2), rng.uniform(.02, .2)
                burst = (int(rng.uniform(.02, .09) * RATE), rng.uniform(.05, .4)) if rng.random() < .5 else (0, 0)
                self.unmade[at] = partial(self.sung, at, key, size, breath, vowel, rng.uniform(.01, .06), burst)
                at += VOICE_LENGTH

    def sung(self, at, key, size, breath, vowel, rise, burst):
        """One held note of a voice, into the bank."""
        d = self.d
        one, two, turn, how_fast = vowel
        t = torch.arange(VOICE_LENGTH, device=d) / RATE
        k = torch.arange(1, 49, device=d).float()[:, None]
        x = (torch.sigmoid((t - turn) / how_fast))[None]
        f = k * 440 * 2 ** ((key - 69) / 12)
        env = .01
        for j, (w, g) in enumerate(((90, 0), (120, -4), (160, -10))):
            center = (one[j] + (two[j] - one[j]) * x) * size
            env = env + 10 ** (g / 20) / (1 + ((f - center) / w) ** 2)
        env = env + 10 ** (-14 / 20) / (1 + ((f - 3500 * size) / 250) ** 2)
        y = (env / k ** .7 * (f < 10000) * torch.sin(6.2831853 * f * t + torch.rand_like(f) * 6.28)).sum(0)
        y = y / y.abs().max() * (1 - torch.exp(-t / rise))
        y = y + breath * torch.randn_like(y)
        n, loud = burst
        y[:n] += torch.randn(n, device=d) * loud
        self.sound[at:at + VOICE_LENGTH] = (y * .7).half()

    def make_noises(self):
        """Knocks, pick and fret noise."""
        rng = np.random.default_rng(9)
        at = self.bank.noise_at
        for _ in range(NOISES):
            y = rng.standard_normal(NOISE_LENGTH)
            c, w = math.exp(rng.uniform(math.log(120), math.log(5000))), rng.uniform(.3, 1.5)
            f = np.fft.rfftfreq(NOISE_LENGTH, 1 / RATE) + 1
            y = np.fft.irfft(np.fft.rfft(y) * np.exp(-(np.log2(f / c) / w) ** 2), NOISE_LENGTH)
            y *= np.exp(-np.arange(NOISE_LENGTH) / RATE / math.exp(rng.uniform(math.log(.004), math.log(.05))))
            self.sound[at:at + NOISE_LENGTH] = torch.from_numpy((y / np.abs(y).max()).astype(np.float16)).to(self.d)
            at += NOISE_LENGTH

    # ---- sound
    def render(self, ints, floats, drive, takes):
        """[takes, N] samples as a microphone heard them."""
        out = torch.zeros(takes, N, device=self.d)
        if self.d.type == "cuda" and triton is not None:
            grid = (len(ints), (int(ints[:, 1].max()) + 1023) // 1024)
            play_kernel[grid](out, self.sound, ints.to(self.d), floats.to(self.d), N, BLOCK=1024)
        else:
            self.make(ints[:, 3].unique().tolist())
            play_slowly(out, self.sound, ints, floats)
        return self.room(out, drive.to(self.d))

    def room(self, x, drive):
        """Drive, equalizer, room, compression, noise, hum, clipping: drawn for each take."""
        b, d = len(x), self.d
        x = x / (x.pow(2).mean(1, keepdim=True).sqrt() + 1e-6) * .1
        u = lambda low, high: torch.rand(b, 1, device=d) * (high - low) + low
        flag = lambda p: (torch.rand(b, 1, device=d) < p).float()
        g = drive[:, None]
        x = torch.where(g > 0, torch.tanh(x * 10 * g) * .1, x)
        n = 655360
        f = torch.fft.rfftfreq(n, 1 / RATE, device=d)[None] + 1
        octave = torch.log2(f / 400)
        db = u(-2.5, 1.5) * octave.clamp(-3.5, 4)
        for _ in range(7):
            c, w, a = u(-2.8, 4), 10 ** u(-1.0, .2), torch.randn(b, 1, device=d) * 4.5
            db = db + a * torch.exp(-((octave - c) / w) ** 2)
        phone = flag(.18)                                        # a telephone: no low end, no top
        low = torch.where(phone > 0, u(120, 320), 10 ** u(1.4, 2.35))
        high = torch.where(phone > 0, u(2800, 7000), 10 ** u(3.35, 4.1))
        eq = 10 ** (db.clamp(-35, 25) / 20) / torch.sqrt(1 + (low / f) ** 4) / torch.sqrt(1 + (f / high) ** 6)
        m = 32768
        t = torch.arange(m, device=d)[None] / RATE
        ir = torch.randn(b, m, device=d) * torch.exp(-6.9 * t / 10 ** u(-1.1, .15)) * (t > u(.001, .02))
        ir = ir / (ir.pow(2).sum(1, keepdim=True).sqrt() + 1e-9) * 10 ** (u(-32, 2) / 20) * flag(.8)
        ir[:, 0] += 1
        y = torch.fft.irfft(torch.fft.rfft(x, n) * torch.fft.rfft(ir, n) * eq, n)[:, :N]
        y = y / (y.pow(2).mean(1, keepdim=True).sqrt() + 1e-6) * .1
        env = torch.nn.functional.avg_pool1d(y.pow(2)[:, None], 2048, 2048, ceil_mode=True)[:, 0].sqrt()
        env = torch.nn.functional.interpolate(env[:, None], N, mode="linear")[:, 0]
        y = y / (env + .01) ** (u(0, .6) * flag(.35))            # compression
        noise = torch.randn(b, N, device=d)
        soft = torch.nn.functional.avg_pool1d(noise[:, None], 9, 1, 4)[:, 0] * 3
        k = flag(.5)
        y = y + (k * noise + (1 - k) * soft) * .1 * 10 ** (u(-75, -22) / 20)
        time = torch.arange(N, device=d)[None] / RATE
        hum = torch.sin(6.2832 * 50 * time) + .4 * torch.sin(6.2832 * 150 * time) + .3 * torch.sin(6.2832 * 100 * time)
        y = y + hum * flag(.1) * .1 * 10 ** (u(-50, -20) / 20)
        top = y.abs().amax(1, keepdim=True)
        limit = top * torch.where(flag(.12) > 0, u(.3, .8), torch.ones(b, 1, device=d))
        return torch.maximum(torch.minimum(y, limit), -limit)

    # ---- the net's input
    def kernels(self):
        """features.py's kernels without margins as a matrix of bins: a window centered in the frame makes them real."""
        k = features.kernel().toarray()
        m, s = features.LONG["margin"], features.SHORT["margin"]
        width = features.LONG["bins"] + 2 * m
        k = np.concatenate([k[m:width - m], k[width + s:len(k) - s]])
        worst = np.abs(k.imag).max() / np.abs(k.real).max()
        assert worst < 1e-3, worst
        return torch.from_numpy(np.ascontiguousarray(k.real.T).astype(np.float32)).to(self.d)

    def magnitudes(self, y):
        """[takes, FRAMES, 252 + 84] magnitudes of both spectra, a frame each HOP samples."""
        out = []
        for part in y.split(4):
            frames = torch.nn.functional.pad(part, (features.SIZE // 2, features.SIZE // 2)).unfold(1, features.SIZE, HOP)[:, :FRAMES]
            z = torch.fft.rfft(frames)
            real, imag = z.real @ self.kernel, z.imag @ self.kernel
            out.append(torch.sqrt(real * real + imag * imag))
        return torch.cat(out)

    def input(self, y):
        """Long [takes, FRAMES, 252] and short [takes, FRAMES, 84], compressed as the program does."""
        x = self.magnitudes(y)
        peaks = x[:, :, :252].amax(2)
        p = torch.quantile(peaks, .97, dim=1)[:, None, None] + 1e-9
        x = torch.log1p(100 * x / p) / math.log(101)
        return x[:, :, :252], x[:, :, 252:]
