"""The aims of a plan, of many settings at once: exactly, or the least they can be.

The same aims in the same strict order as in `seat` and `trim`, for readings (n, m) that
lie between two bounds each. Bounds that are equal give the aims themselves. Without
trims that must be fair to each other every station is cut by itself, as far as it needs
and may be.
"""

import numpy as np

from qa.numeric.plan.motions import Freedom
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.rotation import EQUAL
from qa.numeric.plan.seat import LEAST_WEIGHT_MM, TOUCHING_MM, SeatProblem
from qa.numeric.plan.trim import CUT_MM, TrimProblem, TrimRules

OF_GAPS = ("overlap", "unresolved", "build_up", "short", "trim")


class SeatAims:
    """Nothing cut: least overlap, least worst deviation, least sum."""

    def __init__(self, readings: Readings, freedom: Freedom):
        self.readings = readings
        self.problem = SeatProblem(readings, freedom)
        self.deepest = np.minimum(readings.floor, readings.values) - TOUCHING_MM
        self.over = np.maximum(0, readings.floor - readings.values)
        self.names = (*(("overlap",) if self.over.any() else ()), "worst", "total")

    def rows(self, number: int) -> np.ndarray:
        """Which readings (m,) the aim of that number is about, of the movement all."""
        every = np.ones(len(self.readings), dtype=bool)
        name = self.names[number] if number < len(self.names) else "movement"
        if name == "step":
            return ~self.readings.gap
        return self.readings.gap if name in OF_GAPS else every

    def after(self, values: np.ndarray) -> np.ndarray:
        """Readings (n, m) as they end; never falls when `values` rise."""
        return values

    def allowed(self, high: np.ndarray) -> np.ndarray:
        """Whether readings (n, m) of at most `high` may all be clear (n,)."""
        return (self.after(high) >= self.deepest).all(axis=1)

    def least(self, low: np.ndarray, high: np.ndarray, count=None) -> np.ndarray:
        """The least that each aim, or the first `count`, can be (n, j) for readings in
        low..high (n, m)."""
        under, over = self._deviation(low, high)
        ways = {
            "overlap": lambda: self._overlap(high),
            "worst": lambda: (under + over).max(axis=1, initial=0.0),
            "total": lambda: (under + over) @ self.readings.weights,
        }
        return np.column_stack([ways[name]() for name in self.names[:count]])

    def _deviation(self, low, high) -> tuple[np.ndarray, np.ndarray]:
        scales = self.readings.scales
        under = scales.below * np.maximum(0, scales.aim - high)
        return under, scales.above * np.maximum(0, low - scales.aim)

    def _overlap(self, high) -> np.ndarray:
        deep = np.minimum(np.maximum(0, self.readings.floor - high), self.over)
        return deep @ (self.readings.weights + LEAST_WEIGHT_MM)


class TrimAims(SeatAims):
    """With cuts: least step, unresolved, build-up, aim given up, area, sum."""

    def __init__(self, readings, freedom, rules: TrimRules, aimed: np.ndarray):
        super().__init__(readings, freedom)
        self.problem = TrimProblem(readings, freedom, rules, aimed)
        self.rules = rules
        gaps = readings.gap
        every = {
            "overlap": self.over.any(),
            "step": (~gaps & readings.scales.limited).any(),
            "unresolved": True,
            "build_up": (rules.most_build_up > 0).any(),
            "short": (self.problem.inside > 0).any(),
            "trim": (rules.most_trim > 0).any(),
            "total": True,
        }
        self.names = tuple(name for name, there in every.items() if there)

    def after(self, values):
        return values + self.cut(values) - self._built(values)

    def cut(self, values):
        """What comes off (..., m) mm at readings as moved."""
        return np.clip(self.problem.target - values, 0, self.rules.most_trim)

    def _built(self, values):
        return np.clip(values - self.problem.high, 0, self.rules.most_build_up)

    def least(self, low, high, count=None):
        readings, problem = self.readings, self.problem
        gaps, weights = readings.gap, readings.weights
        if self.names[:count] == ("step",):
            return self._steps(low[:, ~gaps], high[:, ~gaps])[:, None]
        ends = self.after(low), self.after(high)
        tight = np.maximum(0, problem.low - ends[1])
        wide = np.maximum(0, ends[0] - readings.scales.high)
        beyond = tight + wide
        beyond = np.where(beyond < CUT_MM / 2, 0.0, beyond)
        beyond *= np.maximum(weights, LEAST_WEIGHT_MM)

        def short():
            shortfall = np.clip(problem.target - ends[1], 0, problem.inside)
            return shortfall[:, gaps] @ weights[gaps]

        ways = {
            "overlap": lambda: self._overlap(ends[1]),
            "step": lambda: self._steps(low[:, ~gaps], high[:, ~gaps]),
            "unresolved": lambda: beyond[:, gaps].sum(axis=1),
            "build_up": lambda: self._built(low) @ weights,
            "short": short,
            "trim": lambda: self.cut(high) @ weights,
            "total": lambda: sum(self._deviation(*ends)) @ weights,
        }
        return np.column_stack([ways[name]() for name in self.names[:count]])

    def _steps(self, low, high):
        """What is left beyond the limits of readings that are no gaps (n,)."""
        rows, problem = ~self.readings.gap, self.problem
        beyond = np.maximum(0, problem.low[rows] - high)
        beyond += np.maximum(0, low - self.readings.scales.high[rows])
        beyond[beyond < CUT_MM / 2] = 0.0
        return beyond @ np.maximum(self.readings.weights[rows], LEAST_WEIGHT_MM)


def equal(value: float) -> float:
    """How far apart two values of an aim are the same."""
    return EQUAL * max(1.0, abs(value))
