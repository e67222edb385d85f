"""Holds what commands print against docs/results.schema.json with the
jsonschema package, and the schema against spoiled copies of it.

python validate_results.py SCHEMA < LINES

Each line is JSON: the name of a definition, and a document that must fit it and
must not fit it any more once a field is dropped, renamed or of another type.
"""

import copy
import json
import sys

import jsonschema

# fields that may be left out
OPTIONAL = {"key_changes"}

with open(sys.argv[1], encoding="utf-8") as file:
    schema = json.load(file)
jsonschema.Draft202012Validator.check_schema(schema)


def spoiled(value):
    """Copies of an object with one field dropped, renamed or of another type, also inside."""
    for key, inner in value.items():
        if key not in OPTIONAL:
            without = {k: v for k, v in value.items() if k != key}
            yield f"without {key}", without
        if not isinstance(inner, dict):
            yield f"with an object as {key}", {**value, key: {"surplus": 1}}
        if isinstance(inner, list) and inner and isinstance(inner[0], dict):
            for what, wrong in spoiled(inner[0]):
                copied = copy.deepcopy(value)
                copied[key][0] = wrong
                yield f"{key}[0] {what}", copied
    yield "with a surplus field", {**value, "surplus": 1}


seen, n_spoiled = set(), 0
for line in sys.stdin:
    name, document = json.loads(line)
    assert name in schema["$defs"], f"no definition of {name}"
    whole = {**schema, "anyOf": [{"$ref": f"#/$defs/{name}"}]}
    validator = jsonschema.Draft202012Validator(whole)
    error = jsonschema.exceptions.best_match(validator.iter_errors(document))
    assert error is None, f"{name}: {error.json_path}: {error.message}"
    for what, wrong in spoiled(document):
        assert not validator.is_valid(wrong), f"{name}: the schema takes it {what}"
        n_spoiled += 1
    seen.add(name)
print(json.dumps({"definitions": sorted(seen), "n_spoiled": n_spoiled}))
