"""Every chord kind of music21 on twelve roots and over each of its tones, as JSON.

Each entry: kind, root (0 = C), bass (0 = C), pitch_classes as music21 sounds it.
"""
import json
import sys

from music21 import harmony

ROOTS = ["C", "C#", "D", "E-", "E", "F", "F#", "G", "A-", "A", "B-", "B"]

found = []
for kind in sys.argv[1].split(","):
    for root in ROOTS:
        plain = harmony.ChordSymbol(root=root, kind=kind)
        tones = []
        for pitch in plain.pitches:
            if pitch.name not in tones:
                tones.append(pitch.name)
        for bass in tones:
            symbol = harmony.ChordSymbol(root=root, kind=kind, bass=bass)
            found.append(
                {
                    "kind": kind,
                    "root": symbol.root().pitchClass,
                    "bass": symbol.bass().pitchClass,
                    "pitch_classes": sorted({p.pitchClass for p in symbol.pitches}),
                }
            )
json.dump(found, sys.stdout)
