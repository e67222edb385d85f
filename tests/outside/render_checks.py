"""Renders takes of invented charts, with and without one planted slip.

    python3 render_checks.py FOLDER FIRST_SEED N_SEEDS

For each seed FOLDER/SEED.json has the chart (key, bpm, meter, bars with their
chords) and the takes of it: file, slip (none, chord, bass, third, missed
change, skipped bar) and the number of the slip's bar.  Each take is played at
its own tempo, tuned its own few cents off, by one of two sound fonts.  Every
random choice comes from the seed.
"""
import json
import random
import subprocess
import sys
from pathlib import Path

import mido

import render_takes as r

SHAPES = dict(r.SHAPES)
SHAPES.update({
    "A:maj": "x02220", "E:maj": "022100", "C:min": "x35543", "G:min": "355333", "F:min": "133111",
    "B:min": "x24432", "B:maj": "x24442", "F#:min": "244222", "F#:maj": "244322",
})
POOLS = {
    "G:maj": ["G:maj", "C:maj", "D:maj", "E:min", "A:min", "D:7", "G:maj/3", "D:maj/3", "B:min"],
    "C:maj": ["C:maj", "A:min", "F:maj", "G:maj", "D:min", "E:min", "G:7", "C:maj/3", "C:maj7"],
    "D:maj": ["D:maj", "G:maj", "A:maj", "E:min", "B:min", "A:7", "D:maj/3", "F#:min"],
    "A:min": ["A:min", "D:min", "F:maj", "G:maj", "C:maj", "E:7", "A:min7", "E:min"],
}
OTHER_BASS = {"G:maj": "G:maj/3", "G:maj/3": "G:maj", "C:maj": "C:maj/3", "C:maj/3": "C:maj",
              "D:maj": "D:maj/3", "D:maj/3": "D:maj"}
OTHER_THIRD = {"A:min": "A:maj", "A:maj": "A:min", "E:min": "E:maj", "D:min": "D:maj",
               "D:maj": "D:min", "C:maj": "C:min", "G:maj": "G:min", "F:maj": "F:min",
               "B:min": "B:maj", "F#:min": "F#:maj"}
SLIPS = [None, "chord", "bass", "third", "missed change", "skipped bar"]


def compose(seed, like=None):
    """Key, beats in a bar, bpm, style and bars [(label, beats), ...] in the form A A B A.

    All but the bars may be `like` those of another song."""
    rng = random.Random(f"chart {seed}")
    key = rng.choice(sorted(POOLS))
    n_beats, style = rng.choice([(4, "strum"), (4, "pick"), (3, "pick"), (4, "strum")])
    if like is not None:
        key, n_beats, _, style, _ = like

    def part():
        bars, last = [], None
        for _ in range(4):
            row = []
            for beats in ([n_beats] if n_beats == 3 or rng.random() < 0.7 else [2, 2]):
                last = rng.choice([c for c in POOLS[key] if c != last])
                row.append((last, beats))
            bars.append(row)
        return bars

    a, b = part(), part()
    bpm = rng.randint(84, 124)
    return key, n_beats, like[2] if like is not None else bpm, style, a + a + b + a


def plant(slip, bars, key, rng):
    """The bars as played, and the index of the slip's bar."""
    played = [list(bar) for bar in bars]
    places = list(range(1, len(bars) - 1))
    rng.shuffle(places)
    for i in places:
        label, beats = bars[i][0]
        before = bars[i - 1][-1][0]
        after = bars[i][1][0] if len(bars[i]) > 1 else bars[i + 1][0][0]
        if slip == "chord":
            root = label.split(":")[0]
            others = [c for c in POOLS[key]
                      if c.split(":")[0] != root and c not in (before, after) and "/" not in c]
            played[i][0] = (rng.choice(others), beats)
        elif slip == "bass" and label in OTHER_BASS:
            played[i][0] = (OTHER_BASS[label], beats)
        elif slip == "third" and label in OTHER_THIRD:
            played[i][0] = (OTHER_THIRD[label], beats)
        elif slip == "missed change" and before.split("/")[0] != label.split("/")[0]:
            played[i][0] = (before, beats)
        elif slip == "skipped bar" and bars[i] != bars[i + 1] and bars[i] != bars[i - 1]:
            del played[i]
        else:
            continue
        return played, i
    return None, None


