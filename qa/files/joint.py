"""A joint as a CSV file: one row per station, in the order of the seam.

`station,x_mm,y_mm[,normal_x,normal_y][,gap_min_mm,gap_max_mm][,flush_min_mm,flush_max_mm]`
and, where the joint is not flat, `z_mm,normal_z,face_x,face_y,face_z`; for planning
`trim_side,trim_max_mm,trim_max_surround_mm,land_mm`. Every `_mm` may be `_in`. An empty
limit means none.

What only the records of a joint need may stand beside it, so that a file from the site
can be judged and planned as it is: `radius_mm` (of the surface under a bridge),
`laminar` (yes or no), `edge` (upstream, downstream or streamwise) and `surround` (the
position whose edge lies opposite, when it is not the joint's own).
"""

from dataclasses import dataclass, field, replace

import numpy as np

from qa.files.columns import (
    Column,
    Complaint,
    FileComplaints,
    Row,
    length_nm,
    number,
    read_table,
    recognize,
)
from qa.numeric.geometry import outline
from qa.numeric.geometry.joint import (
    Joint,
    JointComplaint,
    JointError,
    Limits,
    Station,
    build_joint,
    station_complaints,
)
from qa.numeric.verdict.report import StationLimits
from shop.numeric.units import to_mm

PLAIN = (
    "station",
    *("normal_x", "normal_y", "normal_z"),
    *("face_x", "face_y", "face_z"),
    "trim_side",
    *("laminar", "edge", "surround"),
)
LENGTHS = (
    *("x", "y", "z"),
    *("gap_min", "gap_max", "flush_min", "flush_max"),
    *("trim_max", "trim_max_surround", "land", "radius"),
)
EDGES = ("upstream", "downstream", "streamwise")
YES = ("yes", "y", "true", "1")
NO = ("no", "n", "false", "0")
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
    "trim_max_surround": "trim_max_surround",
    "land": "land",
}


