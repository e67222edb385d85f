"""Decodes a sound file with libsndfile (through the soundfile package) and
writes the mean of its channels to standard output: float32, little-endian.

python reference_audio.py FILE
"""

import sys

import soundfile

samples, _ = soundfile.read(sys.argv[1], dtype="float64", always_2d=True)
sys.stdout.buffer.write(samples.mean(axis=1).astype("<f4").tobytes())
