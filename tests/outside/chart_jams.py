"""Validates a JAMS file with the jams library and its schema, and counts what it holds."""
import sys
import jams

document = jams.load(sys.argv[1], validate=True, strict=True)
document.validate(strict=True)
print(", ".join(f"{a.namespace} {len(a.data)}" for a in document.annotations))
chords = document.annotations[0]
for part in ("degrees", "reasons"):
    assert len(getattr(chords.sandbox, part)) == len(chords.data), part