@dataclass(frozen=True)
class StationExtras:
    """What a row says for the records only. Lengths in nm; `typed` holds (text, unit)
    of every length in the row, as it stands there."""

    radius_nm: int | None = None
    trim_max_surround_nm: int | None = None
    laminar: bool = False
    edge: str = ""
    surround: str = ""
    typed: dict[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class JointFile:
    """A joint and, row by row, what is exact or more, and the lines it came from.

    `stated` are the stations before missing gap directions were worked out. `columns`
    heads each quantity as the file does. `closing_label` names a last row that was left
    out because it repeats the place of the first.
    """

    joint: Joint
    limits: tuple[StationLimits, ...]
    lines: tuple[int, ...]
    columns: dict[str, str]
    stated: tuple[Station, ...]
    extras: tuple[StationExtras, ...]
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
    complaints: list[Complaint] = []
    table = read_table(data, complaints)
    try:
        columns = recognize(
            table.header, plain=PLAIN, lengths=LENGTHS, required=("station", "x", "y")
        )
        _require_together(columns, table.header)
    except FileComplaints as bad:
        raise FileComplaints([*complaints, *bad.complaints]) from bad
    if len(table.rows) > MOST_STATIONS:
        reason = f"{len(table.rows)} stations; at most {MOST_STATIONS}"
        raise FileComplaints([Complaint(reason, table.rows[MOST_STATIONS].line)])
    headings = {quantity: column.name for quantity, column in columns.items()}
    read = [_read(_Cells(row, columns, complaints)) for row in table.rows]
    good = [one for one in read if one]
    good, closing = _without_closing_row(good) if closed else (good, None)
    lines, stations = [one.line for one in good], [one.station for one in good]
    complaints += _located(station_complaints(stations), lines, headings)
    if complaints:
        raise FileComplaints(complaints)
    try:
        joint = build_joint(stations, closed=closed, part_inside=part_inside)
    except JointError as error:
        raise FileComplaints(_located(error.complaints, lines, headings)) from error
    return JointFile(
        joint=joint,
        limits=tuple(one.limits for one in good),
        lines=tuple(lines),
        columns=headings,
        stated=tuple(stations),
        extras=tuple(one.extras for one in good),
        closing_label=closing,
    )


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


@dataclass(frozen=True)
class _Read:
    """All that was read from one row."""

    line: int
    station: Station
    limits: StationLimits
    extras: StationExtras


@dataclass(frozen=True)
class _Cells:
    """The cells of one row by quantity; what is wrong with one goes to `complaints`."""

    row: Row
    columns: dict[str, Column]
    complaints: list[Complaint]

    def text(self, quantity: str) -> str:
        column = self.columns.get(quantity)
        return self.row.cells[column.index] if column else ""

    def complain(self, quantity: str, reason: str) -> None:
        name = self.columns[quantity].name
        self.complaints.append(Complaint(reason, self.row.line, name))

    def value(self, quantity: str, convert):
        """The converted cell; None when it is empty, or wrong and complained about."""
        text = self.text(quantity)
        try:
            return convert(text) if text else None
        except ValueError as why:
            self.complain(quantity, str(why))
            return None

    def nm(self, quantity: str) -> int | None:
        return self.value(
            quantity, lambda text: length_nm(text, self.columns[quantity].unit)
        )

    def direction(self, name: str) -> tuple[float, float, float] | None:
        """A direction; a component without a column is 0."""
        axes = [f"{name}_{axis}" for axis in "xyz" if f"{name}_{axis}" in self.columns]
        empty = [axis for axis in axes if not self.text(axis)]
        if len(empty) == len(axes):
            return None
        for axis in empty:
            self.complain(axis, "is empty, while the rest of the direction is stated")
        parts = [self.value(axis, lambda t: float(number(t))) or 0.0 for axis in axes]
        return tuple(parts + [0.0] * (3 - len(parts)))

    def choice(self, quantity: str, *allowed: str) -> str:
        """A word in lower case, one of those allowed or none."""
        text = self.text(quantity).lower()
        if text and text not in allowed:
            self.complain(quantity, f"{text[:40]!r} is not {', '.join(allowed)}")
        return text

    def typed(self) -> dict[str, tuple[str, str]]:
        """Every length as it stands there, with its unit."""
        return {
            quantity: (self.text(quantity), column.unit)
            for quantity, column in self.columns.items()
            if column.unit and self.text(quantity)
        }


def _read(cells: _Cells) -> _Read | None:
    """What stands in a row, or None after complaining."""
    before = len(cells.complaints)
    ends = [cells.nm(name) for name in ("gap_min", "gap_max", "flush_min", "flush_max")]
    extras = _extras(cells)
    read = _Read(
        line=cells.row.line,
        station=_station(cells, ends, extras),
        limits=StationLimits(*ends),
        extras=extras,
    )
    return None if len(cells.complaints) > before else read


def _station(cells: _Cells, ends: list[int | None], extras: StationExtras) -> Station:
    label = cells.text("station")
    if len(label) > LONGEST_LABEL or not label.isprintable():
        reason = f"the name must be up to {LONGEST_LABEL} plain characters"
        cells.complain("station", reason)
    for axis in ("x", "y"):
        if not cells.text(axis):
            cells.complain(axis, "is empty; every station needs its place")
    return Station(
        label=label,
        place=tuple(_mm(cells.nm(axis)) or 0.0 for axis in "xyz"),
        gap_direction=cells.direction("normal"),
        face=cells.direction("face") or Station.face,
        gap=Limits(_mm(ends[0]), _mm(ends[1])),
        flush=Limits(_mm(ends[2]), _mm(ends[3])),
        trim_side=cells.text("trim_side").lower() or None,
        trim_max=_mm(cells.nm("trim_max")),
        trim_max_surround=_mm(extras.trim_max_surround_nm),
        land=_mm(cells.nm("land")),
    )


def _extras(cells: _Cells) -> StationExtras:
    radius = cells.nm("radius")
    if radius is not None and radius <= 0:
        cells.complain("radius", "a radius is more than 0; leave it empty where flat")
    return StationExtras(
        radius_nm=radius,
        trim_max_surround_nm=cells.nm("trim_max_surround"),
        laminar=cells.choice("laminar", *YES, *NO) in YES,
        edge=cells.choice("edge", *EDGES),
        surround=cells.text("surround"),
        typed=cells.typed(),
    )


def _without_closing_row(good: list[_Read]) -> tuple[list[_Read], str | None]:
    """Leave out a last row that only closes the seam: the first again, or just its
    place. Under another name at a sharp corner it is the corner's second station."""
    if len(good) < 2:
        return good, None
    first, last = good[0].station, good[-1].station
    same = replace(last, label=first.label) == first
    bare = last == Station(label=last.label, place=last.place)
    if last.place != first.place or not (same or bare):
        return good, None
    corner = same and last.label != first.label and last.gap_direction is None
    if corner and len(good) > 3 and _is_sharp([one.station for one in good[:-1]]):
        return good, None
    return good[:-1], last.label


def _is_sharp(stations: list[Station]) -> bool:
    """Whether a closed seam has a corner at its first row: it turns by more than a
    curve does, or by more than 20 degrees and nowhere else by as much."""
    places = np.array([station.place for station in stations])
    faces = np.array([station.face for station in stations])
    _, turns = outline.right_hand_normals(places, faces, closed=True)
    alone = turns[0] > 20 and not (turns[1:] > 20).any()
    return alone or bool(turns[0] > outline.SHARPEST_TURN_DEG + outline.ROUNDING_DEG)


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
    return None if nm is None else to_mm(nm)