def play(style, notes, n_beats, rng):
    """As in render_takes, but picking brings every string of the shape within two beats."""
    if style != "pick":
        yield from r.play(style, notes, n_beats, rng)
        return
    bass, *upper = notes
    at_once = 1 if len(upper) <= 3 else 2
    turn = 0
    for k in range(2 * n_beats):
        if k == 0:
            yield 0, *bass, 96, 0.0
            continue
        for i in range(at_once):
            yield k * 0.5, *upper[turn % len(upper)], 82, i * 0.006
            turn += 1


def perform(bars, style, bpm, rng):
    """Notes [on, off, MIDI, velocity, string] and the end."""
    beat_s = 60.0 / bpm
    at_s = rng.uniform(0.4, 2.5)
    notes = []
    for label, n_beats in [c for bar in bars for c in bar]:
        end = at_s + n_beats * beat_s
        for at, string, midi, velocity, after in play(style, r.strings(SHAPES[label]), n_beats, rng):
            on = at_s + at * beat_s + after + rng.gauss(0, 0.008)
            notes.append([max(on, 0.01), end - 0.005, midi, velocity + rng.randint(-6, 6), string])
        at_s = end
    total = at_s + 1.5
    notes.sort()
    for i, note in enumerate(notes):
        later = next((n for n in notes[i + 1:] if n[4] == note[4]), None)
        if later is not None:
            note[1] = max(note[0] + 0.02, min(note[1], later[0] - 0.004))
        elif note[1] > at_s - 0.1:      # the last chord rings on
            note[1] = total
    return notes, total


def render(path, notes, total, sound, cents):
    file, package, program, _, release = r.SOUNDS[sound]
    midi = path.with_suffix(".mid")
    r.midi_file(midi, notes, program, release, total)
    song = mido.MidiFile(midi)
    for channel in range(6):            # bend of two semitones at most: General MIDI's default
        song.tracks[0].insert(0, mido.Message("pitchwheel", channel=channel,
                                              pitch=round(8191 * cents / 200)))
    song.save(midi)
    subprocess.run(["fluidsynth", "-ni", "-q", "-g", "0.6", "-R", "0", "-C", "0", "-r", "44100",
                    "-F", str(path), r.soundfont(file, package), str(midi)],
                   check=True, capture_output=True)


def chart(key, n_beats, bpm, bars):
    beat_s, at_s, out = 60.0 / bpm, 0.5, []
    for bar in bars:
        chords = []
        for label, beats in bar:
            chords.append([at_s, at_s + beats * beat_s, label])
            at_s += beats * beat_s
        out.append({"start_s": chords[0][0], "end_s": at_s, "n_beats": n_beats, "chords": chords})
    return {"key": key, "bpm": bpm, "n_beats": n_beats, "bars": out}


def main(folder, first, n):
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(first, first + n):
        key, n_beats, bpm, style, bars = compose(seed)
        truth = chart(key, n_beats, bpm, bars)
        truth["takes"] = []
        for slip in SLIPS:
            for sound in r.SOUNDS:
                rng = random.Random(f"{seed} {slip} {sound}")
                played, at = (bars, None) if slip is None else plant(slip, bars, key, rng)
                if played is None:      # nothing in the chart to slip on
                    continue
                name = f"{seed}-{(slip or 'clean').replace(' ', '-')}-{sound}.wav"
                notes, total = perform(played, style, bpm * rng.uniform(0.85, 1.2), rng)
                render(folder / name, notes, total, sound, rng.uniform(-18, 18))
                truth["takes"].append({"file": name, "slip": slip,
                                       "bar": None if at is None else at + 1})
        (folder / f"{seed}.json").write_text(json.dumps(truth))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
