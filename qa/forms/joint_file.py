"""A joint as a CSV file: one row per station, in the order of the seam.

`station,x_mm,y_mm[,normal_x,normal_y][,gap_min_mm,gap_max_mm][,flush_min_mm,flush_max_mm]`
and, where the joint is not flat, `z_mm,normal_z,face_x,face_y,face_z`; for planning
`trim_side,trim_max_mm,land_mm`. Every `_mm` may be `_in`. An empty limit means none.
"""

from dataclasses import dataclass, replace

from qa.forms.table_file import (
    Column,
    Complaint,
    FileComplaints,
    Row,
    length_nm,
    number,
    read_table,
    recognize,
)
from qa.numeric.joint import (
    Joint,
    JointComplaint,
    JointError,
    Limits,
    Station,
    build_joint,
    station_complaints,
)
from qa.numeric.lengths import NM_PER
from qa.numeric.report import StationLimits

PLAIN = (
    "station",
    *("normal_x", "normal_y", "normal_z"),
    *("face_x", "face_y", "face_z"),
    "trim_side",
)
LENGTHS = (
    *("x", "y", "z"),
    *("gap_min", "gap_max", "flush_min", "flush_max"),
    *("trim_max", "land"),
)
TOGETHER = (
    ("normal_x", "normal_y"),
    ("normal_z", "normal_x"),
    ("face_x", "face_y"),
    ("face_y", "face_z"),
    ("face_z", "face_x"),
)
MOST_STATIONS = 10_000
LONGEST_LABEL = 40

# Where a complaint about a field of a station is shown.
QUANTITY_OF = {
    "label": "station",
    "place": "x",
    "gap_direction": "normal_x",
    "face": "face_x",
    "gap": "gap_min",
    "flush": "flush_min",
    "trim_side": "trim_side",
    "trim_max": "trim_max",
    "land": "land",
}


@dataclass(frozen=True)
class JointFile:
    """A joint and, row by row, its exact limits and the lines it came from.

    `columns` heads each quantity as the file does. `closing_label` names a last row
    that was left out because it repeats the place of the first.
    """

    joint: Joint
    limits: tuple[StationLimits, ...]
    lines: tuple[int, ...]
    columns: dict[str, str]
    closing_label: str | None = None

    @property
    def labels(self) -> list[str]:
        return [station.label for station in self.joint.stations]

    def complaint(self, row: int, field: str, text: str) -> Complaint:
        """A complaint about a field ("gap", "flush" ...) of a station, with its
        place."""
        return Complaint(text, self.lines[row], _heading(self.columns, field))


def parse(data: bytes, *, closed: bool = True, part_inside: bool = True) -> JointFile:
    """The joint in a file. Raises FileComplaints with everything that is wrong."""
    table = read_table(data)
    columns = recognize(
        table.header, plain=PLAIN, lengths=LENGTHS, required=("station", "x", "y")
    )
    _require_together(columns, table.header)
    if len(table.rows) > MOST_STATIONS:
        reason = f"{len(table.rows)} stations; at most {MOST_STATIONS}"
        raise FileComplaints([Complaint(reason, table.rows[MOST_STATIONS].line)])
    headings = {quantity: column.name for quantity, column in columns.items()}
    complaints: list[Complaint] = []
    read = [(row.line, _station(row, columns, complaints)) for row in table.rows]
    good = [(line, *one) for line, one in read if one]
    good, closing = _without_closing_row(good) if closed else (good, None)
    lines = [line for line, _, _ in good]
    stations = [station for _, station, _ in good]
    complaints += _located(station_complaints(stations), lines, headings)
    if complaints:
        raise FileComplaints(complaints)
    try:
        joint = build_joint(stations, closed=closed, part_inside=part_inside)
    except JointError as error:
        raise FileComplaints(_located(error.complaints, lines, headings)) from error
    limits = tuple(limits for _, _, limits in good)
    return JointFile(joint, limits, tuple(lines), headings, closing)


