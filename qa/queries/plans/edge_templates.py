"""From a plan of one joint to the trim templates of the edges that it cuts."""

import hashlib
from collections.abc import Mapping
from dataclasses import astuple, dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import ClassVar

import numpy as np

from qa.numeric.geometry.edge_curve import Bend, Course, EdgeCurve, edge_curve
from qa.numeric.geometry.joint import Joint
from qa.numeric.plan.result import Plan, StationPlan

DEEPEST = 60.0  # mm; a deeper cut is not a trim and does not fit a strip


@dataclass(frozen=True)
class TrimPoint:
    """A station on the edge: `s` mm along the present edge, depths in mm from it, and
    half of the 95 % intervals of trim and bite where they are known."""

    s: float
    label: str
    trim: float
    bite: float
    trim_half: float | None = None
    bite_half: float | None = None

    @property
    def complaint(self) -> str:
        """Why it cannot be drawn, "" where it can."""
        if not 0 <= self.bite <= self.trim + 1e-9:
            return "the bite is more than the trim"
        return f"{self.trim:g} mm is no trim" if self.trim > DEEPEST else ""


@dataclass(frozen=True)
class TrimTemplate:
    """One edge of one side. `length` mm of edge; on a closed seam the last point runs
    on to the first. `bends` are its shape, each (length mm, curvature 1/mm, turn in
    radians before it), () for a straight one. `body_on_left`: the material to be cut
    lies to the left when walking the stations in order, seen from outside. `side`:
    "part" or "surround". No line is drawn for a cut of less than `line_from` mm, or
    closer than that to another; templates of records without it have every line.
    `unit`: "mm" or "in", of what is told to be taken and of the bars.
    """

    shop: str
    number: str
    joint_number: str
    joint_name: str
    part: str
    side: str
    points: tuple[TrimPoint, ...]
    length: float
    closed: bool
    body_on_left: bool
    issued_at: datetime
    issued_text: str = ""
    release: str = ""
    url: str = ""
    digest: str = ""
    banner: str = ""
    notes: tuple[str, ...] = ()
    bends: tuple[tuple[float, float, float], ...] = ()
    line_from: float = 0.0
    unit: str = "mm"
    only: ClassVar[str] = "trim"  # drawn where that is more than 0
    origin: ClassVar[str] = "plan"

    @cached_property
    def course(self) -> Course:
        """The edge laid out on a plane."""
        return Course(
            tuple(Bend(*bend) for bend in self.bends) or (Bend(self.length, 0.0),)
        )

    @cached_property
    def deepest(self) -> float:
        return max(point.trim for point in self.points)


def templates(
    joint: Joint,
    plan: Plan,
    *,
    names: dict[str, str],
    halves: Mapping[str, tuple] | None = None,
    **given,
) -> tuple[TrimTemplate, ...]:
    """One template for each side with something to cut: part first, then surround.

    `names` say what the "part" and the "surround" are; `halves` of what is known of
    (trim, bite) at a station, by label; `said` are the other fields of
    TrimTemplate that do not come from the plan. Where a station may be cut on either
    side its depth goes to the part. A station without a gap reading gets the depth
    between its neighbors, and the paper says so.
    """
    curve = edge_curve(joint)
    along, length = np.array(curve.along), curve.length
    bends = tuple((bend.length, bend.curvature, bend.turn) for bend in curve.bends)
    out = []
    for side in ("part", "surround"):
        # Of a pre-trim nothing was measured: its depths stand as they are.
        blind = not plan.measured
        rows = [_depth(station, side, blind) for station in plan.stations]
        if not any(trim for trim, _ in rows if trim is not None):
            continue
        points, guessed = _points(joint, rows, along, length)
        points = _with_halves(points, halves or {})
        content = repr([*(astuple(point) for point in points), bends]).encode()
        out.append(
            TrimTemplate(
                part=names[side],
                side=side,
                points=points,
                length=length,
                closed=joint.closed,
                body_on_left=part_on_left(joint) == (side == "part"),
                digest=hashlib.sha256(content).hexdigest(),
                notes=(*_notes(plan, side, guessed), *_corners(joint, curve)),
                bends=bends,
                **given,
            )
        )
    return tuple(out)


def _with_halves(points, halves: Mapping[str, tuple]) -> tuple[TrimPoint, ...]:
    pairs = ((point, halves.get(point.label)) for point in points if point)
    return tuple(
        replace(point, trim_half=known[0], bite_half=known[1])
        if known and point.trim
        else point
        for point, known in pairs
    )


def part_on_left(joint: Joint) -> bool:
    """Whether the fitted part lies to the left of the rows, seen from outside.

    Left is the face direction crossed with the way along the seam; the gap direction
    points away from the part. Summed over all stations, so that one corner cannot
    decide.
    """
    ahead = np.roll(joint.places, -1, axis=0)
    behind = np.roll(joint.places, 1, axis=0)
    if not joint.closed:
        ahead[-1], behind[0] = joint.places[-1], joint.places[0]
    left = np.cross(joint.faces, ahead - behind)
    return float((left * joint.gap_directions).sum()) < 0


def _depth(
    station: StationPlan, side: str, blind: bool = False
) -> tuple[float | None, float | None]:
    """(trim, next bite) on this side; None where no gap was measured."""
    if station.gap_now is None and not blind:
        return None, None
    here = "part" if station.side == "both" else station.side
    return (station.trim, station.next_bite) if here == side else (0.0, 0.0)


def _points(joint: Joint, rows, along, length):
    """Points in order, and the labels of those whose depth lies between neighbors."""
    known = [i for i, (trim, _) in enumerate(rows) if trim is not None]
    period = length if joint.closed else None
    places = along[known]

    def between(s: float, k: int) -> float:
        return float(np.interp(s, places, [rows[i][k] for i in known], period=period))

    points, guessed = [], []
    for i, station in enumerate(joint.stations):
        trim, bite = rows[i]
        if trim is None:
            guessed.append(station.label)
            trim, bite = between(along[i], 0), between(along[i], 1)
        points.append(TrimPoint(float(along[i]), station.label, trim, min(bite, trim)))
    return tuple(points), guessed


def _corners(joint: Joint, curve: EdgeCurve):
    """Corners that were drawn between stations."""
    between = [
        f"{joint.stations[first].label} and {joint.stations[other].label}"
        for first, other in curve.guessed
    ]
    if between:
        yield f"A corner was drawn, no station is there: {'; '.join(between)}."


def _notes(plan: Plan, side: str, guessed: list[str]) -> tuple[str, ...]:
    notes = []
    either = [s.label for s in plan.stations if s.side == "both" and s.trim > 0]
    if either and side == "part":
        notes.append(f"Either side may be cut at {', '.join(either)}: cut one only.")
    if guessed:
        notes.append(f"Not measured, depth between neighbors: {', '.join(guessed)}.")
    return tuple(notes)
