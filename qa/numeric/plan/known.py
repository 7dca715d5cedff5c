"""What is known of a plan, and what is not: said beside it.

The reading to take again first (`doubt`), how bad it may be between stations
(`between`), the motions that are hardly seen (`hardly_seen`), how well each move and
each cut is known (`intervals`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.plan.between import Between, between
from qa.numeric.plan.doubt import Doubt, doubtful
from qa.numeric.plan.hardly_seen import HardlySeen, hardly_seen
from qa.numeric.plan.intervals import CutInterval, Interval, Intervals, intervals
from qa.numeric.plan.joint_arrays import JointArrays, Measured
from qa.numeric.plan.planner import planner_of
from qa.numeric.plan.readings import together
from qa.numeric.plan.result import NothingToJudge, Plan, PlanOptions, Reason
from qa.numeric.plan.trifles import LEAVE_IT

# What notes say of readings: of several parts, at each joint.
OF_READINGS = ("again", "again_least", "between", "between_beyond", "show")
LEAST_SAID_MM = 0.01  # nobody knows better what a reading should be


@dataclass(frozen=True)
class Known:
    """`again` is the reading to take again first, None where too few tell; `between`
    has a bound for each kind that shows a waviness. `intervals` are None where they
    were not asked for, or nothing is known of the readings."""

    again: Doubt | None
    between: tuple[Between, ...]
    hardly_seen: tuple[HardlySeen, ...] = ()
    intervals: Intervals | None = None

    @property
    def moves(self) -> tuple[Interval, ...]:
        return self.intervals.moves if self.intervals else ()

    @property
    def settings(self) -> tuple[Interval, ...]:
        return self.intervals.settings if self.intervals else ()

    @property
    def cuts(self) -> tuple[CutInterval, ...]:
        return self.intervals.cuts if self.intervals else ()


def with_known(
    parts: Sequence[Measured], options: PlanOptions, plan: Plan, *, drawn: bool = False
) -> Plan:
    """A plan with what is known of it, and notes that say so.

    `drawn` adds the intervals: some 80 plans, straight at this one.
    """
    planner = planner_of(parts, options)
    known = _known(planner.arrays, options, plan)
    if drawn:
        known = replace(known, intervals=intervals(planner, plan))
    return replace(
        plan,
        known=known,
        notes=(*plan.notes, *_notes(plan, known, options.resolution_mm)),
    )


def doubts(part: Measured, options: PlanOptions, plan: Plan) -> tuple[Reason, ...]:
    """What to say of the readings of one joint of a plan of several parts: the sides of
    a joint lie rigidly against each other, whatever either does. Nothing of one without
    limits."""
    try:
        arrays = planner_of([part], options).arrays
    except NothingToJudge:
        return ()
    known = _of_readings(arrays, plan)
    return tuple(_notes(plan, known, options.resolution_mm))


def with_doubts(part: Measured, options: PlanOptions, plan: Plan) -> Plan:
    """The plan of one joint of several parts with what is known of it: how well it is,
    if that was drawn (`shared_intervals`), and what is doubtful of its readings. As it
    stands where the joint has no limits."""
    try:
        known = _of_readings(planner_of([part], options).arrays, plan)
    except NothingToJudge:
        return plan if plan.known else replace(plan, known=Known(None, ()))
    if plan.known:
        known = replace(known, intervals=plan.known.intervals)
    notes = (*plan.notes, *_notes(plan, known, options.resolution_mm))
    return replace(plan, known=known, notes=notes)


def _known(arrays: JointArrays, options: PlanOptions, plan: Plan) -> Known:
    hardly = ()
    if plan.settings is None:
        every = together(arrays.gap_readings(), arrays.flush_readings())
        hardly = hardly_seen(arrays, every, plan.move, options.uncertainty_mm)
    return replace(_of_readings(arrays, plan), hardly_seen=hardly)


def _of_readings(arrays: JointArrays, plan: Plan) -> Known:
    gaps, flushes = arrays.gap_readings(), arrays.flush_readings()
    again, bounds = doubtful(arrays, gaps, flushes), []
    for kind, readings in (("gap", gaps), ("flush", flushes)):
        station_plans = [plan.stations[row] for row in readings.rows]
        ends = np.array(
            [getattr(station, f"{kind}_after") for station in station_plans],
            dtype=float,
        )
        cut = np.array(
            [station.trim - station.build_up for station in station_plans], dtype=float
        )
        uncut = ends - cut if kind == "gap" else ends
        out = again and again.stands_out and again.kind == kind
        odd = again.row if out else None
        bounds.append(between(arrays, readings, kind, uncut, ends, odd))
    return Known(again, tuple(bound for bound in bounds if bound is not None))


def _notes(plan: Plan, known: Known, resolution: float):
    doubt = known.again
    if doubt and (doubt.stands_out or LEAVE_IT not in plan.notes):
        code = "again" if doubt.stands_out else "again_least"
        values = {
            "kind": doubt.kind,
            "station": (doubt.joint, doubt.label),
            "read": doubt.read,
            "mm": doubt.expected,
            "wide": max(2 * doubt.expected_u, resolution, LEAST_SAID_MM),
        }
        yield Reason(code, values)
    for span in known.between:
        code = "between" if span.conforms else "between_beyond"
        places = tuple((span.joint, label) for label in span.span)
        yield Reason(code, {"kind": span.kind, "mm": span.value, "stations": places})
    for motion in known.hardly_seen:
        if motion.stations:
            values = {"kind": motion.kind, "stations": motion.stations}
            yield Reason("show", {"names": (motion.name,), **values})
