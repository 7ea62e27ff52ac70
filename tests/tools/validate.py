"""Validates against JSON Schemas with the jsonschema library, which is not ours.

    validate.py SCHEMA FILE...          each FILE is JSON, JSON lines (.jsonl) or TOML (.toml)

Prints for each FILE "ok NAME", or "refused NAME: why". The schema itself is held against its own
edition's meta-schema first.
"""
import json
import sys
import tomllib
from pathlib import Path

import jsonschema


def instances(path):
    if path.suffix == ".toml":
        yield tomllib.loads(path.read_text(encoding="utf-8-sig"))
    elif path.suffix == ".jsonl":
        for line in path.read_text(encoding="utf-8").splitlines():
            yield json.loads(line)
    else:
        yield json.loads(path.read_text(encoding="utf-8"))


def main():
    schema = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    kind = jsonschema.validators.validator_for(schema, default=None)
    assert kind is jsonschema.Draft202012Validator, schema.get("$schema")
    kind.check_schema(schema)
    validator = kind(schema)
    for name in sys.argv[2:]:
        path = Path(name)
        try:
            wrong = [e for one in instances(path) for e in validator.iter_errors(one)]
        except (ValueError, RecursionError) as e:
            print(f"unreadable {path.name}: {e}")
            continue
        if wrong:
            where = "/".join(map(str, wrong[0].absolute_path))
            print(f"refused {path.name}: {where}: {wrong[0].message[:200]}")
        else:
            print(f"ok {path.name}")


main()
