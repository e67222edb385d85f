"""The sound bank: single notes of guitars, basses, other instruments, singers and drums.

    python3 bank.py BANK.npz                     (some minutes on two cores)
    python3 bank.py BANK.npz --toy               (a few instruments: for trying the chain)

Sources are packages of the registries: three General MIDI sound sets, a guitar and a bass
recorded note by note, and voices made from synthesised speech held on a note by a vocoder
(Morise, Yokomori and Ozawa, "WORLD", IEICE 2016). TimGM6mb and the recorded nylon guitar are
kept for grading and never enter (`sounds.HELD_OUT`, `recorded.HELD_OUT`).

The file holds `names` (instruments), `index` (rows: instrument, MIDI note, first sample,
samples) and `sound` (int16, 22.05 kHz, mono). Every clip begins within a millisecond of its
attack and has its peak at 32000.
"""
from __future__ import annotations

import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

import recorded
import sounds

RATE = 22050
GUITARS = {"nylon": 24, "steel": 25, "jazz": 26, "clean": 27, "mute": 28, "drive": 29, "distortion": 30}
KEYS = range(38, 90, 4)
# program, lowest and highest key; what a guitar is heard beside
OTHERS = {"piano": (0, 40, 84), "electric-piano": (4, 40, 84), "organ": (16, 40, 84), "strings": (48, 48, 88), "violin": (40, 55, 88),
          "trumpet": (56, 55, 84), "saxophone": (65, 50, 80), "clarinet": (71, 52, 86), "flute": (73, 60, 92),
          "aahs": (52, 48, 84), "oohs": (53, 48, 84), "choir": (54, 48, 84)}
BASSES = {"acoustic": 32, "finger": 33, "pick": 34, "fretless": 35}
DRUMS = [36, 38, 37, 40, 42, 44, 46, 49, 51, 54, 70, 82]
SPEAKERS = ["en+m1", "en+m3", "en+m7", "it+m2", "de+m4", "fr+m5", "en+f1", "en+f2", "es+f3", "it+f4", "de+f5", "pt+f2"]
# invented syllables: consonants and long vowels, for the vocoder to hold
SYLLABLES = ["la", "doo", "mah", "say", "rohn", "tee", "voh", "shay", "bah", "nee", "loh", "kah", "foo", "way", "moh", "reh", "zah", "hoo"]


def clip(y, seconds):
    """Cut to the attack, faded at its end, scaled."""
    top = np.maximum.accumulate(np.abs(y[: int(.25 * RATE)])).max() + 1e-9
    first = max(0, int(np.argmax(np.abs(y) > .1 * top)) - 20)
    y = y[first:][: int(seconds * RATE)].copy()
    n = min(400, len(y))
    y[-n:] *= np.linspace(1, 0, n)
    return np.round(y / (np.abs(y).max() + 1e-9) * 32000).astype(np.int16)


def preset(bank, program, keys, velocity, seconds, drums=False):
    gap = seconds + 1.2
    notes = [[.3 + gap * k, .3 + gap * k + seconds, key, velocity] for k, key in enumerate(keys)]
    x = sounds.render_midi(bank, {9 if drums else 0: (0 if drums else program, notes)}, {}, .3 + gap * len(keys), -6000 if bank != "patches" else 0)
    out = []
    for k, key in enumerate(keys):
        y = x[int((.3 + gap * k) * RATE):][: int((seconds + .15) * RATE)]
        if np.abs(y).max() > 2e-3:
            out.append((key, clip(y, seconds)))
    return out


def real(package, seconds, keys=None):
    files = recorded.instrument(package)
    out = []
    for midi in sorted(files):
        if keys and midi not in keys:
            continue
        x, off, _ = files[midi]
        at = np.arange(int(seconds * RATE)) * (recorded.FINE / RATE) * 2 ** (-off / 1200)
        at = at[at < len(x) - 1]
        out.append((midi, clip(np.interp(at, np.arange(len(x)), x), seconds)))
    return out


