"""A joint as a CSV file: one row per station, in the order of the seam.

`station,x_mm,y_mm[,normal_x,normal_y][,gap_min_mm,gap_max_mm][,flush_min_mm,flush_max_mm]`
and, where the joint is not flat, `z_mm,normal_z,face_x,face_y,face_z`; for planning
`trim_side,trim_max_mm,trim_max_surround_mm,land_mm`. Every `_mm` may be `_in`. An empty
limit means none. `corner` says yes at a station where the seam breaks, and no at one on
a round, where the seam may turn by up to 120 degrees.

A station of a flat joint may be given by `tape_mm` instead of its place: how far along
the edge it is from the corner before it. A row without a name is then a corner of the
edge and no station.

What only the records of a joint need may stand beside it, so that a file from the site
can be judged and planned as it is: `radius_mm` (of the surface under a bridge),
`laminar` (yes or no), `edge` (upstream, downstream or streamwise) and `surround` (the
position whose edge lies opposite, when it is not the joint's own).
"""

from dataclasses import dataclass, replace

import numpy as np

from qa.files.columns import (
    Column,
    Complaint,
    FileComplaints,
    Row,
    read_table,
    recognize,
)
from qa.files.joint_rows import (
    LENGTHS,
    PLAIN,
    TAPE,
    Cells,
    RowRead,
    StationExtras,
    read_row,
)
from qa.numeric.geometry import outline, tape
from qa.numeric.geometry.joint import (
    Joint,
    JointComplaint,
    JointError,
    Station,
    build_joint,
    plain_directions,
    station_complaints,
)
from qa.numeric.verdict.report import StationLimits

TOGETHER = (
    ("normal_x", "normal_y"),
    ("normal_z", "normal_x"),
    ("face_x", "face_y"),
    ("face_y", "face_z"),
    ("face_z", "face_x"),
)
MOST_STATIONS = 10_000
NOT_FLAT = ("z", "normal_z", "face_x", "face_y", "face_z")

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
    "tape": TAPE,
}


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


def parse(
    data: bytes, *, closed: bool = True, part_inside: bool = True, rounded: bool = False
) -> JointFile:
    """The joint in a file; `rounded` where no corner is sharp but those that say so.

    Raises FileComplaints with everything that is wrong.
    """
    complaints: list[Complaint] = []
    table = read_table(data, complaints)
    try:
        columns = recognize(
            table.header,
            plain=PLAIN,
            lengths=(*LENGTHS, TAPE),
            required=("station", "x", "y"),
        )
        _require_together(columns, table.header)
        _require_flat(columns, table.header)
    except FileComplaints as bad:
        raise FileComplaints([*complaints, *bad.complaints]) from bad
    if len(table.rows) > MOST_STATIONS:
        reason = f"{len(table.rows)} stations; at most {MOST_STATIONS}"
        raise FileComplaints([Complaint(reason, table.rows[MOST_STATIONS].line)])
    headings = {quantity: column.name for quantity, column in columns.items()}
    read = [read_row(Cells(row, columns, complaints)) for row in table.rows]
    good = [row for row in read if row]
    if rounded:
        good = list(map(_rounded, good))
    if not complaints:
        good = _laid(good, closed, part_inside, headings)
    good = [row for row in good if not row.point]
    good, closing = _without_closing_row(good) if closed else (good, None)
    lines, stations = [row.line for row in good], [row.station for row in good]
    complaints += _located(station_complaints(stations), lines, headings)
    if complaints:
        raise FileComplaints(complaints)
    try:
        joint = build_joint(stations, closed=closed, part_inside=part_inside)
    except JointError as error:
        raise FileComplaints(_located(error.complaints, lines, headings)) from error
    return JointFile(
        joint=joint,
        limits=tuple(row.limits for row in good),
        lines=tuple(lines),
        columns=headings,
        stated=tuple(stations),
        extras=tuple(row.extras for row in good),
        closing_label=closing,
    )


def _rounded(row: RowRead) -> RowRead:
    if row.point or row.station.corner is not None:
        return row
    return replace(row, station=replace(row.station, corner=False))


def _require_together(columns: dict[str, Column], header: Row) -> None:
    """A direction needs its components."""
    missing = {
        other: Complaint(f"the column is missing ({name} needs it)", header.line, other)
        for name, other in TOGETHER
        + tuple((b, a) for a, b in TOGETHER if a != "normal_z")
        if name in columns and other not in columns
    }
    if missing:
        raise FileComplaints(missing.values())


