"""Renders takes that are hard to count, and one that changes its key.

    python3 render_counts.py FOLDER

Writes FOLDER/NAME.mid, NAME.wav and NAME.json: beats_s and downbeats_s, read
back from the file's tempo map (Standard MIDI Files 1.0); meter; odd (the bar
with another number of beats, and that number); pushes_s (chords on the last
off-beat of a bar, held over the bar line); keys (bar and key, where it
changes).  All music is invented here; every random choice comes from the name.
"""
import json
import math
import random
import sys
from pathlib import Path

import mido

import render_takes as r
from render_forms import SHAPES, SHORT, TICKS, beat_times, guitar, played, stopped

NAMES = dict(SHORT, **{"C#m": "C#:min", "B": "B:maj", "Bb": "Bb:maj"})
FRETS = dict(SHAPES, **{"C#:min": "x46654", "B:maj": "x24442", "Bb:maj": "x13331"})
STRUM = [(0, "D"), (1, "D"), (1.5, "U"), (2, "D"), (2.5, "U"), (3, "D"), (3.5, "U")]
REEL = [(0, "B"), (1, "C"), (2, "b"), (3, "C")]
WALTZ = [(0, "B"), (1, "C"), (2, "C")]
ROLL = [(b + k / 3, ("B" if k == 0 else "mHm"[k])) for b in range(4) for k in range(3)]

# beats in a bar, divisions, beats a minute, pattern, sound, chords of the bars;
# a number behind a chord: that bar has so many beats; < before it: it is pushed
TAKES = {
    "cart-track": (4, 2, 112, STRUM, "tim", False,
                   "G C D G Em C Am D:3 G C D G Em C Am D G Em C D G"),
    "crank-reel": (4, 2, 114, REEL, "fluid", False,
                   "G G C C G G D D Em Em C G Am D G G C C G G D D G G"),
    "wheel-waltz": (3, 2, 178, WALTZ, "tim", False,
                    "C C F C G G C G Am Am F F C G C G C Am F C Dm Dm G G C F C Am F G C C"),
    "loom-slow": (4, 3, 58, ROLL, "fluid", False, "Am F C G Am F C E Am F C G Dm E Am"),
    "pier-push": (4, 2, 104, STRUM, "fluid", True,
                  "C F C <G C <F Am <G C F C <G C <F Dm <G C F <Am G C"),
    "stair-up": (4, 2, 120, STRUM, "tim", False,
                 "G C D Em C D G G C G Am D Em C D D G C D Em C D G G "
                 "A D E F#m D E A A D A Bm E F#m D E A"),
}


def strokes(kind, notes):
    """(string, MIDI, beats later, velocity)."""
    if kind == "D":
        return [(s, m, 0.02 * i, 94 - i) for i, (s, m) in enumerate(notes)]
    if kind == "U":
        return [(s, m, 0.02 * i, 72 - i) for i, (s, m) in enumerate(notes[::-1][:4])]
    if kind == "C":                                # the upper strings, short
        return [(s, m, 0.02 * i, 86 - i) for i, (s, m) in enumerate(notes[1:])]
    one = {"B": notes[0], "b": notes[1], "H": notes[-1], "m": notes[-2]}[kind]
    return [(*one, 0.0, 98 if kind in "Bb" else 80)]


def make(folder, name):
    beats, parts, bpm, pattern, sound, drums, text = TAKES[name]
    rng = random.Random(name)
    file, package, program, attack, release = r.SOUNDS[sound]
    lead_in, beat, struck, downs, pushes, odd, row = 2, 0, [], [], [], None, []
    words = text.split()
    for i, word in enumerate(words):
        chord, _, other = word.lstrip("<").partition(":")
        n = int(other) if other else beats
        if other:
            odd = [i + 1, n]
        row.append(chord)
        notes = r.strings(FRETS[NAMES[chord]])
        following = words[i + 1] if i + 1 < len(words) else ""
        downs.append(beat)
        for at, kind in pattern:
            held = word.startswith("<") and at == 0
            makes_room = following.startswith("<") and at >= n - 0.5
            if at < n and not held and not makes_room:
                for string, midi, later, loud in strokes(kind, notes):
                    struck.append([lead_in + beat + at + later, lead_in + beat + n - 0.02,
                                   string, midi, loud + (6 if at == 0 else 0)])
        if following.startswith("<"):
            pushes.append(beat + n - 0.5)
            for string, midi, later, loud in strokes("D", r.strings(
                    FRETS[NAMES[following[1:].partition(":")[0]]])):
                struck.append([lead_in + beat + n - 0.5 + later, lead_in + beat + n + beats - 0.02,
                               string, midi, loud + 4])
        beat += n
    for event in struck:
        event[0] += rng.gauss(0, 0.006)
        event[4] += rng.randint(-4, 4)
    struck.sort()
    stopped(struck)
    timed, last = [], lead_in + beat + 2
    for b in range(last):
        drift = 1 + 0.03 * math.sin(2 * math.pi * b / 53 + len(name))
        timed.append((b * TICKS, 0, mido.MetaMessage("set_tempo", tempo=round(6e7 / bpm * drift))))
    timed += guitar(struck, program, release)
    if drums:                                       # General MIDI 1: 36 bass drum, 38 snare, 42 hi-hat
        for half in range(2 * beat):
            keys = [42] + ([] if half % 2 else [36 if half % 4 == 0 else 38])
            at = round((lead_in + half / 2) * TICKS)
            for key in keys:
                timed.append((at, 4, mido.Message("note_on", channel=9, note=key, velocity=84)))
                timed.append((at + 60, 3, mido.Message("note_off", channel=9, note=key)))
    base = folder / name
    played(timed, base, r.soundfont(file, package))
    times = [t + attack for t in beat_times(base.with_suffix(".mid"))][lead_in:lead_in + beat + 1]

    def at(b):
        whole = int(b)
        return times[whole] + (b - whole) * (times[whole + 1] - times[whole])
    base.with_suffix(".json").write_text(json.dumps({
        "meter": f"{beats}/4" if parts == 2 else f"{beats * 3}/8", "bpm": bpm,
        "beats_s": times[:-1], "downbeats_s": [times[d] for d in downs], "odd": odd,
        "pushes_s": [at(p) for p in pushes],
        "keys": [[25, "A:maj"]] if name == "stair-up" else [], "chords": row}))


if __name__ == "__main__":
    for take in TAKES:
        make(Path(sys.argv[1]), take)
