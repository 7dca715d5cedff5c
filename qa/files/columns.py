"""Columns of a table that hold lengths, each headed with its unit.

What a table is, and what can be wrong with one, is in shop.files.csv_table; here are
the columns: known or not, with a known unit, and lengths in whole nanometers.
"""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import localcontext

from shop.files.csv_table import (
    MAX_BYTES,
    Complaint,
    FileComplaints,
    Row,
    Table,
    number,
    read_file,
    read_table,
    shown,
    text_of,
)
from shop.numeric.units import LONGEST_NM, NM_PER

__all__ = [
    "MAX_BYTES",
    "Column",
    "Complaint",
    "FileComplaints",
    "Row",
    "Table",
    "counted",
    "length_nm",
    "number",
    "read_file",
    "read_table",
    "recognize",
    "text_of",
    "wrong_name",
]
LONGEST_NAME = 40


@dataclass(frozen=True)
class Column:
    """A column that was recognized: what it holds, how it is headed, where it is."""

    quantity: str
    name: str
    unit: str | None
    index: int


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
    columns: dict[str, Column] = {}
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
        if quantity in columns:
            reason = (
                f"{quantity} is there twice; it was {columns[quantity].name} before"
            )
            complaints.append(Complaint(reason, header.line, name))
            continue
        columns[quantity] = Column(quantity, name, unit, index)
    for quantity in required:
        if quantity not in columns and quantity not in excused:
            name = _heading(quantity, lengths)
            complaints.append(Complaint("the column is missing", header.line, name))
    if complaints:
        raise FileComplaints(complaints)
    return columns


def length_nm(text: str, unit: str) -> int:
    """Whole nanometers; a finer value, such as programs write, goes to the nearest
    one."""
    value = number(text)
    with localcontext() as context:
        context.prec = 80
        nm = value * NM_PER[unit]
        if abs(nm) > LONGEST_NM:
            raise ValueError(f"{shown(text)} {unit} is more than 100 m")
        return int(nm.to_integral_value())


def counted(table: Table, most: int, what: str) -> None:
    """FileComplaints where a table has no rows of `what`, or more than `most`."""
    if not table.rows:
        raise FileComplaints([Complaint(f"there are no {what}", table.header.line)])
    if len(table.rows) > most:
        reason = f"{len(table.rows)} {what}; at most {most}"
        raise FileComplaints([Complaint(reason, table.rows[most].line)])


def wrong_name(name: str) -> str | None:
    """What is wrong with a name that a file gives, by itself."""
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        return f"the name must be 1 to {LONGEST_NAME} plain characters"
    return None


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
