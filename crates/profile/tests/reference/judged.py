#!/usr/bin/env python3
"""Writes judged.json: a schema with every keyword of ours, and what python-jsonschema says of many instances.

Needs jsonschema (PyPI, MIT licence); made with 4.26.0. Run: python3 judged.py > judged.json
"""

import itertools
import json

from jsonschema import Draft7Validator

SCHEMA = {
    "$schema": "http://json-schema.org/draft-07/schema#",
    "title": "Judged",
    "type": "object",
    "additionalProperties": False,
    "required": ["must"],
    "properties": {
        "must": {"type": "integer", "minimum": 1, "maximum": 128, "$comment": "a number"},
        "number": {"type": "number", "exclusiveMinimum": 0, "maximum": 1.5},
        "flag": {"type": "boolean"},
        "word": {"enum": ["a", "b", 4]},
        "text": {
            "type": "string",
            "minLength": 1,
            "maxLength": 3,
            "pattern": "^[^\\u0000-\\u001f\\u007f-\\u009f\\u0020\\u00a0]*$",
        },
        "either": {"anyOf": [{"enum": ["low"]}, {"type": "number", "minimum": 2}]},
        "list": {"type": "array", "minItems": 1, "maxItems": 3, "items": {"type": "array", "items": {"type": "number"}}},
        "own": {"type": "object", "additionalProperties": {"type": "integer"}},
        "tables": {"type": "array", "items": {"$ref": "#/definitions/Table"}},
    },
    "definitions": {
        "Table": {
            "type": "object",
            "additionalProperties": False,
            "required": ["key"],
            "properties": {"key": {"type": "string"}, "more": {"type": "array", "items": {"$ref": "#/definitions/Table"}}},
        }
    },
}

VALUES = [
    None, True, False, 0, 1, 2, 4, 4.0, 1.5, 1.6, 0.001, -1, 128, 129, "", "a", "b", "low", "\u00e9\u00e9\u00e9", "abcd",
    " a", "a\nb", "\u00a0", "\u0085", "4", [], [[]], [[1]], [[1, 2.5], [3]], [["a"]], [1], [[], [], [], []], {}, {"x": 1},
    {"x": 1.0}, {"x": 1.5}, {"x": "a"}, [{"key": "a"}], [{"key": 1}], [{}], [{"key": "a", "other": 1}],
    [{"key": "a", "more": [{"key": "b", "more": []}]}], [{"key": "a", "more": [{}]}],
]


def main():
    instances = [value for value in VALUES]
    instances += [{"must": value} for value in VALUES]
    for key in [key for key in SCHEMA["properties"] if key != "must"] + ["unknown"]:
        instances += [{"must": 1, key: value} for value in VALUES]
    instances += [dict(pair) for pair in itertools.combinations([("number", 1), ("flag", True), ("text", "a")], 2)]
    validator = Draft7Validator(SCHEMA)
    cases = [{"instance": instance, "valid": validator.is_valid(instance)} for instance in instances]
    print('{"schema": ' + json.dumps(SCHEMA) + ', "cases": [')
    print(",\n".join(json.dumps(case) for case in cases))
    print("]}")


main()
