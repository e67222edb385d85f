"""Reads a WAV file with soundfile (libsndfile): facts as JSON on stdout, and
its samples as 32-bit floats, little-endian, interleaved, to a second file."""

import json
import sys

import soundfile

samples, rate = soundfile.read(sys.argv[1], dtype="float32", always_2d=True)
samples.astype("<f4").tofile(sys.argv[2])
print(json.dumps({
    "rate_hz": rate,
    "frames": samples.shape[0],
    "channels": samples.shape[1],
    "coding": soundfile.info(sys.argv[1]).subtype,
}))
