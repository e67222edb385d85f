"""Holds logs against docs/log.schema.json with the jsonschema package, and
their times of day against Python's own ISO 8601 reader.

python validate_log.py SCHEMA LOG...   prints one line a log: `valid` or where it fails
"""

import datetime
import json
import sys

import jsonschema

with open(sys.argv[1], encoding="utf-8") as file:
    schema = json.load(file)
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
for path in sys.argv[2:]:
    with open(path, encoding="utf-8") as file:
        log = json.load(file)
    error = jsonschema.exceptions.best_match(validator.iter_errors(log))
    if error is not None:
        print("invalid at", error.json_path)
        continue
    for text in [log["drafted"]] + [d["at"] for d in log["decided"]]:
        when = datetime.datetime.fromisoformat(text.replace("Z", "+00:00"))
        assert when.utcoffset() == datetime.timedelta(0), text
    print("valid")
