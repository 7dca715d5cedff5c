"""The search behind shims: heights at every point, best by how the part then rests.

The worst deviation of a choice is that of the worst way in which the part can settle on
it (qa/numeric/shims/rest.py). A good choice is found by rounding the best plane and
stepping to better neighbors. Whatever is as good has, in each way it can settle, a
plane that is as good; the planes that are as good form a polytope, and what it does at
each point (two linear programs, HiGHS through scipy) says which heights can come into
question there. Those are all tried: the answer is the optimum. Where they would be too
many, the nearest are tried and `proven` says so. Lengths mm.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from qa.numeric.shims.rest import Triple

TIE = 1e-7  # two values of d that differ by less are the same
_NEAR = 1e-8  # mm
MOST_TRIED = 40_000_000  # choices x ways x stations; some seconds
CHUNK = 20_000
MOST_KEPT = 2_000
STARTS = (0.0, -0.5, 0.5, -1.0, 1.0, -2.0, 2.0)  # steps between heights


@dataclass(frozen=True)
class Sight:
    """What a plane (height and two tilts, all in mm) does, and where things are now.

    `at_stations` (m, 3) and `at_points` (k, 3) give the rise of each per unit of the
    plane; `flush` (m,) and `present` (k,) are readings and stacks; d is
    below * (aim - f)+ + above * (f - aim)+. `threes` are the threes of points that
    hold a plane.
    """

    at_stations: np.ndarray
    at_points: np.ndarray
    flush: np.ndarray
    present: np.ndarray
    aim: np.ndarray
    below: np.ndarray
    above: np.ndarray
    threes: tuple[Triple, ...]

    def deviations(self, rise: np.ndarray) -> np.ndarray:
        """Largest deviation (...) of stations that rise by (..., m)."""
        over = self.flush + rise - self.aim
        each = self.above * np.maximum(0, over) + self.below * np.maximum(0, -over)
        return each.max(axis=-1)

    def rises(self, three: Triple, changes: np.ndarray) -> tuple[np.ndarray, ...]:
        """Rise of stations (..., m) and points (..., k) on the plane of a three."""
        inverse = np.linalg.inv(self.at_points[list(three)])
        ends = changes[..., list(three)]
        stations = ends @ (self.at_stations @ inverse).T
        return stations, ends @ (self.at_points @ inverse).T

    def worst(self, changes: np.ndarray) -> np.ndarray:
        """Largest deviation (...) of the worst way to rest on changes (..., k)."""
        worst = np.full(changes.shape[:-1], -np.inf)
        for three in self.threes:
            stations, points = self.rises(three, changes)
            rests = (points >= changes - _NEAR).all(axis=-1)
            worst = np.where(rests, np.maximum(worst, self.deviations(stations)), worst)
        return worst


@dataclass
class Search:
    """Heights (n,) that stacks can have, lowest first, and their numbers of shims (n,).

    `footing` are the points that always bear. `proven` becomes False when not all that
    come into question were tried.
    """

    sight: Sight
    heights: np.ndarray
    counts: np.ndarray
    footing: set[int]
    proven: bool = True

    @property
    def points(self) -> int:
        return len(self.sight.present)

    def best(self) -> list[tuple[int, ...]]:
        """Indices of heights with the least worst d, the fewest shims first, of equal
        numbers those that leave the least loose, then the thinner."""
        plane = self.ideal()[1]
        step = float(np.diff(self.heights).min())
        tried = [
            self._descend(self._rounded(plane + np.array([by * step, 0.0, 0.0])))
            for by in STARTS
        ]
        values = self._worst(np.array(tried))
        start, reach = tried[int(values.argmin())], float(values.min())
        choices = self._in_question(start, reach + TIE)
        choices_kept, worst = self._try(choices, reach)
        keep = worst <= worst.min() + TIE
        return self._ordered(choices_kept[keep])

    def ideal(self) -> tuple[float, np.ndarray]:
        """Least worst d of any plane, stacks or not, and such a plane."""
        rest = self._program(np.array([0.0, 0.0, 0.0, 1.0]), None)
        return float(self.sight.deviations(self.sight.at_stations @ rest)), rest

    def _worst(self, indices: np.ndarray) -> np.ndarray:
        return self.sight.worst(self.heights[indices] - self.sight.present)

    def _rounded(self, plane: np.ndarray) -> np.ndarray:
        wanted = self.sight.present + self.sight.at_points @ plane
        return np.abs(self.heights[None, :] - wanted[:, None]).argmin(axis=1)

    def _descend(self, start: np.ndarray) -> np.ndarray:
        """Step to the best neighbor, one or two stacks changed, until none is better"""
        steps = [np.zeros(self.points, dtype=int)]
        for point in range(self.points):
            for by in (-3, -2, -1, 1, 2, 3):
                steps.append(np.eye(self.points, dtype=int)[point] * by)
        singles = steps[1:]
        steps += [a + b for a, b in itertools.combinations(singles, 2)]
        offsets, last = np.unique(np.array(steps), axis=0), len(self.heights) - 1
        worst = float(self._worst(start[None, :])[0])
        while True:
            around = np.clip(start + offsets, 0, last)
            values = self._worst(around)
            lowest = int(values.argmin())
            if values[lowest] >= worst - TIE:
                return start
            start, worst = around[lowest], float(values[lowest])

    def _in_question(self, start: np.ndarray, reach: float) -> list[np.ndarray]:
        """For each point the heights that something as good as `reach` can have."""
        choices = []
        for point in range(self.points):
            low, high = (
                sign * self._extreme(sign * self.sight.at_points[point], reach)
                for sign in (1, -1)
            )
            change = self.heights - self.sight.present[point]
            fits = np.flatnonzero((change >= low - _NEAR) & (change <= high + _NEAR))
            if point not in self.footing:  # one that may bear nothing stays near
                under = np.flatnonzero(change < low - _NEAR)[-1:]
                fits = np.concatenate([under, fits])
            choices.append(np.union1d(fits, start[point : point + 1]))
        return self._few_enough(choices, start)

    def _few_enough(self, choices, start) -> list[np.ndarray]:
        each = len(self.sight.threes) * len(self.sight.flush)
        most = max(1.0, MOST_TRIED / each)
        while math.prod(map(len, choices)) > most:
            self.proven = False
            longest = max(range(self.points), key=lambda k: len(choices[k]))
            own = choices[longest]
            far = np.abs(own - start[longest])
            choices[longest] = np.sort(own[np.argsort(far, kind="stable")[:-1]])
        return choices

    def _try(self, choices, reach: float) -> tuple[np.ndarray, np.ndarray]:
        """All choices (b, k) no worse than the best, nearly, and their worst d (b,)."""
        sizes = [len(own) for own in choices]
        kept, worst = [], []
        for first in range(0, math.prod(sizes), CHUNK):
            numbers = np.arange(first, min(first + CHUNK, math.prod(sizes)))
            parts = np.unravel_index(numbers, sizes)
            some = np.column_stack(
                [own[part] for own, part in zip(choices, parts, strict=True)]
            )
            values = self._worst(some)
            reach = min(reach, float(values.min()))
            near = values <= reach + TIE
            kept.append(some[near])
            worst.append(values[near])
        return np.concatenate(kept), np.concatenate(worst)

    def _ordered(self, combinations: np.ndarray) -> list[tuple[int, ...]]:
        shims = self.counts[combinations].sum(axis=1)
        if len(combinations) > MOST_KEPT:
            order = np.argsort(shims, kind="stable")[:MOST_KEPT]
            combinations, shims = combinations[order], shims[order]
        loose = self.loose(self.heights[combinations] - self.sight.present).sum(axis=1)
        order = sorted(
            range(len(combinations)),
            key=lambda n: (
                shims[n],
                round(float(loose[n]), 6),
                *combinations[n].tolist(),
            ),
        )
        return [tuple(combinations[n].tolist()) for n in order]

    def loose(self, changes: np.ndarray) -> np.ndarray:
        """How far the part may stay above each stack (..., k), in the worst way."""
        most = np.zeros(changes.shape)
        for three in self.sight.threes:
            _, points = self.sight.rises(three, changes)
            over = points - changes
            rests = (over >= -_NEAR).all(axis=-1)
            most = np.where(rests[..., None], np.maximum(most, over), most)
        return most

    def _extreme(self, direction: np.ndarray, reach: float) -> float:
        """Least of direction . plane over the planes with no d above `reach`."""
        plane = self._program(np.append(direction, 0.0), reach)
        return -math.inf if plane is None else float(direction @ plane)

    def _program(self, cost: np.ndarray, reach: float | None) -> np.ndarray | None:
        """The plane (3,) of least cost; None when there is no bound to it."""
        from scipy.optimize import linprog

        sight = self.sight
        rows, right = [], []
        for slope, sign in ((sight.above, 1.0), (sight.below, -1.0)):
            some = slope > 0
            offset = sign * (sight.flush - sight.aim)[some]
            # In mm, so that narrow limits do not make the rows huge.
            rows.append(
                np.column_stack([sign * sight.at_stations[some], -1 / slope[some]])
            )
            right.append(-offset)
        solution = linprog(
            cost,
            A_ub=np.concatenate(rows),
            b_ub=np.concatenate(right),
            bounds=[(None, None)] * 3 + [(0.0, reach)],
            method="highs",
        )
        return solution.x[:3] if solution.status == 0 else None
