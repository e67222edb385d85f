"""Writes files with other people's libraries, for takebook to take in; prints the truth of each.

Usage: foreign_write.py FOLDER. Prints one line a file: name, then start:label of each chord.
"""
import pathlib
import sys

import jams
import mido
import music21
import numpy
import pretty_midi

folder = pathlib.Path(sys.argv[1])

# --- music21: a pickup, a repeat, rehearsal marks, half-bar changes, a slash bass
score = music21.stream.Score()
score.metadata = music21.metadata.Metadata(title="Paper Moon & Sons <live>")
part = music21.stream.Part()
rows = [
    [("G", 2), ("D/F#", 2)],
    [("Em7", 4)],
    [("C", 4)],
    [("B-maj7", 2), ("F#m7b5", 2)],
]
pickup = music21.stream.Measure(number=0)
pickup.append(music21.meter.TimeSignature("4/4"))
pickup.append(music21.key.Key("G"))
pickup.append(music21.tempo.MetronomeMark(number=100))
pickup.append(music21.note.Rest(quarterLength=1))
pickup.padAsAnacrusis()
part.append(pickup)
for number, row in enumerate(rows, 1):
    measure = music21.stream.Measure(number=number)
    if number == 1:
        measure.insert(0, music21.expressions.RehearsalMark("Verse"))
    if number == 3:
        measure.insert(0, music21.expressions.RehearsalMark("Chorus"))
    at = 0
    for figure, length in row:
        measure.insert(at, music21.harmony.ChordSymbol(figure))
        measure.insert(at, music21.note.Note("G4", quarterLength=length))
        at += length
    part.append(measure)
music21.repeat.insertRepeat(part, 1, 2, inPlace=True)
score.insert(0, part)
score.write("musicxml", fp=str(folder / "score.musicxml"))
score.write("mxl", fp=str(folder / "packed.mxl"))
beat = 0.6
played = [rows[i] for i in (0, 1, 0, 1, 2, 3)]
labels = {"D/F#": "D:maj/3", "Em7": "E:min7", "B-maj7": "Bb:maj7", "F#m7b5": "F#:hdim7"}
truth, at = [], 1
for row in played:
    for figure, length in row:
        truth.append(f"{at * beat:.3f}={labels.get(figure, figure + ':maj')}")
        at += length
print("score.musicxml", *truth)
print("packed.mxl", *truth)

# --- pretty_midi: strummed block chords at 90 bpm, drums beside them
midi = pretty_midi.PrettyMIDI(initial_tempo=90.0)
midi.time_signature_changes.append(pretty_midi.TimeSignature(3, 4, 0.0))
guitar = pretty_midi.Instrument(program=25)
drums = pretty_midi.Instrument(program=0, is_drum=True)
voicings = [
    ("D:maj", [50, 57, 62, 66]),
    ("A:7", [45, 52, 55, 61, 64]),
    ("B:min", [47, 54, 59, 62, 66]),
    ("G:maj", [43, 47, 50, 55, 59, 67]),
]
bar = 3 * 60 / 90
truth = []
for i, (label, pitches) in enumerate(voicings * 2):
    for beat_number in range(3):
        from_s = i * bar + beat_number * bar / 3
        for n, pitch in enumerate(pitches):
            start = from_s + 0.012 * n
            guitar.notes.append(pretty_midi.Note(90, pitch, start, from_s + bar / 3 - 0.01))
        drums.notes.append(pretty_midi.Note(90, 38, from_s, from_s + 0.1))
    truth.append(f"{i * bar:.3f}={label}")
midi.instruments += [guitar, drums]
midi.write(str(folder / "strums.mid"))
print("strums.mid", *truth)

# --- mido: one track (type 0), broken chords in eighths, a tempo that changes, 6/8
file = mido.MidiFile(type=0, ticks_per_beat=96)
track = mido.MidiTrack()
file.tracks.append(track)
track.append(mido.MetaMessage("time_signature", numerator=6, denominator=8))
track.append(mido.MetaMessage("set_tempo", tempo=400_000))
truth, now = [], 0.0
patterns = [("C:maj", [48, 55, 60, 64, 60, 55]), ("A:min", [45, 52, 57, 60, 57, 52]),
            ("F:maj", [41, 53, 57, 60, 57, 53]), ("G:7", [43, 53, 59, 62, 59, 53])]
for i, (label, pattern) in enumerate(patterns):
    if i == 2:
        track.append(mido.MetaMessage("set_tempo", tempo=600_000))
    truth.append(f"{now:.3f}={label}")
    for pitch in pattern:
        track.append(mido.Message("note_on", note=pitch, velocity=80, time=0))
        track.append(mido.Message("note_off", note=pitch, velocity=0, time=48))
        now += 0.5 * (0.4 if i < 2 else 0.6)
file.save(str(folder / "broken.mid"))
print("broken.mid", *truth)

# --- jams: chords with confidence, beats in three, segments, a key, two annotators
document = jams.JAMS()
document.file_metadata.title = "Slow Ferry"
document.file_metadata.duration = 12.0
for annotator, shift in (("a", 0), ("b", 1)):
    chords = jams.Annotation(namespace="chord", time=0, duration=12.0)
    for i, label in enumerate(["F:maj7", "Bb:sus2", "C:7/3", "N"]):
        chords.append(time=3.0 * i, duration=3.0, value=label, confidence=0.5 + 0.1 * shift)
    document.annotations.append(chords)
beats = jams.Annotation(namespace="beat", time=0, duration=12.0)
for i in range(12):
    beats.append(time=float(i), duration=0.0, value=i % 3 + 1)
segments = jams.Annotation(namespace="segment_open", time=0, duration=12.0)
segments.append(time=0.0, duration=6.0, value="verse")
segments.append(time=6.0, duration=6.0, value="chorus")
key = jams.Annotation(namespace="key_mode", time=0, duration=12.0)
key.append(time=0.0, duration=12.0, value="F:major")
document.annotations += [beats, segments, key]
document.save(str(folder / "notes.jams"), strict=True)
print("notes.jams 0.000=F:maj7 3.000=Bb:sus2 6.000=C:7/3 9.000=N")

# --- numpy, the way label files are usually written
times = numpy.array([0.0, 1.5, 3.0, 4.25])
with open(folder / "plain.lab", "w", encoding="utf-8") as lab:
    for start, end, label in zip(times[:-1], times[1:], ["G:maj", "C:maj(9)/5", "D:sus4(b7)"]):
        lab.write(f"{start:.6f} {end:.6f} {label}\n")
print("plain.lab 0.000=G:maj 1.500=C:maj(9)/5 3.000=D:sus4(b7)")
