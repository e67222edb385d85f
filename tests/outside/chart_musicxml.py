"""Validates MusicXML against the 4.0 schema, then reads it with music21.

The schema comes in the `musicxml` package, the two it imports in `xmlschema`.
"""
import pathlib
import re
import sys
import tempfile
import music21
import musicxml
import xmlschema

source = pathlib.Path(sys.argv[1]).read_text(encoding="utf-8")
xsd = pathlib.Path(musicxml.__file__).parent / "generate_classes" / "musicxml_4_0.xsd"
parts = pathlib.Path(xmlschema.__file__).parent / "schemas"
text = xsd.read_text(encoding="utf-8")
text, n = re.subn(r'schemaLocation="[^"]*xml\.xsd"', f'schemaLocation="{parts}/XML/xml.xsd"', text)
assert n == 1
text, n = re.subn(r'schemaLocation="[^"]*xlink\.xsd"', f'schemaLocation="{parts}/XLINK/xlink.xsd"', text)
assert n == 1
with tempfile.TemporaryDirectory() as folder:
    local = pathlib.Path(folder) / "musicxml.xsd"
    local.write_text(text, encoding="utf-8")
    schema = xmlschema.XMLSchema(str(local))
    body = re.sub(r"<!DOCTYPE[^>]*>", "", source)
    schema.validate(body)
    assert not schema.is_valid(body.replace("<measure ", "<bar ", 1).replace("</measure>", "</bar>", 1))

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
