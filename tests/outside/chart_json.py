"""Holds a chart in JSON against its schema, and the schema against wrong documents."""
import copy
import json
import sys
import jsonschema

document = json.load(open(sys.argv[1], encoding="utf-8"))
schema = json.load(open(sys.argv[2], encoding="utf-8"))
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
validator.validate(document)
# a schema that takes anything would prove nothing
for change in (
    lambda d: d.pop("chords"),
    lambda d: d.update(version=99),
    lambda d: d.update(extra=1),
    lambda d: d["chords"][0].update(start_s="0"),
    lambda d: d["chords"][0]["shapes"][0].update(frets="banana"),
):
    wrong = copy.deepcopy(document)
    change(wrong)
    assert not validator.is_valid(wrong), "the schema took a wrong document"
