"""Where material must come off, how much, and what stays impossible.

In strict order: no gap closed below zero, the least overlap left, the least step left
(only the motion can cure it), the least unresolved excess of gaps, the least build-up,
the least of the aim given up, the least area removed, the least length-weighted sum of
normalized deviations, the least movement at the rim. With neither steps nor an aim
these are the five of DEVELOPERS.md. Areas are depth times length weight.

A gap ends at q = gap + trim - build_up, told and judged in whole nanometers. Limits to
stay in are the drawn-in ones, the low one never below zero. Where a station has to be
cut, the cut goes on to `aim` inside the low limit, at most to the middle: first
everything is planned to the limits, then again with the aim at the stations that were
cut, until no more join them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from qa.numeric.plan.lexicographic import Draft
from qa.numeric.plan.motions import Freedom
from qa.numeric.plan.proof import Proof, proof_of
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.seat import LEAST_WEIGHT_MM, Problem, settled_plan
from shop.numeric.units import NM_PER_MM, to_mm

CUT_MM = 1e-6  # a trim thinner than this is none


@dataclass(frozen=True)
class TrimRules:
    """What may be done at each of m readings; 0 for readings that are not gaps.

    `most_trim` and `most_build_up` (m,) mm, `aim` mm inside the low limit. `ramps`
    (j, 3): two readings and the greatest difference of their trims, mm. What is cut at
    all is cut by `least` mm where it may be and stays inside its limits.
    """

    most_trim: np.ndarray
    most_build_up: np.ndarray
    aim: float = 0.0
    ramps: tuple[tuple[int, int, float], ...] = ()
    least: float = 0.0


@dataclass(frozen=True)
class Trim:
    """A plan: rim movements (k,) and per reading (m,) in mm.

    `values` are the readings after the exact movement, trim and build-up; of gaps, trim
    and build-up to the whole nanometer. Areas in mm2. `unresolved` is signed: negative
    is tight, 0 within the limits.
    """

    step: np.ndarray
    values: np.ndarray
    trim: np.ndarray
    build_up: np.ndarray
    unresolved: np.ndarray
    area: float
    build_up_area: float
    unresolved_area: float
    total: float
    settled: bool
    passes: int
    prove: Callable[[], Proof | None]


def solve_trim(readings: Readings, freedom: Freedom, rules: TrimRules) -> Trim:
    """The least trim and the place that goes with it.

    Readings that are no gaps (flushness, clearances) are kept within their limits as
    far as the motion can. Raises NoFeasibleMotion when every place collides.
    """
    aimed = np.zeros(len(readings), dtype=bool)
    passes = 0
    while True:
        problem = TrimProblem(readings, freedom, rules, aimed)
        settled = settled_plan(problem)
        passes += settled.passes
        step = freedom.rounded(settled.step)
        moved, _ = readings.moved(freedom, step)
        exact = moved, *problem.depths(moved, settled.detail)
        moved = np.where(readings.gap, _whole(moved), moved)
        depth, build_up = map(_whole, problem.depths(moved, settled.detail))
        more = (depth > CUT_MM) & ~aimed
        if rules.aim <= 0 or not more.any():
            break
        aimed |= more
    weights = np.where(readings.gap, readings.weights, 0.0)
    thicker = problem.thicker(moved, depth)
    area = float(weights @ np.where(thicker > depth, thicker, exact[1]))
    depth = thicker
    values = moved + depth - build_up
    values = np.where(readings.gap, _whole(values), values)
    unresolved = problem.unresolved(values)
    left = np.abs(problem.unresolved(exact[0] + exact[1] - exact[2]))
    return Trim(
        step,
        values,
        depth,
        build_up,
        unresolved,
        area,
        float(weights @ exact[2]),
        float(weights @ left),
        float(readings.weights @ readings.deviation(values)),
        settled.settled,
        passes,
        partial(proof_of, problem, step),
    )


def _whole(mm: np.ndarray) -> np.ndarray:
    """Lengths (m,) in mm to the whole nanometer, as they are told and cut."""
    return to_mm(np.rint(mm * NM_PER_MM))


class TrimProblem(Problem):
    """Where the part sits best when it may be cut."""

    told_aims = ("overlap", "step", "unresolved", "build_up", "trim")
    names = ("worse", "overlap", "step", "unresolved", "build_up", "short", "trim")
    names += ("total", "movement")

    def __init__(self, readings, freedom, rules, aimed):
        super().__init__(readings, freedom)
        self.rules, self.tied = rules, bool(rules.ramps)
        if aimed.any():  # what is cut depends on where the aim holds
            self.told_aims = self.told_aims[:-1]
        self.low = np.maximum(readings.scales.low, readings.floor)
        self.high = np.maximum(readings.scales.high, self.low)
        self.target = self.low.copy()
        middle = (self.low[aimed] + self.high[aimed]) / 2
        self.target[aimed] = np.minimum(self.low[aimed] + rules.aim, middle)
        # What the aim adds to the low limit; 0 also where there is no low limit.
        self.inside = np.zeros(len(readings))
        self.inside[aimed] = self.target[aimed] - self.low[aimed]

    def ends(self, settled) -> np.ndarray:
        moved = super().ends(settled)
        depth, build_up = self.depths(moved, settled.detail)
        return moved + depth - build_up

    def merit(self, step) -> tuple:
        readings, gaps = self.readings, self.readings.gap
        moved, _ = readings.moved(self.freedom, step)
        depth, build_up = self.depths(moved, None)
        values = moved + depth - build_up
        excess = np.abs(self.unresolved(values))
        excess *= np.maximum(readings.weights, LEAST_WEIGHT_MM)
        short = np.clip(self.target - values, 0, self.inside)
        return (
            *self.overlap_merit(values),
            float(excess[~gaps].sum()),
            float(excess[gaps].sum()),
            float(readings.weights @ build_up),
            float(readings.weights[gaps] @ short[gaps]),
            float(readings.weights @ depth),
            float(readings.weights @ readings.deviation(values)),
            float(step @ step),
        )

    def unresolved(self, values) -> np.ndarray:
        """Signed distance (m,) outside the limits; 0 inside, and below a nanometer.

        Limits that lie below zero altogether are as far from 0 as they say.
        """
        above = np.maximum(values - self.readings.scales.high, 0)
        beyond = np.where(values < self.low, values - self.low, above)
        return np.where(np.abs(beyond) < CUT_MM / 2, 0.0, beyond)

    def depths(self, moved, planned) -> tuple[np.ndarray, np.ndarray]:
        """Trim and build-up (m,) at readings as moved.

        Without ramps each station is its own: cut up to the target, build up down to
        the high limit, as far as allowed. With them they are as planned.
        """
        if planned is not None:
            return planned
        rules = self.rules
        depth = np.clip(self.target - moved, 0, rules.most_trim)
        build_up = np.clip(moved - self.high, 0, rules.most_build_up)
        return depth, build_up

    def thicker(self, moved, depth) -> np.ndarray:
        """Trims (m,) that are thin as deep as the least cut, where that is allowed."""
        rules = self.rules
        if self.tied or not rules.least:
            return depth
        thin = (depth > 0) & (depth < rules.least) & (rules.least <= rules.most_trim)
        return np.where(thin & (moved + rules.least <= self.high), rules.least, depth)

    def draft(self, base, slopes, locked, box):
        """Columns take a reading from its aim down or up to where it ends.

        Reading + trim - build_up = aim - under - short - tight - overlap + over + wide:
        inside the target, inside the limit but short of the target, outside, below 0.
        """
        readings, rules = self.readings, self.rules
        aim = np.clip(readings.scales.aim, self.target, self.high)
        aim = np.where(np.isfinite(aim), aim, 0.0)
        tight = np.where(np.isfinite(self.low), np.inf, 0.0)
        floored = np.isfinite(readings.floor)
        tight[floored] = self.low[floored] - readings.floor[floored]
        draft, parts, terms = Draft(box), {}, []
        ends = (
            ("trim", 1.0, rules.most_trim),
            ("build_up", -1.0, rules.most_build_up),
            ("under", 1.0, aim - self.target),
            ("short", 1.0, self.inside),
            ("tight", 1.0, tight),
            ("over", -1.0, self.high - aim),
            ("wide", -1.0, np.where(np.isfinite(self.high), np.inf, 0.0)),
        )
        for name, sign, most in ends:
            if (most > 0).any():
                parts[name] = draft.columns(np.zeros(len(base)), np.maximum(most, 0.0))
                terms.append((parts[name], sign))
        terms += self.overlap_columns(draft, parts)
        draft.rows(aim - base - self.play, aim - base + self.play, slopes, *terms)
        draft.rows(0.0, 0.0, locked)
        if self.tied and "trim" in parts:
            first, other, most = np.array(rules.ramps).T
            level = np.zeros((len(first), slopes.shape[1]))
            pair = parts["trim"][first.astype(int)], parts["trim"][other.astype(int)]
            draft.rows(-most, most, level, (pair[0], 1.0), (pair[1], -1.0))
        return draft, parts

    def aims(self, draft, parts):
        """Costs in strict order; aims that nothing can serve are left out."""
        weights, scales = self.readings.weights, self.readings.scales
        gaps = self.readings.gap
        # A station at the place of another has no length, but must still fit.
        excess = np.maximum(weights, LEAST_WEIGHT_MM)

        def cost(*names, price=weights):
            present = [name for name in names if name in parts]
            return draft.cost(*((parts[name], price) for name in present))

        yield from self.overlap_aims(draft, parts)
        beyond = ("tight", "wide", "overlap", "worse")
        if (~gaps & scales.limited).any():
            yield "step", cost(*beyond, price=np.where(gaps, 0.0, excess))
        yield "unresolved", cost(*beyond, price=np.where(gaps, excess, 0.0))
        for name in ("build_up", "short", "trim"):
            if name in parts:
                yield name, cost(name)
        low = ("under", "short", "tight", "overlap", "worse")
        below = cost(*low, price=weights * scales.below)
        yield "total", below + cost("over", "wide", price=weights * scales.above)

    def detail(self, programme, draft, parts, step):
        if not self.tied or "trim" not in parts:
            return None
        return self._spread(programme, draft, parts, step)

    def _spread(self, programme, draft, parts, step):
        """Trims at the place found; what is still free is cut in the later rows."""
        nothing = np.zeros(len(self.readings))
        moves = np.arange(len(step))
        programme.pin(moves, step)
        late = np.arange(len(nothing), 0, -1) * np.maximum(
            self.readings.weights, LEAST_WEIGHT_MM
        )
        programme.minimize(draft.cost((parts["trim"], late)), sure=True)
        depth = programme.values[parts["trim"]]
        build_up = nothing
        if "build_up" in parts:
            build_up = programme.values[parts["build_up"]]
        return depth, build_up
