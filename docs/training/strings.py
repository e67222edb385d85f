"""Our own plucked strings: partials of a stiff string, summed as decaying rotors.

Each note is a set of partials k f0 sqrt(1 + B k^2) with two polarizations, shaped by the
place of the pluck, the pick-up or the body, and a decay that grows with frequency.  Every
take draws a new instrument.  (Model: Fletcher and Rossing, The Physics of Musical
Instruments, chapter on plucked strings; from memory.)
"""
from __future__ import annotations

import math

import numpy as np

RATE = 22050
BLOCK = 256


class Character:
    """What sets one guitar's notes apart, drawn for a take.

    On many guitars the upper frets of the thin strings die within tenths of a second and are lost
    in a strum (`loss` in 1/s and `weaker` in dB, both for each octave above A3); on some, nylon
    above all, a plucked string's knock is as loud as its tone (`knock`, linear, of the note's
    peak).  Common practice, no source.
    """

    def __init__(self, rng=None, often=.6, knocks=0.):
        self.loss = self.weaker = self.knock = 0.0
        if rng is not None and rng.random() < often:
            self.loss = math.exp(rng.uniform(math.log(.4), math.log(9)))
            self.weaker = rng.uniform(-2, 8)
        if knocks and rng.random() < knocks:
            self.knock = 10 ** (rng.uniform(-26, 0) / 20)
            self.hz = math.exp(rng.uniform(math.log(120), math.log(2500)))
            self.knock_time = math.exp(rng.uniform(math.log(.003), math.log(.015)))

    def at(self, midi):
        """Further decay (1/s) and gain (linear) of a note."""
        octaves = max(0, midi - 57) / 12
        return self.loss * octaves, 10 ** (-self.weaker * octaves / 20)

    def struck(self, rng, y):
        """A note with its knock, changed in place."""
        if self.knock:
            n = min(len(y), int(6 * self.knock_time * RATE))
            t = np.arange(n) / RATE
            hz = self.hz * rng.uniform(.8, 1.25)
            tone = np.cos(2 * np.pi * hz * t + rng.uniform(0, 6.3)) + .5 * rng.standard_normal(n)
            y[:n] += tone * np.exp(-t / self.knock_time) * self.knock * np.abs(y[:int(.05 * RATE)]).max()
        return y


