"""Stacks of shims: worked by hand, against brute force, and what must hold."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.deviation import scales
from qa.numeric.joint import Limits
from qa.numeric.shims import AttachPoint, ShimError, plan_shims

CORNERS = [(-100.0, -50.0), (100.0, -50.0), (100.0, 50.0), (-100.0, 50.0)]
STOCK = (0.25, 0.5, 1.0)


def points(*stacks, places=CORNERS):
    return [
        AttachPoint(f"P{number}", place, stack)
        for number, (place, stack) in enumerate(
            zip(places, stacks, strict=True), start=1
        )
    ]


def planned(flush, held, *, limits=None, places=CORNERS, stock=STOCK, most=3):
    """A flat part whose stations are at `places`."""
    spots = np.array([(x, y, 0.0) for x, y in places])
    up = np.tile([0.0, 0.0, 1.0], (len(spots), 1))
    limits = limits or [Limits(-0.3, 0.3)] * len(spots)
    return plan_shims(spots, up, flush, scales(limits), held, stock, most)


def stacks_of(plan):
    return [stack.shims for stack in plan.stacks]


def test_a_part_half_a_millimeter_low_gets_half_a_millimeter_everywhere():
    """By hand: 0.5 low at all four corners, so that 0.5 at all four levels it."""
    plan = planned([-0.5] * 4, points(0, 0, 0, 0))
    assert stacks_of(plan) == [(0.5,)] * 4
    assert plan.worst_before == pytest.approx(0.5 / 0.3)
    assert plan.worst_after == pytest.approx(0, abs=1e-6)
    assert plan.conforms
    assert plan.shims_used == 4
    assert plan.to_fetch == {0.5: 4}


def test_a_thicker_shim_raises_the_part_and_a_proud_part_loses_shims():
    """By hand: 0.5 proud on stacks of 0.75 leaves 0.25."""
    plan = planned([0.5] * 4, points(0.75, 0.75, 0.75, 0.75))
    assert stacks_of(plan) == [(0.25,)] * 4
    assert plan.rise_mm == pytest.approx([-0.5] * 4, abs=1e-6)


def test_a_tilted_part_is_tilted_back():
    """By hand: the right side 1 mm low needs 1 mm on the right and none on the left."""
    plan = planned([0, -1, -1, 0], points(0, 0, 0, 0))
    assert stacks_of(plan) == [(), (1.0,), (1.0,), ()]
    assert plan.worst_after == pytest.approx(0, abs=1e-6)
    assert plan.shims_used == 2


def test_a_step_that_no_plane_cures_is_told_apart_from_a_coarse_stock():
    """By hand: a part twisted by +-0.4 stays 0.4 off whatever the plane."""
    twisted = planned([0.4, -0.4, 0.4, -0.4], points(0, 0, 0, 0))
    assert not twisted.conforms
    assert twisted.worst_ideal == pytest.approx(0.4 / 0.3)
    assert twisted.worst_after == pytest.approx(0.4 / 0.3)
    coarse = planned(
        [-0.9] * 4, points(0, 0, 0, 0), stock=(1.0,), limits=[Limits(-0.01, 0.01)] * 4
    )
    assert coarse.worst_ideal == pytest.approx(0, abs=1e-9)
    assert coarse.conforms
    thick = planned([-2.0] * 4, points(0, 0, 0, 0), most=1)
    assert not thick.conforms
    assert thick.worst_ideal == pytest.approx(0, abs=1e-9)
    # One shim of 1.0 and half the thinnest more: 2.0 - 1.125 is left.
    assert thick.worst_after == pytest.approx(0.875 / 0.3)


def test_what_the_part_does_when_it_settles_into_the_stacks_is_said_too():
    """By hand: 0.9 low on shims of 1.0 is 0.1 proud of flush once it sits."""
    plan = planned([-0.9] * 4, points(0, 0, 0, 0), stock=(1.0,))
    assert plan.worst_after == pytest.approx(0, abs=1e-6)
    assert plan.worst_settled == pytest.approx(0.1 / 0.3)
    assert [stack.misfit_mm for stack in plan.stacks] == pytest.approx([0.1] * 4)


def test_fewest_shims_are_taken_and_the_thicker_ones_of_equal_numbers():
    plan = planned([-1.25] * 4, points(0, 0, 0, 0), stock=(0.25, 0.5, 0.75, 1.0))
    assert stacks_of(plan) == [(1.0, 0.25)] * 4


def test_when_no_choice_lets_a_rigid_part_sit_there_are_no_stacks():
    """By hand: a corner 9 mm up cannot go below 6 mm with three 1 mm shims around."""
    plan = planned([0.0] * 4, points(9.0, 0, 0, 0), stock=(1.0,))
    assert plan.stacks is None
    assert (plan.worst_after, plan.shims_used, plan.conforms) == (None, None, False)
    assert plan.to_fetch == {}


def test_a_face_that_leans_moves_by_less():
    """By hand: faces at 60 degrees from up move by half the rise, so that 0.5 low
    needs 1.0."""
    lean = [math.sin(math.radians(60)), 0.0, math.cos(math.radians(60))]
    spots = np.array([(x, y, 0.0) for x, y in CORNERS])
    plan = plan_shims(
        spots,
        np.tile(lean, (4, 1)),
        [-0.5] * 4,
        scales([Limits(-0.1, 0.1)] * 4),
        points(0, 0, 0, 0),
        STOCK,
        3,
    )
    assert stacks_of(plan) == [(1.0,)] * 4
    assert plan.worst_after == pytest.approx(0, abs=1e-5)


def brute_force(flush, held, places, limits, stock, most):
    """Independent: every choice of stacks, each with its own linear program."""
    from scipy.optimize import linprog

    fewest = {}
    for count in range(most + 1):
        for shims in itertools.combinations_with_replacement(stock, count):
            fewest.setdefault(round(sum(shims), 9), count)
    half, best = min(stock) / 2, None
    for heights in itertools.product(fewest, repeat=len(held)):
        rows, right = [], []
        for (x, y), value, one in zip(places, flush, limits, strict=True):
            middle, width = (one.low + one.high) / 2, (one.high - one.low) / 2
            rows += [[1, x, y, -width], [-1, -x, -y, -width]]
            right += [middle - value, value - middle]
        for point, height in zip(held, heights, strict=True):
            change = height - point.shim_now_mm
            rows += [[1, *point.place, 0], [-1, *(-v for v in point.place), 0]]
            right += [change + half, half - change]
        bounds = [(None, None)] * 3 + [(0, None)]
        found = linprog([0, 0, 0, 1], A_ub=rows, b_ub=right, bounds=bounds)
        if found.status == 0:
            used = sum(fewest[height] for height in heights)
            if best is None or (found.x[3], used) < (best[0] - 1e-8, 0):
                best = (found.x[3], used)
            elif abs(found.x[3] - best[0]) <= 1e-8:
                best = (best[0], min(best[1], used))
    return best


@settings(deadline=None, max_examples=5)
@given(st.integers(0, 2**32 - 1), st.integers(3, 4))
def test_no_choice_of_stacks_is_better(seed, count):
    random = np.random.default_rng(seed)
    places = [tuple(place) for place in random.uniform(-200, 200, (6, 2))]
    flush = random.normal(0, 0.3, 6) + 0.003 * np.array(places)[:, 0]
    limits = [Limits(-0.3, float(high)) for high in random.uniform(0.1, 0.4, 6)]
    angles = np.linspace(0, 2 * math.pi, count, endpoint=False) + random.uniform(0, 0.5)
    held = [
        AttachPoint(
            f"P{k}",
            (150 * math.cos(angle), 150 * math.sin(angle)),
            float(random.choice([0, 0.25, 0.5])),
        )
        for k, angle in enumerate(angles)
    ]
    # 216 choices at three points, 81 at four.
    most = 2 if count == 3 else 1
    plan = planned(
        flush, held, limits=limits, places=places, stock=(0.25, 1.0), most=most
    )
    expected = brute_force(flush, held, places, limits, (0.25, 1.0), most)
    if expected is None:
        assert plan.stacks is None
    else:
        assert plan.worst_after == pytest.approx(expected[0], abs=1e-6)
        assert plan.shims_used == expected[1]


@settings(deadline=None, max_examples=10)
@given(st.integers(0, 2**32 - 1))
def test_the_predicted_plane_is_within_half_the_thinnest_shim_of_every_stack(seed):
    random = np.random.default_rng(seed)
    held = points(*random.choice([0, 0.25, 0.5, 1.0], 4))
    flush = random.normal(0, 0.4, 4)
    plan = planned(flush, held)
    if plan.stacks is None:
        return
    assert all(abs(stack.misfit_mm) <= 0.125 + 1e-6 for stack in plan.stacks)
    # Stations are at the points, so that the rise there is change less misfit.
    change = [s.shim_mm - s.shim_now_mm - s.misfit_mm for s in plan.stacks]
    assert plan.rise_mm == pytest.approx(change, abs=1e-6)
    after = np.abs(flush + plan.rise_mm) / 0.3
    assert np.max(after) <= plan.worst_after + 1e-5


def test_the_order_of_the_stations_does_not_matter_and_the_plan_repeats():
    flush, held = [0.3, -0.6, -0.2, 0.4], points(0.25, 0.5, 0, 0)
    first = planned(flush, held)
    turned = planned(flush[2:] + flush[:2], held, places=CORNERS[2:] + CORNERS[:2])
    assert stacks_of(first) == stacks_of(turned) == stacks_of(planned(flush, held))


def test_more_shims_allowed_are_never_worse():
    flush, held = [-0.7, -1.4, -2.1, -1.3], points(0, 0, 0, 0)
    worst = [planned(flush, held, most=most).worst_after for most in (1, 2, 3, 4)]
    assert worst == sorted(worst, reverse=True)


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"held": points(0, 0, places=CORNERS[:2])}, "three are needed"),
        (
            {"held": points(0, 0, 0, places=[(0, 0), (50, 0), (100, 0)])},
            "lie in a line",
        ),
        ({"held": points(-0.1, 0, 0, 0)}, "P1: the stack cannot be less"),
        ({"held": points(math.nan, 0, 0, 0)}, "must be numbers"),
        ({"held": points(0, 0, 0, 0)[:3] + points(0, 0, 0, 0)[:1]}, "the same name"),
        ({"stock": ()}, "0 thicknesses"),
        ({"stock": (0.25, 0.0)}, "a shim of 0 mm"),
        ({"stock": (math.nan,)}, "a shim of nan mm"),
        ({"most": 0}, "must be 1 to"),
        ({"flush": [], "places": [], "limits": []}, "no station"),
    ],
)
def test_what_cannot_be_planned_is_refused_with_the_reason(changed, why):
    given_all = {"flush": [0.0] * 4, "held": points(0, 0, 0, 0), **changed}
    if "places" in changed:
        with pytest.raises(ShimError, match=why):
            plan_shims([], [], [], scales([]), given_all["held"], STOCK, 3)
        return
    with pytest.raises(ShimError, match=why):
        planned(**given_all)
