"""How well the moves, settings and cuts of parts planned together are known.

As of one part (`intervals`): readings are drawn anew and all parts planned again at
once, straight at the plan. What comes is told of every part by itself and, at every
joint, of the part against its surround, whose errors are not independent.
"""

from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.plan.assembly_planner import AssemblyPlan, AssemblyPlanner
from qa.numeric.plan.intervals import (
    IN_STEPS,
    MOST_READINGS,
    Drawn,
    Intervals,
    cut_intervals,
    move_intervals,
    of_settings,
    setting_intervals,
    trims_of,
)
from qa.numeric.plan.known import Known
from qa.numeric.plan.mixed_assembly import MixedAssemblyPlanner
from qa.numeric.plan.result import Plan
from qa.numeric.plan.set_planner import WITHOUT_END


@dataclass(frozen=True)
class SharedIntervals:
    """Of every part, in the order of the bodies, and of every joint. Cuts are named by
    the number of their joint."""

    parts: tuple[Intervals, ...]
    joints: tuple[Intervals, ...]


def with_intervals(planner: AssemblyPlanner, plan: AssemblyPlan) -> AssemblyPlan:
    """The plan with what is known of its moves and cuts, part by part and joint by
    joint; as it is where nothing can be told (see `intervals`)."""
    shared = shared_intervals(planner, plan.whole)
    if shared is None:
        return plan
    known = [Known(None, (), (), interval) for interval in shared.parts]
    cuts = [cut for joint in shared.joints for cut in joint.cuts]
    return replace(
        plan,
        parts=tuple(
            replace(part, known=known_part)
            for part, known_part in zip(plan.parts, known, strict=True)
        ),
        joints=tuple(
            replace(joint, known=Known(None, (), (), _renumbered(cuts_known, [number])))
            for number, (joint, cuts_known) in enumerate(
                zip(plan.joints, shared.joints, strict=True)
            )
        ),
        own=tuple(
            own and (own[0], _own(own, replace(part, cuts=tuple(cuts))))
            for own, part in zip(plan.own, shared.parts, strict=True)
        ),
    )


def _own(own, intervals: Intervals) -> Plan:
    joints, plan = own
    return replace(plan, known=Known(None, (), (), _renumbered(intervals, joints)))


def _renumbered(intervals: Intervals, joints) -> Intervals:
    """The same with the cuts of these joints alone, numbered by their place."""
    cuts = tuple(
        replace(cut, joint=joints.index(cut.joint))
        for cut in intervals.cuts
        if cut.joint in joints
    )
    return replace(intervals, cuts=cuts)


def shared_intervals(planner: AssemblyPlanner, whole: Plan) -> SharedIntervals | None:
    options = planner.options
    if not options.uncertainty_mm or len(planner.every) > MOST_READINGS:
        return None
    if isinstance(planner, MixedAssemblyPlanner):
        return _of_mixed(planner, whole)
    if whole.settings is not None:
        of_set = of_settings(planner, whole)
        return of_set and _of_settings(planner, whole, of_set)
    free, step = planner.gone(whole.move)
    trims = trims_of(planner, whole)
    count = len(planner.arrays.bodies), len(planner.arrays.parts)
    if not (step != 0).any() and not trims.any():
        nothing = Intervals()
        return SharedIntervals((nothing,) * count[0], (nothing,) * count[1])
    drawn = Drawn(planner, trims)
    steps, cuts = drawn.planned(free.without(step == 0), step)
    if drawn.too_few(steps):
        return None
    moves = [planner.moves_of(free, each) for each in steps]
    return _of_moves(whole, moves, cut_intervals(planner, whole, cuts), count)


def _of_moves(whole: Plan, moves: list, cuts, count) -> SharedIntervals:
    """Of every body and every joint (how many of both: `count`), as drawn."""
    return SharedIntervals(
        tuple(
            move_intervals(whole.move.each[body], [made.each[body] for made in moves])
            for body in range(count[0])
        ),
        tuple(
            replace(
                move_intervals(
                    whole.move.against([joint]),
                    [made.against([joint]) for made in moves],
                ),
                cuts=tuple(cut for cut in cuts if cut.joint == joint),
                covariance=(),
            )
            for joint in range(count[1])
        ),
    )


def _of_mixed(planner, whole: Plan) -> SharedIntervals | None:
    """Of parts of which some are set: drawn as if they could be set exactly, their
    cuts for the settings that are told, and the others free beside them."""
    free, step = planner.gone(whole.move)
    rig, ours, trims = planner.rig, planner.of_set(free), trims_of(planner, whole)
    changed, unused = planner.steps != 0, ~ours & (step == 0)
    own, far = rig.own_rates(step[ours]), np.full(int(ours.sum()), WITHOUT_END)
    locked = np.vstack([rig.unset, own[~changed]])
    every = planner.beside(-far, far, locked).without(unused)
    drawn = Drawn(planner, trims)
    steps, _ = drawn.planned(every, step)
    if drawn.too_few(steps):
        return None
    set_u = np.array([adjuster.set_u or 0.0 for adjuster in rig.adjusters]) * changed
    of_settings = setting_intervals(whole.settings, steps[:, ours] @ own.T, set_u)
    cuts = ()
    if trims.any():
        also = Drawn(planner, trims, planner.slopes(planner.every, step) * set_u)
        steps_told, cut = also.planned(free.without(unused), step)
        if also.too_few(steps_told):
            return None
        cuts = cut_intervals(planner, whole, cut, IN_STEPS)
    moves = [planner.moves_of(every, each) for each in steps]
    count = len(planner.arrays.bodies), len(planner.arrays.parts)
    of_moves = _of_moves(whole, moves, cuts, count)
    parts = _of_set(planner, of_settings)
    return replace(
        of_moves,
        parts=tuple(
            part if planner.set_place(body) is None else parts[body]
            for body, part in enumerate(of_moves.parts)
        ),
    )


def _of_settings(planner, whole: Plan, intervals: Intervals) -> SharedIntervals:
    """Settings belong to the part that is set, cuts to their joint."""
    joints = range(len(planner.arrays.parts))
    cuts = [
        tuple(cut for cut in intervals.cuts if cut.joint == joint) for joint in joints
    ]
    parts = _of_set(planner, intervals.settings)
    return SharedIntervals(parts, tuple(Intervals(cuts=own) for own in cuts))


def _of_set(planner, settings) -> tuple[Intervals, ...]:
    """The intervals of the settings of every body, none of one that is not set."""
    arrays, by_name = planner.arrays, {setting.name: setting for setting in settings}
    parts = []
    for body in range(len(arrays.bodies)):
        own = ()
        if (place := planner.set_place(body)) is not None:
            here = planner.rig.own[place]
            names = [adjuster.name for adjuster in planner.rig.adjusters[here]]
            plain = [adjuster.name for adjuster in arrays.bodies[body].adjusters]
            own = tuple(
                replace(by_name[name], name=alone)
                for name, alone in zip(names, plain, strict=True)
                if name in by_name
            )
        parts.append(Intervals(settings=own))
    return tuple(parts)
