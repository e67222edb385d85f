"""A JSON schema against documents that must fit it, and against spoiled copies of
them that must not; for the validate_*.py beside it."""

import copy
import json

import jsonschema


def read(path):
    """The document in a JSON file."""
    with open(path, encoding="utf-8") as file:
        return json.load(file)


def schema(path):
    """A schema from a file, held against its own standard."""
    read_schema = read(path)
    jsonschema.Draft202012Validator.check_schema(read_schema)
    return read_schema


def spoiled(value, optional, optional_inside):
    """Copies of an object with one field dropped, surplus or of another type, also inside."""
    for key, inner in value.items():
        if key not in optional:
            without = {k: v for k, v in value.items() if k != key}
            yield f"without {key}", without
        if not isinstance(inner, dict):
            yield f"with an object as {key}", {**value, key: {"surplus": 1}}
        if isinstance(inner, list) and inner and isinstance(inner[0], dict):
            for what, wrong in spoiled(inner[0], optional_inside, optional_inside):
                copied = copy.deepcopy(value)
                copied[key][0] = wrong
                yield f"{key}[0] {what}", copied
    yield "with a surplus field", {**value, "surplus": 1}


def hold(validator, document, name, optional=(), optional_inside=()):
    """Asserts that the document fits and its spoiled copies do not; gives how many those were."""
    error = jsonschema.exceptions.best_match(validator.iter_errors(document))
    assert error is None, f"{name}: {error.json_path}: {error.message}"
    n_spoiled = 0
    for what, wrong in spoiled(document, optional, optional_inside):
        assert not validator.is_valid(wrong), f"{name}: the schema takes it {what}"
        n_spoiled += 1
    return n_spoiled