class Instrument:
    def __init__(self, rng, character=None):
        self.rng = rng
        shares = [.40, .22, .28, .10] if character is None else [.34, .34, .22, .10]
        self.kind = kind = str(rng.choice(["steel", "nylon", "electric", "hollow"], p=shares))
        self.character = character or Character()
        self.stiffness = 10 ** rng.uniform(-4.9, -3.8, 6) * np.array([1.6, 1.3, 1.1, 1.0, .8, .7])
        if kind == "nylon":
            self.stiffness *= 0.4
        self.place = rng.uniform(0.06, 0.35)                 # of the open string, from the bridge
        self.pickup = rng.uniform(0.06, 0.28)
        self.slope = rng.uniform(0.4, 1.5) + (0.3 if kind == "nylon" else 0)
        self.corner = math.exp(rng.uniform(math.log(900), math.log(6500))) * (0.6 if kind == "nylon" else 1)
        self.sustain = math.exp(rng.uniform(math.log(2.5), math.log(14))) * (0.6 if kind == "nylon" else 1)
        self.loss1 = 10 ** rng.uniform(-4.2, -3.0)           # 1/s per Hz
        self.loss2 = 10 ** rng.uniform(-7.6, -6.4)           # 1/s per Hz^2
        self.beat_cents = abs(rng.normal(0, 1.2))
        self.second = rng.uniform(0.1, 0.9)
        self.second_loss = rng.uniform(1.0, 4.0)
        self.click = 10 ** (rng.uniform(-46, -16) / 20)
        self.click_hz = math.exp(rng.uniform(math.log(500), math.log(6000)))
        self.release = rng.uniform(0.012, 0.07)
        self.attack = rng.uniform(0.0005, 0.006)
        self.ragged = rng.uniform(0, 4)                      # dB, partial to partial
        self.glide = abs(rng.normal(0, 4)) * (rng.random() < .5)   # cents sharp when struck
        self.tuning = np.clip(rng.normal(0, 2.5, 6), -6, 6)
        self.balance = rng.normal(0, 2.0, 6)
        depth = {"steel": 7, "nylon": 7, "hollow": 5, "electric": 1.5}[kind]
        n = 30
        self.modes = np.concatenate([[rng.uniform(85, 125), rng.uniform(170, 250), rng.uniform(330, 480)],
                                     np.exp(rng.uniform(math.log(150), math.log(6000), n))])
        self.mode_gain = np.concatenate([rng.uniform(2, 9, 3), rng.normal(0, 1, n) * depth]) * (depth / 7)
        self.mode_width = np.concatenate([rng.uniform(.08, .2, 3), rng.uniform(.015, .25, n)])
        self.mute_time = rng.uniform(0.06, 0.3)

    def body(self, f):
        """Gain of the body or the amplifier's tone controls at f (Hz), linear."""
        d = np.log(np.maximum(f, 20)[:, None] / self.modes) / self.mode_width
        db = (self.mode_gain * np.exp(-0.5 * d ** 2)).sum(1)
        if self.kind != "electric":
            db = db - 12 * np.maximum(0, np.log2(95 / np.maximum(f, 20)))
        return 10 ** (np.clip(db, -25, 20) / 20)

    def note(self, midi, string, open_midi, velocity, seconds, muted, cents):
        """Samples, and how long it takes to fall by 35 dB (s)."""
        rng = self.rng
        s = string if string is not None else 2
        bent = self.tuning[s] + cents + rng.normal(0, 1)
        f0 = 440 * 2 ** ((midi - 69 + bent / 100) / 12)
        shorter = 2 ** ((midi - open_midi) / 12)             # open length / sounding length
        stiff = min(self.stiffness[s] * shorter ** 2, 2e-3)
        k = np.arange(1, max(2, int(min(60, 9800 / f0))) + 1)
        f = k * f0 * np.sqrt(1 + stiff * k ** 2)
        keep = f < 10200
        k, f = k[keep], f[keep]
        v = velocity / 127
        place = np.clip(self.place * rng.uniform(0.85, 1.15) * shorter, 0.02, 0.5)
        amp = np.abs(np.sin(np.pi * k * place)) / k ** self.slope
        amp *= 1 / np.sqrt(1 + (f / (self.corner * (0.35 + v))) ** 4)
        if self.kind == "electric":
            amp *= np.abs(np.sin(np.pi * k * min(0.5, self.pickup * shorter))) + 0.03
        amp *= self.body(f) * 10 ** (rng.normal(0, self.ragged, len(k)) / 20)
        faster, treble_gain = self.character.at(midi)
        loss = 6.9 / (self.sustain / shorter ** 0.5) + self.loss1 * f + self.loss2 * f ** 2 + faster
        if muted:
            loss = loss + 6.9 / self.mute_time + 0.01 * f
            amp = amp / (1 + (f / 900) ** 2)
        beat = 2 ** (self.beat_cents * rng.uniform(.5, 1.5) / 1200) - 1
        f_all = np.concatenate([f, f * (1 + beat)])
        loss_all = np.concatenate([loss, loss * self.second_loss])
        phase = np.exp(1j * rng.uniform(-0.6, 0.6, len(f_all)))
        amp_all = np.concatenate([amp, amp * self.second]) * phase
        y = rotors(f_all, loss_all, amp_all, int(seconds * RATE) + 1)
        if self.glide > 1 and not muted:
            n = len(y)
            t = np.arange(n) / RATE
            late = (2 ** (self.glide * v / 1200) - 1) * 0.12 * (1 - np.exp(-t / 0.12))
            y = np.interp(t + late, t, y)
        ramp = max(2, int(self.attack * RATE))
        y[:ramp] *= np.linspace(0, 1, ramp)
        n = min(len(y), int(0.03 * RATE))
        noise = rng.standard_normal(n) * np.exp(-np.arange(n) / (0.004 * RATE))
        a = math.exp(-2 * math.pi * self.click_hz / RATE)
        noise = np.convolve(noise, (1 - a) * a ** np.arange(24))[:n]
        level = np.abs(y[: int(.05 * RATE)]).max() + 1e-9
        y[:n] += noise * level * self.click * 4
        # what is heard falls with the energy-weighted loss of the partials
        env_t = np.linspace(0, 12, 241)
        energy = ((amp ** 2)[:, None] * np.exp(-2 * np.outer(loss, env_t))).sum(0)
        fallen = np.nonzero(energy < energy[0] * 10 ** -3.5)[0]
        gain = v ** 1.6 * 10 ** (self.balance[s] / 20) / np.sqrt((np.abs(amp) ** 2).sum() + 1e-12)
        gain *= (1 + 0.15 * (60 - midi) / 24) * treble_gain
        self.character.struck(rng, y)
        return y * gain, float(env_t[fallen[0]]) if len(fallen) else 12.0


def rotors(f, loss, amp, n):
    """sum of amp exp((-loss + 2 pi i f) t), real part, through two matrix products."""
    step = (-loss + 2j * np.pi * f) / RATE
    inner = np.exp(np.outer(step, np.arange(BLOCK))).astype(np.complex64)
    outer = np.exp(np.outer(np.arange(-(-n // BLOCK)) * BLOCK, step)) * amp
    outer = outer.astype(np.complex64)
    y = outer.real @ inner.real - outer.imag @ inner.imag
    return y.reshape(-1)[:n].astype(np.float64)


def play(rng, take, character=None):
    """The guitar's samples, and for each note the time (s) after which it is too faint."""
    inst = Instrument(rng, character)
    out = np.zeros(int((take.end + 0.5) * RATE))
    faint = []
    for on, off, midi, velocity, string, muted in take.notes:
        tail = inst.release * 5
        length = min(off - on, 9.0) + tail
        open_midi = take.opens[string] if string is not None else midi
        y, fall = inst.note(midi, string, open_midi, velocity, length, muted, take.detune_cents)
        cut = int(min(off - on, 9.0) * RATE)
        if cut < len(y):
            y[cut:] *= np.exp(-np.arange(len(y) - cut) / (inst.release * RATE))
        i = int(on * RATE)
        y = y[: len(out) - i]
        out[i:i + len(y)] += y
        faint.append(on + fall)
    return out, faint, f"own-{inst.kind}"