def sung(speaker, seconds=1.7):
    """A voice on held notes: a spoken syllable, its pitch replaced, its vowel drawn out."""
    import pyworld
    low = 45 if "+m" in speaker else 55
    out = []
    for n, key in enumerate(range(low, low + 27, 3)):
        syllable = SYLLABLES[(n * 5 + SPEAKERS.index(speaker) * 7) % len(SYLLABLES)]
        with tempfile.TemporaryDirectory() as d:
            subprocess.run(["espeak-ng", "-v", speaker, "-s", "110", "-w", f"{d}/a.wav", syllable], check=True)
            rate, x = wavfile.read(f"{d}/a.wav")
        x = signal.resample_poly(x.astype(np.float64) / 32768, RATE, rate) if rate != RATE else x.astype(np.float64) / 32768
        f0, t = pyworld.harvest(x, RATE)
        envelope, noise = pyworld.cheaptrick(x, f0, t, RATE), pyworld.d4c(x, f0, t, RATE)
        voiced = np.nonzero(f0 > 0)[0]
        if len(voiced) < 8:
            continue
        # the consonant as spoken, the middle of the vowel held
        a, b = voiced[0], voiced[int(len(voiced) * .75)]
        held = np.linspace(voiced[len(voiced) // 3], b, max(4, int(seconds * 200) - a)).astype(int)
        rows = np.concatenate([np.arange(max(0, a - 16), voiced[len(voiced) // 3]), held])
        pitch = np.where(f0[rows] > 0, 440 * 2 ** ((key - 69) / 12), 0)
        pitch[rows >= a] = 440 * 2 ** ((key - 69) / 12)
        y = pyworld.synthesize(np.ascontiguousarray(pitch), np.ascontiguousarray(envelope[rows]), np.ascontiguousarray(noise[rows]), RATE)
        out.append((key, clip(y, seconds)))
    return out


def jobs():
    fluid, score, patches = "FluidR3_GM.sf2", "MuseScore_General_Lite.sf3", "patches"
    for bank, short in ((fluid, "fluid"), (score, "score"), (patches, "patches")):
        for name, program in GUITARS.items():
            if bank == patches and name in ("mute", "drive"):
                continue
            seconds = .8 if name == "mute" else 2.1
            yield f"guitar-{short}-{name}", lambda b=bank, p=program, s=seconds: preset(b, p, KEYS, 96, s)
            if bank == fluid and name in ("nylon", "steel", "clean"):
                yield f"guitar-{short}-{name}-soft", lambda b=bank, p=program, s=seconds: preset(b, p, KEYS, 55, s)
    yield "guitar-fluid-twelve-string", lambda: preset(fluid, 8 * 128 + 25, KEYS, 96, 2.1)
    yield "guitar-real-steel", lambda: real(recorded.TRAINING["steel"], 2.3)
    yield "guitar-real-electric", lambda: real(recorded.TRAINING["electric"], 2.3)
    for name, program in BASSES.items():
        yield f"bass-fluid-{name}", lambda p=program: preset(fluid, p, range(28, 58, 5), 100, 1.4)
    yield "bass-score-finger", lambda: preset(score, 33, range(28, 58, 5), 100, 1.4)
    yield "bass-real", lambda: real(recorded.BASS, 1.4, set(range(28, 58, 3)))
    for name, (program, low, high) in OTHERS.items():
        for bank, short in ((fluid, "fluid"), (score, "score")):
            if short == "score" and name in ("organ", "strings", "clarinet", "choir", "electric-piano"):
                continue
            kind = "voice" if name in ("aahs", "oohs", "choir") else "lead"
            yield f"{kind}-{short}-{name}", lambda b=bank, p=program, k=range(low, high, 5): preset(b, p, k, 96, 1.5)
    for speaker in SPEAKERS:
        yield f"voice-sung-{speaker}", lambda s=speaker: sung(s)
    for bank, short in ((fluid, "fluid"), (score, "score")):
        yield f"drums-{short}", lambda b=bank: preset(b, 0, DRUMS, 108, .7, drums=True)


# one instrument of each kind that studio.py asks for, from one sound set
TOY = ["guitar-fluid-steel", "guitar-fluid-drive", "bass-fluid-finger", "lead-fluid-flute", "voice-fluid-aahs", "drums-fluid"]


def make(path: str, only=None):
    names, index, parts, at = [], [], [], 0
    todo = [j for j in jobs() if only is None or j[0] in only]
    with ThreadPoolExecutor(2) as pool:
        for (name, _), clips in zip(todo, pool.map(lambda j: j[1](), todo)):
            if not clips:
                print("silent, left out:", name, file=sys.stderr)
                continue
            names.append(name)
            for key, y in clips:
                index.append((len(names) - 1, key, at, len(y)))
                parts.append(y)
                at += len(y)
    np.savez_compressed(path, names=np.array(names), index=np.array(index), sound=np.concatenate(parts))
    print(len(names), "instruments", round(at / RATE), "s", Path(path).stat().st_size >> 20, "MiB")


if __name__ == "__main__":
    make(sys.argv[1], TOY if sys.argv[2:] == ["--toy"] else None)
