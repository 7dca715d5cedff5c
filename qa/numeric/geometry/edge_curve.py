"""The edge along a seam as it runs in the surface: arcs and lines, corners apart.

The stations lie on the edge and their gap directions are square to it, so that each
says which way the edge runs there. Between two of them it is two arcs that meet
smoothly (a biarc): on stations of a circle that is the circle; where those would bend
both ways though the edge need not, a line and an arc: a side and its round. Where the
stations lie in space the surface is unrolled along the seam: lengths along it and turns
within it are kept, which is what paper laid on the skin does; for a flat joint that is
the edge in x and y. Lengths mm, angles radians.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from qa.numeric.geometry import outline
from qa.numeric.geometry.joint import Joint
from qa.numeric.geometry.outline import SAME_PLACE_MM
from qa.numeric.geometry.smooth_curve import STRAIGHT

CORNER = math.radians(20)  # a turn on the spot that is more than this is a corner
# A turn between stations above this may hide a corner.
COARSEST = math.radians(outline.SHARPEST_TURN_DEG)
PLAINLY = 50  # so many times less than at the corner an edge leans beside it
_ROUNDING = math.radians(outline.ROUNDING_DEG)


@dataclass(frozen=True)
class Bend:
    """A turn on the spot, left positive, then `length` mm of line or arc; `curvature`
    in 1/mm, positive when it bends to the left."""

    length: float
    curvature: float
    turn: float = 0.0


@dataclass(frozen=True)
class EdgeCurve:
    """An edge from its first station on: bends in order, where the stations are along
    it (n,) in mm, and pairs of rows between which it turns so much that a corner was
    drawn where no station is."""

    bends: tuple[Bend, ...]
    along: tuple[float, ...]
    guessed: tuple[tuple[int, int], ...]

    @property
    def length(self) -> float:
        return math.fsum(bend.length for bend in self.bends)


@dataclass(frozen=True)
class Course:
    """Bends laid out on a plane from (0, 0), heading along x."""

    bends: tuple[Bend, ...]

    @cached_property
    def _nodes(self) -> list[tuple[float, float, float, float, float]]:
        """(s, x, y, heading, curvature) where each bend begins, and the very end."""
        s = x = y = heading = 0.0
        nodes = []
        for bend in self.bends:
            heading += bend.turn
            nodes.append((s, x, y, heading, bend.curvature))
            x, y, heading = _ahead(x, y, heading, bend.curvature, bend.length)
            s += bend.length
        return [*nodes, (s, x, y, heading, 0.0)]

    @property
    def length(self) -> float:
        return self._nodes[-1][0]

    @cached_property
    def corners(self) -> tuple[float, ...]:
        """Where it turns on the spot, mm along it; not at its very beginning."""
        return tuple(
            node[0]
            for bend, node in zip(self.bends[1:], self._nodes[1:], strict=False)
            if abs(bend.turn) > CORNER
        )

    def at(self, s: float, *, after: bool = True) -> tuple[float, float, float]:
        """(x, y, heading) at s mm; on a corner the heading after it, or before it."""
        nodes = self._nodes
        last = len(nodes) - 2
        for k in range(last, -1, -1):
            start = nodes[k][0]
            if start < s - 1e-9 or (after and start <= s + 1e-9) or k == 0:
                _, x, y, heading, curvature = nodes[k]
                return _ahead(x, y, heading, curvature, s - start)
        raise AssertionError("a course has at least one bend")

    def marks(self, start: float, end: float, step: float) -> list[float]:
        """Distances that show the course between two: ends of bends, and in arcs one
        every `step` mm at most."""
        marks = [start]
        for node, bend in zip(self._nodes, self.bends, strict=False):
            low, high = max(start, node[0]), min(end, node[0] + bend.length)
            if high <= low:
                continue
            count = math.ceil((high - low) / step) if bend.curvature else 1
            marks += [low + (high - low) * k / count for k in range(count)] + [high]
        return sorted({*marks, end})


def _ahead(x, y, heading, curvature, s):
    turn = curvature * s
    chord = s * (math.sin(turn / 2) / (turn / 2) if abs(turn) > 1e-12 else 1.0)
    way = heading + turn / 2
    return x + chord * math.cos(way), y + chord * math.sin(way), heading + turn


def edge_curve(joint: Joint) -> EdgeCurve:
    """The edge of a joint. A closed one ends where it began; its last bends lead from
    the last station to the first."""
    count = len(joint.stations)
    segments = _segments(joint, _ways(joint))
    _sharpen(segments, joint)
    bends: list[Bend] = []
    along, guessed, s = [0.0], [], 0.0
    waits = 0.0  # a turn on the spot that the next bend takes
    for row, segment in enumerate(segments):
        if segment.length <= SAME_PLACE_MM:
            waits += segment.leave + segment.arrive
        else:
            waits += segment.spot
            drawn, sharp = segment.drawn()
            bends += [
                Bend(bend.length, bend.curvature, bend.turn + (0.0 if k else waits))
                for k, bend in enumerate(drawn)
            ]
            s += math.fsum(piece.length for piece in drawn)
            waits = segment.spot_after
            if sharp:
                guessed.append((row, (row + 1) % count))
        along.append(s)
    if joint.closed and waits and bends:
        first = bends[0]
        bends[0] = Bend(first.length, first.curvature, first.turn + waits)
    return EdgeCurve(tuple(bends), tuple(along[:count]), tuple(guessed))


@dataclass
class _Segment:
    """From one station to the next: `leave` is how far its chord lies to the left of
    the way at its first station, `arrive` how far the way at the second lies to the
    left of the chord. `spot` and `spot_after` are turns at stations that are corners.
    """

    length: float
    leave: float
    arrive: float
    spot: float = 0.0
    spot_after: float = 0.0

    def drawn(self) -> tuple[list[Bend], bool]:
        """Bends, and whether a corner was drawn between the stations."""
        first, last = -self.leave, self.arrive
        if max(abs(first), abs(last)) < STRAIGHT:
            return [Bend(self.length, 0.0)], False
        whole = last - first
        if abs(whole) > COARSEST and self.leave * self.arrive > 0:
            before = self.length * math.sin(last) / math.sin(whole)
            after = -self.length * math.sin(first) / math.sin(whole)
            if before > 0 and after > 0:
                return [Bend(before, 0.0), Bend(after, 0.0, whole)], True
        bends = _biarc(self.length, first, last)
        both_ways = bends[0].curvature * bends[1].curvature < 0
        if both_ways and first * last < 0 and min(abs(first), abs(last)) > _ROUNDING:
            bends = _line_and_arc(self.length, first, last)
        return bends, False


def _biarc(length: float, first: float, last: float) -> list[Bend]:
    """Two arcs from (0, 0) heading `first` to (length, 0) heading `last` (radians from
    the chord), with equal tangents to where they meet (textbook biarc)."""
    ahead = np.array([math.cos(first), math.sin(first)])
    at_end = np.array([math.cos(last), math.sin(last)])
    chord = np.array([length, 0.0])
    square = 2 * (1 - float(ahead @ at_end))
    linear = 2 * float(chord @ (ahead + at_end))
    reach = 2 * length**2 / (linear + math.sqrt(linear**2 + 4 * square * length**2))
    middle = (chord + reach * (ahead - at_end)) / 2
    bends = []
    for way, heading, forward in (
        (middle, first, True),
        (chord - middle, last, False),
    ):
        size = float(np.linalg.norm(way))
        along = math.atan2(way[1], way[0])
        lean = along - heading if forward else heading - along
        stretch = lean / math.sin(lean) if abs(lean) > 1e-9 else 1.0
        bends.append(Bend(size * stretch, 2 * math.sin(lean) / size))
    return bends


def _line_and_arc(length: float, first: float, last: float) -> list[Bend]:
    """The same by a line and an arc, which is where it leans more."""
    whole = last - first
    before = length * math.sin(last) / math.sin(whole)
    after = -length * math.sin(first) / math.sin(whole)
    curvature = math.tan(whole / 2) / min(before, after)
    line, arc = Bend(abs(before - after), 0.0), Bend(whole / curvature, curvature)
    return [line, arc] if before > after else [arc, line]


def corners(joint: Joint) -> np.ndarray:
    """Whether there is a corner on the edge after each row (n,), or at either end.

    A station stands in one where it is marked, or where the edge comes to it straight
    and leaves it straight; two stations in one place do where they look two ways; and
    where an edge turns by more than 60 degrees a corner may be hidden on it.
    """
    ahead = np.roll(joint.gap_directions, -1, axis=0)
    turns = np.arccos(
        np.clip(np.einsum("ij,ij->i", joint.gap_directions, ahead), -1.0, 1.0)
    )
    segments = _segments(joint, _ways(joint))
    sharp = np.zeros(len(joint.stations), dtype=bool)
    sharp[list(_sharpen(segments, joint))] = True
    close = np.zeros(len(sharp), dtype=bool)
    close[: len(segments)] = [segment.length <= SAME_PLACE_MM for segment in segments]
    at_end = sharp | np.roll(sharp, -1) | close
    broken = (turns > COARSEST + _ROUNDING) | (at_end & (turns > CORNER + _ROUNDING))
    broken[len(segments) :] = False  # an open seam has no edge after its last row
    return broken


def _sharpen(segments: Sequence[_Segment], joint: Joint) -> list[int]:
    """Stations that stand in a corner, by row: the edge comes straight to each and
    leaves it straight, so that its own way, between the two, is nobody's."""
    sharpened = []
    for row, after in enumerate(segments):
        if row == 0 and not joint.closed:
            continue
        before = segments[row - 1]
        ends = (before.leave, before.arrive, after.leave, after.arrive)
        if min(before.length, after.length) <= SAME_PLACE_MM:
            continue
        turn = before.arrive + after.leave
        plain = (
            abs(turn) > CORNER
            and ends[1] * ends[2] > 0
            and abs(ends[0]) * PLAINLY < abs(ends[1])
            and abs(ends[3]) * PLAINLY < abs(ends[2])
        )
        if plain or joint.stations[row].corner:
            turn = ends[1] + ends[2] - ends[0] - ends[3]
            before.arrive, after.leave, after.spot = ends[0], ends[3], turn
            sharpened.append(row)
    return sharpened


