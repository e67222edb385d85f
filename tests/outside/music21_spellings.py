"""music21's table of chord symbols as JSON: kind, spelling, degrees over the root."""
import json
import sys

from music21 import harmony

json.dump(
    [
        {"kind": kind, "spelling": spelling, "degrees": formula.split(",")}
        for kind, (formula, spellings) in harmony.CHORD_TYPES.items()
        for spelling in spellings
    ],
    sys.stdout,
)
