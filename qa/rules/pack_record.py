"""What a pack tells as data: the canonical JSON that its digest is of, and the table of
characteristics made from it. `pack_check` makes both again from the file alone."""

import csv
import hashlib
import io
import json

from shop.files.csv_table import plain_cell
from shop.ledger.canonical import canonical

# Another where rows or facts are told that were not, or are called otherwise.
FORM = "pack/3"
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
