"""Stacks of shims: worked by hand, against brute force, and what must hold."""

import itertools
import math
import os
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.geometry.joint import Limits
from qa.numeric.shims.stacks import AttachPoint, ShimError, plan_shims
from qa.numeric.verdict.deviation import drawn_in, scales
from qa.numeric.verdict.report import (
    Outcome,
    StationLimits,
    StationReading,
    judge_check,
)

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
        [-0.9] * 4, points(0, 0, 0, 0), stock=(1.0,), limits=[Limits(-0.05, 0.05)] * 4
    )
    assert coarse.worst_ideal == pytest.approx(0, abs=1e-9)
    assert coarse.worst_after == pytest.approx(0.1 / 0.05)
    assert not coarse.conforms
    thick = planned([-2.0] * 4, points(0, 0, 0, 0), most=1)
    assert not thick.conforms
    assert thick.worst_after == pytest.approx(1.0 / 0.3)


def test_half_a_shim_is_no_freedom_of_the_part():
    """By hand: three stacks make one plane, and with shims of 1.0 the part comes 0.1
    proud, not flush; four stacks of which one is 0.25 too high make it rock."""
    three = CORNERS[:3]
    plan = planned(
        [-0.9] * 3,
        points(0, 0, 0, places=three),
        places=three,
        stock=(1.0,),
        limits=[Limits(-0.05, 0.05)] * 3,
    )
    assert plan.worst_after == pytest.approx(0.1 / 0.05)
    assert (plan.conforms, plan.rests) == (False, (("P1", "P2", "P3"),))
    rocking = planned([0] * 4, points(0.25, 0, 0, 0), stock=(10.0,))
    assert rocking.worst_after == pytest.approx(0.25 / 0.3)
    assert stacks_of(rocking) == [()] * 4
    assert rocking.rests == (("P1", "P2", "P4"), ("P2", "P3", "P4"))


def test_a_state_that_stays_is_judged_as_it_was_read():
    """No stack can change (a stock of 100 only): 1 nm over its limit stays so."""
    for over, conforms in ((0, True), (1, False)):
        flush = [0.3 + over * 1e-6, 0, 0, -0.3]
        plan = planned(flush, points(0, 0, 0, 0), stock=(100.0,))
        assert stacks_of(plan) == [()] * 4
        assert plan.conforms is conforms


def test_fewest_shims_are_taken_and_the_thicker_ones_of_equal_numbers():
    plan = planned([-1.25] * 4, points(0, 0, 0, 0), stock=(0.25, 0.5, 0.75, 1.0))
    assert stacks_of(plan) == [(1.0, 0.25)] * 4


def test_a_stack_that_bears_nothing_in_some_way_is_told():
    """By hand: the middle of five points may stay free; it gets what fits below."""
    places = [*CORNERS, (0.0, 0.0)]
    plan = planned(
        [-1.1] * 4, points(0, 0, 0, 0, 0, places=places), places=CORNERS, stock=(1.1, 1)
    )
    assert stacks_of(plan)[:4] == [(1.1,)] * 4
    assert plan.worst_after == pytest.approx(0, abs=1e-9)
    assert plan.stacks[4].loose_mm <= 0.1 + 1e-9


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


def plane_through(three):
    """Independent and exact: z = a + b x + c y through three points, by Cramer."""
    (x1, y1, z1), (x2, y2, z2), (x3, y3, z3) = three
    whole = (x2 - x1) * (y3 - y1) - (x3 - x1) * (y2 - y1)
    if whole == 0:
        return None
    b = ((z2 - z1) * (y3 - y1) - (z3 - z1) * (y2 - y1)) / whole
    c = ((x2 - x1) * (z3 - z1) - (x3 - x1) * (z2 - z1)) / whole
    return z1 - b * x1 - c * y1, b, c


def planes_on(held, heights):
    """Every plane on which a part can rest, as fractions: on three, through none."""
    tops = [
        (*map(exactly, point.place), exactly(height) - exactly(point.shim_now_mm))
        for point, height in zip(held, heights, strict=True)
    ]
    found = set()
    for three in itertools.combinations(tops, 3):
        plane = plane_through(three)
        a, b, c = plane or (-math.inf, 0, 0)
        if all(a + b * x + c * y >= z for x, y, z in tops):
            found.add(plane)
    return found


def exactly(mm):
    return Fraction(round(mm * 10**6), 10**6)


