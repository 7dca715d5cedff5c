"""The search behind shims: a plane and a height at every point, best in strict order.

A linear program holds the plane, the worst deviation, the misfit and the height of each
stack, and a line from below under its number of shims. Heights are made whole by
splitting their ranges (branch and bound), best node first: the answer is the optimum,
and every solve is a small linear program (HiGHS through scipy). Lengths mm.
"""

from __future__ import annotations

import heapq
import itertools
import math
from dataclasses import dataclass

import numpy as np

TIE = 1e-7  # two values of d that differ by less are the same
_NEAR = 1e-8  # mm
MOST_SOLVES = 3_000  # some seconds; a real joint needs a few dozen

Ranges = tuple[tuple[int, int], ...]


class TooManyChoices(ValueError):
    """The search was given up before it had found anything."""


@dataclass(frozen=True)
class Sight:
    """What a plane (height and two tilts, all in mm) does, and where things are now.

    `at_stations` (m, 3) and `at_points` (k, 3) give the rise of each per unit of the
    plane; `flush` (m,) and `present` (k,) are readings and stacks; d is
    below * (aim - f)+ + above * (f - aim)+.
    """

    at_stations: np.ndarray
    at_points: np.ndarray
    flush: np.ndarray
    present: np.ndarray
    aim: np.ndarray
    below: np.ndarray
    above: np.ndarray

    def worst(self, plane) -> float:
        """Largest deviation after the plane."""
        over = self.flush + self.at_stations @ np.asarray(plane)[:3] - self.aim
        each = self.above * np.maximum(0, over) + self.below * np.maximum(0, -over)
        return float(np.max(each))