def _require_flat(columns: dict[str, Column], header: Row) -> None:
    """A tape lies along the edge of a flat joint only."""
    if TAPE in columns:
        reason = "a distance by tape is for a flat joint, which does without this"
        complaints = [
            Complaint(reason, header.line, columns[name].name)
            for name in NOT_FLAT
            if name in columns
        ]
        if complaints:
            raise FileComplaints(complaints)


def _laid(good: list[RowRead], closed, part_inside, headings) -> list[RowRead]:
    """Rows with their places, where some are given by tape."""
    if not any(row.tape is not None or row.point for row in good):
        return good
    places = [row.station.place for row in good]
    if closed and good[-1].point and places[-1] == places[0]:
        good = good[:-1]
    closes = closed and len(good) > 1 and good[-1].tape is None and not good[-1].point
    corners = {row.station.corner for row in (good[0], good[-1])}
    if closes and places[-1] == places[0] and False in corners and True not in corners:
        # The place of a round is laid once, or it would count as broken there.
        begin = replace(good[0], station=replace(good[0].station, corner=False))
        laid = _laid([begin, *good[1:-1]], closed, part_inside, headings)
        return [good[0], *laid[1:], good[-1]]
    rows = [tape.Row(row.station, row.tape, row.point) for row in good]
    try:
        stations = tape.lay(rows, closed=closed, part_inside=part_inside)
    except tape.TapeError as why:
        line, heading = good[why.row].line, _heading(headings, why.field)
        raise FileComplaints([Complaint(f"{why}", line, heading)]) from why
    return [
        replace(row, station=station)
        for row, station in zip(good, stations, strict=True)
    ]


def _without_closing_row(good: list[RowRead]) -> tuple[list[RowRead], str | None]:
    """Leave out a last row that only closes the seam: the first again, or just its
    place. Under another name at a sharp corner it is the corner's second station."""
    if len(good) < 2:
        return good, None
    first, last = good[0].station, good[-1].station
    # What one of the two says of the corner, where the other says nothing, holds.
    closing_corner = last.corner if first.corner is None else first.corner
    other = closing_corner if last.corner is None else last.corner
    bare = last == Station(label=last.label, place=last.place, corner=last.corner)
    # Marked, it is the second station of a corner, but where the first has said all.
    again = last.label == first.label or first.gap_direction is not None
    bare = bare and (again or last.corner is not True)
    first = replace(first, corner=closing_corner)
    same = replace(last, label=first.label, corner=other) == first
    if last.place != first.place or not (same or bare):
        return good, None
    once = [replace(good[0], station=first), *good[1:-1]]
    corner = same and last.label != first.label and last.gap_direction is None
    if corner and len(good) > 3 and _is_sharp([row.station for row in once]):
        return good, None
    return once, last.label


def _is_sharp(stations: list[Station]) -> bool:
    """Whether a closed seam has a corner at its first row: it is marked as one, or it
    turns by more than a curve does, or, where it is not said to be round, by more than
    20 degrees and nowhere else by as much."""
    if stations[0].corner:
        return True
    places = np.array([station.place for station in stations])
    faces = np.array([station.face for station in stations])
    if plain_directions(stations, places, faces) is not None:
        return False
    _, turns = outline.right_hand_normals(places, faces, closed=True)
    rounds = np.array([station.corner is False for station in stations])
    alone = not rounds[0] and turns[0] > 20 and not (turns[1:] > 20).any()
    return bool(alone or turns[0] > outline.sharpest(rounds)[0])


def _located(
    complaints: list[JointComplaint], lines: list[int], headings: dict[str, str]
) -> list[Complaint]:
    """Complaints about stations as complaints about lines and columns of the file."""
    whole = {"label": lines[-1] if lines else 1}
    return [
        Complaint(
            joint_complaint.text,
            whole.get(joint_complaint.field, lines[0] if lines else 1)
            if joint_complaint.row is None
            else lines[joint_complaint.row],
            _heading(headings, joint_complaint.field),
        )
        for joint_complaint in complaints
    ]


def _heading(headings: dict[str, str], field: str | None) -> str | None:
    """How the file heads a field: by its first column, or the other end of its
    limits."""
    quantity = QUANTITY_OF.get(field)
    other = quantity.replace("_min", "_max") if quantity else None
    return headings.get(quantity) or headings.get(other) or quantity
