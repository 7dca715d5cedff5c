"""One row of a joint file: its columns, and what is read from them."""

from dataclasses import dataclass, field

from qa.files.columns import Column, Complaint, Row, length_nm, number
from qa.numeric.geometry.joint import Limits, Station
from qa.numeric.verdict.report import StationLimits
from shop.numeric.units import to_mm

PLAIN = (
    "station",
    *("normal_x", "normal_y", "normal_z"),
    *("face_x", "face_y", "face_z"),
    *("corner", "trim_side"),
    *("laminar", "edge", "surround"),
)
LENGTHS = (
    *("x", "y", "z"),
    *("gap_min", "gap_max", "flush_min", "flush_max"),
    *("trim_max", "trim_max_surround", "land", "radius"),
)
TAPE = "tape"  # stands for a place, and is gone once there is one
EDGES = ("upstream", "downstream", "streamwise")
YES = ("yes", "y", "true", "1")
NO = ("no", "n", "false", "0")
LONGEST_LABEL = 40


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
class RowRead:
    """All that was read from one row; `point`: a corner that is no station."""

    line: int
    station: Station
    limits: StationLimits
    extras: StationExtras
    tape: float | None = None
    point: bool = False


@dataclass(frozen=True)
class Cells:
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
            if column.unit and quantity != TAPE and self.text(quantity)
        }


def read_row(cells: Cells) -> RowRead | None:
    """What stands in a row, or None after complaining."""
    before = len(cells.complaints)
    ends = [cells.nm(name) for name in ("gap_min", "gap_max", "flush_min", "flush_max")]
    extras = _extras(cells)
    read = RowRead(
        line=cells.row.line,
        station=_station(cells, ends, extras),
        limits=StationLimits(*ends),
        extras=extras,
        tape=_mm(cells.nm(TAPE)),
        point=_is_point(cells),
    )
    return None if len(cells.complaints) > before else read


def _station(cells: Cells, ends: list[int | None], extras: StationExtras) -> Station:
    label = cells.text("station")
    if len(label) > LONGEST_LABEL or not label.isprintable():
        reason = f"the name must be up to {LONGEST_LABEL} plain characters"
        cells.complain("station", reason)
    taped = bool(cells.text(TAPE))
    for axis in ("x", "y"):
        if not cells.text(axis) and not taped:
            or_tape = ", or how far it is by tape" if TAPE in cells.columns else ""
            cells.complain(axis, f"is empty; every station needs its place{or_tape}")
        if cells.text(axis) and taped:
            cells.complain(TAPE, "a station has a place or a distance, not both")
            break
    return Station(
        label=label,
        place=tuple(_mm(cells.nm(axis)) or 0.0 for axis in "xyz"),
        gap_direction=cells.direction("normal"),
        face=cells.direction("face") or Station.face,
        corner=_corner(cells),
        gap=Limits(_mm(ends[0]), _mm(ends[1])),
        flush=Limits(_mm(ends[2]), _mm(ends[3])),
        trim_side=cells.text("trim_side").lower() or None,
        trim_max=_mm(cells.nm("trim_max")),
        trim_max_surround=_mm(extras.trim_max_surround_nm),
        land=_mm(cells.nm("land")),
    )


def _corner(cells: Cells) -> bool | None:
    """Whether the seam breaks here; None where nothing is said of it."""
    word = cells.choice("corner", *YES, *NO)
    return word in YES if word else None


def _is_point(cells: Cells) -> bool:
    """A row that names no station and says no more than where a corner is."""
    filled = {name for name in cells.columns if cells.text(name)}
    return TAPE in cells.columns and filled - {"corner"} == {"x", "y"}


def _extras(cells: Cells) -> StationExtras:
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


def _mm(nm: int | None) -> float | None:
    return None if nm is None else to_mm(nm)
