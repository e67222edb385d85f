"""Holds what name, imply and shapes print against docs/naming.schema.json with
the jsonschema package, and the schema against spoiled copies of it.

python validate_naming.py SCHEMA DOCUMENT...
"""

import sys

import jsonschema
import schema_check

# only with a key, or only in a row
OPTIONAL_INSIDE = {"roman", "number", "chord", "symbol"}

validator = jsonschema.Draft202012Validator(schema_check.schema(sys.argv[1]))
n_spoiled = sum(
    schema_check.hold(
        validator, schema_check.read(path), path, optional_inside=OPTIONAL_INSIDE
    )
    for path in sys.argv[2:]
)
print(f"{len(sys.argv) - 2} documents valid, {n_spoiled} spoiled copies refused")
