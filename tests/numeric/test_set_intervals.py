"""95 % intervals of settings, and of cuts beside them, cover what exact readings ask.

A setting is held against what would be set if nothing came in steps, by our own motions
about the places that hold the part; a cut against what is left to cut where settings
truly went, each wrong by what is said of it. 10 checks by default, 1,000 by
FAYLINE_INTERVAL_CHECKS=1000 (.ci/long). And draws are planned as each by itself.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from qa.numeric.plan import intervals
from qa.numeric.plan.adjusters import Adjuster
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.motions import Motion
from qa.numeric.plan.planner import plan_joints, planner_of
from qa.numeric.plan.result import PlanOptions
from tests.numeric import boltwise, doors
from tests.numeric.test_intervals import CHECKS, COUNT, DOOR, OPTIONS, drawn, true_gaps

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
UPPER, LOWER, LATCH = (-420.0, 180.0, 0.0), (-420.0, -180.0, 0.0), (420.0, 0.0, 0.0)
COMMON = 0.02


def bolts(set_u):
    """Two hinges that are set aside and a latch that is set up and down, in tenths."""
    where = (("upper", UPPER, X), ("lower", LOWER, X), ("latch", LATCH, Y))
    return tuple(Adjuster(*each, -4.0, 4.0, 0.1, 0.0, set_u) for each in where)


def ways_of(changed):
    """How a door goes of which only those `changed` are set: by motions about places
    where the others hold it."""
    none, far = (0.0, 0.0, 0.0), 10.0
    x, y = Motion("x", X, none, none, -far, far), Motion("y", Y, none, none, -far, far)
    free = [y] if changed["latch"] else []
    if changed["upper"] and changed["lower"]:
        free.append(x)
    if changed["upper"] or changed["lower"]:
        about = UPPER if changed["lower"] else LOWER
        about = about if changed["latch"] else (LATCH[0], about[1], 0.0)
        free.insert(0, Motion("turn", none, Z, about, -0.1, 0.1))
    return tuple(free)


def held_when_set(random, tight, set_u):
    """For each interval of one check whether it holds what is true, of a door set in
    whole steps that come out wrong by `set_u`: (settings, cuts)."""
    by = bolts(set_u)
    options = replace(OPTIONS, adjusters=by, common_u_mm=COMMON)
    gaps = true_gaps(random, tight, DOOR)
    own = math.sqrt(options.uncertainty_mm**2 - COMMON**2)
    read = gaps + random.normal(0, own, COUNT) + random.normal(0, COMMON)
    plan = drawn(np.maximum(read, 0.0), options)
    astray = random.normal(0, set_u or 0.0, len(by))
    changes = np.array([setting.change for setting in plan.settings])
    changed = {setting.name: setting.steps != 0 for setting in plan.settings}
    astray = np.where(list(changed.values()), astray, 0.0)
    exact = replace(OPTIONS, uncertainty_mm=None, motions=ways_of(changed))
    settings = []
    if any(changed.values()):
        true = plan_joints([Measured(DOOR, gaps.tolist(), doors.none(DOOR))], exact)
        ideal = true.move.displacement(np.array([one.place for one in by]))
        ideal = (ideal * [one.direction for one in by]).sum(axis=1) + astray
        wanted = dict(zip(changed, ideal, strict=True))
        settings = [
            abs(wanted[one.name] - one.value) <= one.half for one in plan.known.settings
        ]
    house = boltwise.Door(by, ("x", "y", "turn"))
    amounts, _ = house.turned_to((changes + astray)[None])
    came, _ = house.readings_after(DOOR, gaps, np.zeros(COUNT), amounts)
    still = PlanOptions(aim_mm=0.15, max_move_mm=0.0, max_turn_deg=0.0)
    left = Measured(DOOR, np.maximum(came[0], 0.0).tolist(), doors.none(DOOR))
    trims = {s.label: s.trim for s in plan_joints([left], still).stations}
    return settings, [
        abs(trims[one.label] - one.trim) <= one.half for one in plan.known.cuts
    ]


@pytest.mark.slow
@pytest.mark.parametrize("set_u", [None, 0.05])
@pytest.mark.parametrize("tight", [False, True])
def test_intervals_of_settings_and_cuts_hold_in_93_to_97_percent(tight, set_u):
    random = map(np.random.default_rng, range(CHECKS))
    found = [held_when_set(each, tight, set_u) for each in random]
    for which in (0, 1) if tight else (0,):
        every = np.concatenate([check[which] for check in found])
        # Those of one check go together: chance is that of so many checks.
        chance = 2 * math.sqrt(0.05 * 0.95 / CHECKS)
        share = every.mean()
        assert 0.93 - chance <= share <= 0.97 + chance, (which, share, len(every))


def test_a_draw_is_planned_as_if_it_were_the_first():
    """What can be cut is just enough or not quite: aims come to nothing or do not."""
    door = doors.door(across=5, up=3)
    random = np.random.default_rng(5)
    gaps, options = true_gaps(random, True, DOOR), replace(OPTIONS, max_trim_mm=1.1)
    flushes = random.normal(0, 0.25, COUNT).tolist()
    part = [Measured(door, gaps.tolist(), flushes)]
    plan, planner = plan_joints(part, options), planner_of(part, options)
    free, step = planner.gone(plan.move)
    trims = intervals.trims_of(planner, plan)
    draws = intervals.Drawn(planner, trims)
    together = intervals.Replanned(draws, free, step)
    skipped = set()
    for noisy in draws.readings():
        at, cut = together.plan(noisy)
        skipped.add(max(nothing for _, nothing in together.near.values()))
        alone_at, alone_cut = intervals.Replanned(draws, free, step).plan(noisy)
        assert at == pytest.approx(alone_at, abs=1e-6)
        assert cut == pytest.approx(alone_cut, abs=1e-6)
    assert len(skipped) > 1
