"""Renders guitar takes with known truth by FluidSynth and two sound fonts.

    python3 render_takes.py FOLDER

Writes FOLDER/NAME.wav (44.1 kHz, 16 bit, stereo), NAME.lab (chords) and
NAME.json (beats_s, downbeats_s, notes as on, off, MIDI) for each take and
sound.  All music is invented here.  Every random choice comes from the name.

Sounds: FluidR3_GM (Debian fluid-soundfont-gm, MIT) and TimGM6mb (Debian
timgm6mb-soundfont, GPL).
"""
import json
import random
import subprocess
import sys
from pathlib import Path

import mido

OPEN = (40, 45, 50, 55, 59, 64)         # standard tuning, common practice
TICKS = 2000                            # a second, at one beat a second
NRPN_RELEASE = 38                       # SoundFont 2.01, 8.1.2: releaseVolEnv

# file, Debian package, General MIDI program (from 0), s from note-on until
# the sound reaches a tenth of its peak, timecents added to the release so
# that a damped string stops within 0.2 s (both measured on single notes)
SOUNDS = {
    "fluid": ("FluidR3_GM.sf2", "fluid-soundfont-gm", 25, 0.009, -6000),
    "tim": ("TimGM6mb.sf2", "timgm6mb-soundfont", 24, 0.007, 0),
}

SHAPES = {
    "C:maj": "x32010", "A:min": "x02210", "F:maj": "133211", "G:maj": "320003",
    "D:min": "xx0231", "E:min": "022000", "D:maj": "xx0232",
    "D:min7": "xx0211", "G:7": "320001", "C:maj7": "x32000", "A:7": "x02020",
    "F:maj7": "xx3210", "E:7": "020100", "A:min7": "x02010", "B:hdim7": "x2323x",
    "D:maj/3": "2x0232", "G:maj/5": "xx0003", "G:maj/3": "x20003", "C:maj/3": "032010",
    "A:sus4": "x02230", "D:sus2": "xx0230", "D:7": "xx0212",
}

# two strings that stand for a chord: root and third or fifth
PAIRS = {"D:maj": (None, None, 4, None, 3, None), "G:maj": (None, None, 9, None, 8, None),
         "A:maj": (None, None, 11, None, 10, None), "E:min": (None, None, 5, None, 5, None),
         "F#:min": (None, None, 7, None, 7, None)}

TAKES = {
    # name: style, beats in a bar, beats a minute, chord and beats
    "gate-open": ("strum", 4, 104, [
        ("C:maj", 4), ("A:min", 4), ("F:maj", 4), ("G:maj", 4), ("C:maj", 4), ("E:min", 4),
        ("D:min", 2), ("G:maj", 2), ("C:maj", 4)]),
    "kettle-sevenths": ("strum", 4, 92, [
        ("D:min7", 4), ("G:7", 4), ("C:maj7", 4), ("A:7", 4), ("D:min7", 4), ("E:7", 4),
        ("A:min7", 4), ("F:maj7", 4), ("C:maj7", 4)]),
    "ladder-bass": ("pick", 3, 112, [
        ("G:maj", 3), ("D:maj/3", 3), ("E:min", 3), ("G:maj/5", 3), ("C:maj", 3),
        ("G:maj/3", 3), ("A:min7", 3), ("D:7", 3), ("G:maj", 3), ("C:maj/3", 3),
        ("D:7", 3), ("G:maj", 3)]),
    "sieve-colours": ("pick", 4, 88, [
        ("D:sus2", 4), ("D:maj", 4), ("A:sus4", 4), ("A:7", 4), ("B:hdim7", 4), ("E:7", 4),
        ("A:min", 4), ("A:min7", 4)]),
    "pair-letters": ("pairs", 4, 108, [
        ("D:maj", 4), ("G:maj", 4), ("A:maj", 4), ("D:maj", 4), ("E:min", 4), ("F#:min", 4),
        ("G:maj", 4), ("A:maj", 4), ("D:maj", 4)]),
}


def strings(shape):
    """(string, MIDI) of what sounds, low string first."""
    if isinstance(shape, str):
        shape = [None if c == "x" else int(c) for c in shape]
    return [(s, OPEN[s] + f) for s, f in enumerate(shape) if f is not None]


