"""What to do next so that it fits: one plan for seat, level and trim.

`plan_fit` takes a joint with its readings and answers everything that the page, the
paper and the command line show. Seat and level are planned together, flat joints and
curved ones alike. What comes out is judged after the exact motion, in whole nanometers,
by the acceptance that holds for readings.

Motion is that of the part about the plain mean of all rows, right-handed: x right, y
up, z out of the skin; tilt_x, then tilt_y, then the turn, then the shifts. Errors of
readings count as independent.
"""

from collections.abc import Sequence
from dataclasses import replace

from qa.numeric.geometry.joint import Joint
from qa.numeric.plan.free_planner import BEST, LEAVE, SHIMS, TRIM, Planner
from qa.numeric.plan.joint_arrays import JointArrays, Measured
from qa.numeric.plan.result import (
    NothingToJudge,
    Plan,
    PlanOptions,
)
from qa.numeric.plan.set_planner import SetPlanner
from qa.numeric.plan.stack_planner import StackPlanner

METHOD = "plan/4"
STILL = {
    "max_move_mm": 0.0,
    "max_turn_deg": 0.0,
    "max_raise_mm": 0.0,
    "max_tilt_deg": 0.0,
}


def plan_fit(
    joint: Joint,
    gaps: Sequence[float | None],
    flushes: Sequence[float | None],
    options: PlanOptions | None = None,
) -> Plan:
    """The plan for one joint; gaps and flushes (n,) in mm in order of its stations.

    Raises NothingToJudge when no station has limits, NothingSeen when there is nothing
    to plan by, NoFeasibleMotion, NarrowLimits when the guard bands leave nothing
    between limits.
    """
    return plan_joints([Measured(joint, gaps, flushes)], options)


def plan_joints(
    parts: Sequence[Measured],
    options: PlanOptions | None = None,
    way: str = BEST,
) -> Plan:
    """One plan for a part with several joints measured in the same condition.

    `way` is what may be done at all: BEST sets it and, where that is not enough, trims;
    LEAVE, SET, TRIM do no more than they say.
    """
    return planner_of(parts, options or PlanOptions(), way).plan(way)


def planner_of(
    parts: Sequence[Measured], options: PlanOptions, way: str = BEST
) -> Planner:
    """Who plans a way: by free motion or motions of its own, by adjusters, or where the
    part is. One planner plans several ways by one search for the seat."""
    arrays = JointArrays(parts, options.uncertainty_mm, options.rule, options.edition)
    if not (arrays.gap_scales.limited.any() or arrays.flush_scales.limited.any()):
        raise NothingToJudge("no station has limits: there is nothing to judge")
    if way in (LEAVE, TRIM):
        options = replace(options, motions=None, adjusters=None, **STILL)
    if options.adjusters is None:
        return Planner(arrays, options)
    made = StackPlanner if way == SHIMS else SetPlanner
    return made(arrays, options)
