"""Below what readings are known to nothing moves, and no verdict depends on it."""

import math
import os
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import OptionError, PlanOptions
from tests.numeric import doors
from tests.numeric.test_adjusters import bolts
from tests.numeric.test_plan_properties import HINGED, case, check_one

# In tens; 1,000 in .ci/long.
CASES = int(os.environ.get("FAYLINE_RESOLUTION_CASES", "30"))
FEW = settings(max_examples=8, deadline=None)
DOOR = doors.door(across=7, up=5)
COUNT = len(DOOR.stations)
FREEDOMS = ({}, {"motions": HINGED}, {"adjusters": bolts()})
CODES = "leave", "trifles", "settings_trifling"


def hatch(wide=300.0, high=309.0, count=24):
    """Nearly round: a turn does next to nothing."""
    stations = []
    for number in range(count):
        angle = 2 * math.pi * number / count
        way = np.array([math.cos(angle) / wide, math.sin(angle) / high])
        stations.append(
            Station(
                str(number),
                (wide * math.cos(angle), high * math.sin(angle), 0.0),
                gap_direction=(*(way / np.linalg.norm(way)).tolist(), 0.0),
                gap=Limits(1.0, 3.0),
                flush=Limits(-0.5, 0.5),
            )
        )
    return build_joint(stations)


def codes(plan):
    return {note.code for note in plan.notes}


@pytest.mark.parametrize("freedom", FREEDOMS)
@FEW
@given(st.integers(0, 10_000))
def test_a_perfect_part_with_noise_is_left_as_it_is(freedom, seed):
    random = np.random.default_rng(seed)
    gaps, flushes = (
        (middle + random.normal(0, 0.03, COUNT)).round(3).tolist()
        for middle in (2.0, 0.0)
    )
    told = plan_fit(DOOR, gaps, flushes, PlanOptions(**freedom))
    assert "leave" not in codes(told)
    options = PlanOptions(uncertainty_mm=0.03, **freedom)
    plan = plan_fit(DOOR, gaps, flushes, options)
    assert plan.outcome == "fits" and "leave" in codes(plan)
    assert np.abs(plan.move.displacement(DOOR.places)).max() < 1e-9
    assert [one.gap_after for one in plan.stations] == pytest.approx(gaps, abs=1e-9)
    assert not any(one.steps for one in plan.settings or ())


@FEW
@given(st.integers(0, 10_000))
def test_a_displaced_hatch_is_moved_one_way_and_not_turned_for_its_noise(seed):
    random = np.random.default_rng(seed)
    joint = hatch()
    gaps = 2 - 1.2 * joint.gap_directions[:, 0] + random.normal(0, 0.02, 24)
    flushes = random.normal(0, 0.02, 24).round(3).tolist()
    options = PlanOptions(max_turn_deg=5.0)
    best = plan_fit(joint, gaps.round(3).tolist(), flushes, options)
    options = replace(options, uncertainty_mm=0.03)
    plan = plan_fit(joint, gaps.round(3).tolist(), flushes, options)
    used = {name for name, amount in plan.move.amounts if amount}
    assert used == {"x"} and "trifles" in codes(plan)
    assert plan.move.x_mm == pytest.approx(-1.2, abs=0.06)
    for one, other in zip(plan.stations, best.stations, strict=True):
        # No reading ends worse than the best by more than 0.06, of half widths 1, 0.5.
        worse = one.gap_deviation_after - other.gap_deviation_after
        assert worse <= 0.06 + 1e-6 or one.gap_deviation_after <= 0.12
        assert abs(one.flush_after) <= abs(other.flush_after) + 0.06 + 1e-6


@pytest.mark.parametrize("first", range(0, CASES, 10))
def test_the_resolution_changes_no_outcome(first):
    for seed in range(first, first + 10):
        joint, gaps, flushes, options = case(seed)
        options = replace(options, rule="simple", uncertainty_mm=None)
        without, _ = check_one((joint, gaps, flushes, options))
        for changes in ({"uncertainty_mm": 0.05}, {"least_cut_mm": 0.1}):
            drawn = joint, gaps, flushes, replace(options, **changes)
            plan, _ = check_one(drawn)
            assert plan.outcome == without.outcome, seed
            if codes(plan).isdisjoint(CODES) and "uncertainty_mm" in changes:
                assert plan.move == without.move, seed
            for one in zip(plan.stations, without.stations, strict=True):
                known = [each.reasons for each in one]
                assert bool(known[0]) <= bool(known[1]), seed


@FEW
@given(st.integers(0, 10_000))
def test_adjusters_that_gain_a_trifle_stay_and_the_outcome_too(seed):
    random = np.random.default_rng(seed)
    away = random.uniform(-1.6, 1.6, 2)
    gaps = 2 - DOOR.gap_directions[:, :2] @ away + random.normal(0, 0.05, COUNT)
    gaps = np.maximum(gaps, 0.0).round(3).tolist()
    options = PlanOptions(adjusters=bolts())
    best = plan_fit(DOOR, gaps, doors.none(DOOR), options)
    plan = plan_fit(DOOR, gaps, doors.none(DOOR), replace(options, uncertainty_mm=0.05))
    assert plan.outcome == best.outcome
    assert plan.set_only.conforms >= best.set_only.conforms
    set_now = [sum(bool(s.steps) for s in one.settings) for one in (plan, best)]
    assert set_now[0] <= set_now[1]


def test_a_wish_moves_what_conforms_but_not_surely():
    gaps = (2 - 0.95 * DOOR.gap_directions[:, 0]).round(3).tolist()
    options = PlanOptions(uncertainty_mm=0.05)
    assert "leave" in codes(plan_fit(DOOR, gaps, doors.none(DOOR), options))
    plan = plan_fit(DOOR, gaps, doors.none(DOOR), replace(options, wish=0.95))
    assert plan.probability > 0.95 and plan.move.x_mm == pytest.approx(-0.95, abs=0.1)
    with pytest.raises(OptionError, match="between 0 and 1"):
        replace(options, wish=1.5)


def test_what_is_cut_is_cut_by_the_least_cut_where_it_may_be():
    # 0.02 short of the limit at R, and may lose 0.5; at L only 0.05 may come off.
    joint = doors.square()
    stations = [replace(s, trim_max=0.05 if s.label == "L" else 0.5)
                for s in joint.stations]  # fmt: skip
    joint, still = build_joint(stations), {"max_move_mm": 0.0, "max_turn_deg": 0.0}
    gaps = [0.98, 2.0, 0.98, 2.0]
    plan = plan_fit(joint, gaps, doors.none(joint), PlanOptions(**still))
    assert [s.trim for s in plan.stations] == pytest.approx([0.02, 0, 0.02, 0])
    plan = plan_fit(
        joint, gaps, doors.none(joint), PlanOptions(least_cut_mm=0.1, **still)
    )
    assert [s.trim for s in plan.stations] == pytest.approx([0.1, 0, 0.02, 0])
    assert plan.outcome == "trim"
    assert plan.trim.area_mm2 == pytest.approx(0.12 * joint.length_weights[0])
