"""Holds JSON values against the schemas of an OpenAPI 3.1 document (JSON Schema 2020-12)."""

import json
import sys

from jsonschema import Draft202012Validator

with open(sys.argv[1], encoding="utf-8") as file:
    given = json.load(file)

wrong = 0
for one in given["fits"]:
    schema = dict(one["schema"], components=given["components"])
    Draft202012Validator.check_schema(schema)
    for error in Draft202012Validator(schema).iter_errors(one["instance"]):
        print(f"{one['name']}: {error.json_path}: {error.message}")
        wrong += 1
if wrong:
    sys.exit(1)
print(f"{len(given['fits'])} fit")
