"""Tables as people keep them: CSV with a header, in their own program's flavor.

UTF-8 with or without BOM; comma, semicolon or tab; CRLF or LF; a decimal point.
Everything wrong with a file is told at once, by line and column. No Django here:
commands that need no database read the same files.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from shop.numeric.units import BYTES_PER_MB

MAX_BYTES = 5_000_000
DELIMITERS = ",;\t"

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")


# What a table program would run as a formula when a cell begins with it.
FORMULA = (*"=+-@\t\r", *"＝＋－＠")  # some read wide signs as they read narrow ones


def plain_cell(value: object) -> str:
    """The text of a cell that no table program runs: an apostrophe goes before.

    A number stays as it is. `typed_cell` takes the apostrophe away again.
    """
    text = "" if value is None else str(value)
    bare = text.lstrip("'")
    runs = bare.startswith(FORMULA) and not _NUMBER.fullmatch(text)
    return f"'{text}" if runs else text


def typed_cell(text: str) -> str:
    """The text that `plain_cell` made a cell of."""
    runs = text.startswith("'") and text.lstrip("'").startswith(FORMULA)
    return text[1:] if runs else text


@dataclass(frozen=True)
class Complaint:
    """One thing wrong with a file; line and column are None when it is the whole
    file."""

    text: str
    line: int | None = None
    column: str | None = None

    def located(self, file: str) -> str:
        """As compilers say it: file:line: column: reason."""
        place = file if self.line is None else f"{file}:{self.line}"
        return ": ".join(part for part in (place, self.column, self.text) if part)


class FileComplaints(ValueError):
    """A file that cannot be used; `complaints` says all that is wrong, in file
    order."""

    def __init__(self, complaints: Iterable[Complaint]):
        self.complaints = sorted(complaints, key=lambda complaint: complaint.line or 0)
        super().__init__("; ".join(complaint.text for complaint in self.complaints))


@dataclass(frozen=True)
class Row:
    """The cells of one row, stripped, and the line where it starts."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """Column names in lower case with underscores, and the rows that are not empty."""

    header: Row
    rows: tuple[Row, ...]


def read_file(path: str | Path) -> bytes:
    """The bytes of a file of at most 5 MB; FileComplaints when there is no such
    thing."""
    try:
        with open(path, "rb") as file:
            size = file.seek(0, io.SEEK_END) if file.seekable() else 0
            if size > MAX_BYTES:
                raise _too_large(f"{size / BYTES_PER_MB:.1f} MB")
            if file.seekable():
                file.seek(0)
            data = file.read(MAX_BYTES + 1)
    except OSError as why:
        raise FileComplaints([Complaint(f"cannot be read: {why.strerror}")]) from why
    if len(data) > MAX_BYTES:
        raise _too_large("more")
    return data


def read_table(
    data: bytes, ragged: list[Complaint] | None = None, *, gaps: bool = False
) -> Table:
    """Header and rows of a table file. FileComplaints for all that is wrong with it.

    Rows that do not fit the header are left out and told in `ragged` when it is given,
    so that whoever reads on can tell everything at once. gaps: rows of empty cells
    among others are rows as well; in a table of one column an empty line is one.
    """
    text = text_of(data)
    rows = list(_rows(text, gaps))
    if gaps and rows and len(rows[0].cells) > 1:
        rows = [row for row in rows if row.cells != ("",)]
    if not rows:
        raise FileComplaints([Complaint("the file is empty", 1)])
    names = [re.sub(r"[^0-9a-z]+", "_", c.lower()).strip("_") for c in rows[0].cells]
    header, rows = Row(rows[0].line, tuple(names)), tuple(rows[1:])
    complaints = list(_ragged(header, rows))
    if ragged is not None:
        ragged += complaints
        wrong = {complaint.line for complaint in complaints}
        rows = tuple(row for row in rows if row.line not in wrong)
    elif complaints:
        raise FileComplaints(complaints)
    return Table(header, rows)


def number(text: str) -> Decimal:
    """A plain decimal number, exactly; ValueError says what is wrong with the text.

    Programs write 1e-05 for a small number, so an exponent is read here.
    """
    plain = text.replace("\N{MINUS SIGN}", "-")
    if len(plain) <= 60 and _NUMBER.fullmatch(plain):
        return Decimal(plain)
    if re.fullmatch(r"[+-]?[0-9]*,[0-9]+", plain):
        raise ValueError(f"{shown(text)}: use a decimal point, not a comma")
    raise ValueError(f"{shown(text)} is not a number")


def text_of(data: bytes) -> str:
    """The text in a file; FileComplaints when it is none, or too much."""
    if len(data) > MAX_BYTES:
        raise _too_large(f"{len(data) / BYTES_PER_MB:.1f} MB")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as why:
        line = data.count(b"\n", 0, why.start) + 1
        reason = "this is not UTF-8 text; a binary file, or another encoding"
        raise FileComplaints([Complaint(reason, line)]) from why
    odd = re.search(r"[\x00-\x08\x0b\x0e-\x1f]", text)
    if odd:
        line = text.count("\n", 0, odd.start()) + 1
        reason = "this is a binary file, not a table of text (save as CSV, UTF-8)"
        raise FileComplaints([Complaint(reason, line)])
    return text


def _rows(text: str, gaps: bool = False) -> Iterator[Row]:
    """Rows that hold anything, the delimiter taken from the first of them. gaps: as in
    read_table; what is empty at the end is a row only where it stands in quotes."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    bare = re.sub(r'"[^"]*"', "", first)
    delimiter = max(DELIMITERS, key=bare.count)
    reader = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=delimiter,
        strict=True,
        skipinitialspace=delimiter != "\t",
    )
    line, seen, empty = 1, False, []
    try:
        for cells in reader:
            cells = tuple(typed_cell(cell.strip()) for cell in cells)
            if any(cells):
                yield from empty
                yield Row(line, cells)
                seen, empty = True, []
            elif gaps and seen:
                empty.append(Row(line, cells or ("",)))
            line = reader.line_num + 1
        lines = list(io.StringIO(text, newline=""))
        yield from (row for row in empty if '"' in lines[row.line - 1])
    except csv.Error as why:
        raise FileComplaints(
            [Complaint(f"the quotes do not match: {why}", line)]
        ) from why


def _ragged(header: Row, rows: Iterable[Row]) -> Iterator[Complaint]:
    width = len(header.cells)
    unnamed = [k for k, name in enumerate(header.cells) if not name]
    for row in rows:
        if len(row.cells) != width:
            reason = f"{len(row.cells)} cells where the header has {width}"
            if len(row.cells) > width:
                reason += " (is a decimal comma used?)"
            yield Complaint(reason, row.line)
        elif any(row.cells[k] for k in unnamed):
            yield Complaint("a cell is filled under a column without a name", row.line)


def _too_large(size: str) -> FileComplaints:
    limit = f"{MAX_BYTES / BYTES_PER_MB:g} MB"
    return FileComplaints(
        [Complaint(f"the file is too large: {size}; at most {limit}")]
    )


def shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")
