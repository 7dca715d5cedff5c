"""Stations as the text of a joint file, and back: nothing is lost on the way.

A length stands as it was typed where the whole column was typed in one unit, and in
exact millimeters otherwise; a direction stands to its nine decimals. What `joint_file`
reads from the text are the same whole numbers.
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

from qa.files.columns import length_nm
from qa.files.joint_rows import LENGTHS
from shop.files.csv_table import plain_cell
from shop.numeric.units import E9, format_length

FLAT_FACE = (0, 0, E9)
MOST_STATIONS = 500  # what a map can show and a person can walk
ORDER = (
    *("station", "x", "y", "z"),
    *("normal_x", "normal_y", "normal_z", "face_x", "face_y", "face_z"),
    "corner",
    *("gap_min", "gap_max", "flush_min", "flush_max"),
    *("trim_side", "trim_max", "trim_max_surround", "land"),
    *("radius", "laminar", "edge", "surround"),
)

Cell = str | tuple[str, str]  # a word, or a length as (text, unit)


def write(rows: Sequence[Mapping[str, Cell]]) -> str:
    """The text of a joint file: a column for every quantity that any row has."""
    used = [name for name in ORDER if any(row.get(name) for row in rows)]
    units = {name: _unit(rows, name) for name in used if name in LENGTHS}
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(f"{name}_{units[name]}" if name in units else name for name in used)
    for row in rows:
        writer.writerow(_shown(row.get(name, ""), units.get(name)) for name in used)
    return text.getvalue()


def rows_of(stations: Iterable) -> list[dict[str, Cell]]:
    """Rows to write from the stations of a revision, in their order.

    What is the same for every station and the default everywhere (flat, faces up, the
    part may be cut) is left out.
    """
    stations = list(stations)
    rows = [_row(station) for station in stations]
    if all(_direction(station, "face") == FLAT_FACE for station in stations):
        _leave_out(rows, "face_x", "face_y", "face_z")
    if not any(station.gap_z_e9 for station in stations):
        _leave_out(rows, "normal_z")
    if not any(station.z_nm for station in stations):
        _leave_out(rows, "z")
    if all(station.trim_side == "part" for station in stations):
        _leave_out(rows, "trim_side")
    return rows


def mirrored(rows: Sequence[Mapping[str, Cell]], closed: bool) -> list[dict]:
    """Rows of the joint of the other hand, mirrored at x = 0 under the same names.

    An open seam is walked from its other end, so that its surround stays on the right.
    """
    done = [dict(row) for row in rows]
    for row in done:
        for name in ("normal_x", "face_x"):
            if name in row:
                row[name] = opposite(row[name])
        text, unit = row["x"]
        row["x"] = (opposite(text), unit)
    return done if closed else done[::-1]


def opposite(text: str) -> str:
    """A typed number with the other sign, its digits as they were typed."""
    bare = text.lstrip("+-\N{MINUS SIGN}")
    negative = text.startswith(("-", "\N{MINUS SIGN}"))
    return bare if negative or not bare.strip("0.") else f"-{bare}"


def _row(station) -> dict[str, Cell]:
    row: dict[str, Cell] = {"station": station.label}
    for name in LENGTHS:
        nm = getattr(station, f"{name}_nm")
        if nm is not None:
            typed = station.typed.get(name)
            row[name] = tuple(typed) if typed else (format_length(nm, "mm"), "mm")
    for name, column in (("gap", "normal"), ("face", "face")):
        for axis, value in zip("xyz", _direction(station, name), strict=True):
            row[f"{column}_{axis}"] = decimal9(value)
    row["corner"] = "yes" if station.corner else ""
    row["trim_side"] = station.trim_side
    row["laminar"] = "yes" if station.laminar else ""
    row["edge"] = station.edge
    row["surround"] = station.surround.code if station.surround_id else ""
    return row


def _direction(station, name: str) -> tuple[int, int, int]:
    return tuple(getattr(station, f"{name}_{axis}_e9") for axis in "xyz")


def decimal9(e9: int) -> str:
    """A whole number of 1e-9 as the shortest decimal."""
    whole, part = divmod(abs(e9), E9)
    digits = f"{whole}.{part:09d}".rstrip("0").rstrip(".")
    return f"-{digits}" if e9 < 0 else digits


def _leave_out(rows: list[dict], *names: str) -> None:
    for row in rows:
        for name in names:
            row.pop(name, None)


def _unit(rows: Sequence[Mapping[str, Cell]], name: str) -> str:
    """The unit of a column: the one all of it was typed in, else mm."""
    units = {row[name][1] for row in rows if row.get(name)}
    return units.pop() if len(units) == 1 else "mm"


def _shown(cell: Cell, unit: str | None) -> str:
    if unit is None or not cell:
        return plain_cell(cell)
    text, typed_in = cell
    return text if typed_in == unit else format_length(length_nm(text, typed_in), "mm")
