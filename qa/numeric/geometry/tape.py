"""Stations given by tape: how far along the edge from the corner before them.

The edge of a flat joint is known by the rows that have a place: stations, and points
that are corners and nothing else. Between corners it runs straight where no station
lies, else along the curve through those that do. Lengths in mm.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.geometry import outline
from qa.numeric.geometry.edge_curve import Course, edge_curve
from qa.numeric.geometry.joint import Station, build_joint, require_direction
from shop.numeric.finite import finite

NEAR = 0.001
DECIMALS = 3  # a distance by tape is not known to less than a micrometer


@dataclass(frozen=True)
class Row:
    """A row of an outline. With `tape`, mm from the corner before it, its place is not
    known yet; `point`: a corner that is no station."""

    station: Station
    tape: float | None = None
    point: bool = False


class TapeError(ValueError):
    """What cannot be laid, and the row (from 0) and the field that it is about."""

    def __init__(self, row: int, text: str, field: str = "tape"):
        self.row, self.field = row, field
        super().__init__(text)


def lay(rows: Sequence[Row], *, closed: bool, part_inside: bool) -> list[Station]:
    """Stations (n,) with every place known, points among them, and the gap directions
    of the edge where none is stated and there is no corner. TapeError says what cannot
    be."""
    finite(
        tape=[row.tape for row in rows if row.tape is not None],
        place=[row.station.place for row in rows],
    )
    placed = [k for k, row in enumerate(rows) if row.tape is None]
    if len(placed) < 2:
        raise TapeError(
            0, "a distance by tape needs two places of the edge at least: its corners"
        )
    rounds = np.array([row.station.corner is False for row in rows])
    corners = _corners(rows, placed, closed, rounds)
    places = np.full((len(rows), 3), np.nan)
    places[placed] = [rows[k].station.place for k in placed]
    for chain in _chains(placed, corners, closed, len(rows)):
        _lay_chain(rows, chain, corners, places)
    lost = np.flatnonzero(np.isnan(places[:, 0]))
    if len(lost):
        row = int(lost[0])
        beyond = row > placed[-1]
        raise TapeError(
            row,
            "an open seam ends in a row with a place, and none is after this one"
            if beyond
            else "there is no corner before it to measure from",
        )
    return _directed(rows, places, (corners, rounds), closed, part_inside)


def _corners(rows, placed, closed, rounds) -> np.ndarray:
    """Whether each row (n,) is a corner of the edge through those that have a place.
    TapeError where they do not tell how a round lies that has no direction stated."""
    places = np.array([rows[k].station.place for k in placed])
    _, turns = outline.right_hand_normals(places, _up(places), closed)
    marked = np.array([rows[k].point or bool(rows[k].station.corner) for k in placed])
    known = rounds[placed]
    broken = outline.breaks(places, turns, closed, marked, known)
    for k in np.flatnonzero(outline.untold(turns, closed, broken, known)):
        try:
            require_direction(rows[placed[k]].station)
        except ValueError as why:
            raise TapeError(placed[k], f"{why}", "gap_direction") from why
    broken_at = np.zeros(len(rows), dtype=bool)
    broken_at[placed] = broken
    if not closed:
        broken_at[[placed[0], placed[-1]]] = True
    return broken_at


def _chains(placed, corners, closed, count) -> list[list[int]]:
    """Rows from each corner to the next, both with it; round a closed seam, where its
    rows are counted on. One without a corner is measured from its first row."""
    ends = [k for k in placed if corners[k]] or [placed[0]]
    chains = [
        list(range(first, other + 1))
        for first, other in zip(ends, ends[1:], strict=False)
    ]
    if closed:
        chains.append([*range(ends[-1], count), *range(ends[0] + 1)])
    return chains


def _lay_chain(rows, chain: list[int], corners, places: np.ndarray) -> None:
    """Give the rows of one side that are known by tape their places."""
    known = [k for k in chain if rows[k].tape is None]
    if len(known) == len(chain):
        return
    try:
        between = [rows[k].station for k in known]
        along, at = _edge(between, places[known], bool(corners[chain[0]]))
    except ValueError as why:
        raise TapeError(chain[1], f"the edge cannot be measured along: {why}") from why
    gone = dict(zip(known, along, strict=False))
    before = 0.0
    for number, row in enumerate(chain[:-1]):
        tape = rows[row].tape
        if tape is None:
            before = gone[row] if number else 0.0
            continue
        ahead = next(k for k in chain[number:] if rows[k].tape is None)
        limit = along[-1 if ahead == chain[-1] else known.index(ahead)]
        if not before - NEAR <= tape <= limit + NEAR:
            raise TapeError(
                row,
                f"{tape:g} mm from the corner is out of order: along the edge this row "
                f"lies between {before:.2f} and {limit:.2f} mm",
            )
        before = tape
        near = [k for k, s in zip(known, along, strict=True) if abs(s - tape) <= NEAR]
        places[row] = places[near[0]] if near else np.round(at(tape), DECIMALS)


def _edge(between: list[Station], places: np.ndarray, corner: bool):
    """How far along the edge each place is (n,), and where any distance is. Where it
    ends in its first place that is a `corner`, or it goes on round."""
    step = places[-1] - places[0]
    if len(places) == 2:
        length = float(np.linalg.norm(step))
        return [0.0, length], lambda s: places[0] + step * (s / length)
    whole = bool(np.linalg.norm(step) <= outline.SAME_PLACE_MM)
    count = len(places) - 1 if whole and not corner else len(places)
    once = _as_said(between[:count], places[:count], whole)
    curve = edge_curve(build_joint(once, closed=whole))
    if curve.guessed:
        raise ValueError(
            "it turns by more than 60 degrees from one place to the next; give it a "
            "corner there, or another place on the bend"
        )
    course, along = Course(curve.bends), list(curve.along)
    along += [curve.length] * (len(places) - len(along))
    # The course begins in (0, 0) along x: turned so that the second place falls on its.
    x, y, _ = course.at(along[1])
    to = places[1] - places[0]
    turn = complex(to[0], to[1]) / complex(x, y)
    turn /= abs(turn)

    def at(s: float) -> np.ndarray:
        x, y, _ = course.at(s)
        gone = complex(x, y) * turn
        return places[0] + [gone.real, gone.imag, 0.0]

    return along, at


def _as_said(between: list[Station], places: np.ndarray, whole: bool) -> list[Station]:
    """Stations of one side as a joint of their own, whose part is inside or on the
    left; at a round the stated direction holds, whichever side of it the part is."""
    faces = _up(places)
    rounds = np.array([station.corner is False for station in between])
    outward, turns = outline.right_hand_normals(places, faces, whole, rounds=rounds)
    if whole:
        outward = outward * outline.turning_sense(places, faces)
    stations = []
    for k, station in enumerate(between):
        stated = station.gap_direction
        if stated and rounds[k] and turns[k] > outline.sharpest():
            away = float(np.dot(stated, outward[k])) < 0
            stated = tuple(-v if away else v for v in stated)
        else:
            stated = None
        corner = False if rounds[k] else None
        stations.append(Station(str(k), tuple(places[k]), stated, corner=corner))
    return stations


def _directed(rows, places, declared, closed, part_inside) -> list[Station]:
    faces, (corners, rounds) = _up(places), declared
    sense = outline.turning_sense(places, faces) if closed else 1
    normals, _ = outline.right_hand_normals(places, faces, closed, corners, rounds)
    if closed:
        normals = normals * (sense if part_inside else -sense)
    done = []
    for k, row in enumerate(rows):
        station = replace(row.station, place=tuple(float(v) + 0.0 for v in places[k]))
        known = sense and not corners[k] and np.isfinite(normals[k]).all()
        if station.gap_direction is None and known:
            direction = tuple(float(v) + 0.0 for v in normals[k])
            station = replace(station, gap_direction=direction)
        done.append(station)
    return done


def _up(places: np.ndarray) -> np.ndarray:
    return np.tile([0.0, 0.0, 1.0], (len(places), 1))
