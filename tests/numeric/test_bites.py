"""Bites of known scatter: fewer rounds than the fixed fraction at the same risk.

A loop is simulated here from the start: a gap too tight by some, cuts that scatter
about what is asked, readings with their error, until the reading conforms. Too deep is
a true gap beyond the high limit. 1,000 loops: more by FAYLINE_BITE_LOOPS=20000.
"""

import math
import os
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from qa.numeric.plan import bite
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import OptionError, PlanOptions
from tests.numeric import doors

LOOPS = int(os.environ.get("FAYLINE_BITE_LOOPS", "1000"))
STILL = {"max_move_mm": 0.0, "max_turn_deg": 0.0}
JOINT = doors.square(gap=(1.0, 1.4))


def loop(random, decide, scatter, u, low, high):
    """(rounds, whether it ended too deep) of one station, 0.3 to 2 mm too tight."""
    gap, rounds = low - random.uniform(0.3, 2.0), 0
    read = gap + random.normal(0, u)
    while read < low and rounds < 50:
        gap += max(0.0, decide(read) + random.normal(0, scatter))
        read = gap + random.normal(0, u)
        rounds += 1
    return rounds, gap > high


def loops(decide, scatter, u, low, high):
    random = np.random.default_rng(14)
    told = [loop(random, decide, scatter, u, low, high) for _ in range(LOOPS)]
    return np.array(told).mean(axis=0)


@pytest.mark.parametrize("scatter", [0.05, 0.1, 0.15])
@pytest.mark.parametrize("high", [1.3, 1.4, 2.0])
def test_simulated_loops_need_fewer_rounds_than_the_fraction_at_equal_risk(
    scatter, high
):
    u, low, middle = 0.02, 1.0, (1.0 + high) / 2

    def fraction(read):
        trim = min(low + 0.15, middle) - read
        return bite.next_bite(trim, 0.6, 0.1)

    rounds, deep = loops(fraction, scatter, u, low, high)
    spread = math.hypot(scatter, u)
    risk = max(deep, 1 / LOOPS) / 2

    def surely(read):
        trim = min(low + bite.aim_of(spread), middle) - read
        return bite.sure_bite(trim, high - read, spread, risk, 0.0)

    fewer, as_deep = loops(surely, scatter, u, low, high)
    assert fewer < rounds, (fewer, rounds)
    chance = 2 * math.sqrt(2 * max(deep, 1 / LOOPS) / LOOPS)  # two sd of a difference
    assert as_deep <= deep + chance, (as_deep, deep)
    assert as_deep <= risk * fewer + chance  # the risk is stated a bite


def test_a_bite_comes_out_too_deep_as_often_as_is_allowed_and_no_more():
    # 0.3 of room, scatter 0.1: at 5 % it goes to 0.3 - 1.645 x 0.1 (tables).
    asked = bite.sure_bite(1.0, 0.3, 0.1, 0.05, 0.0)
    assert asked == pytest.approx(0.3 - 0.16449, abs=1e-5)
    assert bite.sure_bite(0.1, 0.3, 0.1, 0.05, 0.0) == 0.1
    assert bite.sure_bite(1.0, math.inf, 0.1, 0.05, 0.0) == 1.0
    assert bite.sure_bite(0.0, 0.3, 0.1, 0.05, 0.1) == 0.0
    # No bite is as sure as that: as little as can be told.
    assert bite.sure_bite(0.5, 0.1, 0.1, 0.05, 0.1) == 0.1
    with pytest.raises(bite.BiteError):
        bite.sure_bite(0.5, 0.1, 0.1, 0.0, 0.1)


def test_a_plan_aims_so_far_inside_that_one_cut_is_enough():
    gaps = [0.4, 1.2, 0.4, 1.2]
    options = PlanOptions(cut_scatter_mm=0.08, **STILL)
    plan = plan_fit(JOINT, gaps, doors.none(JOINT), options)
    right = plan.stations[0]
    # 1.645 x 0.08 inside 1.0; at most to the middle, 1.2; too deep is beyond 1.4.
    assert right.trim == pytest.approx(0.6 + 0.13159, abs=1e-4)
    assert right.next_bite == right.trim
    enough = 1 - NormalDist().cdf((1.0 - 0.4 - right.next_bite) / 0.08)
    assert enough == pytest.approx(0.95, abs=1e-3)
    # Where cuts scatter more the middle is the aim, and the risk shortens the bite.
    wide = plan_fit(
        JOINT, gaps, doors.none(JOINT), replace(options, cut_scatter_mm=0.2)
    ).stations[0]
    assert wide.trim == pytest.approx(0.8)
    assert wide.next_bite == pytest.approx(1.0 - 1.64485 * 0.2, abs=1e-4)
    none = plan_fit(JOINT, gaps, doors.none(JOINT), PlanOptions(**STILL)).stations[0]
    assert none.next_bite == pytest.approx(0.6 * none.trim)
    with pytest.raises(OptionError, match="more than 0"):
        PlanOptions(over_cut_risk=1.0)


def test_few_cuts_tell_a_wider_scatter_than_many():
    def after(count):
        return bite.expected_scatter(
            bite.Shortfall(1.0, 0.1, 0.05, count, math.sqrt(count))
        )

    assert after(2) is None and bite.expected_scatter(None) is None
    # Three cuts: t 4.303 for 1.960 (tables), and a third more of the variance.
    assert after(3) == pytest.approx(0.1 * math.sqrt(4 / 3) * 4.303 / 1.960, abs=1e-4)
    assert after(3) > after(10) > after(100) > 0.1
