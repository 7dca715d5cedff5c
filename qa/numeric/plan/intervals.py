"""How well each move, setting and cut of a plan is known: 95 % intervals.

What would the same plan, by the same ways to move, have come to if the readings were
exact? Readings are drawn anew about those that were taken, with their own errors and
the zero of the gauge that those of a kind have in common, and planned again, straight
at the plan, in the order in which a plan is made: which stations are cut, each draw
says anew. The seed is fixed.

Exact readings lie about those that were taken as those lie about them, where nothing
else is known of a part. So what exact readings would have asked for is as far from what
is told as one draw is from it: of n draws and that, each is as likely the farthest, and
no more than 5 in 100 lie beyond the draw number 0.95 (n + 1) in order of its distance
(order statistics as prediction limits: Wilks, Annals of Mathematical Statistics 12,
1941). That distance is half of the interval, whatever corners a plan has.

Where adjusters set the part in whole steps, the change of each that is set is drawn as
if it could be set exactly, with how well it is set, about the whole steps that are
told. Cuts are then drawn for the settings that are told, with how well they are set.
Both are bounded by one draw more: steps are chosen for what was read, noise and all, so
that a draw lies nearer to them than what exact readings ask for (with the draw of above
92 of 100 intervals held on tight doors).
How cuts scatter joins the next bite: it is known as well as it comes off.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.plan.lexicographic import Infeasible, NotSolved
from qa.numeric.plan.motions import Freedom, displace
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.reasons import bite_of
from qa.numeric.plan.result import Move, Plan
from qa.numeric.plan.seat import SeatProblem
from qa.numeric.plan.trim import CUT_MM, TrimProblem

DRAWS, FEWER = 79, 39  # of which the 76th and the 38th bound 95 of 100
FAIL = 40  # of so many draws one at most may be such that it cannot be planned
MANY = 100  # readings; with more there are fewer draws, so that a page need not wait
SHARE = 0.95
IN_STEPS = 1  # draw more, where the part is set in whole steps
NORMAL = 1.96  # standard deviations of a normal error that hold so many
# As many of `Intervals.covariance` are half of an interval, also of older records.
COVER = 2.2
SEED = 14
MOST_READINGS = 400  # with more the draws would take minutes


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
    is cut; `covariance` (k, k) is that of the motions of the plan, mm and radians, as
    wide as COVER asks for, () where none is used."""

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
    moves = move_intervals(plan.move, [planner.moves_of(free, each) for each in steps])
    return replace(moves, cuts=cut_intervals(planner, plan, cuts))


def half_of(drawn: np.ndarray, planned: float, more: int = 0) -> float:
    """Half of the interval about what is told, of what was drawn (d,): see above; by so
    many draws more."""
    apart = np.sort(np.abs(drawn - planned))
    rank = math.ceil(SHARE * (len(apart) + 1)) + more
    return float(apart[min(rank, len(apart)) - 1])


def move_intervals(planned: Move, drawn: Sequence[Move]) -> Intervals:
    """Of every motion that is used, as it comes in the draws."""
    amounts = np.array([[amount for _, amount in move.amounts] for move in drawn])
    moves = tuple(
        Interval(name, amount, half_of(own, amount))
        for (name, amount), own in zip(planned.amounts, amounts.T, strict=True)
        if amount
    )
    if not moves or not planned.raw:
        return Intervals(moves=moves)
    off = np.array([move.raw for move in drawn]) - planned.raw
    square = off.T @ off / len(off)
    halves = [half_of(own, 0.0) for own in off.T]
    sizes = COVER * np.sqrt(np.diag(square))
    wider = np.divide(halves, sizes, out=np.zeros(len(sizes)), where=sizes > 0)
    covariance = square * np.outer(wider, wider)
    return Intervals(moves=moves, covariance=tuple(map(tuple, covariance.tolist())))


def of_settings(planner, plan: Plan) -> Intervals | None:
    """The same of a part, or of several, set by adjusters."""
    rig, trims = planner.rig, trims_of(planner, plan)
    changed = np.array([setting.steps != 0 for setting in plan.settings])
    set_u = np.array([adjuster.set_u or 0.0 for adjuster in rig.adjusters]) * changed
    step = rig.step_of(plan.move)
    own = rig.own_rates(step)
    halves, cuts = [], ()
    if changed.any():
        # Those that are not set hold their places.
        locked = np.vstack([rig.unset, own[~changed]])
        drawn = Drawn(planner, trims)
        steps, _ = drawn.planned(_anywhere(planner, locked), step)
        if drawn.too_few(steps):
            return None
        halves = setting_intervals(plan.settings, steps @ own.T, set_u)
    if trims.any():
        drawn = Drawn(planner, trims, planner.slopes(planner.every, step) * set_u)
        there = replace(planner.anywhere, low=step, high=step)
        drawn_plans, cut = drawn.planned(there, step)
        if drawn.too_few(drawn_plans):
            return None
        cuts = cut_intervals(planner, plan, cut, IN_STEPS)
    return Intervals(settings=tuple(halves), cuts=cuts)


def setting_intervals(settings, changes, set_u) -> list[Interval]:
    """Of every adjuster that is set: its changes (d, k) as drawn, and how well it is
    set (k,)."""
    changes = changes + set_u * evenly(*changes.shape)[::-1]
    return [
        Interval(setting.name, setting.change, half_of(drawn, setting.change, IN_STEPS))
        for setting, drawn in zip(settings, changes.T, strict=True)
        if setting.steps
    ]


def _anywhere(planner, locked) -> Freedom:
    """Parts that their adjusters may take anywhere, but for what is locked (j, k)."""
    return replace(planner.anywhere, locked=locked)


def trims_of(planner, plan: Plan) -> np.ndarray:
    return np.array([plan.stations[row].trim for row in planner.gaps.rows])


