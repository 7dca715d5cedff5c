"""Tables as people keep them: CSV with a header, in their own program's flavor.

UTF-8 with or without BOM; comma, semicolon or tab; CRLF or LF; a decimal point.
Everything wrong with a file is told at once, by line and column. No Django here:
commands that need no database read the same files.
"""

import csv
import difflib
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal, localcontext
from pathlib import Path

from qa.numeric.lengths import LONGEST_NM, NM_PER

MAX_BYTES = 5_000_000
DELIMITERS = ",;\t"

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")


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
        self.complaints = sorted(complaints, key=lambda one: one.line or 0)
        super().__init__("; ".join(one.text for one in self.complaints))


@dataclass(frozen=True)
class Column:
    """A column that was recognized: what it holds, how it is headed, where it is."""

    quantity: str
    name: str
    unit: str | None
    index: int


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
                raise _too_large(f"{size / 1e6:.1f} MB")
            if file.seekable():
                file.seek(0)
            data = file.read(MAX_BYTES + 1)
    except OSError as why:
        raise FileComplaints([Complaint(f"cannot be read: {why.strerror}")]) from why
    if len(data) > MAX_BYTES:
        raise _too_large("more")
    return data


def read_table(data: bytes) -> Table:
    """Header and rows of a table file. FileComplaints for all that is wrong with it."""
    text = _decode(data)
    rows = list(_rows(text))
    if not rows:
        raise FileComplaints([Complaint("the file is empty", 1)])
    names = [re.sub(r"[^0-9a-z]+", "_", c.lower()).strip("_") for c in rows[0].cells]
    header, rows = Row(rows[0].line, tuple(names)), tuple(rows[1:])
    complaints = list(_ragged(header, rows))
    if complaints:
        raise FileComplaints(complaints)
    return Table(header, rows)


def recognize(
    header: Row,
    *,
    plain: Iterable[str],
    lengths: Iterable[str],
    required: Iterable[str],
) -> dict[str, Column]:
    """Columns by quantity. `lengths` carry a unit: gap is headed gap_mm or gap_in.

    FileComplaints for unknown, doubled, missing columns and unknown units.
    """
    plain, lengths = list(plain), list(lengths)
    known = {name: (name, None) for name in plain}
    known |= {f"{q}_{unit}": (q, unit) for q in lengths for unit in NM_PER}
    found: dict[str, Column] = {}
    complaints, excused = [], set()
    for index, name in enumerate(header.cells):
        if not name:
            continue
        if name not in known:
            reason, quantity = _unknown(name, known, lengths)
            excused.add(quantity)
            complaints.append(Complaint(reason, header.line, name))
            continue
        quantity, unit = known[name]
        if quantity in found:
            reason = f"{quantity} is there twice; it was {found[quantity].name} before"
            complaints.append(Complaint(reason, header.line, name))
            continue
        found[quantity] = Column(quantity, name, unit, index)
    for quantity in required:
        if quantity not in found and quantity not in excused:
            name = _heading(quantity, lengths)
            complaints.append(Complaint("the column is missing", header.line, name))
    if complaints:
        raise FileComplaints(complaints)
    return found


def number(text: str) -> Decimal:
    """A plain decimal number, exactly; ValueError says what is wrong with the text.

    Programs write 1e-05 for a small number, so an exponent is read here.
    """
    plain = text.replace("\N{MINUS SIGN}", "-")
    if len(plain) <= 60 and _NUMBER.fullmatch(plain):
        return Decimal(plain)
    if re.fullmatch(r"[+-]?[0-9]*,[0-9]+", plain):
        raise ValueError(f"{_shown(text)}: use a decimal point, not a comma")
    raise ValueError(f"{_shown(text)} is not a number")


def length_nm(text: str, unit: str) -> int:
    """Whole nanometers; a finer value, such as programs write, goes to the nearest
    one."""
    value = number(text)
    with localcontext() as context:
        context.prec = 80
        nm = value * NM_PER[unit]
        if abs(nm) > LONGEST_NM:
            raise ValueError(f"{_shown(text)} {unit} is more than 100 m")
        return int(nm.to_integral_value())


def _decode(data: bytes) -> str:
    if len(data) > MAX_BYTES:
        raise _too_large(f"{len(data) / 1e6:.1f} MB")
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


def _rows(text: str) -> Iterator[Row]:
    """Rows that hold anything, the delimiter taken from the first of them."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    bare = re.sub(r'"[^"]*"', "", first)
    delimiter = max(DELIMITERS, key=bare.count)
    reader = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=delimiter,
        strict=True,
        skipinitialspace=delimiter != "\t",
    )
    line = 1
    try:
        for cells in reader:
            cells = tuple(cell.strip() for cell in cells)
            if any(cells):
                yield Row(line, cells)
            line = reader.line_num + 1
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


def _unknown(name: str, known: dict, lengths: list[str]) -> tuple[str, str]:
    """What to say of a column nobody knows, and the quantity it was probably meant
    for."""
    if name in lengths:
        return f"which unit? Head it {name}_mm or {name}_in", name
    for quantity in sorted(lengths, key=len, reverse=True):
        if name.startswith(f"{quantity}_"):
            unit = name.removeprefix(f"{quantity}_")
            return (
                f"unit {unit!r} is not known; use {_heading(quantity, lengths)}",
                quantity,
            )
    near = difflib.get_close_matches(name, known, n=1)
    hint = f"; did you mean {near[0]}?" if near else ""
    names = ", ".join(
        name if unit is None else f"{quantity}_mm/_in"
        for name, (quantity, unit) in known.items()
        if unit != "in"
    )
    return f"the column is not known{hint} (known: {names})", ""


def _heading(quantity: str, lengths: list[str]) -> str:
    return f"{quantity}_mm or {quantity}_in" if quantity in lengths else quantity


def _too_large(size: str) -> FileComplaints:
    limit = f"{MAX_BYTES / 1e6:g} MB"
    return FileComplaints(
        [Complaint(f"the file is too large: {size}; at most {limit}")]
    )


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")
