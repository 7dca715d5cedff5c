"""A seam as drawn: pieces joined end to end, and which way the gap lies beside it.

Points are (n, 2) millimeters in the plane, (n, 3) of a seam that is not flat: pieces
of such a one are joined, and places found along it; which way its gap lies nothing here
can tell. Counter-clockwise is as seen from outside.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric.geometry import outline
from shop.numeric.finite import finite

AT_CORNER = 1e-6  # of a piece
SHARP_DEG = 20.0  # a turn of this much between two pieces is meant as a corner


@dataclass(frozen=True)
class Curve:
    """points (n, 2 or 3), the first not repeated at the end of a closed one."""

    points: np.ndarray
    closed: bool

    @property
    def length(self) -> float:
        return outline.distances_along(_flat(self.points), self.closed)[1]


def join(pieces: Sequence[np.ndarray], near_mm: float) -> list[Curve]:
    """Join polylines (n, 2 or 3) whose ends lie within `near_mm` of each other.

    Order and direction of the pieces do not matter. Raises ValueError where more than
    two ends meet.
    """
    finite(near_mm=near_mm, **{f"piece {n}": x for n, x in enumerate(pieces, 1)})
    left = [_without_repeats(piece, near_mm) for piece in pieces]
    left = [piece for piece in left if len(piece) > 1]
    _refuse_forks([piece[row] for piece in left for row in (0, -1)], near_mm)
    curves = []
    while left:
        line = left.pop(0)
        while (next_piece := _next_piece(line, left, near_mm)) is not None:
            number, joined = next_piece
            del left[number]
            line = joined
        closed = len(line) > 2 and _apart(line[0], line[-1]) <= near_mm
        curves.append(Curve(line[:-1] if closed else line, closed))
    return curves


def _next_piece(line, pieces, near_mm):
    """(number, joined line) of a piece that goes on from either end, or None."""
    if _apart(line[0], line[-1]) <= near_mm and len(line) > 2:
        return None
    for number, piece in enumerate(pieces):
        for way in (piece, piece[::-1]):
            if _apart(line[-1], way[0]) <= near_mm:
                return number, np.vstack([line, way[1:]])
            if _apart(line[0], way[-1]) <= near_mm:
                return number, np.vstack([way, line[1:]])
    return None


def _refuse_forks(ends: list[np.ndarray], near_mm: float) -> None:
    if not ends:
        return
    ends_of = np.array(ends).reshape(len(ends), -1)
    for end in ends_of:
        met = (_lengths(ends_of - end) <= near_mm).sum()
        if met > 2:
            at = f"({end[0]:.2f}, {end[1]:.2f})"
            raise ValueError(f"{met} ends of lines meet at {at}: a seam does not fork")


def _without_repeats(line: np.ndarray, near_mm: float) -> np.ndarray:
    """The line without points on top of the one before; its last point is kept."""
    line = np.asarray(line, dtype=float)
    kept = [0]
    for row in range(1, len(line)):
        if _apart(line[row], line[kept[-1]]) > min(near_mm, outline.SAME_PLACE_MM):
            kept.append(row)
    return line[kept]


def turning_sense_of(curve: Curve) -> int:
    """+1 for a closed curve that runs counter-clockwise, -1 clockwise; 0: no area."""
    finite(curve=curve.points)
    points = _flat(curve.points)
    return outline.turning_sense(points, np.tile([0.0, 0.0, 1.0], (len(points), 1)))


def gap_directions(
    curve: Curve, places: np.ndarray, *, part_inside: bool = True
) -> tuple[np.ndarray, np.ndarray]:
    """Unit directions (m, 2) from part to surround at places (m, 2) beside a curve, and
    how far (m,) each place is from it.

    The direction turns evenly between the middles of the drawn pieces where the curve
    is smooth, and is that of its piece beside a corner. On an open curve the part lies
    to the left of its way, as in a joint file.
    """
    finite(curve=curve.points, places=places)
    sense = turning_sense_of(curve) if curve.closed else 1
    steps, lengths = _steps(curve)
    ways = steps / lengths[:, None]
    outward = sense * np.column_stack([ways[:, 1], -ways[:, 0]])
    outward = outward if part_inside or not curve.closed else -outward
    directions, away = zip(
        *(_beside(curve, steps, lengths, outward, place) for place in places),
        strict=True,
    )
    return np.array(directions), np.array(away)


def distances_to(curve: Curve, places: np.ndarray) -> np.ndarray:
    """How far along the curve (m,) mm the foot of each place (m, 2 or 3) is."""
    return _feet(curve, places)[0]


def distances_from(curve: Curve, places: np.ndarray) -> np.ndarray:
    """How far (m,) mm each place (m, 2 or 3) is from the curve."""
    return _feet(curve, places)[1]


def _feet(curve: Curve, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    finite(curve=curve.points, places=places)
    steps, lengths = _steps(curve)
    starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    feet = [_foot(curve, steps, lengths, place) for place in places]
    along = [starts[row] + share * lengths[row] for row, share, _off in feet]
    return np.array(along), np.array([off for _row, _share, off in feet])


def _steps(curve: Curve) -> tuple[np.ndarray, np.ndarray]:
    steps = np.roll(curve.points, -1, axis=0) - curve.points
    steps = steps if curve.closed else steps[:-1]
    return steps, _lengths(steps)


def _foot(curve, steps, lengths, place) -> tuple[int, float, float]:
    """The piece nearest to a place, the share of it where it is nearest, how far."""
    starts = curve.points[: len(steps)]
    share = np.einsum("ij,ij->i", place - starts, steps) / lengths**2
    share = np.clip(share, 0.0, 1.0)
    distances = _lengths(place - (starts + share[:, None] * steps))
    row = int(np.argmin(np.round(distances, 9)))
    return row, float(share[row]), float(distances[row])


def _beside(curve, steps, lengths, outward, place):
    row, share, away = _foot(curve, steps, lengths, place)
    mine = outward[row]
    # Toward the neighbor on this side of the piece's middle, half way at their vertex.
    toward = row + (1 if share > 0.5 else -1)
    if curve.closed or 0 <= toward < len(steps):
        other = outward[toward % len(steps)]
        if mine @ other > np.cos(np.radians(SHARP_DEG)):
            part = abs(share - 0.5)
            mine = (1 - part) * mine + part * other
        elif round(away, 6) == 0 and min(share, 1 - share) < AT_CORNER:
            mine = mine + other  # on the corner itself: between its sides
    return mine / np.hypot(*mine), away


def _flat(points: np.ndarray) -> np.ndarray:
    """In space, where it is not there already."""
    missing = 3 - points.shape[1]
    return np.column_stack([points, np.zeros((len(points), missing))])


def _lengths(steps: np.ndarray) -> np.ndarray:
    return np.linalg.norm(steps, axis=-1)


def _apart(a, b) -> float:
    return float(_lengths(a - b))
