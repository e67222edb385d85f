"""Cue points of a WAV file as libsndfile reads them: frames as a JSON list on stdout.

SFC_GET_CUE and SF_CUES as documented at libsndfile.github.io/libsndfile/command.html.
"""

import json
import struct
import sys

import soundfile

SFC_GET_CUE = 0x10CE
N_MOST = 100
# indx, position, fcc_chunk, chunk_start, block_start, sample_offset, name
POINT = struct.Struct("<iIiiiI256s")

with soundfile.SoundFile(sys.argv[1]) as sound:
    n_bytes = 4 + N_MOST * POINT.size
    cues = soundfile._ffi.new("char[]", n_bytes)
    found = soundfile._snd.sf_command(sound._file, SFC_GET_CUE, cues, n_bytes)
    raw = bytes(soundfile._ffi.buffer(cues))
n = struct.unpack_from("<I", raw)[0] if found else 0
points = [POINT.unpack_from(raw, 4 + i * POINT.size) for i in range(n)]
print(json.dumps([point[5] for point in points]))
