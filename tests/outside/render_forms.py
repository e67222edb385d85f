"""Renders long takes whose tempo map and form are known.

    python3 render_forms.py FOLDER

Writes FOLDER/NAME.mid, NAME.wav and NAME.json (meter, sections as start, end,
letter; endings: section from 0, first and last changed bar from 1).  The tempo
drifts by up to 3 %: each beat has a set_tempo of its own, and beats are read
back from that map (Standard MIDI Files 1.0: microseconds a quarter note), not
from what this program meant.  All music is invented here; every random choice
comes from the name.
"""
import json
import math
import random
import subprocess
import sys
from pathlib import Path

import mido

import render_takes as r

TICKS = 480
SHAPES = dict(r.SHAPES)
SHAPES.update({"A:maj": "x02220", "E:maj": "022100", "B:min": "x24432", "F#:min": "244222"})
SHORT = {"C": "C:maj", "Dm": "D:min", "D": "D:maj", "Em": "E:min", "F": "F:maj", "G": "G:maj",
         "Am": "A:min", "A": "A:maj", "Bm": "B:min", "E": "E:maj", "F#m": "F#:min"}

# meter: beats in a bar and divisions of a beat; bpm of that beat; letter and bars
FORMS = {
    "orchard-gate": ((4, 2), 104, "strum", "fluid", [
        ("I", "C G F G"),
        ("A", "C Em F C Am Dm F G"), ("B", "F Am G C F Em Dm G"),
        ("A", "C Em F C Am Dm F G"), ("B", "F Am G C F Em G C"),
        ("C", "Am Am Em Em Dm F G G"), ("B", "F Am G C F Em Dm G")]),
    "mill-waltz": ((3, 2), 126, "strum", "tim", [
        ("A", "D D G A Bm Bm G A"), ("A", "D D G A Bm Bm G D"),
        ("B", "G Em A F#m Bm G A A"), ("A", "D D G A Bm Bm G A"),
        ("B", "G Em A F#m Bm G A A"), ("C", "Bm Bm F#m F#m G G A A"),
        ("A", "D D G A Bm Bm G D")]),
    "tide-lamp": ((2, 3), 62, "pick", "fluid", [
        ("A", "Am F C G Am F G E"), ("B", "F G Em Am Dm Am F G"),
        ("A", "Am F C G Am F G E"), ("B", "F G Em Am Dm Am G C"),
        ("B", "F G Em Am Dm Am F G")]),
}


def strokes(style, notes, meter, rng):
    """(beat, string, MIDI, velocity) of a bar."""
    beats, parts = meter
    if style == "strum":
        for beat in range(beats):
            for at, down in ((0, True), (0.5, False)):
                if at and beat == 0:
                    continue
                order = notes if down else notes[::-1][:4]
                for i, (string, midi) in enumerate(order):
                    loud = (98 if beat == 0 else 86) if down else 70
                    yield beat + at + i * 0.02, string, midi, loud - i
    else:
        walk = [notes[0]] + [notes[k % len(notes)] for k in (-3, -2, -1, -2, -3)]
        for k in range(beats * parts):
            string, midi = walk[k % len(walk)]
            yield k / parts, string, midi, 98 if k == 0 else 82


def make(folder, name):
    meter, bpm, style, sound, form = FORMS[name]
    rng = random.Random(name)
    file, package, program, attack, release = r.SOUNDS[sound]
    events, beat = [], 0
    lead_in = 2                                   # beats of silence
    first = {}
    sections, endings = [], []
    for letter, chords in form:
        start = beat
        row = chords.split()
        model = first.setdefault(letter, row)
        changed = [k + 1 for k, (x, y) in enumerate(zip(model, row)) if x != y]
        if changed:
            endings.append([len(sections), changed[0], changed[-1]])
        for chord in row:
            notes = r.strings(SHAPES[SHORT[chord]])
            for at, string, midi, loud in strokes(style, notes, meter, rng):
                on = lead_in + beat + at + rng.gauss(0, 0.006)
                end = lead_in + beat + meter[0] - 0.03
                events.append([on, end, string, midi, loud + rng.randint(-4, 4)])
            beat += meter[0]
        sections.append([start, beat, letter])
    n_beats = beat
    events.sort()
    stopped(events)
    last = lead_in + n_beats + 2
    timed = []
    for b in range(last):
        drift = 1 + 0.03 * math.sin(2 * math.pi * b / 61 + len(name))
        timed.append((b * TICKS, 0, mido.MetaMessage("set_tempo", tempo=round(6e7 / bpm * drift))))
    timed += guitar(events, program, release)
    base = folder / name
    played(timed, base, r.soundfont(file, package))
    times = [t + attack for t in beat_times(base.with_suffix(".mid"))][lead_in:lead_in + n_beats + 1]
    base.with_suffix(".json").write_text(json.dumps({
        "meter": list(meter), "bpm": bpm, "beats_s": times[:-1],
        "downbeats_s": times[:-1:meter[0]],
        "sections": [[times[a], times[b], letter] for a, b, letter in sections],
        "endings": endings}))


def stopped(struck):
    """A string struck again stops its old note; struck: [on, off, string, midi, velocity] in beats, in order."""
    for i, event in enumerate(struck):
        for later in struck[i + 1:]:
            if later[2] == event[2]:
                event[1] = max(event[0] + 0.05, min(event[1], later[0] - 0.02))
                break


def guitar(struck, program, release):
    """The messages of a guitar, a channel a string: [(tick, order, message)]."""
    timed = []
    for channel in range(6):
        timed.append((0, 1, mido.Message("program_change", channel=channel, program=program)))
        if release:
            data = 8192 + release // 2
            for control, value in ((99, 120), (98, r.NRPN_RELEASE), (38, data & 127), (6, data >> 7)):
                timed.append((0, 2, mido.Message("control_change", channel=channel,
                                                 control=control, value=value)))
    for on, off, string, midi, loud in struck:
        timed.append((round(on * TICKS), 4, mido.Message(
            "note_on", channel=string, note=midi, velocity=loud)))
        timed.append((round(off * TICKS), 3, mido.Message("note_off", channel=string, note=midi)))
    return timed


def played(timed, base, soundfont):
    """Writes BASE.mid and plays it to BASE.wav."""
    track, before = mido.MidiTrack(), 0
    for tick, _, message in sorted(timed, key=lambda t: t[:2]):
        track.append(message.copy(time=tick - before))
        before = tick
    song = mido.MidiFile(ticks_per_beat=TICKS)
    song.tracks.append(track)
    song.save(base.with_suffix(".mid"))
    subprocess.run(["fluidsynth", "-ni", "-q", "-g", "0.6", "-R", "0", "-C", "0", "-r", "44100",
                    "-F", str(base.with_suffix(".wav")), soundfont,
                    str(base.with_suffix(".mid"))], check=True, capture_output=True)


def beat_times(path):
    """Seconds of each beat, by the tempo map of the file."""
    song, at_s, times = mido.MidiFile(path), 0.0, []
    tempo, tick, due = 500_000, 0, 0
    for message in song.tracks[0]:
        while due <= tick + message.time:
            times.append(at_s + mido.tick2second(due - tick, song.ticks_per_beat, tempo))
            due += song.ticks_per_beat
        at_s += mido.tick2second(message.time, song.ticks_per_beat, tempo)
        tick += message.time
        if message.type == "set_tempo":
            tempo = message.tempo
    return times


if __name__ == "__main__":
    for take in FORMS:
        make(Path(sys.argv[1]), take)