def rises_on(plane, places):
    a, b, c = plane
    return [a + b * exactly(x) + c * exactly(y) for x, y in places]


def brute_force(flush, held, places, limits, stock, most):
    """Independent: every choice of stacks, every way of resting, in fractions."""
    fewest, best = {}, None
    for count in range(most + 1):
        for shims in itertools.combinations_with_replacement(stock, count):
            fewest.setdefault(round(sum(shims), 9), count)
    for heights in itertools.product(fewest, repeat=len(held)):
        worst = max(
            abs(exactly(value) + rise - (exactly(one.low) + exactly(one.high)) / 2)
            / ((exactly(one.high) - exactly(one.low)) / 2)
            for plane in planes_on(held, heights)
            for value, rise, one in zip(
                flush, rises_on(plane, places), limits, strict=True
            )
        )
        used = sum(fewest[height] for height in heights)
        if best is None or float(worst) < best[0] - 1e-9:
            best = (float(worst), used)
        elif float(worst) <= best[0] + 1e-9:
            best = (best[0], min(best[1], used))
    return best


def held_round(random, count):
    """Attach points about a circle, stacks that are there already."""
    angles = np.linspace(0, 2 * math.pi, count, endpoint=False) + random.uniform(0, 0.5)
    return [
        AttachPoint(
            f"P{k}",
            (
                round(150 * math.cos(angle), 3),
                round(150 * math.sin(angle), 3),
            ),
            float(random.choice([0, 0.25, 0.5])),
        )
        for k, angle in enumerate(angles)
    ]


def a_case(seed, count):
    random = np.random.default_rng(seed)
    places = [tuple(place) for place in random.uniform(-200, 200, (6, 2)).round(3)]
    tilt = random.uniform(-0.004, 0.004, 2)
    flush = random.normal(0, random.choice([0.05, 0.2]), 6) + np.array(places) @ tilt
    highs = random.uniform(0.1, 0.4, 6).round(4)
    limits = [Limits(-0.3, float(high)) for high in highs]
    return flush.round(6), held_round(random, count), places, limits


@settings(deadline=None, max_examples=8)
@given(st.integers(0, 2**32 - 1), st.integers(3, 4))
def test_no_choice_of_stacks_is_better(seed, count):
    flush, held, places, limits = a_case(seed, count)
    # 216 choices at three points, 81 at four.
    most = 2 if count == 3 else 1
    plan = planned(
        flush, held, limits=limits, places=places, stock=(0.25, 1.0), most=most
    )
    expected = brute_force(flush, held, places, limits, (0.25, 1.0), most)
    assert plan.proven
    assert plan.worst_after == pytest.approx(expected[0], abs=1e-6)
    assert plan.shims_used == expected[1]


CASES = int(os.environ.get("FAYLINE_CASES", "100"))


@settings(deadline=None, max_examples=CASES)
@given(
    st.integers(0, 2**32 - 1),
    st.integers(3, 6),
    st.sampled_from([None, 10_000, 30_000]),
)
def test_what_conforms_passes_as_a_check_on_the_plane_its_stacks_make(seed, count, u):
    """Both ways: said to conform, and every way of resting passes; said not to, and one
    fails. The plane is worked out here in fractions, the check is that of check_fit."""
    flush, held, places, limits = a_case(seed, count)
    rule = "simple" if u is None else "guarded"
    drawn = [drawn_in(one, None if u is None else u / 1e6, rule) for one in limits]
    stock, most = ((0.25, 0.5, 1.0), (0.1,), (0.5,))[seed % 3], 2 if count < 5 else 1
    plan = planned(flush, held, limits=drawn, places=places, stock=stock, most=most)
    asked = [
        StationLimits(flush_low_nm=nm(one.low), flush_high_nm=nm(one.high))
        for one in limits
    ]
    passes = []
    heights = [sum(shims) for shims in stacks_of(plan)]
    for plane in planes_on(held, heights):
        after = [
            StationReading(flush_nm=round((exactly(value) + rise) * 10**6))
            for value, rise in zip(flush, rises_on(plane, places), strict=True)
        ]
        labels = [str(row) for row in range(len(after))]
        report = judge_check(labels, asked, after, rule=rule, u_nm=u)
        passes.append(report.outcome is Outcome.CONFORMS)
    assert plan.conforms == all(passes)
    assert passes


def nm(mm):
    return round(mm * 10**6)


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
