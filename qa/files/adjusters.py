"""What holds a part and can be set, as a CSV file: one row a direction.

`name,x_mm,y_mm[,z_mm],dir_x,dir_y,dir_z,min_mm,max_mm,step_mm[,now_mm][,set_u_mm]`

Every `_mm` may be `_in`. An empty height is 0, an empty present setting 0, an empty
setting uncertainty not known. A place that can be set in two directions has two rows,
each with a name of its own.
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
from qa.numeric.plan.adjusters import MOST_ADJUSTERS, Adjuster, AdjusterError
from shop.numeric.units import to_mm

LENGTHS = ("x", "y", "z", "min", "max", "step", "now", "set_u")
MAY_BE_EMPTY = ("z", "now", "set_u")
DIRECTION = ("dir_x", "dir_y", "dir_z")
# Where a complaint about a field of an adjuster is shown.
QUANTITY_OF = {
    "place": "x",
    "direction": "dir_x",
    "low": "min",
    "high": "max",
}


@dataclass(frozen=True)
class AdjustersFile:
    """Adjusters in the order of the file, and the line of each."""

    adjusters: tuple[Adjuster, ...]
    lines: tuple[int, ...]


def parse(data: bytes) -> AdjustersFile:
    """The adjusters in a file. Raises FileComplaints with all that is wrong."""
    table = read_table(data)
    columns = recognize(
        table.header,
        plain=("name", *DIRECTION),
        lengths=LENGTHS,
        required=("name", "x", "y", *DIRECTION, "min", "max", "step"),
    )
    counted(table, MOST_ADJUSTERS, "adjusters")
    complaints: list[Complaint] = []
    adjusters: list[Adjuster] = []
    seen: dict[str, int] = {}
    for row in table.rows:
        name = row.cells[columns["name"].index]
        reason = _wrong_name(name, seen)
        if reason:
            complaints.append(Complaint(reason, row.line, "name"))
        seen.setdefault(name, row.line)
        values = _values(row, columns, complaints)
        if values is not None:
            try:
                adjusters.append(_adjuster(name, values))
            except AdjusterError as why:
                quantity = QUANTITY_OF.get(why.field, why.field)
                column = columns.get(quantity)
                shown = quantity if column is None else column.name
                complaints.append(Complaint(str(why), row.line, shown))
    if complaints:
        raise FileComplaints(complaints)
    return AdjustersFile(tuple(adjusters), tuple(row.line for row in table.rows))


def _values(row, columns, complaints) -> dict | None:
    """Numbers by quantity, lengths in mm; None when one of them is wrong."""
    values, wrong = {}, len(complaints)
    for quantity, column in columns.items():
        if quantity == "name":
            continue
        text = row.cells[column.index]
        try:
            if text:
                values[quantity] = _number(quantity, text, column.unit)
            elif quantity not in MAY_BE_EMPTY:
                raise ValueError("is empty")
        except ValueError as why:
            complaints.append(Complaint(str(why), row.line, column.name))
    return values if len(complaints) == wrong else None


def _number(quantity: str, text: str, unit: str | None) -> float:
    if quantity in DIRECTION:
        value = float(number(text))
        if not abs(value) < 1e9:
            raise ValueError(f"{text!r} is no part of a direction")
        return value
    return to_mm(length_nm(text, unit))


def _adjuster(name: str, values: dict) -> Adjuster:
    return Adjuster(
        name=name,
        place=(values["x"], values["y"], values.get("z", 0.0)),
        direction=tuple(values[part] for part in DIRECTION),
        low=values["min"],
        high=values["max"],
        step=values["step"],
        now=values.get("now", 0.0),
        set_u=values.get("set_u"),
    )


def _wrong_name(name: str, seen: dict[str, int]) -> str | None:
    if name and name in seen:
        return (
            f"{name} is there twice (first in line {seen[name]}): give each direction "
            "a name of its own"
        )
    return wrong_name(name)
