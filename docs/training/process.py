"""What happens to the sound on its way: amplifier, room, microphone, noise, codec.

All work on mono float samples at 22050 Hz.
"""
from __future__ import annotations

import functools
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

RATE = 22050
WORDS = ("bala", "todun", "mirek", "sowa", "and", "then", "again", "perito", "lun", "kavo", "one", "two",
         "slower", "tune", "riba", "okay", "start", "from", "the", "nembo", "half", "yes")


def loudness(x):
    power = np.convolve(x[::8] ** 2, np.ones(300) / 300, "same")
    return float(np.sqrt(power[power > power.max() * 1e-3].mean() + 1e-12)) if len(x) else 0.0


def band(x, low, high, order=2):
    high = min(high, 0.48 * RATE)
    return signal.sosfilt(signal.butter(order, [low, high], "bandpass", fs=RATE, output="sos"), x)


def amp(rng, x, drive):
    """A valve-like curve on the sum of the strings, oversampled twice, and a loudspeaker."""
    peak = np.percentile(np.abs(x), 99.9) + 1e-9
    up = signal.resample_poly(x / peak, 2, 1) * drive
    bias = rng.uniform(0, 0.2)
    y = signal.resample_poly(np.tanh(up + bias) - np.tanh(bias), 1, 2)
    return band(y, rng.uniform(60, 110), rng.uniform(3000, 6500), 3)


def reverb(rng, x, rt60, wet):
    n = int(rt60 * RATE)
    t = np.arange(n) / RATE
    ir = rng.standard_normal(n) * 10 ** (-3 * t / rt60)
    ir[: int(rng.uniform(0.002, 0.02) * RATE)] = 0
    ir = signal.sosfilt(signal.butter(1, rng.uniform(2000, 8000), fs=RATE, output="sos"), ir)
    for _ in range(int(rng.integers(2, 8))):                 # early echoes
        ir[min(n - 1, int(rng.uniform(0.003, 0.04) * RATE))] += rng.normal(0, 0.2) * np.abs(ir).max() * 4
    ir /= np.sqrt((ir ** 2).sum())
    return (1 - wet) * x + wet * signal.oaconvolve(x, ir)[: len(x)]


def tilt(rng, x):
    """A few broad peaks and dips, and a slope."""
    n = 513
    f = np.maximum(np.linspace(0, RATE / 2, n), 20)
    octave = np.log2(f / 500)
    db = rng.uniform(-3, 3) * octave
    for _ in range(int(rng.integers(1, 6))):
        db = db + rng.uniform(-12, 12) * np.exp(-0.5 * ((octave - rng.uniform(-3, 4)) / rng.uniform(.1, 1)) ** 2)
    fir = signal.firwin2(511, np.linspace(0, 1, n), 10 ** (np.clip(db, -30, 20) / 20))
    return signal.oaconvolve(x, fir, "same")


def noise(rng, n):
    white = rng.standard_normal(n)
    b = rng.uniform(0, 0.98)
    pink = signal.lfilter([1 - b], [1, -b], white)
    y = pink / (pink.std() + 1e-9) + rng.uniform(0, .5) * white
    return y / y.std()


def hum(rng, n):
    hz = float(rng.choice([50, 60]))
    t = np.arange(n) / RATE
    return sum(np.sin(2 * np.pi * hz * k * t + rng.uniform(0, 6)) / k for k in (1, 2, 3, 5, 7))


def compress(rng, x):
    env = np.sqrt(signal.lfilter([0.002], [1, -0.998], x ** 2)) + 1e-4 * np.abs(x).max()
    gain = (env / env.max()) ** -rng.uniform(0.2, 0.6)
    return x * gain


def codec(rng, x):
    name, ending, encoder, rates = [("mp3", "mp3", "libmp3lame", ("32k", "48k", "64k")),
                                    ("aac", "m4a", "aac", ("32k", "48k", "64k")),
                                    ("opus", "ogg", "libopus", ("24k", "32k", "48k"))][rng.integers(3)]
    with tempfile.TemporaryDirectory() as tmp:
        wavfile.write(f"{tmp}/a.wav", RATE, (np.clip(x, -1, 1) * 32767).astype(np.int16))
        run = ["ffmpeg", "-v", "error", "-y", "-threads", "1"]
        subprocess.run(run + ["-i", f"{tmp}/a.wav", "-c:a", encoder, "-b:a", str(rng.choice(rates)), f"{tmp}/a.{ending}"], check=True)
        subprocess.run(run + ["-i", f"{tmp}/a.{ending}", "-ar", str(RATE), "-ac", "1", f"{tmp}/b.wav"], check=True)
        _, y = wavfile.read(f"{tmp}/b.wav")
    y = y.astype(np.float64) / 32768
    m = min(len(x), len(y), RATE * 12)                        # take away the codec's delay
    cc = signal.correlate(y[:m], x[:m], "full", method="fft")[m - 1 - 3000: m + 3000]
    lag = int(np.argmax(cc)) - 3000
    y = y[lag:] if lag > 0 else np.pad(y, (-lag, 0))
    return np.pad(y, (0, max(0, len(x) - len(y))))[: len(x)]


