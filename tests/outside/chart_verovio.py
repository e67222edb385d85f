"""Renders MusicXML with verovio; any warning or error of it fails.

Prints measures, chord symbols and fret numbers that it drew.
"""
import os
import re
import sys
import tempfile
import verovio

# it writes its log to the process's stderr
kept, log_file = os.dup(2), tempfile.TemporaryFile()
os.dup2(log_file.fileno(), 2)
verovio.enableLog(verovio.LOG_WARNING)
toolkit = verovio.toolkit()
loaded = toolkit.loadFile(sys.argv[1])
measures, symbols, frets = 0, 0, 0
for page in range(1, toolkit.getPageCount() + 1):
    svg = toolkit.renderToSVG(page)
    measures += len(re.findall(r'class="measure"', svg))
    symbols += len(re.findall(r'class="harm', svg))
    frets += len(re.findall(r'class="note', svg))
os.dup2(kept, 2)
log_file.seek(0)
log = log_file.read().decode().strip()
assert loaded and not log, log
print(f"{measures} measures, {symbols} symbols, {frets} notes")
