"""How well each move, setting and cut of a plan is known: 95 % intervals.

What would the same plan, by the same ways to move, have come to if the readings were
exact? Readings are drawn anew about those that were taken, with their own errors and
the zero of the gauge that those of a kind have in common, and planned again, straight
at the plan (parametric bootstrap: Efron and Tibshirani, "An Introduction to the
Bootstrap", 1993, 6.5); the seed is fixed. Half an interval is `COVER` standard
deviations of what comes: somewhat more than the 1.96 of a normal one, since a plan has
corners and the draws stand about the readings, not about the truth (by simulation, in
tests/numeric/test_intervals.py). A cut is none or more than the aim: which it is, each
draw says anew.

Where adjusters set the part in whole steps, the change of each that is set is drawn as
if it could be set exactly; what a step leaves of that, and how well a step is set, join
it. Cuts are then drawn for the settings that are told, with how well they are set. How
cuts scatter joins the next bite: it is known as well as it comes off.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.plan.lexicographic import Infeasible, NotSolved
from qa.numeric.plan.motions import Freedom, displace
from qa.numeric.plan.reasons import bite_of
from qa.numeric.plan.result import Move, Plan
from qa.numeric.plan.seat import SeatProblem
from qa.numeric.plan.trim import CUT_MM, TrimProblem

DRAWS, FEWER = 80, 40
FAIL = 40  # of so many draws one at most may be such that it cannot be planned
MANY = 100  # readings; with more there are fewer draws, so that a page need not wait
COVER = 2.2
CUT_COVER = 2.05  # of a cut: draws in which it is none are among them, and spread far
SEED = 14
MOST_READINGS = 400  # with more the draws would take minutes
WHOLE_STEP = 12**-0.5  # standard deviation of what whole steps leave, in steps


class Spread:
    """Half of a 95 % interval, and the digits that are known by it."""

    half: float

    @property
    def digits(self) -> int:
        """Decimals that are known: those down to the first digit of `half`."""
        if self.half <= 0:
            return 3
        return min(3, max(0, -math.floor(math.log10(self.half))))

    @property
    def shown(self) -> float:
        """`half` in those digits, rounded up."""
        return math.ceil(self.half * 10**self.digits) / 10**self.digits


@dataclass(frozen=True)
class Interval(Spread):
    """What is told and half of its 95 % interval, both in mm, or degrees of a turn."""

    name: str
    value: float
    half: float


@dataclass(frozen=True)
class CutInterval(Spread):
    """Halves of the 95 % intervals of the trim at a station and of its next bite, as it
    comes off, and what of the latter is the scatter of cuts; mm."""

    joint: int
    label: str
    trim: float
    half: float
    bite: float
    bite_half: float
    scatter_half: float = 0.0


@dataclass(frozen=True)
class Intervals:
    """Of every motion that is used, every adjuster that is set and every station that
    is cut; `covariance` (k, k) is that of the motions of the plan, mm and radians, ()
    where none is used."""

    moves: tuple[Interval, ...] = ()
    settings: tuple[Interval, ...] = ()
    cuts: tuple[CutInterval, ...] = ()
    covariance: tuple[tuple[float, ...], ...] = ()

    def along(self, move: Move, place, direction, against=None) -> float | None:
        """Half of the interval of how far a move takes a place (3,) along a direction
        (3,), mm, or against another place; None where nothing is known of it."""
        if not self.covariance:
            return None
        places = np.array([place, place if against is None else against], dtype=float)
        rates = displace(places, move.motions, move.raw)[1] @ np.array(direction)
        slopes = rates[:, 0] - (0.0 if against is None else rates[:, 1])
        return COVER * math.sqrt(max(0.0, slopes @ np.array(self.covariance) @ slopes))


def intervals(planner, plan: Plan) -> Intervals | None:
    """The intervals of a plan.

    `planner` is of the same readings and options. None where nothing is known of the
    readings, there are very many, or more than a few draws cannot be planned: what the
    others come to would be too narrow.
    """
    options, every = planner.options, planner.every
    if not options.uncertainty_mm or len(every) > MOST_READINGS:
        return None
    if plan.settings is not None:
        return of_settings(planner, plan)
    free, step = planner.gone(plan.move)
    trims = trims_of(planner, plan)
    if not (step != 0).any() and not trims.any():
        return Intervals()
    drawn = Drawn(planner, trims)
    steps, cuts = drawn.planned(free.without(step == 0), step)
    if drawn.too_few(steps):
        return None
    raw = steps / free.unit
    spread, moves = COVER * raw.std(axis=0, ddof=1), []
    for k, (name, amount) in enumerate(plan.move.amounts):
        half = math.degrees(spread[k]) if free.motions[k].turns else spread[k]
        if step[k]:
            moves.append(Interval(name, amount, float(half)))
    covariance = np.atleast_2d(np.cov(raw, rowvar=False)).tolist() if moves else ()
    return Intervals(
        moves=tuple(moves),
        cuts=cut_intervals(planner, plan, cuts),
        covariance=tuple(map(tuple, covariance)),
    )


def of_settings(planner, plan: Plan) -> Intervals | None:
    """The same of a part, or of several, set by adjusters."""
    rig, trims = planner.rig, trims_of(planner, plan)
    changed = np.array([setting.steps != 0 for setting in plan.settings])
    set_u = np.array([adjuster.set_u or 0.0 for adjuster in rig.adjusters]) * changed
    step = rig.step_of(plan.move)
    own = rig.own_rates(step)
    told, cuts = [], ()
    if changed.any():
        # Those that are not set hold their places.
        locked = np.vstack([rig.unset, own[~changed]])
        drawn = Drawn(planner, trims)
        steps, _ = drawn.planned(_anywhere(planner, locked), step)
        if drawn.too_few(steps):
            return None
        halves = setting_halves(steps @ own.T, rig, set_u)
        told = [
            Interval(one.name, one.change, half)
            for one, half in zip(plan.settings, halves, strict=True)
            if one.steps
        ]
    if trims.any():
        drawn = Drawn(planner, trims, planner.slopes(planner.every, step) * set_u)
        still = _anywhere(planner, np.eye(len(step)))
        still = still.without(np.ones(len(step), dtype=bool))
        cuts = cut_intervals(planner, plan, drawn.cut_at(still, step))
    return Intervals(settings=tuple(told), cuts=cuts)


def setting_halves(changes, rig, set_u) -> list[float]:
    """Half of the interval of every adjuster, of its changes (d, k) as drawn: what
    whole steps leave and how well each is set join it."""
    spread = changes.std(axis=0, ddof=1)
    spread = np.sqrt(spread**2 + (WHOLE_STEP * rig.steps) ** 2 + set_u**2)
    return (COVER * spread).tolist()


def _anywhere(planner, locked) -> Freedom:
    """Parts that their adjusters may take anywhere, but for what is locked (j, k)."""
    return replace(planner.anywhere, locked=locked)


def trims_of(planner, plan: Plan) -> np.ndarray:
    return np.array([plan.stations[row].trim for row in planner.gaps.rows])


class Drawn:
    """The readings of a planner, drawn anew `count` times.

    `also` (m, j): what readings depend on besides, in standard deviations.
    """

    def __init__(self, planner, trims: np.ndarray, also: np.ndarray | None = None):
        self.planner, self.gaps, self.also = planner, len(trims), also
        self.count = FEWER if len(planner.every) > MANY else DRAWS
        self.rules = planner.rules(planner.every)
        self.aimed = np.zeros(len(planner.every), dtype=bool)
        self.aimed[: self.gaps] = trims > 0
        self.trims = np.zeros(len(planner.every))
        self.trims[: self.gaps] = trims

    def readings(self):
        every, options = self.planner.every, self.planner.options
        random = np.random.default_rng(SEED)
        common = options.common_u_mm or 0.0
        alone = math.sqrt(options.uncertainty_mm**2 - common**2)
        measured = len(self.planner.gaps) + len(self.planner.flushes)
        read = np.arange(len(every)) < measured
        gauge = self.planner.arrays.zeros_of(every)
        known = gauge >= 0
        names, of = np.unique([~every.gap, gauge], axis=1, return_inverse=True)
        own = np.where(known, alone, options.uncertainty_mm)
        for _ in range(self.count):
            zeros = common * random.normal(size=names.shape[1])
            errors = own * random.normal(size=len(every))
            errors += np.where(known, zeros[of.reshape(-1)], 0.0)
            if self.also is not None:
                errors += self.also @ random.normal(size=self.also.shape[1])
            yield every.with_values(every.values + np.where(read, errors, 0.0))

    def problem(self, noisy, free: Freedom):
        if self.aimed.any():
            return TrimProblem(noisy, free, self.rules, self.aimed)
        return SeatProblem(noisy, free)

    def planned(self, free: Freedom, step: np.ndarray):
        """(rim movements (d, k), (depths, gaps before they are cut) (d, 2, gaps)) of
        every draw that can be planned."""
        steps, cuts = [], []
        problem = self.problem(self.planner.every, free)
        problem.near = []
        for noisy in self.readings():
            problem.readings = noisy
            try:
                at, detail = problem.solve(step, np.inf)
            except (Infeasible, NotSolved):
                continue
            steps.append(at)
            cuts.append(self._cut(problem, at, detail))
        return np.array(steps), np.array(cuts)

    def too_few(self, planned) -> bool:
        return len(planned) < self.count * (1 - 1 / FAIL)

    def cut_at(self, free: Freedom, step: np.ndarray):
        """The same of a part that stays where `step` puts it."""
        problems = (self.problem(noisy, free) for noisy in self.readings())
        return np.array([self._cut(problem, step, None) for problem in problems])

    def _cut(self, problem, at, detail) -> np.ndarray:
        moved = problem.readings.moved(problem.freedom, at)[0]
        depths = np.zeros(len(moved))
        if self.aimed.any():
            depths = problem.depths(moved, detail)[0]
            # What is inside its limit as it comes is not cut, and not to the aim. Where
            # cuts hang together, one that is thin in the plan is as its neighbors ask.
            cut = moved < problem.low
            if problem.tied:
                cut = (depths > problem.inside) | (
                    self.trims <= problem.inside + CUT_MM
                )
            depths = np.where(cut, depths, 0.0)
        return np.array([depths[: self.gaps], moved[: self.gaps]])


def cut_intervals(planner, plan: Plan, cuts) -> tuple[CutInterval, ...]:
    scatter, found = planner.options.cut_scatter_mm or 0.0, []
    for k, row in enumerate(planner.gaps.rows):
        one = plan.stations[row]
        if one.trim <= CUT_MM:
            continue
        depths, moved = cuts[:, :, k].T
        bites = [
            bite_of(planner, row, depth, gap + depth)
            for depth, gap in zip(depths.tolist(), moved.tolist(), strict=True)
        ]
        half = CUT_COVER * float(depths.std(ddof=1))
        spread = CUT_COVER * float(np.std(bites, ddof=1))
        bite_half = math.hypot(spread, COVER * scatter)
        named, told = (one.joint, one.label), (one.next_bite, bite_half)
        found.append(CutInterval(*named, one.trim, half, *told, COVER * scatter))
    return tuple(found)
