"""What is planned beside settings: none that is better is left out unplanned."""

from dataclasses import replace

import numpy as np
import pytest

from qa.numeric.plan import boxes
from qa.numeric.plan.bodies import AssemblyArrays, Between, Body
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.lattice_aims import SeatAims, TrimAims, equal
from qa.numeric.plan.mixed_assembly import MixedAssemblyPlanner
from qa.numeric.plan.outlook import may_come_before
from qa.numeric.plan.result import PlanOptions
from qa.numeric.plan.seat import SeatProblem
from qa.numeric.plan.trim import TrimProblem
from tests.numeric.test_set_assembly import ENDS, FLAT, SHIMS, hung, measured


def set_beside_free(random, name, tight):
    """A planner of one part that is set, and one that goes freely."""
    bodies = Body("A", adjusters=hung(name, random)[1]), Body("B"), Body("C", True)
    joints = [
        Between(
            Measured(joint, (gaps - tight).clip(0.05).tolist(), flushes.tolist()),
            part,
            (surround,) * len(gaps),
        )
        for (joint, gaps, flushes), (part, surround) in zip(
            measured(random), ENDS, strict=True
        )
    ]
    options = PlanOptions(trim=None if tight else "none", max_trim_mm=0.8)
    arrays = AssemblyArrays(bodies, joints, None, options.rule, options.edition)
    planner = MixedAssemblyPlanner(arrays, options)
    planner.plan()
    return planner


def comes_before(aims, others):
    for mine, its in zip(aims, others, strict=True):
        if abs(mine - its) > equal(min(mine, its)):
            return mine < its
    return False


@pytest.mark.parametrize(("seed", "name"), [(1, SHIMS), (3, FLAT)])
@pytest.mark.parametrize("tight", [0.0, 0.6], ids=["seated", "cut"])
def test_no_settings_that_are_better_are_left_unplanned(seed, name, tight):
    planner = set_beside_free(np.random.default_rng(seed), name, tight)
    every, rules = planner.every, planner.rules(planner.every)
    aimed = np.zeros(len(every), dtype=bool)

    def come_to(steps):
        return planner._cut(steps, aimed) if tight else planner._seated(steps)

    def problem(free):
        if tight:
            return TrimProblem(every, free, replace(rules, ramps=()), aimed)
        return SeatProblem(every, free)

    seat_aims = SeatAims(every, planner.anywhere)
    trim_aims = TrimAims(every, planner.anywhere, rules, aimed)
    names = (trim_aims if tight else seat_aims).names
    lattice = boxes.settings(planner.rig.least, planner.rig.most)
    planned = [(steps, come_to(steps)) for steps in lattice]
    planned = [(steps, found) for steps, found in planned if found]
    left, worse = 0, 0
    for aims, (_, at, _) in (found for _, found in planned[:: len(planned) // 3]):
        named = dict(zip(names, aims.tolist(), strict=True))
        for steps, (others, _) in planned:
            likely = may_come_before(problem(planner._placed(steps)), at.step, named)
            assert likely or not comes_before(others, aims)
            left, worse = left + (not likely), worse + comes_before(aims, others)
    assert left > worse / 2