def evenly(count: int, wide: int) -> np.ndarray:
    """Normal draws (count, wide) with mean 0 and variance 1, where there are enough
    without a correlation: few draws then tell a sum of errors as well as many."""
    drawn = np.random.default_rng(SEED).normal(size=(count, wide))
    drawn -= drawn.mean(axis=0)
    if wide < count:
        drawn = np.linalg.qr(drawn)[0]
    return drawn / np.sqrt((drawn**2).mean(axis=0))


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
        every = planner.every
        gap_low = np.maximum(every.scales.low, every.floor)
        self.low = np.where(every.gap, gap_low, -np.inf)

    def readings(self):
        every, options = self.planner.every, self.planner.options
        common = options.common_u_mm or 0.0
        alone = math.sqrt(options.uncertainty_mm**2 - common**2)
        measured = len(self.planner.gaps) + len(self.planner.flushes)
        read = np.arange(len(every)) < measured
        gauge = self.planner.arrays.zeros_of(every)
        known = gauge >= 0
        names, of = np.unique([~every.gap, gauge], axis=1, return_inverse=True)
        own = np.where(known, alone, options.uncertainty_mm)
        also = np.zeros((len(every), 0)) if self.also is None else self.also
        sizes = len(every), names.shape[1], also.shape[1]
        drawn = np.split(evenly(self.count, sum(sizes)), np.cumsum(sizes)[:-1], axis=1)
        for each, zeros, beside in zip(*drawn, strict=True):
            errors = own * each + np.where(known, common * zeros[of.reshape(-1)], 0.0)
            errors += also @ beside
            yield every.with_values(every.values + np.where(read, errors, 0.0))

    def problem(self, noisy, free: Freedom, aimed: np.ndarray | None):
        """Where cuts aim inside the limit at these readings (m,); None cuts nothing."""
        if aimed is None:
            return SeatProblem(noisy, free)
        return TrimProblem(noisy, free, self.rules, aimed)

    def planned(self, free: Freedom, step: np.ndarray):
        """(rim movements (d, k), (depths, gaps before they are cut) (d, 2, gaps)) of
        every draw that can be planned."""
        steps, cuts = [], []
        draws = Replanned(self, free, step)
        for noisy in self.readings():
            try:
                at, cut = draws.plan(noisy)
            except (Infeasible, NotSolved):
                continue
            steps.append(at)
            cuts.append(cut)
        return np.array(steps), np.array(cuts)

    def too_few(self, planned) -> bool:
        return len(planned) < self.count * (1 - 1 / FAIL)


class Replanned:
    """Plans of readings much like those of a plan, straight at one place.

    Most come out as the plan that was told, cut at the same stations: first they are
    planned as it ended. What is cut elsewhere is planned from the beginning: seated, or
    cut to the limits, then to the aim where it was cut.
    """

    def __init__(self, drawn: Drawn, free: Freedom, step: np.ndarray):
        self.drawn, self.free, self.step = drawn, free, step
        self.problems, self.near = {}, {}

    def plan(self, noisy: Readings):
        """(rim movements (k,), (depths, gaps before they are cut) (2, gaps))."""
        drawn = self.drawn
        aimed, gaps = drawn.aimed, drawn.gaps
        if aimed.any():
            at, cut = self._cut(noisy, aimed)
            if ((cut[1] < drawn.low) == aimed).all():
                return at, cut[:, :gaps]
            if drawn.rules.aim > 0:
                at, cut = self._cut_anew(noisy)
            if (cut[0] > CUT_MM).any() or not noisy.all_right(cut[1]):
                return at, cut[:, :gaps]
        at, cut = self._cut(noisy, None)
        return at, cut[:, :gaps]

    def _cut_anew(self, noisy: Readings):
        aimed = np.zeros(len(noisy), dtype=bool)
        while True:
            at, cut = self._cut(noisy, aimed)
            more = (cut[0] > CUT_MM) & ~aimed
            if not more.any():
                return at, cut
            aimed = aimed | more

    def _cut(self, noisy: Readings, aimed: np.ndarray | None):
        """(rim movements (k,), depths and readings before they are cut (2, m)); each
        aim begins where it ended in the last programme of this shape."""
        shape = None if aimed is None else bool(aimed.any())
        key = None if aimed is None else aimed.tobytes()
        if key not in self.problems:
            self.problems[key] = self.drawn.problem(noisy, self.free, aimed)
        problem = self.problems[key]
        problem.readings = noisy
        problem.near, problem.nothing = self.near.get(shape, ([], 0))
        at, detail = problem.solve(self.step, np.inf)
        self.near[shape] = problem.near, problem.nothing
        moved = noisy.moved(self.free, at)[0]
        depths = np.zeros(len(moved))
        if aimed is not None:
            depths = problem.depths(moved, detail)[0]
        return at, np.array([depths, moved])


def cut_intervals(planner, plan: Plan, cuts, more=0) -> tuple[CutInterval, ...]:
    scatter, intervals = planner.options.cut_scatter_mm or 0.0, []
    for k, row in enumerate(planner.gaps.rows):
        station = plan.stations[row]
        if station.trim <= CUT_MM:
            continue
        depths, moved = cuts[:, :, k].T
        bites = [
            bite_of(planner, row, depth, gap + depth)
            for depth, gap in zip(depths.tolist(), moved.tolist(), strict=True)
        ]
        bite_half = math.hypot(
            half_of(np.array(bites), station.next_bite, more), NORMAL * scatter
        )
        trim = station.trim, half_of(depths, station.trim, more)
        bite = station.next_bite, bite_half, NORMAL * scatter
        intervals.append(CutInterval(station.joint, station.label, *trim, *bite))
    return tuple(intervals)
