"""Readings as a CSV file: `station,gap_mm,flush_mm` (or `_in`), an empty cell not
measured."""

from collections.abc import Sequence
from dataclasses import dataclass

from qa.files.columns import Complaint, FileComplaints, length_nm, read_table, recognize
from qa.numeric.verdict.report import StationReading

LENGTHS = ("gap", "flush")


@dataclass(frozen=True)
class ReadingsFile:
    """Readings in the order of the joint's rows, and the line of each (None if
    absent)."""

    readings: tuple[StationReading, ...]
    lines: tuple[int | None, ...]


def parse(
    data: bytes, labels: Sequence[str], *, closing_label: str | None = None
) -> ReadingsFile:
    """The readings of a joint with these stations; rows may come in any order.

    Raises FileComplaints with everything that is wrong: among it a station that the
    joint lacks (`closing_label` is one that closed the outline and was left out) or one
    that is there twice.
    """
    table = read_table(data)
    columns = recognize(
        table.header,
        plain=("station",),
        lengths=LENGTHS,
        required=("station", *LENGTHS),
    )
    readings: dict[str, tuple[int, StationReading]] = {}
    complaints: list[Complaint] = []
    known = set(labels)
    for row in table.rows:
        label = row.cells[columns["station"].index]
        reason = _wrong_label(label, known, readings, closing_label)
        if reason:
            complaints.append(Complaint(reason, row.line, columns["station"].name))
        values = {}
        for quantity in LENGTHS:
            column = columns[quantity]
            text = row.cells[column.index]
            try:
                values[quantity] = length_nm(text, column.unit) if text else None
            except ValueError as why:
                complaints.append(Complaint(str(why), row.line, column.name))
        if not reason and len(values) == len(LENGTHS):
            reading = StationReading(values["gap"], values["flush"])
            readings[label] = (row.line, reading)
    if complaints:
        raise FileComplaints(complaints)
    absent = (None, StationReading())
    rows = [readings.get(label, absent) for label in labels]
    return ReadingsFile(
        tuple(reading for _, reading in rows), tuple(line for line, _ in rows)
    )


def _wrong_label(label: str, known: set, readings: dict, closing_label) -> str | None:
    if not label:
        return "the station has no name"
    if label in readings:
        return f"station {label} is there twice (first in line {readings[label][0]})"
    if label in known:
        return None
    if label == closing_label:
        return f"station {label} only closes the outline of the joint and was left out"
    shown = label if len(label) <= 40 else f"{label[:37]}..."
    return f"the joint has no station {shown}"
