"""Stations to start a joint from, along a plain outline in the plane.

Outlines are centered on the origin (corner points stay where they are) and walked
counter- clockwise seen from outside. Lengths are millimeters, rounded to the nanometer.
Every station comes with its gap direction, so that corners are never in doubt.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric.geometry import outline
from qa.numeric.geometry.joint import Limits, Station

NO_LIMITS = Limits()
_DENSE = 20_001  # points that measure an ellipse; its length is then right to 1e-8


@dataclass(frozen=True)
class Layout:
    """Places and unit gap directions, both (n, 3), in the order of the seam."""

    places: np.ndarray
    gap_directions: np.ndarray

    def stations(
        self, *, gap: Limits = NO_LIMITS, flush: Limits = NO_LIMITS
    ) -> tuple[Station, ...]:
        """Stations named 1, 2, 3 ... with one pair of limits for all."""
        return tuple(
            Station(
                label=str(row + 1),
                place=tuple(float(v) for v in place),
                gap_direction=tuple(float(v) for v in direction),
                gap=gap,
                flush=flush,
            )
            for row, (place, direction) in enumerate(
                zip(self.places, self.gap_directions, strict=True)
            )
        )


def rounded_rectangle(
    width: float, height: float, radius: float, count: int, *, part_inside: bool = True
) -> Layout:
    """`count` stations evenly by arc length, the first half a spacing after the start
    of the bottom side. ValueError unless width, height > 0 and 0 < radius <= half of
    both.
    """
    _rounded(width, height, radius)
    _enough(count)
    arc = math.pi * radius / 2
    lengths = [width - 2 * radius, arc, height - 2 * radius, arc] * 2
    ends = np.cumsum(lengths)
    along = (np.arange(count) + 0.5) * ends[-1] / count
    pieces = np.searchsorted(ends, along, side="right")
    offsets = along - (ends - lengths)[pieces]
    places, normals = zip(
        *(
            _on_rounded_rectangle(width, height, radius, piece, offset)
            for piece, offset in zip(pieces, offsets, strict=True)
        ),
        strict=True,
    )
    return _layout(places, normals, part_inside)


def rounded_rectangle_by_side(
    width: float,
    height: float,
    radius: float,
    counts: Sequence[int],
    *,
    per_corner: int = 0,
    part_inside: bool = True,
) -> Layout:
    """Stations by count on the bottom, right, top and left side, and on each corner.

    Evenly on the straight part of a side (or on the arc of a corner), half a spacing
    from its ends. ValueError as for rounded_rectangle, or with fewer than 3 stations in
    all.
    """
    _rounded(width, height, radius)
    counts = _side_counts(counts, 4)
    _enough(sum(counts) + 4 * per_corner)
    straight = [width - 2 * radius, height - 2 * radius] * 2
    stations = []
    for side in range(4):
        if counts[side] and straight[side] <= 0:
            raise ValueError(
                "a side that is all corner cannot have stations of its own"
            )
        for piece, length, many in (
            (2 * side, straight[side], counts[side]),
            (2 * side + 1, math.pi * radius / 2, per_corner),
        ):
            stations += [
                _on_rounded_rectangle(
                    width, height, radius, piece, (k + 0.5) * length / many
                )
                for k in range(many)
            ]
    places, normals = zip(*stations, strict=True)
    return _layout(places, normals, part_inside)


def rounded_rectangle_by_tape(
    width: float,
    height: float,
    radius: float,
    distances: Sequence[Sequence[float]],
    *,
    part_inside: bool = True,
) -> Layout:
    """Stations at distances along the edge from the middle of a rounded corner: from
    the lower left one along the bottom, from the lower right one up, and so on.

    ValueError as for rounded_rectangle, and for what does not lie on its side in order.
    """
    _rounded(width, height, radius)
    arc = math.pi * radius / 2
    straight = [width - 2 * radius, height - 2 * radius] * 2
    stations = []
    for side, gone in enumerate(
        _taped(distances, [length + arc for length in straight])
    ):
        for distance in gone:
            offset = distance - arc / 2
            if offset < 0:
                piece, offset = (2 * side - 1) % 8, arc + offset
            elif offset <= straight[side]:
                piece = 2 * side
            else:
                piece, offset = 2 * side + 1, offset - straight[side]
            stations.append(_on_rounded_rectangle(width, height, radius, piece, offset))
    _enough(len(stations))
    places, normals = zip(*stations, strict=True)
    return _layout(places, normals, part_inside)


def ellipse(
    width: float, height: float, count: int, *, part_inside: bool = True
) -> Layout:
    """`count` stations evenly by arc length from the rightmost point.

    ValueError unless width, height > 0 and count >= 3.
    """
    _positive(width=width, height=height)
    _enough(count)
    a, b = width / 2, height / 2
    angles = np.linspace(0.0, 2 * math.pi, _DENSE)
    line = np.column_stack([a * np.cos(angles), b * np.sin(angles)])
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    lengths = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.interp(np.arange(count) * lengths[-1] / count, lengths, angles)
    places = np.column_stack([a * np.cos(at), b * np.sin(at)])
    normals = np.column_stack([b * np.cos(at), a * np.sin(at)])
    return _layout(places, normals, part_inside)


def polyline(
    corners: Sequence[tuple[float, float]],
    count: int,
    *,
    closed: bool = True,
    part_inside: bool = True,
) -> Layout:
    """`count` stations evenly by arc length along straight sides between corner points.

    No station stands on a corner: all are shifted along together until the nearest one
    is as far from its corner as it can be. ValueError for too few or repeated corners,
    sides that cross, no area, or fewer than 3 stations.
    """
    sides = _Sides(corners, closed)
    _enough(count)
    spacing = sides.total / count
    residues = np.sort(np.concatenate([[0.0], sides.starts % spacing]))
    gaps = np.diff(np.concatenate([residues, [spacing]]))
    widest = int(np.argmax(np.round(gaps, 6)))  # the first of equals on every machine
    along = residues[widest] + gaps[widest] / 2 + spacing * np.arange(count)
    return sides.layout(along, part_inside)


def polyline_by_side(
    corners: Sequence[tuple[float, float]],
    counts: Sequence[int],
    *,
    closed: bool = True,
    part_inside: bool = True,
) -> Layout:
    """Stations by count per side, evenly on each, half a spacing from its corners.

    One count per side in order. ValueError as for polyline.
    """
    sides = _Sides(corners, closed)
    counts = _side_counts(counts, len(sides.lengths))
    _enough(sum(counts))
    along = [
        start + (k + 0.5) * length / many
        for start, length, many in zip(sides.starts, sides.lengths, counts, strict=True)
        for k in range(many)
    ]
    return sides.layout(np.array(along), part_inside)


def polyline_by_tape(
    corners: Sequence[tuple[float, float]],
    distances: Sequence[Sequence[float]],
    *,
    closed: bool = True,
    part_inside: bool = True,
) -> Layout:
    """Stations at distances along each side from its first corner.

    ValueError as for polyline, and for what does not lie on its side in order.
    """
    sides = _Sides(corners, closed)
    taped = _taped(distances, sides.lengths)
    _enough(sum(len(gone) for gone in taped))
    along = [
        (start + distance, side)
        for side, (start, gone) in enumerate(zip(sides.starts, taped, strict=True))
        for distance in gone
    ]
    where, on = zip(*along, strict=True)
    return sides.layout(np.array(where), part_inside, np.array(on))


class _Sides:
    """The straight sides between corner points, and where along the whole each
    starts."""

    def __init__(self, corners: Sequence[tuple[float, float]], closed: bool):
        points = np.array(corners, dtype=float)
        if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
            raise ValueError("corner points must be pairs of finite numbers")
        if closed and len(points) > 1 and (points[0] == points[-1]).all():
            points = points[:-1]
        if len(points) < (3 if closed else 2):
            raise ValueError(f"too few corner points: {len(points)}")
        self.closed = closed
        self.points = np.column_stack([points, np.zeros(len(points))])
        steps = np.roll(self.points, -1, axis=0) - self.points
        steps = steps if closed else steps[:-1]
        self.lengths = np.linalg.norm(steps, axis=1)
        if (self.lengths <= outline.SAME_PLACE_MM).any():
            raise ValueError("two corner points in a row are in the same place")
        if outline.crossing_edges(self.points, closed):
            raise ValueError("the sides cross each other")
        faces = np.tile([0.0, 0.0, 1.0], (len(points), 1))
        self.sense = outline.turning_sense(self.points, faces) if closed else 1
        if not self.sense:
            raise ValueError("the corner points enclose no area")
        self.directions = steps / self.lengths[:, None]
        self.starts = np.concatenate([[0.0], np.cumsum(self.lengths)[:-1]])
        self.total = float(self.lengths.sum())

    def layout(self, along: np.ndarray, part_inside: bool, side=None) -> Layout:
        """At distances along the whole, each on the side it falls on or is said to."""
        if side is None:
            side = np.searchsorted(self.starts, along, side="right") - 1
        step = (along - self.starts[side])[:, None] * self.directions[side]
        places = (self.points[side] + step)[:, :2]
        forward = self.directions[side]
        outward = self.sense * np.column_stack([forward[:, 1], -forward[:, 0]])
        return _layout(places, outward, part_inside or not self.closed)


def _on_rounded_rectangle(width, height, radius, piece, offset):
    """Place and outward normal at an offset along one of the eight pieces: bottom side,
    lower right corner, right side, and so on."""
    half_w, half_h = width / 2 - radius, height / 2 - radius
    side, is_corner = divmod(int(piece), 2)
    # One side and corner is worked out at the bottom and turned by quarter turns.
    span, rise = (half_w, half_h) if side % 2 == 0 else (half_h, half_w)
    angle = offset / radius if is_corner else 0.0
    normal = (math.sin(angle), -math.cos(angle))
    start = (span if is_corner else -span + offset, -rise)
    place = (start[0] + radius * normal[0], start[1] + radius * normal[1])
    for _ in range(side):
        place, normal = (-place[1], place[0]), (-normal[1], normal[0])
    return place, normal


def _layout(places, outward, part_inside: bool) -> Layout:
    places = np.round(np.array(places, dtype=float), 6) + 0.0
    outward = np.array(outward, dtype=float)
    outward = outward / np.linalg.norm(outward, axis=1)[:, None]
    out = np.zeros((len(places), 1))
    directions = (outward if part_inside else -outward) + 0.0
    return Layout(np.hstack([places, out]), np.hstack([directions, out]))


def _rounded(width: float, height: float, radius: float) -> None:
    _positive(width=width, height=height, radius=radius)
    if radius > min(width, height) / 2:
        raise ValueError("the corner radius is more than half of a side")


def _positive(**lengths: float) -> None:
    for name, value in lengths.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"the {name} must be more than 0")


def _enough(count: int) -> None:
    if count < 3:
        raise ValueError(f"a joint needs at least 3 stations; there are {count}")


def _taped(
    distances: Sequence[Sequence[float]], lengths: Sequence[float]
) -> Sequence[Sequence[float]]:
    """Distances by side, each on its side and in order."""
    if len(distances) != len(lengths):
        raise ValueError(
            f"there must be one line of distances for each of {len(lengths)} sides; "
            f"there are {len(distances)}"
        )
    for number, (line, length) in enumerate(zip(distances, lengths, strict=True), 1):
        if not all(math.isfinite(distance) for distance in line):
            raise ValueError(f"side {number}: a distance must be a finite number")
        if list(line) != sorted(set(line)):
            raise ValueError(f"side {number}: the distances must rise")
        if line and not (line[0] >= 0 and line[-1] <= length + 1e-6):
            raise ValueError(
                f"side {number} is {length:.2f} mm long; the distances reach "
                f"from {line[0]:g} to {line[-1]:g} mm"
            )
    return distances


def _side_counts(counts: Sequence[int], sides: int) -> list[int]:
    if len(counts) != sides or any(count < 0 for count in counts):
        raise ValueError(
            f"there must be one count, 0 or more, for each of {sides} sides"
        )
    return list(counts)
