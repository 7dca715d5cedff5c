"""What could be done about a part, side by side, the least work that is enough first.

Leave it, put shims under it where there are stacks, set it, trim it, or set and trim;
each is planned for itself and judged as every plan is. The work of each is counted in
minutes by rates of the shop. The defaults are common practice, no source: they only
have to put the ways in the order a fitter would.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from qa.numeric.plan.free_planner import (
    BEST,
    LEAVE,
    SEAT_FIRST,
    SET,
    SHIMS,
    TRIM,
)
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.motions import displace
from qa.numeric.plan.planner import planner_of
from qa.numeric.plan.result import CANNOT, OptionError, Plan, PlanOptions, StationPlan
from shop.numeric.finite import finite

BOTH = "both"
ORDER = (LEAVE, SHIMS, SET, TRIM, BOTH)
MOST_STACKED = 8_000  # combinations of shims; with more they are not a way of their own
MOVED_MM = 0.1  # less of a free motion is none that a hand makes
WORSE = (
    0.05  # of a normalized deviation: a station that lost so much is looked at again
)
WITNESSES = 3  # stations that show that what was not cut has kept


@dataclass(frozen=True)
class Rates:
    """Minutes that work takes; lengths in mm."""

    loosen: float = 5.0  # once, and tighten again
    motion: float = 10.0  # each way that a part is moved by hand
    adjuster: float = 6.0  # each that is set
    measure: float = 0.5  # a station, gap and flushness
    look_again: float = 1.0  # a station that got worse by the plan
    cut: float = 20.0  # once: off, cut, clean, seal, on
    cut_per_mm: float = 0.03  # of edge

    def __post_init__(self):
        for field in fields(self):
            value = getattr(self, field.name)
            finite(**{field.name: value})
            if value < 0:
                raise ValueError(f"{field.name} is below 0")

    def of(self, changed, adjusted: bool, cut, length, measured, worsened) -> float:
        """Minutes for so many changes, stations cut, mm of edge, stations measured and
        stations that got worse."""
        minutes = 0.0
        if changed:
            each = self.adjuster if adjusted else self.motion
            minutes += self.loosen + each * changed
        if cut:
            minutes += self.cut + self.cut_per_mm * length
        if changed or cut:
            again = measured if changed else min(cut + WITNESSES, measured)
            minutes += self.measure * again + self.look_again * worsened
        return minutes


@dataclass(frozen=True)
class Way:
    """One thing that could be done, and what comes of it.

    `worst` is the largest normalized deviation afterwards; `cut` and `stale` are rows
    of plan.stations: those that are cut, and those that must be measured again.
    `adjusters_changed` counts what is set: adjusters, or without them the free motions
    that are used. `meets` says that it conforms with the probability wished.
    """

    kind: str
    plan: Plan
    conforms: bool
    probability: float | None
    worst: float
    trim_area_mm2: float
    trim_length_mm: float
    cut: tuple[int, ...]
    stale: tuple[int, ...]
    adjusters_changed: int
    minutes: float
    meets: bool


def ways(
    parts: Sequence[Measured],
    options: PlanOptions | None = None,
    wished: float | None = None,
    rates: Rates | None = None,
    stacks: Collection[str] = (),
) -> tuple[Way, ...]:
    """All four ways for a part with the joints given, in the order recommended; with
    `stacks`, names of the adjusters that are set by shims, shims alone are a fifth.

    `wished` is the least probability that all conforms; None leaves it to the rule. Of
    the ways that are enough the one with the least work comes first, after them those
    that are not, the one that comes nearest first. Raises as plan_fit does.
    """
    options, rates = options or PlanOptions(), rates or Rates()
    if wished is not None and not 0 <= wished <= 1:
        raise OptionError("wish", "must be between 0 and 1")
    options = replace(options, wish=wished)
    still = planner_of(parts, options, LEAVE)
    leave, trim = still.plan(LEAVE), still.plan(TRIM)
    planner = planner_of(parts, options, SET)
    set_it = planner.plan(SET)
    plans = {
        LEAVE: leave,
        SET: set_it,
        TRIM: trim,
        BOTH: _both(planner, set_it, trim),
    }
    seams = (
        np.vstack([part.joint.places for part in parts]),
        np.concatenate([part.joint.length_weights for part in parts]),
    )
    by_shims = _shims(parts, options, stacks)
    if by_shims is not None:
        plans[SHIMS] = by_shims
    kinds = [kind for kind in ORDER if kind in plans]
    every_way = [_way(kind, plans[kind], leave, seams, wished, rates) for kind in kinds]
    return tuple(sorted(every_way, key=_rank))


def _shims(parts, options, stacks: Collection[str]) -> Plan | None:
    """Only stacks are changed, all else stays as it is set."""
    by = [
        adjuster
        if adjuster.name in stacks
        else replace(adjuster, low=adjuster.now, high=adjuster.now)
        for adjuster in options.adjusters or ()
    ]
    reaches = [adjuster.reach for adjuster in by]
    count = math.prod(most - least + 1 for least, most in reaches)
    if not 1 < count <= MOST_STACKED:
        return None
    options = replace(options, adjusters=tuple(by))
    return planner_of(parts, options, SHIMS).plan(SET)


def _both(planner, set_it: Plan, trim: Plan) -> Plan:
    """Set and trim, never worse than either alone: what is left may be less in all and
    still more at one station."""
    if set_it.outcome != CANNOT:
        return set_it
    both = planner.plan(BEST)
    if both.outcome != CANNOT or worst_of(both) <= worst_of(set_it):
        return both
    other = planner.plan(SEAT_FIRST)
    return min((both, other, trim), key=worst_of)


def worst_of(plan: Plan) -> float:
    """The largest normalized deviation after a plan."""
    return max(map(_deviation, plan.stations), default=0.0)


def _deviation(station: StationPlan) -> float:
    both = station.gap_deviation_after, station.flush_deviation_after
    return max((value for value in both if value is not None), default=0.0)


def _way(kind, plan: Plan, leave: Plan, seams, wished, rates: Rates) -> Way:
    places, weights = seams
    stations = plan.stations
    trims = np.array([station.trim for station in stations])
    worked = [
        k for k, station in enumerate(stations) if station.trim or station.build_up
    ]
    changed = _changed(plan, places)
    measured = [
        k
        for k, station in enumerate(stations)
        if station.gap_now is not None or station.flush_now is not None
    ]
    conforms = plan.outcome != CANNOT
    chance = plan.probability
    enough = wished is None or (chance is not None and chance >= wished)
    length = float(weights[worked].sum())
    minutes = rates.of(
        changed,
        plan.settings is not None,
        len(worked),
        length,
        len(measured),
        _worsened(leave, plan),
    )
    return Way(
        kind=kind,
        plan=plan,
        conforms=conforms,
        probability=chance,
        worst=worst_of(plan),
        trim_area_mm2=float(weights @ trims),
        trim_length_mm=length,
        cut=tuple(worked),
        stale=tuple(measured if changed else worked),
        adjusters_changed=changed,
        minutes=minutes,
        meets=conforms and enough,
    )


def _changed(plan: Plan, places) -> int:
    """How many adjusters, or free motions, a plan uses."""
    if plan.settings is not None:
        return sum(1 for setting in plan.settings if setting.steps)
    used = 0
    for motion, amount in zip(plan.move.motions, plan.move.raw, strict=True):
        moved, _ = displace(places, [motion], [amount])
        used += bool(np.linalg.norm(moved, axis=1).max() > MOVED_MM)
    return used


def _worsened(leave: Plan, plan: Plan) -> int:
    pairs = zip(leave.stations, plan.stations, strict=True)
    return sum(1 for now, then in pairs if _deviation(then) > _deviation(now) + WORSE)


def _rank(way: Way) -> tuple:
    if way.meets:
        return 0, 0.0, way.minutes, ORDER.index(way.kind)
    # What differs by less than is ever told is no reason for more work.
    far = -round(way.probability or 0.0, 3) if way.conforms else round(way.worst, 3)
    return 2 - way.conforms, far, way.minutes, ORDER.index(way.kind)
