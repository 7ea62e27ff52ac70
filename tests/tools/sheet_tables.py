"""Reads the tables of an HTML sheet with Python's own parser, as rows of cell texts, and holds the
markup to what a sheet may have: every element closed, nothing that loads, links or runs."""

import json
import sys
from html.parser import HTMLParser

VOID = {"meta", "wbr"}
FORBIDDEN = {"script", "img", "a", "link", "iframe", "object", "embed", "form", "input", "svg", "base"}


class Tables(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.tables, self.cell, self.faults = [], [], None, []

    def handle_starttag(self, tag, attrs):
        if tag in FORBIDDEN or any(n.startswith("on") or n in ("href", "src", "style") for n, _ in attrs):
            self.faults.append(f"<{tag} {attrs}>")
        if tag in VOID:
            return
        self.open.append(tag)
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.cell = ""

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> closes another element")
        if tag in ("td", "th"):
            self.tables[-1][-1].append(self.cell)
            self.cell = None

    def handle_data(self, data):
        if self.cell is not None:
            self.cell += data

    def handle_comment(self, data):
        self.faults.append(f"a comment: {data}")


parser = Tables()
parser.feed(sys.stdin.buffer.read().decode("utf-8"))
parser.close()
parser.faults += [f"<{tag}> is never closed" for tag in parser.open]
json.dump({"tables": parser.tables, "faults": parser.faults}, sys.stdout)
