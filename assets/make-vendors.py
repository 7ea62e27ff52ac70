#!/usr/bin/env python3
"""Makes vendors.txt, the table of hardware prefixes, from Debian's package ieee-data.

    apt-get install ieee-data
    python3 assets/make-vendors.py > assets/vendors.txt

The package's copyright file records that IEEE asserts no copyright in the public listing and does not restrict its
distribution. The CSV files have the columns Registry, Assignment, Organization Name, Organization Address; the
registries are MA-L (24 bits, oui.csv), MA-M (28 bits, mam.csv) and MA-S (36 bits, oui36.csv).

One line a prefix, sorted by bytes, so that the program can search in it without reading it through: the prefix in 6, 7
or 9 upper-case hexadecimal digits, a tab, the name. A name is empty where the registry tells none: a private
assignment, or a block that the registry itself keeps and hands out in parts. Where the registry lists one prefix more
than once, the names stand side by side. The first line says where it comes from and its date.
"""

import csv
import datetime
import pathlib
import sys

SOURCE = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else "/usr/share/ieee-data")
REGISTRIES = {"oui.csv": 6, "mam.csv": 7, "oui36.csv": 9}
NOBODY = {"private", "ieee registration authority"}


def main() -> None:
    names: dict[str, list[str]] = {}
    for file, digits in REGISTRIES.items():
        with open(SOURCE / file, encoding="utf-8", newline="") as rows:
            for row in csv.DictReader(rows):
                prefix = row["Assignment"].strip().upper()
                if len(prefix) != digits or int(prefix, 16) < 0:
                    sys.exit(f"{file}: {prefix!r} is no prefix of {digits} digits")
                name = " ".join(row["Organization Name"].split())
                all_names = names.setdefault(prefix, [])
                if name.lower() not in NOBODY and name not in all_names:
                    all_names.append(name)
    seconds = int((SOURCE / ".lastupdate").read_text(encoding="ascii"))
    day = datetime.datetime.fromtimestamp(seconds, datetime.timezone.utc).date()
    out = [f"# {seconds} {day}, the IEEE registries MA-L, MA-M and MA-S by way of Debian's package ieee-data"]
    out += [f"{prefix}\t{' / '.join(names[prefix])}" for prefix in sorted(names)]
    sys.stdout.buffer.write(("\n".join(out) + "\n").encode("utf-8"))


if __name__ == "__main__":
    main()
