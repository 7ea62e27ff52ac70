"""Reads what `rigmuster journal` prints with Python's own readers, and holds one form against the other.

    journal.py JSON_LINES CSV     prints how many entries there are
"""

import csv
import datetime
import json
import sys
import unicodedata

KINDS = {"standing", "finding", "ready", "start", "anew", "gap"}


def shown(text):
    """What a spreadsheet gets instead of characters that move or hide something."""
    hidden = ("Cc", "Cf", "Zl", "Zp")
    return "".join("\ufffd" if unicodedata.category(c) in hidden else c for c in text)


def cell(value):
    """A JSON value as the CSV should have it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return shown("; ".join(value))
    if isinstance(value, dict):
        return json.dumps(value, separators=(",", ":"))
    return shown(str(value))


def main(lines, table):
    with open(lines, encoding="utf-8") as file:
        entries = [json.loads(line) for line in file]
    with open(table, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, strict=True))
    last = (0, -1)
    for entry in entries:
        # RFC 3339 with its offset; fromisoformat reads no other form that ends in one.
        at = datetime.datetime.fromisoformat(entry["at"])
        assert at.tzinfo is not None and at.year > 2020, entry["at"]
        assert entry["kind"] in KINDS, entry
        assert entry["kind"] != "standing" or (entry["standing"] and entry["device"]), entry
        assert entry["kind"] != "finding" or entry["finding"], entry
        assert isinstance(entry["macs"], list) and entry["text"], entry
        assert (entry["run"], entry["elapsed_ms"]) >= last, "out of order"
        last = (entry["run"], entry["elapsed_ms"])
    assert len(rows) == len(entries), (len(rows), len(entries))
    for entry, row in zip(entries, rows):
        assert list(entry) == list(row), (list(entry), list(row))
        for name, value in entry.items():
            assert row[name].lstrip("'") == cell(value).lstrip("'"), (name, row[name], value)
            assert row[name][:1] not in ("=", "+", "-", "@"), row[name]
    print(len(entries))


main(*sys.argv[1:])
