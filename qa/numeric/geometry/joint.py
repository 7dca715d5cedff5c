"""The geometry of a joint: stations along a seam, and which way is which.

A joint is drawn as seen from outside. Lengths are millimeters. The gap direction points
from the fitted part towards its surround, the face direction out of the skin. A flat
joint has z = 0, its gap directions in the plane and its faces along +z, and that is the
default everywhere. On a closed seam the fitted part is inside (or outside) the outline;
on an open one its surround is on the right when walking the rows.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from qa.numeric.geometry import outline, plain_shape

FURTHEST_MM = 100_000.0

Vector = tuple[float, float, float]
OUT_OF_THE_PLANE: Vector = (0.0, 0.0, 1.0)
AS_STATED = math.cos(math.radians(20))


@dataclass(frozen=True)
class Limits:
    """Least and greatest value allowed, in mm; None means no limit on that side."""

    low: float | None = None
    high: float | None = None

    @property
    def empty(self) -> bool:
        return self.low is None and self.high is None

    @property
    def two_sided(self) -> bool:
        return self.low is not None and self.high is not None

    @property
    def width(self) -> float | None:
        """High minus low in mm; None unless both are there."""
        return self.high - self.low if self.two_sided else None


@dataclass(frozen=True)
class Station:
    """A place on the seam where gap and flushness are measured, and their limits."""

    label: str
    place: Vector
    gap_direction: Vector | None = None
    face: Vector = OUT_OF_THE_PLANE
    gap: Limits = Limits()
    flush: Limits = Limits()
    trim_side: Literal["part", "surround", "both", "none"] | None = None
    trim_max: float | None = None  # mm that may still be cut here
    trim_max_surround: float | None = None  # the same of the surround, where it differs
    land: float | None = None  # mm of clearance to the land beneath
    # The seam breaks here, however little it turns; False: round, up to 120 degrees.
    corner: bool | None = None

    def most_trim(self, side: str) -> float:
        """mm that may be cut here on a side, inf where nothing limits it.

        A surround without a limit of its own takes that of the station; where either
        side may be cut ("both"), that of the part holds.
        """
        if side == "none":
            return 0.0
        most = self.trim_max
        if side == "surround" and self.trim_max_surround is not None:
            most = self.trim_max_surround
        return math.inf if most is None else most


@dataclass(frozen=True)
class Joint:
    """Stations in order along a seam, every direction known and of unit length.

    Made by build_joint. Arrays are read-only and in mm: places, gap_directions and
    faces are (n, 3), length_weights is (n,).
    """

    stations: tuple[Station, ...]
    closed: bool
    part_inside: bool
    flat: bool

    @cached_property
    def places(self) -> np.ndarray:
        return _frozen([station.place for station in self.stations])

    @cached_property
    def gap_directions(self) -> np.ndarray:
        return _frozen([station.gap_direction for station in self.stations])

    @cached_property
    def faces(self) -> np.ndarray:
        return _frozen([station.face for station in self.stations])

    @cached_property
    def length_weights(self) -> np.ndarray:
        return _frozen(outline.length_weights(self.places, self.closed))


@dataclass(frozen=True)
class JointComplaint:
    """One thing wrong: its row (from 0; None for the whole), the field, and why."""

    row: int | None
    field: str | None
    text: str


class JointError(ValueError):
    """A joint that cannot be; `complaints` holds everything that is wrong with it."""

    def __init__(self, complaints: list[JointComplaint]):
        self.complaints = complaints
        super().__init__("; ".join(complaint.text for complaint in complaints))


def build_joint(stations, *, closed: bool = True, part_inside: bool = True) -> Joint:
    """A joint from its stations, missing gap directions worked out from the outline.

    A gap direction not given is square to a smooth curve through the stations
    (outline.right_hand_normals). At a corner, which is marked as one or where the seam
    turns by more than 60 degrees (120 where it is said to be round), it must be given,
    or the corner has two stations, one per side. So it must at a round with too few
    stations beside it (outline.untold). Given directions are made unit length and
    must not point the wrong way. On an open seam `part_inside` has no meaning. Raises
    JointError with every complaint found.
    """
    stations = tuple(stations)
    complaints = station_complaints(stations)
    if len(stations) < 3:
        text = f"a joint needs at least 3 stations; there are {len(stations)}"
        complaints.append(JointComplaint(None, "label", text))
    if complaints:
        raise JointError(complaints)
    stations = tuple(
        replace(station, place=_vector(station.place), face=_unit(station.face))
        for station in stations
    )
    stations, complaints = _with_gap_directions(stations, closed, part_inside)
    if complaints:
        raise JointError(complaints)
    return Joint(stations, closed, part_inside, _is_flat(stations))


def station_complaints(stations) -> list[JointComplaint]:
    """All that is wrong with stations one by one, before they make an outline."""
    complaints = [
        JointComplaint(row, *complaint)
        for row, station in enumerate(stations)
        for complaint in _complaints_of(station)
    ]
    return complaints + _repeated_labels(stations)


def _with_gap_directions(stations, closed, part_inside):
    places = np.array([station.place for station in stations])
    faces = np.array([station.face for station in stations])
    if np.ptp(places, axis=0).max() <= outline.SAME_PLACE_MM:
        text = "all stations are in one place: there is no seam"
        return stations, [JointComplaint(0, "place", text)]
    crossing = outline.crossing_edges(places, closed, faces)
    if crossing:
        first, other = (_edge_name(stations, edge) for edge in crossing)
        text = f"the outline crosses itself: {first} meets {other}"
        return stations, [JointComplaint(crossing[0], "place", text)]
    sense = outline.turning_sense(places, faces) if closed else 1
    if not sense and any(station.gap_direction is None for station in stations):
        text = (
            "no gap directions can be worked out, since the outline encloses no area "
            "or its faces look all ways: state them, or say that the seam is open"
        )
        return stations, [JointComplaint(None, "gap_direction", text)]
    marked = (
        [station.corner is what for station in stations] for what in (True, False)
    )
    corners, rounds = map(np.array, marked)
    unsaid = np.array([station.corner is None for station in stations])
    rounds |= unsaid & outline.plainly_round(places, faces, closed)
    normals, turns = outline.right_hand_normals(places, faces, closed, corners, rounds)
    if closed:
        normals = normals * (sense if part_inside else -sense)
        plain = plain_directions(stations, places, faces)
        if plain is not None:
            normals, turns = plain if part_inside else -plain, np.zeros(len(turns))
    broken = outline.breaks(places, turns, closed, corners, rounds)
    untold = outline.untold(turns, closed, broken, rounds)
    right_way = _right_way(closed, part_inside) if sense else None
    done, complaints = [], []
    for row, station in enumerate(stations):
        try:
            if untold[row]:
                require_direction(station)
            known = normals[row], turns[row], bool(rounds[row])
            direction = _gap_direction(station, known, right_way)
        except ValueError as why:
            complaints.append(JointComplaint(row, "gap_direction", f"{why}"))
        else:
            done.append(replace(station, gap_direction=direction))
    return tuple(done), complaints


def require_direction(station: Station) -> None:
    """ValueError where no direction is stated at a round that is outline.untold."""
    if station.gap_direction is None:
        raise ValueError(
            "a round with one station, and too few stations beside it to tell which "
            "way it looks: state the gap direction (normal), or have two stations at "
            "least on each side before the seam turns again"
        )


def plain_directions(stations, places, faces) -> np.ndarray | None:
    """Outward directions (n, 3) where a closed outline in the plane is a plain shape;
    None where it is none, where all are stated, or where a corner or a direction is
    stated that it does not have."""
    stated = [station.gap_direction for station in stations]
    flat = np.ptp(places[:, 2]) <= outline.SAME_PLACE_MM and not faces[:, :2].any()
    if all(stated) or not flat or any(station.corner for station in stations):
        return None
    if len(np.unique(places[:, :2], axis=0)) < len(places):
        return None
    normals = plain_shape.outward(places[:, :2])
    if normals is None:
        return None
    normals = np.column_stack([normals, np.zeros(len(normals))])
    ways = zip(stated, normals, strict=True)
    leaning = [abs(np.dot(_unit(way), own)) for way, own in ways if way]
    return normals if min(leaning, default=1.0) > AS_STATED else None


def _gap_direction(station: Station, known, right_way: str | None) -> Vector:
    """The unit gap direction of one station; ValueError says why there is none. `known`
    are its normal, how far the seam turns there, and whether it is round."""
    normal, turn, round_ = known
    known = bool(np.isfinite(normal).all())
    if station.gap_direction is None:
        if not known:
            raise ValueError(
                "no gap direction can be worked out here (three stations in one place, "
                "or a seam that runs along the face direction): state it"
            )
        sharpest = outline.SHARPEST_ROUND_DEG if round_ else outline.SHARPEST_TURN_DEG
        if turn > sharpest + outline.ROUNDING_DEG:
            raise ValueError(
                f"a sharp corner: the seam turns by {turn:.1f} degrees here, more than "
                f"{sharpest:g}. State the gap direction (normal), or "
                "give the corner two stations, one per side; where the edge is round, "
                f"{'' if round_ else 'say no under corner, or have '}more stations on "
                "the round"
            )
        if station.corner and turn > outline.ROUNDING_DEG:
            raise ValueError(
                f"marked as a corner, and the seam turns by {turn:.1f} degrees here. "
                "State the gap direction (normal), or give the corner two stations, "
                "one per side"
            )
        return _vector(normal)
    direction = _unit(station.gap_direction)
    if abs(float(np.dot(direction, station.face))) > 0.9:
        raise ValueError("the gap direction runs along the face direction")
    if known and right_way and float(np.dot(direction, normal)) < -1e-6:
        raise ValueError(f"the gap direction points the wrong way: {right_way}")
    return direction


def _right_way(closed: bool, part_inside: bool) -> str:
    if not closed:
        return "on an open seam the surround is on the right when walking the rows"
    if part_inside:
        return "the part is inside, so that it must point outward to the surround"
    return "the part is outside, so that it must point inward to the surround"


def _edge_name(stations, edge: int) -> str:
    after = stations[(edge + 1) % len(stations)]
    return f"{stations[edge].label} to {after.label}"


def _complaints_of(station: Station):
    """(field, text) of all that is wrong with one station by itself."""
    if not station.label.strip():
        yield "label", "the station has no name"
    if not all(math.isfinite(v) and abs(v) <= FURTHEST_MM for v in station.place):
        yield "place", "the place must be finite numbers within 100 m"
    for field, what in (("gap_direction", "gap direction"), ("face", "face direction")):
        vector = getattr(station, field)
        if vector is None:
            continue
        if not all(math.isfinite(v) for v in vector):
            yield field, f"the {what} must be finite numbers"
        elif math.hypot(*vector) < 1e-9:
            yield field, f"the {what} has zero length"
    for field in ("gap", "flush"):
        limits = getattr(station, field)
        values = [v for v in (limits.low, limits.high) if v is not None]
        if not all(math.isfinite(v) for v in values):
            yield field, f"the {field} limits must be finite numbers"
        elif limits.two_sided and limits.low > limits.high:
            low, high = f"minimum {limits.low:g}", f"maximum {limits.high:g}"
            yield field, f"the {field} {low} mm is above the {high} mm"
    for field, what in (
        ("trim_max", "greatest trim"),
        ("trim_max_surround", "greatest trim of the surround"),
        ("land", "land clearance"),
    ):
        value = getattr(station, field)
        if value is not None and not (math.isfinite(value) and value >= 0):
            yield field, f"the {what} must be a finite number, 0 or more"
    if station.trim_side not in (None, "part", "surround", "both", "none"):
        yield "trim_side", f"{station.trim_side!r} is not part, surround, both or none"


def _repeated_labels(stations) -> list[JointComplaint]:
    seen: dict[str, int] = {}
    complaints = []
    for row, station in enumerate(stations):
        if station.label in seen:
            text = f"station {station.label} is there twice"
            complaints.append(JointComplaint(row, "label", text))
        seen.setdefault(station.label, row)
    return complaints


def _is_flat(stations) -> bool:
    """One height, gap directions in the plane, faces along +z."""
    height = stations[0].place[2]
    return all(
        abs(station.place[2] - height) <= outline.SAME_PLACE_MM
        and abs(station.gap_direction[2]) <= 1e-9
        and station.face[2] >= 1 - 1e-12
        for station in stations
    )


def _vector(values) -> Vector:
    x, y, z = (float(v) + 0.0 for v in values)
    return (x, y, z)


def _unit(vector) -> Vector:
    length = math.hypot(*vector)
    return _vector(v / length for v in vector)


def _frozen(values) -> np.ndarray:
    array = np.array(values, dtype=float)
    array.setflags(write=False)
    return array
