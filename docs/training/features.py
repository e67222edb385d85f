"""The net's input: two log-frequency spectra per frame, and their packing as bytes.

Sound: mono (mean of the channels) at 22050 Hz.  Frame t is centred on sample 1024 t; the
ends are padded with zeros.  One real FFT of 8192 samples a frame; every bin is the inner
product with a complex exponential under a Hann window of N_k samples centred in the frame,
scaled so that a sine of amplitude 1 has magnitude 1.

    long   36 bins an octave from C1 (32.70319566 Hz), 252 bins, N_k = even(min(8192, 36 fs/f))
    short  12 bins an octave from C1,  84 bins, N_k = even(min(2730, max(12 fs/f, 256)))

even() rounds down to a whole number, then up to an even one.  Both carry a margin of further
bins on either side (14 and 5), which training uses for transposition and the net never sees.
The live net reads the same bins with every window at the END of the frame instead of its
middle (`end=True`): what it knows of the last moment does not wait for the longest window.

Kernels are kept in the frequency domain; entries below 0.004 of their row's largest are
dropped.
"""
from __future__ import annotations

import functools

import numpy as np
import scipy.fft
import scipy.sparse as sparse
from scipy import signal
from scipy.io import wavfile

RATE, HOP, SIZE = 22050, 1024, 8192
C1 = 32.70319566
LONG = {"bins": 252, "margin": 14, "per_octave": 36}
SHORT = {"bins": 84, "margin": 5, "per_octave": 12}
DB_STEP, DB_LOW, DB_HIGH = 1.5, -80.0, 10.0           # byte b stands for b * DB_STEP + DB_LOW


def even(x: float) -> int:
    n = int(x)
    return n + n % 2


def window_length(kind, f):
    return even(min(8192, 36 * RATE / f)) if kind is LONG else even(min(2730, max(12 * RATE / f, 256)))


def rows(kind, end=False):
    out = []
    for k in range(-kind["margin"], kind["bins"] + kind["margin"]):
        f = C1 * 2 ** (k / kind["per_octave"])
        n = window_length(kind, f)
        m = np.arange(n)
        window = 0.5 - 0.5 * np.cos(2 * np.pi * m / n)       # periodic Hann
        window *= 2 / window.sum()
        atom = np.zeros(SIZE, complex)
        at = SIZE - n if end else SIZE // 2 - n // 2
        atom[at:at + n] = window * np.exp(2j * np.pi * f / RATE * (m - n // 2))
        row = np.conj(np.fft.fft(atom))[: SIZE // 2 + 1] / SIZE
        row[np.abs(row) < 0.004 * np.abs(row).max()] = 0
        out.append(sparse.csr_matrix(row.astype(np.complex64)))
    return out


@functools.lru_cache(2)
def kernel(end=False):
    return sparse.vstack(rows(LONG, end) + rows(SHORT, end)).tocsr()


def spectra(x, end=False):
    """(long [T, 280], short [T, 94]) magnitudes, margins included."""
    x = np.pad(np.asarray(x, np.float32), SIZE // 2)
    count = (len(x) - SIZE) // HOP + 1
    frames = np.lib.stride_tricks.sliding_window_view(x, SIZE)[::HOP][:count]
    k = kernel(end)
    out = np.empty((count, k.shape[0]), np.float32)
    for a in range(0, count, 128):
        out[a:a + 128] = np.abs(k @ scipy.fft.rfft(frames[a:a + 128], axis=1).T).T
    split = LONG["bins"] + 2 * LONG["margin"]
    return out[:, :split], out[:, split:]


def load(path):
    """A WAV file (44.1 or 22.05 kHz) as mono at 22050 Hz."""
    rate, x = wavfile.read(path)
    x = x.astype(np.float64) / (32768 if x.dtype == np.int16 else 1)
    if x.ndim > 1:
        x = x.mean(1)
    if rate == 44100:
        x = signal.resample_poly(x, 1, 2)
    elif rate != RATE:
        raise SystemExit(f"{path}: rate {rate}, expected 44100 or 22050")
    return x


def to_bytes(long, short):
    """Decibels below the take's level (99th percentile of the frames' largest long bin)."""
    level = np.percentile(long.max(1), 99) + 1e-9
    both = np.concatenate([long, short], 1) / level
    db = np.clip(20 * np.log10(both + 1e-6), DB_LOW, DB_HIGH)
    return np.round((db - DB_LOW) / DB_STEP).astype(np.uint8)
