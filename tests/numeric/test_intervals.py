"""95 % intervals of moves and cuts cover what exact readings would have asked for.

Each check draws a true part and reads it with errors, each reading's own and the zero
of the gauge; the same ways to move planned from the true values are what the interval
is to hold. 10 checks by default, 1,000 by FAYLINE_INTERVAL_CHECKS=1000 (.ci/long); of
a door with over 100 readings, for which fewer draws are made, a fifth of them.
"""

import math
import os
from dataclasses import replace
from itertools import count

import numpy as np
import pytest
from scipy.stats import norm

from qa.numeric.plan import intervals
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.known import with_known
from qa.numeric.plan.lexicographic import Infeasible
from qa.numeric.plan.planner import plan_joints
from qa.numeric.plan.result import OptionError, PlanOptions
from tests.numeric import doors
from tests.numeric.coverage import assert_95_percent

CHECKS = int(os.environ.get("FAYLINE_INTERVAL_CHECKS", "10"))
DOOR = doors.door(across=5, up=3, flush=(None, None))
COUNT = len(DOOR.stations)
LARGE = doors.door(across=30, up=24, flush=(None, None))
OPTIONS = PlanOptions(uncertainty_mm=0.04, aim_mm=0.15)


def true_gaps(random, tight, door):
    """A door out of place, with waviness; `tight` leaves something to cut."""
    shift, count = random.uniform(-1.5, 1.5, 2), len(door.stations)
    gaps = 2 - door.gap_directions[:, :2] @ shift + random.normal(0, 0.15, count)
    turn = random.uniform(-0.003, 0.003)
    gaps -= turn * np.cross(door.places, door.gap_directions)[:, 2]
    if tight:
        gaps[np.array([1, 3, 10, 12]) * count // COUNT] -= random.uniform(1.2, 2.0, 4)
        gaps[6 * count // COUNT] -= 1.4
    return np.maximum(gaps, 0.05)


def drawn(gaps, options, door=DOOR):
    part = Measured(door, gaps.tolist(), doors.none(door))
    return with_known([part], options, plan_joints([part], options), drawn=True)


def errors(random, tight, common, door):
    """How far each interval of one check is off, in its halves: (moves, cuts)."""
    options = replace(OPTIONS, common_u_mm=common)
    gaps = true_gaps(random, tight, door)
    own = math.sqrt(options.uncertainty_mm**2 - common**2)
    read = gaps + random.normal(0, own, len(gaps)) + random.normal(0, common)
    plan = drawn(np.maximum(read, 0.0), options, door)
    used = {one.name for one in plan.known.moves}
    if not used and not plan.known.cuts:
        return [], []
    motions = tuple(motion for motion in plan.move.motions if motion.name in used)
    still = PlanOptions(aim_mm=0.15, max_move_mm=0.0, max_turn_deg=0.0)
    exact = replace(OPTIONS, uncertainty_mm=None, motions=motions) if used else still
    true = plan_joints([Measured(door, gaps.tolist(), doors.none(door))], exact)
    amounts, trims = dict(true.move.amounts), {s.label: s.trim for s in true.stations}
    return (
        [(amounts[one.name] - one.value) / one.half for one in plan.known.moves],
        [(trims[one.label] - one.trim) / one.half for one in plan.known.cuts],
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    ("tight", "common", "door"),
    [(False, 0.0, DOOR), (True, 0.0, DOOR), (True, 0.03, DOOR), (True, 0.02, LARGE)],
    ids=["loose", "tight", "common", "large"],
)
def test_intervals_of_moves_and_cuts_hold_in_93_to_97_percent(tight, common, door):
    checks = CHECKS if door is DOOR else max(4, CHECKS // 5)
    random = map(np.random.default_rng, range(checks))
    rows = [errors(each, tight, common, door) for each in random]
    for moves_or_cuts in tuple(zip(*rows, strict=True))[: 2 if tight else 1]:
        assert_95_percent(np.concatenate(moves_or_cuts), checks)


@pytest.mark.parametrize("seed", [25, 98])
def test_draws_in_which_all_aims_came_to_nothing_before_are_planned(seed):
    random = np.random.default_rng(seed)
    moves, cuts = errors(random, tight=True, common=0.0, door=DOOR)
    assert moves and cuts


def test_of_many_readings_intervals_are_as_wide_as_those_of_all_draws(monkeypatch):
    """Fewer draws are made; what they tell stays near what 159 of them tell."""
    gaps = true_gaps(np.random.default_rng(1), True, LARGE)
    few = drawn(gaps, OPTIONS, LARGE).known
    monkeypatch.setattr(intervals, "FEWER", 159)
    many = drawn(gaps, OPTIONS, LARGE).known
    ratios = np.array(
        [
            one.half / all_of.half
            for one, all_of in zip(
                (*few.moves, *few.cuts), (*many.moves, *many.cuts), strict=True
            )
        ]
    )
    assert ratios.min() > 0.75 and ratios.max() < 1.3 and len(ratios) > 4, ratios


def test_the_zero_of_the_gauge_moves_every_cut_and_no_shift():
    # Right and left too tight alike: a zero off by 0.03 changes both cuts, not x.
    gaps = np.array([2.0] * COUNT)
    gaps[[5, 6, 7, 13, 14, 15]] = 0.4
    still = replace(OPTIONS, max_turn_deg=0.0)
    alone = drawn(gaps, still).known.cuts
    shared = drawn(gaps, replace(still, common_u_mm=0.0399)).known.cuts
    assert len(alone) == len(shared) == 6
    for one in (*alone, *shared):
        assert 0.5 * 0.04 * 1.96 < one.half < 1.4 * 0.04 * 1.96
    away = 2 - 1.2 * DOOR.gap_directions[:, 0]
    moved = drawn(away, still)
    common = drawn(away, replace(still, common_u_mm=0.0399))
    (x,) = [one for one in moved.known.moves if one.name == "x"]
    (less,) = [one for one in common.known.moves if one.name == "x"]
    assert less.half < 0.2 * x.half


def test_a_cut_that_may_be_no_deeper_than_its_aim_is_cut_or_not():
    """Held, 0.03 below its limit and read by 0.04, allowed 0.1 where the aim is 0.15:
    0.1 with probability Phi(0.75), else nothing; by SciPy's normal."""
    shallow = doors.door(across=5, up=3, flush=(None, None), trim_max=0.1)
    gaps = [2.0] * COUNT
    gaps[6] = 0.97
    still = replace(OPTIONS, max_turn_deg=0.0, max_move_mm=0.0)
    part = Measured(shallow, gaps, doors.none(shallow))
    plan = with_known([part], still, plan_joints([part], still), drawn=True)
    (cut,) = plan.known.cuts
    assert (cut.trim, cut.half) == pytest.approx((0.1, 0.1))


def test_nothing_known_of_readings_has_no_intervals_and_zero_moves_none():
    gaps = 2 - 1.2 * DOOR.gap_directions[:, 0]
    assert drawn(gaps, PlanOptions()).known.moves == ()
    plan = drawn(np.full(COUNT, 2.0), OPTIONS)
    assert plan.known.moves == () == plan.known.cuts
    with pytest.raises(OptionError, match="less than the uncertainty"):
        replace(OPTIONS, common_u_mm=0.04)


def test_few_draws_that_cannot_be_planned_may_lack_and_more_leave_no_interval(
    monkeypatch,
):
    gaps = (2 - 1.2 * DOOR.gap_directions[:, 0]).tolist()
    part, real = [Measured(DOOR, gaps, doors.none(DOOR))], intervals.SeatProblem.solve
    plan = plan_joints(part, OPTIONS)
    for every, told in ((60, 1), (20, 0)):
        draws = count(1)

        def solve(*said, every=every, draws=draws):
            if next(draws) % every == 0:
                raise Infeasible
            return real(*said)

        monkeypatch.setattr(intervals.SeatProblem, "solve", solve)
        known = with_known(part, OPTIONS, plan, drawn=True).known
        assert len(known.moves) == told


def test_digits_end_where_an_interval_begins():
    gaps = 2 - 1.2 * DOOR.gap_directions[:, 0]
    (x,) = drawn(gaps, OPTIONS).known.moves
    assert x.name == "x" and 0.01 < x.half < 0.1 and x.digits == 2
    assert replace(x, half=0.3).digits == 1 and replace(x, half=3.0).digits == 0


def test_a_common_error_makes_all_or_nothing_of_a_probability():
    # Four gaps 2 u inside one limit: independent 0.97725^4 (table of the normal). With
    # 0.08 of 0.1 in common it is drawn: 400,000 times, to 0.0003.
    joint = doors.square(gap=(1.0, None))
    still = {"max_move_mm": 0.0, "max_turn_deg": 0.0, "uncertainty_mm": 0.1}
    part = Measured(joint, [1.2] * 4, doors.none(joint))
    alone = plan_joints([part], PlanOptions(**still)).probability
    assert alone == pytest.approx(0.977249868**4, abs=1e-8)
    common = plan_joints([part], PlanOptions(common_u_mm=0.08, **still)).probability
    random = np.random.default_rng(1)
    true = (
        1.2
        + random.normal(0, 0.06, (400_000, 4))
        + random.normal(0, 0.08, (400_000, 1))
    )
    assert common == pytest.approx((true > 1).all(axis=1).mean(), abs=1e-3)
    assert common > alone


def test_every_gauge_has_a_zero_of_its_own():
    # Gaps 1.1 and 3.2 right and left: half their difference is known to u / 2^0.5. One
    # gauge has its zero out of it, two have not, nor has one of which nothing is told.
    joint = doors.square()
    options = PlanOptions(uncertainty_mm=0.1, common_u_mm=0.09)
    own = math.sqrt(0.1**2 - 0.09**2)
    for gauges, u in (((0,) * 4, own), ((0, 0, 7, 0), 0.1), ((-1,) * 4, 0.1)):
        part = Measured(joint, [1.1, 2, 3.2, 2], doors.none(joint), (gauges, (0,) * 4))
        plan = with_known([part], options, plan_joints([part], options), drawn=True)
        (x,) = (one for one in plan.known.moves if one.name == "x")
        assert x.half == pytest.approx(1.96 * u / 2**0.5, rel=0.25)


def test_the_zeros_of_two_gauges_are_summed_over_apart():
    # Of four gaps two stand 0.2 inside the limit by each gauge: the square of what one
    # zero leaves of two, by a sum of its own over the zero.
    joint = doors.square(gap=(1.0, None))
    still = {"max_move_mm": 0.0, "max_turn_deg": 0.0, "uncertainty_mm": 0.1}
    nodes = np.linspace(-8, 8, 4001)
    two = norm.pdf(nodes) * norm.cdf((0.2 + 0.08 * nodes) / 0.06) ** 2
    for gauges, chance in (
        ((3, 5, 3, 5), (two.sum() * 0.004) ** 2),
        ((-1, 3, -1, 3), norm.cdf(2.0) ** 2 * two.sum() * 0.004),
    ):
        part = Measured(joint, [1.2] * 4, doors.none(joint), (gauges, (0,) * 4))
        told = plan_joints([part], PlanOptions(common_u_mm=0.08, **still)).probability
        assert told == pytest.approx(chance, abs=1e-6)