def _require_together(columns: dict[str, Column], header: Row) -> None:
    """A direction needs its components."""
    missing = {
        other: Complaint(f"the column is missing ({one} needs it)", header.line, other)
        for one, other in TOGETHER
        + tuple((b, a) for a, b in TOGETHER if a != "normal_z")
        if one in columns and other not in columns
    }
    if missing:
        raise FileComplaints(missing.values())


def _station(
    row: Row, columns: dict[str, Column], complaints: list[Complaint]
) -> tuple[Station, StationLimits] | None:
    """The station in a row and its exact limits, or None after complaining."""
    before = len(complaints)

    def cell(quantity: str) -> str:
        column = columns.get(quantity)
        return row.cells[column.index] if column else ""

    def complain(quantity: str, reason: str) -> None:
        complaints.append(Complaint(reason, row.line, columns[quantity].name))

    def value(quantity: str, convert):
        try:
            return convert(cell(quantity)) if cell(quantity) else None
        except ValueError as why:
            complain(quantity, str(why))
            return None

    def nm(quantity: str) -> int | None:
        return value(quantity, lambda text: length_nm(text, columns[quantity].unit))

    def direction(name: str) -> tuple[float, float, float] | None:
        axes = [f"{name}_{axis}" for axis in "xyz" if f"{name}_{axis}" in columns]
        empty = [axis for axis in axes if not cell(axis)]
        if len(empty) == len(axes):
            return None
        for axis in empty:
            complain(axis, "is empty, while the rest of the direction is stated")
        parts = [value(axis, lambda text: float(number(text))) or 0.0 for axis in axes]
        return tuple(parts + [0.0] * (3 - len(parts)))

    label = cell("station")
    if len(label) > LONGEST_LABEL or not label.isprintable():
        complain("station", f"the name must be up to {LONGEST_LABEL} plain characters")
    for axis in ("x", "y"):
        if not cell(axis):
            complain(axis, "is empty; every station needs its place")
    side = cell("trim_side").lower() or None
    ends = [nm(name) for name in ("gap_min", "gap_max", "flush_min", "flush_max")]
    station = Station(
        label=label,
        place=tuple(_mm(nm(axis)) or 0.0 for axis in "xyz"),
        gap_direction=direction("normal"),
        face=direction("face") or Station.face,
        gap=Limits(_mm(ends[0]), _mm(ends[1])),
        flush=Limits(_mm(ends[2]), _mm(ends[3])),
        trim_side=side,
        trim_max=_mm(nm("trim_max")),
        land=_mm(nm("land")),
    )
    return None if len(complaints) > before else (station, StationLimits(*ends))


def _without_closing_row(good: list) -> tuple[list, str | None]:
    """Leave out a last row that only closes the seam: the first again, or just its
    place."""
    if len(good) < 2:
        return good, None
    first, last = good[0][1], good[-1][1]
    bare = Station(label=last.label, place=last.place)
    repeats = replace(last, label=first.label) == first or last == bare
    if last.place == first.place and repeats:
        return good[:-1], last.label
    return good, None


def _located(
    found: list[JointComplaint], lines: list[int], headings: dict[str, str]
) -> list[Complaint]:
    """Complaints about stations as complaints about lines and columns of the file."""
    whole = {"label": lines[-1] if lines else 1}
    return [
        Complaint(
            one.text,
            whole.get(one.field, lines[0] if lines else 1)
            if one.row is None
            else lines[one.row],
            _heading(headings, one.field),
        )
        for one in found
    ]


def _heading(headings: dict[str, str], field: str | None) -> str | None:
    """How the file heads a field: by its first column, or the other end of its
    limits."""
    quantity = QUANTITY_OF.get(field)
    other = quantity.replace("_min", "_max") if quantity else None
    return headings.get(quantity) or headings.get(other) or quantity


def _mm(nm: int | None) -> float | None:
    return None if nm is None else nm / NM_PER["mm"]
