"""Holds logs against docs/log.schema.json with the jsonschema package, and
their times of day against Python's own ISO 8601 reader.

python validate_log.py SCHEMA LOG...   prints one line a log: `valid` or where it fails
"""

import datetime
import sys

import jsonschema
import schema_check

validator = jsonschema.Draft202012Validator(schema_check.schema(sys.argv[1]))
for path in sys.argv[2:]:
    log = schema_check.read(path)
    error = jsonschema.exceptions.best_match(validator.iter_errors(log))
    if error is not None:
        print("invalid at", error.json_path)
        continue
    for text in [log["drafted"]] + [d["at"] for d in log["decided"]]:
        when = datetime.datetime.fromisoformat(text.replace("Z", "+00:00"))
        assert when.utcoffset() == datetime.timedelta(0), text
    print("valid")
