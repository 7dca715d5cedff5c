"""Where hands raise and lower a part that goes freely: a move out of the plane as mm at
named places, since nobody sets a tilt."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from qa.numeric.plan.motions import OUT_OF_PLANE, displace
from qa.numeric.plan.result import Move
from qa.rules.history import Seam
from qa.rules.station_places import point_mm

UNTOLD_MM = 0.005  # at a station; so little of a move may be left out of its places
FLAT = 0.02  # of a triangle: its height by its longest side, from which it is a line

Place = tuple[str, tuple[float, float, float]]


@dataclass(frozen=True)
class Raising:
    """`rates` (m, k): mm that each place rises a unit of each motion; `raws` (k, m):
    amounts of the motions, mm or radians, that raise one place by 1 mm and no other."""

    places: tuple[Place, ...]
    rates: np.ndarray
    raws: np.ndarray


def attach_places(seam: Seam) -> list[Place]:
    """Where the part can be raised: the joint's attach points, else the stations that
    lie furthest each way."""
    points = seam.revision.attach_points or []
    height = float(seam.places[:, 2].mean())
    if points:
        return [(point["name"], (*point_mm(point), height)) for point in points]
    return _outermost(seam)


def _outermost(seam: Seam) -> list[Place]:
    rows = []
    for axis, last in ((0, True), (1, True), (0, False), (1, False)):
        values = seam.places[:, axis]
        rows.append(int(values.argmax() if last else values.argmin()))
    return [
        (f"station {seam.stations[row].label}", tuple(map(float, seam.places[row])))
        for row in dict.fromkeys(rows)
    ]


def raising_of(move: Move, seam: Seam) -> Raising | None:
    """The places by which all of a free move out of the plane can be told: three, or
    two where that is all of it. None where no such places do."""
    if not all(motion.free for motion in move.motions):
        return None
    out = np.array([motion.name in OUT_OF_PLANE for motion in move.motions])
    raw = np.where(out, move.raw, 0.0)
    for places in (attach_places(seam), _outermost(seam)):
        apart = _well_apart(places)
        # By all of them, else by those that the move has.
        for by in (out, raw != 0):
            raising = _by(apart, move.motions, by, seam)
            left = raw - raising.raws @ (raising.rates @ raw)
            gone = displace(seam.places, move.motions, left)[0]
            one_by_one = np.linalg.matrix_rank(raising.rates) == len(apart)
            if one_by_one and np.abs(gone).max() < UNTOLD_MM:
                return raising
    return None


def _well_apart(places: list[Place]) -> tuple[Place, ...]:
    """The three of the largest triangle as seen from outside; the two furthest apart
    where all lie in a line."""
    if len(places) > 2:
        area, longest, best = max(_triangles(places), key=lambda triangle: triangle[0])
        if area > FLAT * longest**2:
            return best
    return max(combinations(places, 2), key=_apart, default=tuple(places))


def _triangles(places: list[Place]) -> Iterator[tuple[float, float, tuple[Place, ...]]]:
    for three in combinations(places, 3):
        a, b, c = (np.array(place[:2]) for _name, place in three)
        (ux, uy), (vx, vy) = b - a, c - a
        sides = max(_apart(pair) for pair in combinations(three, 2))
        yield abs(ux * vy - uy * vx), sides, three


def _apart(pair) -> float:
    (_name, a), (_other, b) = pair
    return float(np.hypot(a[0] - b[0], a[1] - b[1]))


def _by(places: tuple[Place, ...], motions, by: np.ndarray, seam: Seam) -> Raising:
    """`by` says by which of the motions places are raised."""
    at = np.array([place for _name, place in places])
    rates = displace(at, motions, np.zeros(len(motions)))[1][:, :, 2].T
    # Turns by how far they go at the stations, so that the least move is sought.
    arm = float(np.linalg.norm(seam.places - seam.places.mean(axis=0), axis=1).max())
    scale = np.array([arm if motion.turns else 1.0 for motion in motions]) * by
    inverse = np.divide(1.0, scale, out=np.zeros(len(motions)), where=scale > 0)
    raws = inverse[:, None] * np.linalg.pinv(rates * inverse, rcond=1e-6)
    return Raising(places, rates * by, raws)
