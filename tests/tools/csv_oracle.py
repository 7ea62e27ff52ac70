"""Reads and writes spreadsheets with Python's csv module, which is not ours.

    csv_oracle.py rows FILE             every row as a JSON list, one a line
    csv_oracle.py rewrite FILE TO SEP   the same table, columns the other way round, all cells quoted, with
                                        SEP between them, CRLF and a byte order mark
"""
import csv
import json
import sys


def rows(path):
    with open(path, newline="", encoding="utf-8-sig") as file:
        return list(csv.reader(file, strict=True))


def main():
    what, path, *more = sys.argv[1:]
    if what == "rows":
        for row in rows(path):
            print(json.dumps(row))
    elif what == "rewrite":
        to, separator = more
        with open(to, "w", newline="", encoding="utf-8-sig") as file:
            out = csv.writer(file, delimiter=separator, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
            out.writerows(row[::-1] for row in rows(path))
    else:
        sys.exit(__doc__)


main()
