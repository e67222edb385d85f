"""Single strings and double stops made of real strings: python3 real_notes.py SDIST FOLDER

The strings are those of real_takes.py.  Writes

- GUITAR-STRING-CENTS.wav: an open string, struck after a second of silence, resampled by so many
  cents; what it is off by itself is not known, so CENTS is against GUITAR-STRING-0.wav;
- yin.json: of each unshifted string the pitch that librosa.yin (de Cheveigné and Kawahara 2002)
  hears in it, Hz, the median from 0.3 to 1.3 s after the attack;
- GUITAR-stops.wav and .json: double stops (on, [MIDI, MIDI]), two seconds each, and single
  fretted notes (on, [MIDI]) between them.
"""
import json
import sys
import tarfile
from pathlib import Path

import librosa
import numpy as np
import soundfile as sf
from scipy import signal

from real_takes import OPEN, RATE, STRINGS, note, off_by, string

CENTS = (-50, -37, -23, -11, -4, 0, 3, 7, 16, 31, 50)
# thirds, sixths, fourths, fifths on strings 0 (lowest) to 5 with frets, and single notes
STOPS = [[(3, 2), (4, 3)], [(2, 4), (4, 3)], [(2, 2), (3, 2)], [(1, 0), (2, 2)], [(4, 5), (5, 5)], [(3, 4), (5, 3)],
         [(1, 3), (2, 2)], [(0, 3), (1, 2)], [(2, 0), (3, 2)], [(3, 1), (4, 0)], [(2, 5), (4, 5)], [(1, 5), (3, 4)],
         [(0, 0)], [(1, 2)], [(2, 3)], [(3, 0)], [(4, 1)], [(5, 3)], [(0, 5)], [(2, 5)]]


def main():
    sdist, folder = Path(sys.argv[1]), Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    heard = {}
    with tarfile.open(sdist) as package:
        for guitar in ("Carbon", "Wood"):
            strings = [string(package, guitar, s) for s in STRINGS]
            tuned = [off_by(x, midi) for x, midi in zip(strings, OPEN)]
            for k, x in enumerate(strings):
                x = 0.5 * x[: 3 * RATE]
                for cents in CENTS:
                    y = signal.resample(x, round(len(x) / 2 ** (cents / 1200)))
                    sf.write(folder / f"{guitar}-{k}-{cents}.wav", np.concatenate([np.zeros(RATE), y]), RATE, subtype="PCM_24")
                middle = x[int(0.3 * RATE) : int(1.3 * RATE)]
                near = librosa.midi_to_hz(OPEN[k])
                f = librosa.yin(middle, fmin=near * 0.8, fmax=near * 1.25, sr=RATE, frame_length=8192)
                heard[f"{guitar}-{k}"] = float(np.median(f))
            out, told = np.zeros(int((2.2 * len(STOPS) + 1) * RATE)), []
            for i, stop in enumerate(STOPS):
                on = 0.5 + 2.2 * i
                for n, (s, fret) in enumerate(stop):
                    y = 0.4 * note(strings[s], fret - tuned[s], 1.9)
                    at = int((on + 0.008 * n) * RATE)
                    out[at : at + len(y)] += y
                told.append([on, [OPEN[s] + fret for s, fret in stop]])
            sf.write(folder / f"{guitar}-stops.wav", out, RATE, subtype="PCM_24")
            (folder / f"{guitar}-stops.json").write_text(json.dumps(told))
    (folder / "yin.json").write_text(json.dumps(heard))


if __name__ == "__main__":
    main()
