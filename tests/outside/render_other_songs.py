"""Renders pairs of invented songs that share key, tempo, meter and way of playing.

    python3 render_other_songs.py FOLDER N_PAIRS

Charts are those of render_checks.py, with other seeds.  FOLDER/PAIR.json has the
two charts as `songs`, each with the files of its takes as written.  The first
song of a pair is also played otherwise: `shifted` by some semitones, and its
third part alone as `part` (bars 9 to 12).  Every random choice comes from the pair's number.
"""
import json
import random
import sys
from pathlib import Path

import render_checks as c
import render_takes as r

FIRST_SEED = 400


def songs(pair):
    """Key, beats in a bar, bpm, style, and the bars of two songs that differ in most of them."""
    seed = FIRST_SEED + 10 * pair
    like = c.compose(seed)
    for other in range(seed + 1, seed + 10):
        made = c.compose(other, like)
        alike = sum(a == b for a, b in zip(like[4], made[4]))
        if alike <= 4:
            return like, made
    raise SystemExit(f"no second song for pair {pair}")


def main(folder, n_pairs):
    folder.mkdir(parents=True, exist_ok=True)
    for pair in range(n_pairs):
        both = songs(pair)
        told = {"songs": [], "shifted": [], "part": []}
        for name, (key, n_beats, bpm, style, bars) in zip("ab", both):
            truth = c.chart(key, n_beats, bpm, bars)
            truth["files"] = []
            for sound in r.SOUNDS:
                rng = random.Random(f"other {pair} {name} {sound}")
                notes, total = c.perform(bars, style, bpm * rng.uniform(0.95, 1.05), rng)
                file = f"{pair}-{name}-{sound}.wav"
                c.render(folder / file, notes, total, sound, rng.uniform(-10, 10))
                truth["files"].append(file)
            told["songs"].append(truth)
        key, n_beats, bpm, style, bars = both[0]
        for sound in r.SOUNDS:
            rng = random.Random(f"otherwise {pair} {sound}")
            semitones = rng.choice([-2, -1, 1, 2, 3])
            notes, total = c.perform(bars, style, bpm, rng)
            notes = [[on, off, midi + semitones, *rest] for on, off, midi, *rest in notes]
            file = f"{pair}-shifted-{sound}.wav"
            c.render(folder / file, notes, total, sound, 0)
            told["shifted"].append({"file": file, "semitones": semitones})
            file = f"{pair}-part-{sound}.wav"
            notes, total = c.perform(bars[8:12], style, bpm, rng)
            c.render(folder / file, notes, total, sound, 0)
            told["part"].append({"file": file, "bars": [9, 12]})
        (folder / f"{pair}.json").write_text(json.dumps(told))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
