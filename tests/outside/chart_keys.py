"""Prints the keys that music21 finds in a MusicXML file and mido in a MIDI file.

    python3 chart_keys.py FILE.musicxml FILE.mid

One line each: measure number and sharps of every key signature (music21, PyPI);
second and key name of every key signature event (mido, PyPI; the names are
those of the Standard MIDI Files 1.0 table).
"""
import sys

import mido
import music21

score = music21.converter.parse(sys.argv[1])
print(" ".join(f"{k.measureNumber}:{k.sharps}"
               for k in score.parts[0].recurse().getElementsByClass("KeySignature")))
now, found = 0.0, []
for message in mido.MidiFile(sys.argv[2]):
    now += message.time
    if message.type == "key_signature":
        found.append(f"{now:.2f}:{message.key}")
print(" ".join(found))
