"""Attach points and their present shims as a CSV file: `point,x_mm,y_mm,shim_mm`.

Every `_mm` may be `_in`. An empty stack is 0; an empty place is an error.
"""

from dataclasses import dataclass

from qa.files.columns import (
    Complaint,
    FileComplaints,
    counted,
    length_nm,
    number,
    read_table,
    recognize,
    wrong_name,
)
from qa.numeric.shims.stacks import AttachPoint
from shop.numeric.units import to_mm

LENGTHS = ("x", "y", "shim")
MOST_POINTS = 40


@dataclass(frozen=True)
class PointsFile:
    """Attach points in the order of the file, and the line of each."""

    points: tuple[AttachPoint, ...]
    lines: tuple[int, ...]


def parse(data: bytes) -> PointsFile:
    """The attach points in a file. Raises FileComplaints with all that is wrong."""
    table = read_table(data)
    columns = recognize(
        table.header, plain=("point",), lengths=LENGTHS, required=("point", *LENGTHS)
    )
    counted(table, MOST_POINTS, "points")
    complaints: list[Complaint] = []
    points: list[AttachPoint] = []
    seen: dict[str, int] = {}
    for row in table.rows:
        label = row.cells[columns["point"].index]
        reason = _wrong_label(label, seen)
        if reason:
            complaints.append(Complaint(reason, row.line, "point"))
        seen.setdefault(label, row.line)
        values = {}
        for quantity in LENGTHS:
            column = columns[quantity]
            text = row.cells[column.index]
            try:
                values[quantity] = _mm(quantity, text, column.unit)
            except ValueError as why:
                complaints.append(Complaint(str(why), row.line, column.name))
        if len(values) == len(LENGTHS):
            points.append(
                AttachPoint(label, (values["x"], values["y"]), values["shim"])
            )
    if complaints:
        raise FileComplaints(complaints)
    return PointsFile(tuple(points), tuple(row.line for row in table.rows))


def stock_mm(text: str) -> tuple[float, ...]:
    """Thicknesses from a list such as "0.25,0.5,1.0"; ValueError says what is wrong."""
    parts = [part.strip() for part in text.replace(";", ",").split(",")]
    if not any(parts):
        raise ValueError("no shim thickness was given")
    for part in parts:
        if not part:
            raise ValueError("a thickness is missing between two commas")
        number(part)
    return tuple(to_mm(length_nm(part, "mm")) for part in parts)


def _wrong_label(label: str, seen: dict[str, int]) -> str | None:
    if label and label in seen:
        return f"point {label} is there twice (first in line {seen[label]})"
    return wrong_name(label)


def _mm(quantity: str, text: str, unit: str) -> float:
    if not text and quantity != "shim":
        raise ValueError("is empty; every point needs its place")
    value = to_mm(length_nm(text, unit)) if text else 0.0
    if quantity == "shim" and value < 0:
        raise ValueError("a stack of shims cannot be less than 0")
    return value
