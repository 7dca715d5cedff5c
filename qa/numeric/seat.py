"""How well a part can sit as it is: the best place for it, nothing cut.

In strict order: no gap closed below zero, the least worst normalized deviation, the
least length-weighted sum of deviations, the least movement at the rim. The readings
are straightened at the present place of the part and planned again until they agree
with the exact rotation.
"""

from dataclasses import dataclass

import numpy as np

from qa.numeric.lexicographic import FEASIBLE, Draft, Infeasible, settle
from qa.numeric.motions import Freedom
from qa.numeric.readings import Readings

TOUCHING_MM = 1e-6  # less than this below zero is rounding, not a collision


class NoFeasibleMotion(ValueError):
    """Within its bounds the part cannot go anywhere without a collision."""


@dataclass(frozen=True)
class Seat:
    """A place for the part: rim movements (k,), exact readings (m,) there.

    `worst` is the largest normalized deviation, `total` their length-weighted sum, mm.
    """

    step: np.ndarray
    values: np.ndarray
    worst: float
    total: float
    settled: bool
    passes: int


def solve_seat(readings: Readings, freedom: Freedom) -> Seat:
    """The best place. Raises NoFeasibleMotion when every place collides."""
    problem = _SeatProblem(readings, freedom)
    found = settled_plan(problem, freedom)
    values, _ = readings.moved(freedom, found.step)
    refuse_collisions(readings, values)
    deviation = readings.deviation(values)
    worst = float(deviation.max(initial=0.0))
    total = float(readings.weights @ deviation)
    return Seat(found.step, values, worst, total, found.settled, found.passes)


def settled_plan(problem, freedom: Freedom):
    """Settle a straightened problem, its bounds and rows refused in plain words."""
    start = np.clip(0.0, freedom.low, freedom.high)
    turning = np.array([motion.turns for motion in freedom.motions], dtype=bool)
    try:
        return settle(problem.solve, problem.bend, start, turning, problem.merit)
    except Infeasible:
        raise NoFeasibleMotion(
            "no feasible motion: the bounds leave no place for the part to go"
        ) from None


def refuse_collisions(readings: Readings, values: np.ndarray) -> None:
    """Raises NoFeasibleMotion where readings end below their floor and present."""
    depth = np.minimum(readings.floor, readings.values) - values
    if (depth > TOUCHING_MM).any():
        raise NoFeasibleMotion(
            "no feasible motion: wherever the bounds let the part go it collides, "
            f"by {float(depth.max()):.3f} mm at least"
        )


def floor_within_reach(readings: Readings, freedom, at, box, room=None) -> np.ndarray:
    """What each reading (m,) can be kept above: its floor, or as near as can be had.

    Parts overlap now where a gap is negative; then the least length-weighted overlap
    comes before everything else. `room` (m,) is what cutting can add.
    """
    base, slopes = readings.straightened(freedom, at)
    floor = readings.floor
    as_it_is = (box[0] <= 0).all() and (box[1] >= 0).all()
    if as_it_is and (base >= floor).all():
        return floor
    rows = np.flatnonzero(np.isfinite(floor))
    room = np.zeros(len(base)) if room is None else room
    nothing = np.zeros(len(rows))
    draft = Draft(box)
    left = draft.columns(nothing, np.maximum(0, floor - readings.values)[rows])
    worse = draft.columns(nothing, np.inf)
    added = draft.columns(nothing, room[rows])
    low = (floor - base)[rows]
    terms = (left, 1.0), (worse, 1.0), (added, 1.0)
    draft.rows(low, np.inf, slopes[rows], *terms)
    draft.rows(0.0, 0.0, freedom.locked)
    programme = draft.programme()
    weights = readings.weights[rows] + 1e-3  # a land has none
    # A new collision is never the price of an old overlap; it is refused in the end,
    # unless it was only the straightening that saw it.
    programme.minimize(draft.cost((left, weights), (worse, 1e4 * weights.max())))
    floor = floor.copy()
    floor[rows] -= np.maximum(0, programme.values[left] + programme.values[worse])
    return floor


def box_within(freedom: Freedom, at, radius) -> tuple[np.ndarray, np.ndarray]:
    """Bounds of the movements, those that turn kept within a radius of `at`."""
    low, high = freedom.low.copy(), freedom.high.copy()
    if np.isfinite(radius):
        turns = np.array([motion.turns for motion in freedom.motions], dtype=bool)
        low[turns] = np.maximum(low, at - radius)[turns]
        high[turns] = np.minimum(high, at + radius)[turns]
    return low, high


class _SeatProblem:
    """The straightened seat at one place after the other, warm from the last."""

    def __init__(self, readings: Readings, freedom: Freedom):
        self.readings, self.freedom = readings, freedom
        self.bases = {}

    def bend(self, at, step) -> float:
        return self.readings.bend(self.freedom, at, step)

    def merit(self, step) -> tuple:
        values, _ = self.readings.moved(self.freedom, step)
        deviation = self.readings.deviation(values)
        return (
            float(np.maximum(0, self.readings.floor - values).sum()),
            float(deviation.max(initial=0.0)),
            float(self.readings.weights @ deviation),
            float(step @ step),
        )

    def solve(self, at, radius):
        box = box_within(self.freedom, at, radius)
        base, slopes = self.readings.straightened(self.freedom, at)
        floor = floor_within_reach(self.readings, self.freedom, at, box)
        worst = self._least_worst(base, slopes, floor, box)
        return self._least_total(base, slopes, floor, worst, box), worst

    def _least_worst(self, base, slopes, floor, box) -> float:
        scales = self.readings.scales
        draft = Draft(box)
        worst = draft.columns(np.zeros(1), np.inf)
        for chosen, sign, slope in (
            (scales.below > 0, 1.0, scales.below),
            (scales.above > 0, -1.0, scales.above),
        ):
            least = sign * (scales.aim - base)[chosen]
            shared = np.repeat(worst, int(chosen.sum()))
            draft.rows(
                least, np.inf, sign * slopes[chosen], (shared, 1 / slope[chosen])
            )
        kept = np.isfinite(floor)
        draft.rows((floor - base)[kept] - FEASIBLE, np.inf, slopes[kept])
        draft.rows(0.0, 0.0, self.freedom.locked)
        programme = draft.programme(self.bases.get("worst"))
        least = programme.minimize(draft.cost((worst, 1.0)))
        self.bases["worst"] = programme.first_basis
        return least

    def _least_total(self, base, slopes, floor, worst, box) -> np.ndarray:
        scales = self.readings.scales
        reach = worst + FEASIBLE * max(1.0, worst)
        with np.errstate(divide="ignore"):
            low = np.maximum(scales.aim - reach / scales.below, floor - FEASIBLE)
            high = scales.aim + reach / scales.above
        low = np.minimum(low, high)
        draft = Draft(box)
        under = draft.columns(
            np.maximum(scales.aim - high, 0), np.maximum(scales.aim - low, 0)
        )
        over = draft.columns(
            np.maximum(low - scales.aim, 0), np.maximum(high - scales.aim, 0)
        )
        line = scales.aim - base
        draft.rows(line, line, slopes, (under, 1.0), (over, -1.0))
        draft.rows(0.0, 0.0, self.freedom.locked)
        programme = draft.programme(self.bases.get("total"))
        weights = self.readings.weights
        programme.minimize(
            draft.cost((under, weights * scales.below), (over, weights * scales.above))
        )
        self.bases["total"] = programme.first_basis
        programme.hold()
        return programme.least_movement()