# ---- what else is heard ---------------------------------------------------

@functools.lru_cache(64)
def speech(number: int):
    rng = np.random.default_rng([number, 5])
    text = " ".join(rng.choice(WORDS, 14))
    with tempfile.TemporaryDirectory() as tmp:
        out = f"{tmp}/a.wav"
        voice = str(rng.choice(["en", "en+f2", "en+m3", "en+m7", "en+f4", "de", "es", "it"]))
        subprocess.run(["espeak-ng", "-v", voice, "-s", str(int(rng.integers(120, 190))), "-p", str(int(rng.integers(20, 80))),
                        "-w", out, text], check=True)
        rate, x = wavfile.read(out)
    x = x.astype(np.float64) / 32768
    return signal.resample_poly(x, RATE, rate) if rate != RATE else x


def disturb(rng, what, n):
    """n samples of talk or of noise bursts, loudness about 1."""
    if what == "talk":
        x = np.concatenate([speech(int(rng.integers(60))) for _ in range(1 + n // (RATE * 4))])
        x = np.resize(x, n)
    else:
        x = np.zeros(n)
        for _ in range(int(rng.integers(1, 10))):
            i, m = int(rng.integers(0, n)), int(rng.uniform(0.01, 0.5) * RATE)
            burst = noise(rng, m) * np.exp(-np.arange(m) / (rng.uniform(.005, .2) * RATE)) * rng.uniform(.2, 1)
            x[i:i + m] += burst[: n - i]
    return x / (loudness(x) + 1e-9)


def squeaks(rng, take, x):
    """Fingers sliding and knocking at some changes of chord, added in place."""
    often, level = rng.uniform(.1, .6), 10 ** (rng.uniform(-34, -14) / 20)
    for c in take.chords:
        if rng.random() > often:
            continue
        m = int(rng.uniform(0.03, 0.2) * RATE)
        i = int((c.time - rng.uniform(0, 0.15)) * RATE)
        if i < 0 or i + m >= len(x):
            continue
        low = rng.uniform(300, 2500) if rng.random() < .7 else 60.0
        y = band(rng.standard_normal(m + 200), low, low * rng.uniform(1.3, 3), 2)[200:] * np.hanning(m)
        x[i:i + m] += y / (y.std() + 1e-9) * level


def finish(rng, take, guitar, backing):
    """The whole way from the strings to the file; samples within +-1."""
    x = guitar / (loudness(guitar) + 1e-9)
    drive = None
    if take.texture == "power" and rng.random() < .85:
        drive = float(np.exp(rng.uniform(0.2, 3.2)))
    elif rng.random() < 0.10:
        drive = float(np.exp(rng.uniform(-1, 1.4)))
    if drive:
        x = amp(rng, x, drive)
        x /= loudness(x) + 1e-9
    if backing is not None:
        x = x + backing / (loudness(backing) + 1e-9) * 10 ** (rng.uniform(-12, 3) / 20)
    for start, end, what in take.breaks:
        if what in ("talk", "noise"):
            i, j = int(start * RATE), min(len(x), int(end * RATE))
            if j - i > 1000:
                x[i:j] += disturb(rng, what, j - i) * 10 ** (rng.uniform(-15, 3) / 20)
    if rng.random() < .3:
        squeaks(rng, take, x)
    steps = []
    if rng.random() < .7:
        x = tilt(rng, x); steps.append("eq")
    if rng.random() < .5:
        x = reverb(rng, x, float(np.exp(rng.uniform(np.log(.15), np.log(1.6)))), rng.uniform(.05, .5)); steps.append("room")
    if rng.random() < .10:
        x = band(x, rng.uniform(80, 320), rng.uniform(2800, 7000)); steps.append("band")
    if rng.random() < .2:
        x = compress(rng, x); steps.append("compress")
    level = loudness(x)
    if rng.random() < .55:
        x = x + noise(rng, len(x)) * level * 10 ** (-rng.uniform(15, 50) / 20); steps.append("noise")
    else:
        x = x + noise(rng, len(x)) * level * 10 ** (-rng.uniform(55, 85) / 20)
    if rng.random() < .08:
        x = x + hum(rng, len(x)) * level * 10 ** (-rng.uniform(10, 40) / 20); steps.append("hum")
    x = x / (np.abs(x).max() + 1e-9) * rng.uniform(.3, .98)
    if rng.random() < .07:
        gain = rng.uniform(1.5, 5)
        x = np.clip(x * gain, -1, 1) if rng.random() < .5 else np.tanh(x * gain); steps.append("clip")
    if rng.random() < .18:
        x = codec(rng, x); steps.append("codec")
    return x, steps