def play(style, notes, n_beats, rng):
    """Yields (beat, string, MIDI, velocity, s after the beat) of one chord."""
    half = 0.5
    if style == "strum":
        for at, down, velocity in [(0, 1, 98), (1, 1, 84), (1.5, 0, 70), (2.5, 0, 72), (3, 1, 86)]:
            if at < n_beats:
                order = notes if down else notes[::-1][:4]
                for i, (s, midi) in enumerate(order):
                    yield at, s, midi, velocity - i, i * rng.uniform(0.009, 0.016)
    elif style == "pick":
        # up and down over all strings, so that every tone of the chord is heard
        upper = notes[1:]
        steps = int(n_beats / half)
        walk = upper + upper[-2:0:-1]
        for k in range(steps):
            s, midi = notes[0] if k == 0 else walk[(k - 1) % len(walk)]
            yield k * half, s, midi, 96 if k == 0 else 80, 0.0
    else:
        for at in (0, 1.5, 3):
            if at < n_beats:
                for i, (s, midi) in enumerate(notes):
                    yield at, s, midi, 92, i * 0.006


def perform(name, lead_in_s=0.7):
    """Notes [on, off, midi, velocity, string], chords, beats and the end of a take."""
    style, beats_in_bar, bpm, row = TAKES[name]
    rng = random.Random(name)
    beat_s = 60.0 / bpm
    notes, chords, beat = [], [], 0
    for label, n_beats in row:
        shape = PAIRS[label] if style == "pairs" else SHAPES[label]
        end = lead_in_s + (beat + n_beats) * beat_s
        started = None
        for at, string, midi, velocity, after in play(style, strings(shape), n_beats, rng):
            on = lead_in_s + (beat + at) * beat_s + after + rng.gauss(0, 0.003)
            started = on if started is None else min(started, on)
            notes.append([on, end - 0.005, midi, velocity + rng.randint(-4, 4), string])
        chords.append((started, label))
        beat += n_beats
    total = lead_in_s + beat * beat_s + 1.2
    notes.sort()
    for i, note in enumerate(notes):    # a string struck again stops its old note
        for later in notes[i + 1:]:
            if later[4] == note[4]:
                note[1] = max(note[0] + 0.02, min(note[1], later[0] - 0.004))
                break
        else:                           # what is left of the last chord rings to the end
            if note[1] > lead_in_s + beat * beat_s - 0.01:
                note[1] = total
    beats = [lead_in_s + b * beat_s for b in range(beat)]
    return notes, chords, beats, beats[::beats_in_bar], total


def midi_file(path, notes, program, release, total):
    events = []
    for channel in range(6):            # a channel a string
        events.append((0, 0, mido.Message("program_change", channel=channel, program=program)))
        if release:
            data = 8192 + release // 2  # FluidSynth scales this generator by 2
            for control, value in ((99, 120), (98, NRPN_RELEASE), (38, data & 127), (6, data >> 7)):
                events.append((0, 1, mido.Message("control_change", channel=channel,
                                                  control=control, value=value)))
    for on, off, midi, velocity, string in notes:
        events.append((round(on * TICKS), 3, mido.Message(
            "note_on", channel=string, note=midi, velocity=velocity)))
        events.append((round(off * TICKS), 2, mido.Message(
            "note_off", channel=string, note=midi)))
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    before = 0
    for tick, _, message in sorted(events, key=lambda e: e[:2]):
        track.append(message.copy(time=tick - before))
        before = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, round(total * TICKS) - before)))
    song = mido.MidiFile(ticks_per_beat=TICKS)
    song.tracks.append(track)
    song.save(path)


def soundfont(file, package):
    listing = subprocess.run(["dpkg", "-L", package], capture_output=True, text=True).stdout
    for line in listing.splitlines():
        if line.endswith(file):
            return line
    raise SystemExit(f"{package} is not installed: run tests/setup")


def render(folder, take, sound):
    file, package, program, attack, release = SOUNDS[sound]
    notes, chords, beats, downbeats, total = perform(take)
    base = folder / f"{take}-{sound}"
    midi_file(base.with_suffix(".mid"), notes, program, release, total)
    subprocess.run(["fluidsynth", "-ni", "-q", "-g", "0.6", "-R", "0", "-C", "0", "-r", "44100",
                    "-F", str(base.with_suffix(".wav")), soundfont(file, package),
                    str(base.with_suffix(".mid"))], check=True, capture_output=True)
    starts = [0.0] + [t + attack for t, _ in chords]
    ends = starts[1:] + [total]
    labels = ["N"] + [label for _, label in chords]
    base.with_suffix(".lab").write_text("".join(
        f"{s:.4f}\t{e:.4f}\t{label}\n" for s, e, label in zip(starts, ends, labels)))
    base.with_suffix(".json").write_text(json.dumps({
        "take": take, "sound": sound,
        "beats_s": [b + attack for b in beats], "downbeats_s": [b + attack for b in downbeats],
        "notes": [[on + attack, off + attack, midi] for on, off, midi, _, _ in notes]}))


def main(folder):
    for take in TAKES:
        for sound in SOUNDS:
            render(Path(folder), take, sound)


if __name__ == "__main__":
    main(sys.argv[1])
