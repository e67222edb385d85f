"""Validates MusicXML with a tablature part, and reads that part with music21.

Every note must sound what its string and fret say, and each measure must be full.
Prints the number of measures with notes, and the pitches of the first of them.
"""
import pathlib
import sys
import music21
import musicxml_schema

musicxml_schema.validate(pathlib.Path(sys.argv[1]).read_text(encoding="utf-8"))
score = music21.converter.parse(sys.argv[1])
assert len(score.parts) == 2, [p.partName for p in score.parts]
tab = score.parts[1]
assert any(isinstance(c, music21.clef.TabClef) for c in tab.recurse().getElementsByClass("Clef"))
opened = {1: 64, 2: 59, 3: 55, 4: 50, 5: 45, 6: 40}  # E A D G B e, MIDI: common practice
first, filled = [], 0
for measure in tab.getElementsByClass("Measure"):
    assert measure.duration.quarterLength == measure.barDuration.quarterLength, measure.number
    sounding = []
    for note in measure.recurse().getElementsByClass(["Note", "Chord"]):
        for pitched in note.notes if note.isChord else [note]:
            marks = {type(a).__name__: a.number for a in pitched.articulations + note.articulations}
            assert "StringIndication" in marks and "FretIndication" in marks, marks
            sounding.append(pitched.pitch)
            if not note.isChord:
                midi = opened[marks["StringIndication"]] + marks["FretIndication"]
                assert midi == pitched.pitch.midi, (marks, pitched)
    filled += bool(sounding)
    first = first or [p.nameWithOctave for p in sounding]
print(filled, "measures with notes;", *first)
