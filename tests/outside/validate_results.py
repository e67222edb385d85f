"""Holds what commands print against docs/results.schema.json with the
jsonschema package, and the schema against spoiled copies of it.

python validate_results.py SCHEMA < LINES

Each line is JSON: the name of a definition, and a document that must fit it and
must not fit it any more once a field is dropped, renamed or of another type.
"""

import json
import sys

import jsonschema
import schema_check

# fields that may be left out
OPTIONAL = {"key_changes"}

schema = schema_check.schema(sys.argv[1])
seen, n_spoiled = set(), 0
for line in sys.stdin:
    name, document = json.loads(line)
    assert name in schema["$defs"], f"no definition of {name}"
    whole = {**schema, "anyOf": [{"$ref": f"#/$defs/{name}"}]}
    validator = jsonschema.Draft202012Validator(whole)
    n_spoiled += schema_check.hold(validator, document, name, OPTIONAL, OPTIONAL)
    seen.add(name)
print(json.dumps({"definitions": sorted(seen), "n_spoiled": n_spoiled}))