def _segments(joint: Joint, ways: np.ndarray) -> list[_Segment]:
    count = len(joint.stations)
    edges = range(count if joint.closed else count - 1)
    return [_segment(joint, ways, row, (row + 1) % count) for row in edges]


def _segment(joint: Joint, ways: np.ndarray, row: int, other: int) -> _Segment:
    chord = joint.places[other] - joint.places[row]
    length = float(np.linalg.norm(chord))
    if length <= SAME_PLACE_MM:
        turn = _turn(ways[row], ways[other], joint.faces[row])
        return _Segment(0.0, turn, 0.0)
    rises = [
        math.asin(max(-1.0, min(1.0, float(chord @ joint.faces[k]) / length)))
        for k in (row, other)
    ]
    bow = (rises[1] - rises[0]) / 2  # the surface itself curves between the two
    if abs(bow) > 1e-9:
        length *= bow / math.sin(bow)
    leave = _turn(ways[row], chord, joint.faces[row])
    arrive = _turn(chord, ways[other], joint.faces[other])
    return _Segment(length, leave, arrive)


def _turn(before: np.ndarray, after: np.ndarray, face: np.ndarray) -> float:
    """From one direction to another, seen against the face: left is positive."""
    left = float(np.cross(before, after) @ face)
    ahead = float(before @ after - (before @ face) * (after @ face))
    return math.atan2(left, ahead)


def _ways(joint: Joint) -> np.ndarray:
    """Unit directions (n, 3) in which the edge runs at each station: square to its gap
    direction, along the rows."""
    places, faces = joint.places, joint.faces
    ways = np.cross(faces, joint.gap_directions)
    ahead, behind = np.roll(places, -1, axis=0), np.roll(places, 1, axis=0)
    if not joint.closed:
        ahead[-1], behind[0] = places[-1], places[0]
    if float(np.einsum("ij,ij->", ways, ahead - behind)) < 0:
        ways = -ways
    sizes = np.linalg.norm(ways, axis=1, keepdims=True)
    return ways / np.where(sizes > 0, sizes, 1.0)
