"""Takes made of real strings: python3 real_takes.py SDIST FOLDER

SDIST is the source package of PyPI's guitarsounds (MIT), which ships each open string of two
real guitars, recorded one by one and named by its pitch.  Fretted notes are the same recordings
resampled by at most four semitones.  Writes for each guitar a strummed and a picked take and
the six open strings alone: NAME.wav, NAME.lab (chords) and NAME.json (notes: on, off, MIDI).
"""
import json
import sys
import tarfile
from io import BytesIO
from pathlib import Path

import numpy as np
import soundfile as sf
from scipy import signal

RATE = 44100
STRINGS = ["E6", "A5", "D4", "G3", "B2", "E1"]        # the package's names, low to high
OPEN = [40, 45, 50, 55, 59, 64]                       # standard tuning (common practice, no source)
SHAPES = {"G:maj": "320003", "C:maj": "x32010", "D:maj": "xx0232", "E:min": "022000", "A:min": "x02210",
          "E:maj": "022100", "A:maj": "x02220", "D:min": "xx0231", "G:7": "320001", "C:maj7": "x32000",
          "A:min7": "x02010", "F:maj": "133211"}      # usual open shapes (common practice, no source)
ROW = "G:maj C:maj D:maj E:min A:min D:min E:maj A:maj G:7 C:maj7 F:maj A:min7 G:maj C:maj".split()


def string(package, guitar, name):
    """An open string from its attack on, peak 1."""
    found = next(m for m in package.getmembers() if m.name.endswith(f"{guitar}_{name}.wav"))
    x, rate = sf.read(BytesIO(package.extractfile(found).read()))
    x = x if x.ndim == 1 else x.mean(1)
    # steps and handling rumble below the lowest string
    x = signal.sosfiltfilt(signal.butter(4, 55, "highpass", fs=rate, output="sos"), x)
    loud = np.abs(x) > 0.2 * np.abs(x).max()
    x = x[max(0, int(loud.argmax()) - int(0.004 * rate)):]
    x = signal.resample_poly(x, RATE, rate) if rate != RATE else x
    return x / np.abs(x).max()


def off_by(x, midi):
    """How many semitones a string is off its note: the strongest partial near it, by a long transform."""
    n = 1 << 19
    level = np.abs(np.fft.rfft(x[: 4 * RATE] * np.hanning(len(x[: 4 * RATE])), n))
    hz = 440 * 2 ** ((midi - 69) / 12)
    low, high = (int(hz * 2 ** (k / 12) * n / RATE) for k in (-0.7, 0.7))
    return 12 * np.log2((low + level[low:high].argmax()) * RATE / n / hz)


def note(x, semitones, seconds):
    y = signal.resample(x[: 6 * RATE], round(len(x[: 6 * RATE]) / 2 ** (semitones / 12)))
    y = y[: int(seconds * RATE)].copy()
    fade = min(len(y), int(0.03 * RATE))
    y[len(y) - fade:] *= np.linspace(1, 0, fade)
    return y


def written(folder, name, notes, chords, strings, tuned, end):
    """notes: on, string, fret; a string sounds until it is struck again or its chord ends."""
    x = np.zeros(int((end + 0.5) * RATE))
    told = []
    for i, (on, s, fret) in enumerate(notes):
        again = [n[0] for n in notes[i + 1:] if n[1] == s]
        off = min(again + [c[1] for c in chords if c[0] <= on + 1e-6 < c[1]] + [end])
        y = note(strings[s], fret - tuned[s], off - on)
        at = int(on * RATE)
        x[at:at + len(y)] += y
        told.append([on, off, OPEN[s] + fret])
    sf.write(folder / f"{name}.wav", 0.5 * x / np.abs(x).max(), RATE, subtype="PCM_16")
    rows = [(0.0, chords[0][0], "N")] + chords + [(chords[-1][1], end + 0.5, "N")]
    (folder / f"{name}.lab").write_text("".join(f"{a:.4f}\t{b:.4f}\t{c}\n" for a, b, c in rows))
    (folder / f"{name}.json").write_text(json.dumps({"notes": told}))


def main():
    sdist, folder = Path(sys.argv[1]), Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(5)
    with tarfile.open(sdist) as package:
        for guitar in ("Carbon", "Wood"):
            strings = [string(package, guitar, s) for s in STRINGS]
            tuned = [off_by(x, midi) for x, midi in zip(strings, OPEN)]
            print(guitar, " ".join(f"{100 * t:+.0f}" for t in tuned), "cents")
            one_by_one = [(0.5 + 2.0 * k, k, 0) for k in range(6)]
            written(folder, f"{guitar}-open", one_by_one, [(0.5 + 2.0 * k, 2.5 + 2.0 * k, "X") for k in range(6)], strings, tuned, 12.5)
            for kind, beat in (("strummed", 0.6), ("picked", 0.75)):
                notes, chords = [], []
                for bar, label in enumerate(ROW):
                    start = 0.5 + 4 * beat * bar
                    frets = [None if f == "x" else int(f) for f in SHAPES[label]]
                    held = [s for s in range(6) if frets[s] is not None]
                    chords.append((start, start + 4 * beat, label))
                    if kind == "strummed":
                        for stroke in (0, 1, 2, 2.5, 3):
                            down = held if stroke != 2.5 else held[::-1][:4]
                            notes += [(start + stroke * beat + k * rng.uniform(0.010, 0.016), s, frets[s]) for k, s in enumerate(down)]
                    else:
                        order = [held[0], held[-3], held[-2], held[-1], held[-2], held[-3], held[-1], held[-2]]
                        if len(held) > 4:
                            order[2] = held[-4]
                        notes += [(start + 0.5 * k * beat + rng.uniform(0, 0.006), s, frets[s]) for k, s in enumerate(order)]
                written(folder, f"{guitar}-{kind}", sorted(notes), chords, strings, tuned, chords[-1][1])


if __name__ == "__main__":
    main()
