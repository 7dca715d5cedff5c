"""What a pack tells as data: the canonical JSON that its digest is of, and the table of
characteristics made from it. `pack_check` makes both again from the file alone."""

import csv
import hashlib
import io
import json
from collections import Counter
from collections.abc import Iterable

from shop.files.csv_table import plain_cell
from shop.ledger.canonical import canonical

FORM = "pack/1"
RECORD, TABLE, ISSUE = "record.json", "characteristics.csv", "issue.json"
# Fields of a first article (names only), and what a line calls them.
FIELDS = {
    "Characteristic Number": "number",
    "Reference Location": "location",
    "Characteristic Designator": "designator",
    "Requirement": "requirement",
    "Results": "result",
    "Verdict": "verdict",
    "Tooling": "tooling",
    "Nonconformance Number": "nonconformance",
    "Additional Data/Comments": "comment",
}


def record_of(content: dict) -> bytes:
    """The record as bytes: its sha256 is the content digest."""
    return canonical({"form": FORM, **content}).encode()


def digest_of(record: bytes) -> str:
    return hashlib.sha256(record).hexdigest()


def table_of(record: bytes) -> bytes:
    """Every characteristic of a record as CSV; ValueError for what is no record."""
    lines = json.loads(record)["characteristics"]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(FIELDS)
    for line in lines:
        writer.writerow([plain_cell(line[key]) for key in FIELDS.values()])
    return text.getvalue().encode("utf-8-sig")


def keyed(pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    """What is told by name, every line of it: a name that was there is "name (2)"."""
    told: dict[str, str] = {}
    counted: Counter[str] = Counter()
    for name, words in pairs:
        key = name
        while key in told:
            counted[name] += 1
            key = f"{name} ({counted[name] + 1})"
        told[key] = words
    return told


def changes(before: dict[str, str], now: dict[str, str]) -> list[tuple[str, str, str]]:
    """(what, as it was, as it is) of every line that differs, in the order of names."""
    return [
        (name, before.get(name, "–"), now.get(name, "–"))
        for name in sorted({*before, *now}, key=_natural)
        if before.get(name) != now.get(name)
    ]


def _natural(name: str) -> list:
    """A name so that J-2 comes before J-10."""
    found, digits = [], ""
    for char in f"{name}\0":
        if char.isascii() and char.isdigit():
            digits += char
            continue
        if digits:
            found.append((0, int(digits), ""))
            digits = ""
        found.append((1, 0, char))
    return found
