"""Holds what name, imply and shapes print against docs/naming.schema.json with
the jsonschema package, and the schema against spoiled copies of it.

python validate_naming.py SCHEMA DOCUMENT...
"""

import copy
import json
import sys

import jsonschema

with open(sys.argv[1], encoding="utf-8") as file:
    schema = json.load(file)
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)


def spoiled(value):
    """Copies of a document with one field dropped, renamed or of another type."""
    for key in value:
        without = copy.deepcopy(value)
        del without[key]
        yield f"without {key}", without
    more = copy.deepcopy(value)
    more["surplus"] = 1
    yield "with a surplus field", more
    for key, inner in value.items():
        if isinstance(inner, list) and inner and isinstance(inner[0], dict):
            for what, wrong in spoiled(inner[0]):
                if what in ("without roman", "without number", "without chord", "without symbol"):
                    continue  # only with a key, or only in a row
                copied = copy.deepcopy(value)
                copied[key][0] = wrong
                yield f"{key}[0] {what}", copied


n_spoiled = 0
for path in sys.argv[2:]:
    with open(path, encoding="utf-8") as file:
        document = json.load(file)
    error = jsonschema.exceptions.best_match(validator.iter_errors(document))
    assert error is None, f"{path}: {error.json_path}: {error.message}"
    for what, wrong in spoiled(document):
        assert not validator.is_valid(wrong), f"{path}: the schema takes it {what}"
        n_spoiled += 1
print(f"{len(sys.argv) - 2} documents valid, {n_spoiled} spoiled copies refused")
