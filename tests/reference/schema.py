"""Validates JSON documents against a JSON Schema: schema.py SCHEMA < one document a line; prints one line a document."""

import json
import sys

import jsonschema

with open(sys.argv[1], encoding="utf-8") as file:
    schema = json.load(file)
# Draft 4 takes any `format`; what is checked here is the shape.
validator = jsonschema.validators.validator_for(schema)(schema)
validator.check_schema(schema)
for line in sys.stdin:
    error = jsonschema.exceptions.best_match(validator.iter_errors(json.loads(line)))
    where = "" if error is None else "/".join(str(it) for it in error.absolute_path)
    print("valid" if error is None else f"{where}: {error.message[:300]}".replace("\n", " "))
