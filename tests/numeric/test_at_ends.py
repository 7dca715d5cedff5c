"""Adjusters whose range ends before the plan does: they are named, and no others."""

from dataclasses import replace

import numpy as np
import pytest

from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import PlanOptions
from tests.numeric import doors
from tests.numeric.test_adjusters import HANGINGS, bolts, hung, measured, uncut


def ends(plan) -> list:
    values = [note.values for note in plan.notes if note.code == "settings_end"]
    return values[0]["ends"] if values else []


@pytest.mark.parametrize(
    ("low", "told"), [(-2.0, []), (-0.5, [-0.5, -0.5]), (0.0, [0.0, 0.0])]
)
def test_hinges_that_stop_before_the_door_is_back_are_named(low, told):
    # By hand: 0.8 to the right; the latch goes up and down, and has nothing to do.
    joint, gaps = doors.square(half=400.0), [1.2, 2.0, 2.8, 2.0]
    plan = plan_fit(
        joint, gaps, doors.none(joint), PlanOptions(adjusters=bolts(low=low))
    )
    named = [
        (name, pytest.approx(mm), -1) for name, mm in zip("AB", told, strict=False)
    ]
    assert ends(plan) == named


def test_a_part_that_is_left_as_it_is_has_no_end_to_speak_of():
    joint, gaps = doors.square(half=400.0), [1.2, 2.0, 2.8, 2.0]
    options = PlanOptions(adjusters=bolts(low=0.0), uncertainty_mm=0.05)
    assert ends(plan_fit(joint, gaps, doors.none(joint), options)) == []


def test_a_hinge_that_would_spare_a_cut_is_named_beside_the_cut():
    joint, gaps = doors.square(half=400.0), [0.2, 2.0, 3.8, 2.0]
    options = PlanOptions(adjusters=bolts(low=-0.5))
    plan = plan_fit(joint, gaps, doors.none(joint), options)
    assert plan.trim.needed or plan.outcome == "cannot"
    assert {name for name, *_ in ends(plan)} == {"A", "B"}


@pytest.mark.parametrize("hanging", HANGINGS)
def test_a_longer_range_of_those_that_are_named_is_worth_something(hanging):
    random, named = np.random.default_rng(14), 0
    for _ in range(40):
        adjusters, _free = hung(hanging, random)
        joint, gaps, flushes = measured(random)
        short = plan_of(joint, gaps, flushes, adjusters)
        stops = {name: sign for name, _mm, sign in ends(short)}
        if not stops:
            continue
        named += 1
        longer = plan_of(
            joint, gaps, flushes, [longer_by(a, stops.get(a.name)) for a in adjusters]
        )
        assert worth(joint, longer) < worth(joint, short)
    assert named


def plan_of(joint, gaps, flushes, adjusters):
    options = PlanOptions(adjusters=tuple(adjusters), trim="none")
    return plan_fit(joint, gaps, flushes, options)


def longer_by(adjuster, sign):
    """An adjuster with a range of a step more at the end that was named."""
    far = adjuster.step if sign else 0.0
    low, high = (far, 0.0) if sign == -1 else (0.0, far)
    return replace(adjuster, low=adjuster.low - low, high=adjuster.high + high)


def worth(joint, plan) -> tuple[float, float]:
    """What settings are chosen by: the worst deviation, then the sum, as rounded."""
    after, level = np.array([plan.set_only.gaps]), np.array([plan.set_only.flushes])
    worst, total = uncut(joint, after.astype(float), level.astype(float))
    return round(float(worst[0]), 6), float(total[0])
