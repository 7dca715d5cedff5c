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
UTF_8 = "\ufeff"  # the mark by which spreadsheets know it
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


def record_of(content: dict) -> str:
    """The record as text: the sha256 of its UTF-8 is the content digest."""
    return canonical({"form": FORM, **content})


def digest_of(record: bytes) -> str:
    return hashlib.sha256(record).hexdigest()


def table_of(record: str | bytes) -> str:
    """Every characteristic of a record as CSV; ValueError for what is no record."""
    lines = json.loads(record)["characteristics"]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(FIELDS)
    for line in lines:
        writer.writerow([plain_cell(line[key]) for key in FIELDS.values()])
    return UTF_8 + text.getvalue()
