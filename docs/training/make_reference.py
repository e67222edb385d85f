"""Writes reference/: a short strum of our own strings and what features.py makes of it.

    python3 make_reference.py [NAME.onnx]

strum.wav is 44.1 kHz, mono, 16 bit; features.json has the unquantised magnitudes (margins
left out) of a few frames; with a net, outputs.json has its outputs for the same take.
"""
from __future__ import annotations

import json
import math
import sys
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

import features
import strings

HERE = Path(__file__).resolve().parent / "reference"
SHAPE = ((40, 0), (45, 2), (50, 2), (55, 1), (59, 0), (64, 0))        # E major, open
FRAMES = [0, 3, 6, 9, 14, 20, 27]


def strum():
    rng = np.random.default_rng(7)
    inst = strings.Instrument(rng)
    x = np.zeros(int(1.4 * strings.RATE))
    for k, (low, fret) in enumerate(SHAPE):
        y, _ = inst.note(low + fret, k, low, 90, 1.2, False, 0.0)
        i = int((0.12 + 0.015 * k) * strings.RATE)
        x[i:i + len(y)] += y[: len(x) - i]
    x = signal.resample_poly(x, 2, 1)
    return np.round(x / np.abs(x).max() * 0.7 * 32767).astype(np.int16)


def inputs(long, short):
    """The net's two inputs from magnitudes without margins (peak: 97th percentile over time)."""
    peak = np.percentile(long.max(1), 97) + 1e-9
    return [np.log1p(100 * m / peak).astype(np.float32) / math.log(101) for m in (long, short)]


def spectra(path):
    long, short = features.spectra(features.load(path))
    return long[:, 14:266], short[:, 5:89]


def main():
    HERE.mkdir(exist_ok=True)
    path = HERE / "strum.wav"
    if not path.exists():
        wavfile.write(path, 44100, strum())
    long, short = spectra(path)
    numbers = lambda v: [float(f"{u:.4g}") for u in v]
    (HERE / "features.json").write_text(json.dumps({
        "wav": "strum.wav", "rate": 22050, "hop": 1024, "frame_count": len(long), "frames": FRAMES,
        "long": [numbers(long[t]) for t in FRAMES], "short": [numbers(short[t]) for t in FRAMES]}) + "\n")
    if len(sys.argv) > 1:
        import onnxruntime
        net = onnxruntime.InferenceSession(sys.argv[1])
        xl, xs = inputs(long, short)
        out = net.run(None, {"long": xl[None], "short": xs[None]})
        names = ["chord", "bass", "tones", "struck", "sounding"]
        (HERE / "outputs.json").write_text(json.dumps({
            "wav": "strum.wav", "net": Path(sys.argv[1]).name, "frames": FRAMES,
            **{n: [numbers(o[0, t]) for t in FRAMES] for n, o in zip(names, out)}}) + "\n")


if __name__ == "__main__":
    main()
