"""All joints of a part that are planned at once, as one set of arrays.

Rows run through the joints in the order given. The center is the plain mean of the
places of all rows, rho their root-mean-square distance from it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from qa.numeric.geometry.edge_curve import corners
from qa.numeric.geometry.joint import Joint, Limits
from qa.numeric.plan.readings import Readings
from qa.numeric.verdict.deviation import Scales, drawn_in, scales

SAME_PLACE_MM = 1e-6


@dataclass(frozen=True)
class Measured:
    """A joint and what was read at its stations, mm in order of rows; None if not.

    `zeros`: which gauge took the gap, and the flushness, at each station; those of one
    gauge and kind have its zero in common, those of a number below 0 nothing. None: one
    gauge took them all.
    """

    joint: Joint
    gaps: Sequence[float | None]
    flushes: Sequence[float | None]
    zeros: tuple[Sequence[int], Sequence[int]] | None = None

    def __post_init__(self):
        for values in (self.gaps, self.flushes):
            if len(values) != len(self.joint.stations):
                raise ValueError("one value, or None, for each station is needed")
            if not all(v is None or math.isfinite(v) for v in values):
                raise ValueError("a reading must be a finite number of mm")


class JointArrays:
    """Arrays over all rows of all joints, (n,) or (n, 3), in mm."""

    def __init__(self, parts: Sequence[Measured], u_mm, rule, edition):
        self.parts = tuple(parts)
        self.stations = [s for part in parts for s in part.joint.stations]
        self.joint_of = [j for j, part in enumerate(parts) for _ in part.joint.stations]
        self.places = np.vstack([part.joint.places for part in parts])
        self.gap_directions = np.vstack([part.joint.gap_directions for part in parts])
        self.faces = np.vstack([part.joint.faces for part in parts])
        self.weights = np.concatenate([part.joint.length_weights for part in parts])
        self.gaps = _numbers(v for part in parts for v in part.gaps)
        self.flushes = _numbers(v for part in parts for v in part.flushes)
        self.zeros = np.hstack([_zeros(part) for part in parts])
        self.sides = np.ones((len(self.stations), 1))  # one part moves, nothing else
        self.gap_limits = [s.gap for s in self.stations]
        self.flush_limits = [s.flush for s in self.stations]
        self.gap_scales = self._scales(self.gap_limits, u_mm, rule, edition)
        self.flush_scales = self._scales(self.flush_limits, u_mm, rule, edition)

    @cached_property
    def flat(self) -> bool:
        heights = self.places[:, 2]
        level = bool(np.ptp(heights) <= SAME_PLACE_MM)
        return level and all(part.joint.flat for part in self.parts)

    @cached_property
    def center(self) -> np.ndarray:
        return self.places.mean(axis=0)

    @cached_property
    def rho(self) -> float:
        return float(np.sqrt(((self.places - self.center) ** 2).sum(axis=1).mean()))

    def gap_readings(self) -> Readings:
        """Gaps that were measured, with limits or not: none may close below zero."""
        rows = np.flatnonzero(np.isfinite(self.gaps))
        return self._readings(
            rows, True, self.gaps, -self.gap_directions, self.gap_scales, 0.0
        )

    def flush_readings(self) -> Readings:
        """Flushness that was measured, with limits or not."""
        rows = np.flatnonzero(np.isfinite(self.flushes))
        return self._readings(
            rows, False, self.flushes, self.faces, self.flush_scales, -np.inf
        )

    def wanted(self, kind: str) -> Readings:
        """What has limits and was not measured, as if it read 0: "gap" or "flush"."""
        gap = kind == "gap"
        values = self.gaps if gap else self.flushes
        scales = self.gap_scales if gap else self.flush_scales
        ways = -self.gap_directions if gap else self.faces
        rows = np.flatnonzero(scales.limited & ~np.isfinite(values))
        return self._readings(rows, gap, np.zeros(len(values)), ways, scales, -np.inf)

    def clearances(self) -> Readings:
        """How far the part may go down at each station over a land."""
        room = _numbers(station.land for station in self.stations)
        rows = np.flatnonzero(np.isfinite(room))
        nothing = self._scales([Limits()] * len(self.stations), None, "simple", "2017")
        readings = self._readings(rows, False, room, self.faces, nothing, 0.0)
        readings.weights[:] = 0.0  # a land has no say in where the part sits best
        return readings

    def _readings(self, rows, gap, values, directions, scales, floor) -> Readings:
        return Readings(
            rows=rows,
            gap=np.full(len(rows), gap),
            values=values[rows],
            places=self.places[rows],
            directions=directions[rows],
            weights=self.weights[rows],
            floor=np.full(len(rows), floor),
            sides=self.sides[rows],
            scales=scales.take(rows),
        )

    def zeros_of(self, readings: Readings) -> np.ndarray:
        """The number of the zero (m,) that each reading has in common with others of
        its kind, below 0 where it has none."""
        gaps, flushes = self.zeros[:, readings.rows]
        return np.where(readings.gap, gaps, flushes)

    def neighbors(self, rows):
        """(row, next row, distance, corner) of consecutive `rows` of one seam.

        `rows` are row numbers in order, rows between are skipped over; distance is
        along the seam from row to row, and a corner on the way is as geometry tells
        (edge_curve.corners).
        """
        first = 0
        for part in self.parts:
            count = len(part.joint.stations)
            here = [int(r) - first for r in rows if first <= r < first + count]
            closed = part.joint.closed and len(here) > 2
            ends = here[1:] + here[:1] if closed else here[1:]
            edges, corners = self._edges(part.joint)
            for start, finish in zip(here, ends, strict=False):
                way = (
                    np.arange(start, finish if finish > start else finish + count)
                    % count
                )
                distance = float(edges[way].sum())
                yield first + start, first + finish, distance, bool(corners[way].any())
            first += count

    @staticmethod
    def _edges(joint: Joint) -> tuple[np.ndarray, np.ndarray]:
        """Length (n,) of the edge after each row, and whether it is a corner (n,)."""
        following = np.roll(joint.places, -1, axis=0)
        return np.linalg.norm(following - joint.places, axis=1), corners(joint)

    def along(self) -> tuple[np.ndarray, np.ndarray]:
        """Where each row (n,) lies along its seam, mm, and how long a closed seam is
        (n,): inf where it is open."""
        places, lengths = [], []
        for part in self.parts:
            edges, _ = self._edges(part.joint)
            places.append(np.r_[0.0, np.cumsum(edges[:-1])])
            whole = edges.sum() if part.joint.closed else np.inf
            lengths.append(np.full(len(edges), whole))
        return np.concatenate(places), np.concatenate(lengths)

    def bends(self) -> np.ndarray:
        """How sharply the seam curves at each row (n,), 1 / mm: the sharper side.

        Corners do not count, nor two rows in one place.
        """
        bends = np.zeros(len(self.places))
        first = 0
        for part in self.parts:
            joint, count = part.joint, len(part.joint.stations)
            lengths, corners = self._edges(joint)
            ahead = np.roll(joint.gap_directions, -1, axis=0)
            chord = np.linalg.norm(ahead - joint.gap_directions, axis=1)
            usable = ~corners & (lengths > SAME_PLACE_MM)
            if not joint.closed:
                usable[-1] = False
            bend = np.zeros(count)
            angle = 2 * np.arcsin(np.minimum(1, chord[usable] / 2))
            bend[usable] = angle / lengths[usable]
            bends[first : first + count] = np.maximum(bend, np.roll(bend, 1))
            first += count
        return bends

    @staticmethod
    def _scales(limits, u_mm, rule, edition) -> Scales:
        return scales([drawn_in(each, u_mm, rule, edition) for each in limits])


def _zeros(part: Measured) -> np.ndarray:
    """The numbers (2, n) of the zeros of the gaps and flushnesses of a joint."""
    count = len(part.joint.stations)
    if part.zeros is None:
        return np.zeros((2, count), dtype=int)
    return np.array(part.zeros, dtype=int).reshape(2, count)


def _numbers(values) -> np.ndarray:
    return np.array([math.nan if v is None else v for v in values], dtype=float)
