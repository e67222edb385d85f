"""MIDI number and frequency in Hz of each note name on stdin, by music21, as JSON lines."""
import json
import sys

from music21.pitch import Pitch

for line in sys.stdin:
    name = line.strip()
    pitch = Pitch(name.replace("\u266f", "#").replace("\u266d", "-"))
    print(json.dumps({"name": name, "midi": pitch.midi, "hz": pitch.frequency}))
