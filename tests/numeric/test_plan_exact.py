"""Judged after the exact move, aims in strict order: cases worked by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import PlanOptions
from qa.wording.plans import plan_notes
from tests.numeric import doors, exactly


def long_door(lift=0.0, ends=(1.5, 1.6)):
    """1.6 m long, flush to be within 0.5: right, top, left, bottom, `lift` mm high."""
    places = ((800, 0), (0, 150), (-800, 0), (0, -150))
    return build_joint(
        Station(
            name,
            (float(x), float(y), lift if name == "T" else 0.0),
            (math.copysign(1, x) * (x != 0), math.copysign(1, y) * (y != 0), 0.0),
            gap=Limits(*ends) if x else Limits(1.0, 3.0),
            flush=Limits(-0.5, 0.5),
        )
        for name, (x, y) in zip("RTLB", places, strict=True)
    )


# One end 12.57 mm proud, the other as much low: 0.9 degrees about y.
TILTED = [800 * math.sin(math.radians(0.9)), 0.0, -800 * math.sin(math.radians(0.9)), 0]
TILTED = [round(flush, 6) for flush in TILTED]


def test_a_door_that_levels_by_tilting_has_the_gaps_of_the_exact_tilt():
    # Level within 0.5 takes a tilt of 0.864 degrees at least, and each end then opens
    # by 800 (1 - cos 0.864) = 0.091: from 1.595 to 1.686, where 1.6 is the limit.
    joint, gaps = long_door(), [1.595, 2.0, 1.595, 2.0]
    plan = plan_fit(joint, gaps, TILTED)
    assert plan.outcome == "cannot" and plan.exit_code == 2
    assert max(exactly.all_misses(joint, plan, gaps, TILTED)) > 85_000
    assert any("mm too wide" in note for note in plan_notes(plan))
    # 1.5 all the way: 1.5 + 0.1 fits, and is told as it comes out.
    gaps = [1.5, 2.0, 1.5, 2.0]
    plan = plan_fit(joint, gaps, TILTED)
    assert plan.outcome == "fits"
    assert plan.stations[0].gap_after == pytest.approx(
        1.5 + 800 * (1 - math.cos(math.radians(plan.move.tilt_y_deg))), abs=1e-6
    )


@pytest.mark.parametrize("lift", [1e-5, -1e-5, 1e-4, 0.01])
@pytest.mark.parametrize("gap", [1.5, 1.505, 1.595, 1.3, 1.7])
def test_a_hair_of_height_at_one_station_changes_nothing(lift, gap):
    gaps, readings = [gap, 2.0, gap, 2.0], TILTED
    flat = plan_fit(long_door(), gaps, readings)
    other = plan_fit(long_door(lift), gaps, readings)
    assert (flat.outcome, flat.held) == (other.outcome, other.held)
    for one, two in zip(flat.stations, other.stations, strict=True):
        assert two.gap_after == pytest.approx(
            one.gap_after, abs=1e-3 * abs(lift) + 1e-4
        )
        assert two.flush_after == pytest.approx(one.flush_after, abs=abs(lift) + 1e-6)
        assert two.trim == pytest.approx(one.trim, abs=1e-4)


def test_one_new_collision_is_not_bought_with_a_hundred_overlaps_less():
    # Right 121 stations overlap by 0.5, and nothing may be cut. On the left one station
    # only has been read, with nothing to give: the part stays where it is.
    right = [(400.0, y) for y in np.linspace(-200, 200, 121)]
    around = [*right, (0.0, 250.0), (-400.0, 0.0), (0.0, -250.0)]
    outward = [(1, 0)] * 121 + [(0, 1), (-1, 0), (0, -1)]
    joint = build_joint(
        Station(str(k), (*place, 0.0), (*way, 0.0), gap=Limits(1, 3), trim_side="none")
        for k, (place, way) in enumerate(zip(around, outward, strict=True))
    )
    gaps = [-0.5] * 121 + [2.0, 0.0, 2.0]
    still = PlanOptions(max_turn_deg=0.0)
    plan = plan_fit(joint, gaps, doors.none(joint), still)
    after = [station.gap_after for station in plan.stations]
    assert plan.outcome == "cannot"
    assert min(after[122:123]) >= 0 and min(after) >= -0.5
    # With 0.2 to give, 0.2 is taken, at every station.
    gaps[122] = 0.2
    plan = plan_fit(joint, gaps, doors.none(joint), still)
    after = [station.gap_after for station in plan.stations]
    assert after[:121] == pytest.approx([-0.3] * 121, abs=1e-6)
    assert after[122] == 0


def test_six_hundred_stations_with_overlaps_get_an_answer():
    random = np.random.default_rng(11)
    joint = exactly.seam(random, 600, flush=False)
    gaps = random.uniform(0.0, 2.0, 600).round(3)
    gaps[random.choice(600, 121, replace=False)] = -0.4
    plan = plan_fit(joint, gaps.tolist(), doors.none(joint), PlanOptions(trim="none"))
    assert plan.outcome == "cannot"
    after = [round(s.gap_after * 1e6) for s in plan.stations]
    assert all(a >= min(0, round(g * 1e6)) for a, g in zip(after, gaps, strict=True))
    joint = build_joint(
        [replace(s, trim_side="part") for s in joint.stations], closed=True
    )
    assert plan_fit(joint, gaps.tolist(), doors.none(joint)).outcome == "trim"
