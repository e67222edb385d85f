"""Validates MusicXML against the 4.0 schema, then reads it with music21."""
import pathlib
import sys
import music21
import musicxml_schema

source = pathlib.Path(sys.argv[1]).read_text(encoding="utf-8")
musicxml_schema.validate(source)

score = music21.converter.parse(sys.argv[1])
symbols = list(score.recurse().getElementsByClass("ChordSymbol"))
seen = []
for symbol in symbols:
    # music21 writes a half-diminished chord with a sign
    figure = symbol.figure.replace("ø7", "m7b5")
    if not seen or seen[-1] != figure:
        seen.append(figure)
print(" ".join(seen[:6]))
expander = music21.repeat.Expander(score.parts[0])
assert expander.isExpandable(), "repeats do not close"
print(len(expander.process().getElementsByClass("Measure")), "bars played")
print(source.count("<frame>"), "frames")