class Search:
    """Unknowns: plane 0-2, worst d 3, then heights, counts and misfits of k points.

    `proven` becomes False when the search for the fewest shims was cut short, because
    very many stacks are about as good: then what was found is given, not the best.
    """

    def __init__(self, sight: Sight, heights, counts, half: float):
        self.sight = sight
        self.heights = np.asarray(heights, dtype=float)
        self.counts = np.asarray(counts, dtype=int)
        self.half = half
        self.points = len(sight.present)
        self.width = 4 + 3 * self.points
        self.whole: Ranges = ((0, len(self.heights) - 1),) * self.points
        self.matrix, self.right = self._rows()
        self.proven = True
        self.solves = 0

    @property
    def tired(self) -> bool:
        """Whether there were so many choices that the search goes on no longer."""
        return self.solves > MOST_SOLVES

    def best(self, worst: float) -> tuple[int, ...] | None:
        """Indices of heights: fewest shims, then nearest to the middle, then thinner.

        Among planes with no worse d than `worst`. The middle of a point is that of all
        rises that such planes give it, so that it does not depend on the solver.
        """
        preferred = [self._candidates(point, worst) for point in range(self.points)]
        # Planes this good seldom leave much choice: narrow ranges first, then search.
        ranges = [(min(indices), max(indices)) for indices in preferred]
        found = self._fewest(tuple(ranges), worst)
        if found is None:
            return None
        fewest, chosen = found
        for point, indices in enumerate(preferred):
            for index in indices:
                ranges[point] = (index, index)
                if chosen[point] == index or self.tired:
                    ranges[point] = (chosen[point], chosen[point])
                    break
                other = self._fewest(tuple(ranges), worst, enough=fewest)
                if other is not None and other[0] <= fewest:
                    chosen = other[1]
                    break
        return chosen

    def settle(self, chosen: tuple[int, ...]) -> tuple[np.ndarray, float]:
        """Plane and worst d for chosen heights; of equal planes the least misfit."""
        ranges = tuple((index, index) for index in chosen)
        _, unknowns = self._solve(self._cost("worst"), ranges)
        worst = self.sight.worst(unknowns)
        near = self._solve(self._cost("misfit"), ranges, worst + TIE)
        return (unknowns if near is None else near[1])[:3], worst

    def least_worst(self) -> float | None:
        """Least worst d of any plane that stacks can follow; None when none can."""
        order = itertools.count()
        queue: list = []

        def visit(ranges: Ranges) -> None:
            found = self._solve(self._cost("worst"), ranges)
            if found is not None:
                heapq.heappush(queue, (found[0], next(order), ranges, found[1]))

        visit(self.whole)
        while not self.tired:
            if not queue:
                return None
            worst, _, ranges, unknowns = heapq.heappop(queue)
            gap = self._gap(ranges, unknowns)
            if gap is None:
                return max(worst, self.sight.worst(unknowns))
            for child in gap:
                visit(child)
        raise TooManyChoices("no best level was found in the time there is")

    def _fewest(
        self, ranges: Ranges, worst: float, enough: int = -1
    ) -> tuple[int, tuple[int, ...]] | None:
        """(count, heights) with the fewest shims; stops at `enough`, drops what is
        above.
        """
        order = itertools.count()
        queue: list = []
        best: tuple[int, tuple[int, ...]] | None = None

        def visit(part: Ranges) -> None:
            found = self._solve(self._cost("count"), part, worst + TIE)
            if found is not None:
                bound = math.ceil(found[0] - 1e-5)
                if best is None or bound < best[0]:
                    heapq.heappush(queue, (bound, -next(order), part, found[1]))

        visit(ranges)
        while not self.tired:
            if not queue or (best is not None and best[0] <= max(queue[0][0], enough)):
                return best
            bound, _, part, unknowns = heapq.heappop(queue)
            if 0 <= enough < bound:
                return best
            chosen = [self._lightest(k, part, unknowns) for k in range(self.points)]
            if None not in chosen:
                total = int(sum(self.counts[list(chosen)]))
                if best is None or total < best[0]:
                    best = (total, tuple(chosen))
                if total <= bound:
                    continue
            for child in self._gap(part, unknowns) or self._split(
                part, unknowns, chosen
            ):
                visit(child)
        if enough < 0:
            self.proven = False
            if best is None:
                raise TooManyChoices("no stacks were found in the time there is")
        return best

    def _candidates(self, point: int, worst: float) -> list[int]:
        """Heights that a plane no worse can use at a point, middle ones first."""
        ends = []
        for sign in (1.0, -1.0):
            cost = np.zeros(self.width)
            cost[:3] = sign * self.sight.at_points[point]
            ends.append(sign * self._solve(cost, self.whole, worst + TIE)[0])
        low, high = ends
        middle = self.sight.present[point] + (low + high) / 2
        reach = self.half + (high - low) / 2 + 1e-6
        off = np.abs(self.heights - middle)
        near = np.flatnonzero(off <= reach).tolist()
        return sorted(near, key=lambda index: (round(off[index], 5), index))

    def _near(self, point: int, ranges: Ranges, unknowns) -> np.ndarray:
        """Indices of heights in range that the plane allows at a point."""
        low, high = ranges[point]
        at = self._wanted(point, unknowns)
        off = np.abs(self.heights[low : high + 1] - at)
        return low + np.flatnonzero(off <= self.half + _NEAR)

    def _lightest(self, point: int, ranges: Ranges, unknowns) -> int | None:
        near = self._near(point, ranges, unknowns)
        return int(near[np.argmin(self.counts[near])]) if len(near) else None

    def _wanted(self, point: int, unknowns) -> float:
        rise = float(self.sight.at_points[point] @ unknowns[:3])
        return float(self.sight.present[point]) + rise

    def _gap(self, ranges: Ranges, unknowns) -> list[Ranges] | None:
        """Two halves of the first range whose plane falls between heights; None if
        none.
        """
        for point, (low, high) in enumerate(ranges):
            if not len(self._near(point, ranges, unknowns)):
                wanted = self._wanted(point, unknowns)
                cut = int(np.searchsorted(self.heights, wanted)) - 1
                return self._parts(ranges, point, [(low, cut), (cut + 1, high)])
        return None

    def _split(self, ranges: Ranges, unknowns, chosen) -> list[Ranges]:
        """Parts of the range whose count is furthest above its line."""
        heights = unknowns[4 : 4 + self.points]
        lines = unknowns[4 + self.points : 4 + 2 * self.points]
        over = self.counts[list(chosen)] - lines
        over[[low == high for low, high in ranges]] = -1.0
        point = int(np.argmax(over))
        low, high = ranges[point]
        at = float(np.clip(heights[point], self.heights[low], self.heights[high]))
        index = int(np.clip(np.searchsorted(self.heights, at + _NEAR) - 1, low, high))
        if abs(self.heights[index] - at) <= _NEAR:
            parts = [(low, index - 1), (index, index), (index + 1, high)]
        else:
            parts = [(low, index), (index + 1, high)]
        return self._parts(ranges, point, parts)

    @staticmethod
    def _parts(ranges: Ranges, point: int, parts) -> list[Ranges]:
        return [
            (*ranges[:point], part, *ranges[point + 1 :])
            for part in parts
            if part[0] <= part[1]
        ]

    def _cost(self, aim: str) -> np.ndarray:
        cost = np.zeros(self.width)
        k = self.points
        columns = {
            "worst": [3],
            "count": range(4 + k, 4 + 2 * k),
            "misfit": range(4 + 2 * k, self.width),
        }[aim]
        cost[list(columns)] = 1.0
        return cost

    def _solve(self, cost, ranges: Ranges, worst: float = np.inf):
        """(value, unknowns) of the least cost within ranges; None when nothing fits."""
        from scipy.optimize import linprog

        self.solves += 1
        k = self.points
        bounds = np.zeros((self.width, 2))
        bounds[:3] = (-np.inf, np.inf)
        bounds[3] = (0, worst)
        for point, (low, high) in enumerate(ranges):
            bounds[4 + point] = (self.heights[low], self.heights[high])
            least = int(np.min(self.counts[low : high + 1]))
            bounds[4 + k + point] = (least, np.inf)
        bounds[4 + 2 * k :] = (0, self.half)
        found = linprog(
            cost,
            A_ub=self.matrix,
            b_ub=self.right,
            bounds=bounds,
            method="highs",
            options={
                "primal_feasibility_tolerance": 1e-9,
                "dual_feasibility_tolerance": 1e-9,
            },
        )
        return (float(found.fun), found.x) if found.status == 0 else None

    def _rows(self) -> tuple[np.ndarray, np.ndarray]:
        """Rows A x <= b: deviations, misfits, and lines under the counts."""
        sight, k = self.sight, self.points
        rows, right = [], []

        def add(high: float, plane=(0, 0, 0), **columns: float) -> None:
            row = np.zeros(self.width)
            row[:3] = plane
            for name, value in columns.items():
                row[int(name[1:])] = value
            rows.append(row)
            right.append(high)

        aside = sight.aim - sight.flush
        for slopes, side in ((sight.above, 1.0), (sight.below, -1.0)):
            for row in np.flatnonzero(slopes > 0):
                steep = side * slopes[row]
                add(steep * aside[row], steep * sight.at_stations[row], _3=-1.0)
        lines = envelope(self.heights, self.counts)
        for point in range(k):
            lever, now = sight.at_points[point], sight.present[point]
            height, count, misfit = (f"_{4 + n * k + point}" for n in range(3))
            for side in (1.0, -1.0):
                add(side * now, -side * lever, **{height: side, misfit: -1.0})
            for slope, start in lines:
                add(-start, **{height: slope, count: -1.0})
        return np.array(rows), np.array(right)


def envelope(heights, counts) -> list[tuple[float, float]]:
    """(slope, start) of the lines of the lower convex hull of counts over heights."""
    hull: list[tuple[float, float]] = []
    for x, y in zip(heights, counts, strict=True):
        point = (float(x), float(y))
        while len(hull) > 1 and _turns_down(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    return [
        ((y1 - y0) / (x1 - x0), y0 - x0 * (y1 - y0) / (x1 - x0))
        for (x0, y0), (x1, y1) in itertools.pairwise(hull)
    ]


def _turns_down(a, b, c) -> bool:
    return (b[0] - a[0]) * (c[1] - a[1]) <= (b[1] - a[1]) * (c[0] - a[0])
