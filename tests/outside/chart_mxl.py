"""Opens a compressed score with Python's zipfile and reads it with music21; it must hold the plain one.

usage: chart_mxl.py FILE.mxl FILE.musicxml
"""
import pathlib
import sys
import zipfile
import music21

with zipfile.ZipFile(sys.argv[1]) as archive:
    assert archive.testzip() is None
    names = archive.namelist()
    first = archive.infolist()[0]
    assert names[0] == "mimetype" and first.compress_type == zipfile.ZIP_STORED, names
    assert archive.read("mimetype") == b"application/vnd.recordare.musicxml"
    assert "META-INF/container.xml" in names
    score = archive.read("score.musicxml")
assert score == pathlib.Path(sys.argv[2]).read_bytes()
parsed = music21.converter.parse(sys.argv[1])
measures = len(parsed.parts[0].getElementsByClass("Measure"))
words = [n.lyric for n in parsed.recurse().notes if getattr(n, "lyric", None)]
composer = parsed.metadata.composer
print(f"{measures} measures, {composer}, {' | '.join(words)}")
