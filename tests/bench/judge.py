"""Holds bench files against a JSON Schema, by a library that is not ours (python3-jsonschema).

judge.py SCHEMA FILE...   prints "valid FILE" or "refused FILE" for each, and fails on a schema that is none.
"""
import json
import re
import sys

import jsonschema


def without_comments(text):
    # A string is taken whole, so that "//" within one stays.
    return re.sub(r'("(?:\\.|[^"\\])*")|//[^\n]*|/\*.*?\*/', lambda m: m.group(1) or " ", text, flags=re.S)


with open(sys.argv[1], encoding="utf-8") as f:
    schema = json.load(f)
jsonschema.Draft7Validator.check_schema(schema)
validator = jsonschema.Draft7Validator(schema)
for path in sys.argv[2:]:
    with open(path, encoding="utf-8") as f:
        document = json.loads(without_comments(f.read()))
    print("valid" if validator.is_valid(document) else "refused", path)
