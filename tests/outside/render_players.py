"""Renders takes as untidy hands play them, with the chord that a lead sheet has.

    python3 render_players.py FOLDER

brushed: an open string beside the shape sounds, softer, with most down-strums; boogie: root with fifth,
sixth and seventh in turn; pushed: every second chord an eighth early; sung: a choir's line over
the chords. Writes FOLDER/NAME.mid, NAME.wav and NAME.json (`chords`: start, end, label, seconds).
The sound is TimGM6mb, which no net was trained on. Music invented here; that such hands leave the
song's chord as it is: common practice, no source.
"""
import json
import random
import sys
from pathlib import Path

import mido

import render_takes as r
from render_forms import SHAPES, TICKS, beat_times, guitar, played, stopped

SONGS = {"brushed": "Am Am F F C C D D Am Am F F D D C C", "boogie": "A A A A D D A A E D A A",
         "pushed": "C F G C Am F G C C F G C Am F G C", "sung": "G C D G Em C D G G C D G Em C D G"}
LABELS = {"Am": "A:min", "F": "F:maj", "C": "C:maj", "D": "D:maj", "A": "A:maj", "E": "E:maj", "G": "G:maj", "Em": "E:min"}
# strings that a hand brushes beside the shape: string and fret
BRUSHED = {"Am": [(0, 0)], "F": [(1, 0)], "D": [(1, 0), (0, 0)], "C": [(0, 0)]}
BPM, BEATS, LEAD_IN = 108, 4, 2


def strummed(notes, at, until, down=True, loud=92):
    rows = notes if down else notes[::-1][:4]
    return [[at + .02 * i, until, s, m, loud - 2 * i] for i, (s, m) in enumerate(rows)]


def bar(song, chord, at, rng):
    notes = r.strings(SHAPES[LABELS[chord]])
    end = at + BEATS - .02
    if song == "boogie":
        root = {"A": (1, 45), "D": (2, 50), "E": (0, 40)}[chord]
        steps = [7, 7, 9, 9, 10, 10, 9, 9]
        return [row for k, up in enumerate(steps) for row in
                ([at + k / 2, at + k / 2 + .48, root[0], root[1], 96], [at + k / 2 + .015, at + k / 2 + .48, root[0] + 1, root[1] + up, 90])]
    out = []
    for b, down in [(0, True), (1, True), (1.5, False), (2, True), (2.5, False), (3, True), (3.5, False)]:
        out += strummed(notes, at + b, end, down, 94 if b == 0 else 84)
        if song == "brushed" and down and rng.random() < .7:
            # the hand comes by the strings beside the shape first, and does not mean them
            out += [[at + b - .02, end, s, r.OPEN[s] + f, 58] for s, f in BRUSHED[chord][:1]]
    return out


def make(folder, song):
    rng = random.Random(song)
    file, package, program, attack, release = r.SOUNDS["tim"]
    chords = SONGS[song].split()
    struck = []
    for i, chord in enumerate(chords):
        rows = bar(song, chord, LEAD_IN + BEATS * i, rng)
        if song == "pushed" and i % 2 == 1:            # struck an eighth early and held over the bar line
            start = LEAD_IN + BEATS * i
            struck = [row for row in struck if row[0] < start - .6]
            rows = [row for row in rows if row[0] > start + .6]
            rows += strummed(r.strings(SHAPES[LABELS[chord]]), start - .5, start + BEATS - .02)
        struck += rows
    for row in struck:
        row[0] += rng.gauss(0, .006)
        row[4] += rng.randint(-4, 4)
    struck.sort()
    stopped(struck)
    last = LEAD_IN + BEATS * len(chords) + 2
    timed = [(b * TICKS, 0, mido.MetaMessage("set_tempo", tempo=round(6e7 / BPM))) for b in range(last)]
    timed += guitar(struck, program, release)
    if song == "sung":
        timed.append((0, 1, mido.Message("program_change", channel=7, program=53)))
        scale = [67, 69, 71, 72, 74, 76, 74, 72]
        for k in range(BEATS * len(chords)):
            if rng.random() < .75:
                at, key = round((LEAD_IN + k + .5) * TICKS), rng.choice(scale)
                timed.append((at, 4, mido.Message("note_on", channel=7, note=key, velocity=100)))
                timed.append((at + TICKS - 20, 3, mido.Message("note_off", channel=7, note=key)))
    base = folder / song
    played(timed, base, r.soundfont(file, package))
    times = [t + attack for t in beat_times(base.with_suffix(".mid"))]
    at = lambda i: times[LEAD_IN + BEATS * i]
    rows = []
    for i, chord in enumerate(chords):
        if rows and rows[-1][2] == LABELS[chord]:
            rows[-1][1] = at(i + 1)
        else:
            rows.append([at(i), at(i + 1), LABELS[chord]])
    base.with_suffix(".json").write_text(json.dumps({"chords": rows}))


if __name__ == "__main__":
    for song in SONGS:
        make(Path(sys.argv[1]), song)
