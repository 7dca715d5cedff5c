"""Ways side by side: what a fitter would do first, and none worse than leaving it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.result import OptionError, PlanOptions
from qa.numeric.plan.ways import Rates, _rank, ways
from tests.numeric import doors
from tests.numeric.test_adjusters import bolts, measured

DOOR = doors.door(across=7, up=5)
COUNT = len(DOOR.stations)
FEW = settings(max_examples=10, deadline=None)
SET_BY = [None, bolts()]


def of(gaps, flushes=None, joint=DOOR, wished=None, **options):
    part = Measured(joint, gaps, flushes or doors.none(joint))
    return ways([part], PlanOptions(**options), wished)


def by_kind(found):
    return {way.kind: way for way in found}


@pytest.mark.parametrize("adjusters", SET_BY)
@pytest.mark.parametrize("seed", range(3))
def test_a_uniform_gap_with_one_tight_corner_recommends_trimming_the_corner(
    adjusters, seed
):
    random = np.random.default_rng(seed)
    gaps = 2 + random.normal(0, 0.05, COUNT).round(2)
    gaps[[0, COUNT - 1]] = 0.6  # one on either side of the lower left corner
    first = of(gaps.tolist(), adjusters=adjusters)[0]
    assert first.kind == "trim"
    assert set(first.cut) == {0, COUNT - 1} == set(first.stale)
    assert first.adjusters_changed == 0


@pytest.mark.parametrize("adjusters", SET_BY)
@pytest.mark.parametrize("seed", range(4))
def test_a_door_that_is_only_displaced_recommends_setting_it_and_no_cut(
    adjusters, seed
):
    random = np.random.default_rng(seed)
    angle = random.uniform(0, 2 * np.pi)
    away = 1.5 * np.array([math.cos(angle), math.sin(angle), 0.0])
    gaps = 2 - DOOR.gap_directions @ away + random.normal(0, 0.03, COUNT)
    found = of(gaps.round(2).tolist(), adjusters=adjusters)
    assert found[0].kind == "set" and found[0].cut == ()
    assert found[0].conforms and found[0].trim_area_mm2 == 0
    assert len(found[0].stale) == COUNT


@pytest.mark.parametrize("adjusters", SET_BY)
@FEW
@given(st.integers(0, 10_000))
def test_a_conforming_part_hears_leave(adjusters, seed):
    random = np.random.default_rng(seed)
    gaps = random.uniform(1.0, 3.0, COUNT).round(3).tolist()
    flushes = random.uniform(-0.5, 0.5, COUNT).round(3).tolist()
    first = of(gaps, flushes, adjusters=adjusters)[0]
    assert (first.kind, first.minutes, first.stale) == ("leave", 0.0, ())
    assert [s.gap_after for s in first.plan.stations] == pytest.approx(gaps)


@pytest.mark.parametrize("adjusters", SET_BY)
@FEW
@given(st.integers(0, 10_000), st.sampled_from([0.5, 0.9, 0.99]))
def test_leaving_it_comes_first_wherever_it_is_as_sure_as_is_wished(
    adjusters, seed, wished
):
    random = np.random.default_rng(seed)
    gaps = random.uniform(1.05, 2.95, COUNT).round(3).tolist()
    said = {"adjusters": adjusters, "uncertainty_mm": 0.04}
    found = of(gaps, wished=wished, **said)
    leave = by_kind(found)["leave"]
    # Errors are independent: the product of what the normal has between the limits.
    chance = math.prod(
        (math.erf((3 - gap) / 0.04 / 2**0.5) + math.erf((gap - 1) / 0.04 / 2**0.5)) / 2
        for gap in gaps
    )
    assert leave.probability == pytest.approx(chance, abs=1e-6)
    if leave.meets or any(way.meets for way in found):
        assert (found[0].kind == "leave") == leave.meets
    else:
        nearest_by_the_least_work(found)
    assert leave.meets == (chance >= wished)


def nearest_by_the_least_work(found):
    """Nothing is as sure as is wished: first is what is as sure as any, in what is told
    of a probability, by the least work of such."""
    most = max(way.probability for way in found)
    assert found[0].probability >= most - 0.001
    alike = [way for way in found if round(way.probability, 3) == round(most, 3)]
    assert found[0].minutes == min(way.minutes for way in alike)


def test_no_work_is_asked_for_a_probability_that_is_greater_by_nothing():
    gaps = (2 - 0.95 * DOOR.gap_directions[:, 0]).round(3).tolist()
    told = by_kind(of(gaps, uncertainty_mm=0.05))
    leave, set_it = (
        replace(told[kind], conforms=True, meets=False, probability=chance)
        for kind, chance in (("leave", 0.9), ("set", 0.9 + 6e-16))
    )
    assert leave.minutes < set_it.minutes and leave.probability < set_it.probability
    nearest_by_the_least_work(sorted((set_it, leave), key=_rank))
    surer = replace(set_it, probability=0.95)
    assert min(leave, surer, key=_rank) is surer


@pytest.mark.parametrize("adjusters", SET_BY)
@FEW
@given(st.integers(0, 10_000), st.floats(-1.2, 1.2))
def test_no_way_is_worse_than_leaving_it(adjusters, seed, tight):
    random = np.random.default_rng(seed)
    joint, gaps, flushes = measured(random)
    gaps = [max(0.0, round(gap - tight, 3)) for gap in gaps]
    found = of(gaps, flushes, joint, adjusters=adjusters, max_trim_mm=0.6)
    kinds = by_kind(found)
    assert set(kinds) == {"leave", "set", "trim", "both"}
    for way in found:
        assert way.conforms or way.worst <= kinds["leave"].worst + 1e-6
        assert way.conforms >= kinds["leave"].conforms
    assert kinds["both"].conforms >= max(kinds["set"].conforms, kinds["trim"].conforms)
    assert found[0].conforms == any(way.conforms for way in found)
    assert kinds["trim"].plan.move.displacement(joint.places) == pytest.approx(0)


def test_the_work_is_counted_by_the_rates_of_the_shop():
    # By hand: 0.2 off two stations of 100 mm each, two witnesses are all there are.
    joint = doors.square(half=100.0)
    found = by_kind(of([0.8, 2, 0.8, 2], joint=joint, max_move_mm=0, max_turn_deg=0))
    length = 2 * float(joint.length_weights[0])
    assert found["trim"].trim_length_mm == pytest.approx(length)
    assert found["trim"].trim_area_mm2 == pytest.approx(0.2 * length)
    assert found["trim"].minutes == pytest.approx(20 + 0.03 * length + 4 * 0.5)
    with pytest.raises(ValueError, match="cut is below 0"):
        Rates(cut=-1.0)


def test_a_wished_probability_can_ask_for_more_than_conforming():
    # All on the low limit conform with a half each; in the middle surely.
    gaps = (2 - 0.95 * DOOR.gap_directions[:, 0]).round(3).tolist()
    assert of(gaps, uncertainty_mm=0.05)[0].kind == "leave"
    first = of(gaps, uncertainty_mm=0.05, wished=0.95)[0]
    assert first.kind == "set" and first.probability > 0.95
    with pytest.raises(OptionError, match="between 0 and 1"):
        of(gaps, uncertainty_mm=0.05, wished=1.5)
