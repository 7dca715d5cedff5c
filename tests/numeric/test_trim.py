"""Where to cut: cases worked by hand, order of aims, edges, what stays impossible."""

import pytest

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.reasons import recorded
from qa.numeric.plan.result import PlanOptions
from qa.wording import plans as wording
from qa.wording.plans import plan_notes
from tests.numeric import doors

STILL = {"max_move_mm": 0.0, "max_turn_deg": 0.0}
# Length weight of each station of the square: half of 141.42 mm to each neighbor.
WEIGHT = 100 * 2**0.5


def planned(joint, gaps, **options):
    return plan_fit(joint, gaps, doors.none(joint), PlanOptions(**options))


def by_label(plan):
    return {station.label: station for station in plan.stations}


def test_a_part_too_large_both_ways_is_cut_on_one_side_only_as_far_as_needed():
    # Limits 1 to 3. Right and left gaps together are 1.2 where 2 is the least: 0.8 must
    # come off, however it sits. Top and bottom fit.
    plan = planned(doors.square(), [0.6, 2.0, 0.6, 2.0])
    assert plan.trim.needed and plan.trim.possible and plan.exit_code == 1
    assert plan.trim.area_mm2 == pytest.approx(0.8 * WEIGHT, rel=1e-6)
    assert plan.trim.unresolved_mm2 == 0
    # All places between cost the same area and end on the same limits; the least
    # movement leaves the part where it is, with 0.4 off each side.
    assert plan.trim.move.x_mm == pytest.approx(0, abs=1e-6)
    found = by_label(plan)
    assert found["R"].trim == pytest.approx(0.4, abs=1e-6)
    assert found["L"].trim == pytest.approx(0.4, abs=1e-6)
    assert found["R"].gap_after == pytest.approx(1.0, abs=1e-6)


def test_next_bite_is_a_fraction_but_no_less_than_the_floor():
    plan = planned(doors.square(), [0.6, 2.0, 0.6, 2.0], **STILL)
    assert by_label(plan)["R"].next_bite == pytest.approx(0.24, abs=1e-6)
    plan = planned(doors.square(), [0.9, 2.0, 2.0, 2.0], **STILL)
    assert by_label(plan)["R"].next_bite == pytest.approx(0.1, abs=1e-6)


def reason(station) -> str:
    """Why it stays wrong, in words."""
    told = [recorded(one, lambda _joint, label: label) for one in station.reasons]
    return wording.reasons(told, "mm")


def test_what_is_more_than_may_be_cut_stays_unresolved_with_the_reason():
    plan = planned(doors.square(trim_max=0.25), [0.5, 2.0, 2.0, 2.0], **STILL)
    right = by_label(plan)["R"]
    assert right.trim == pytest.approx(0.25)
    assert right.unresolved == pytest.approx(-0.25)
    assert reason(right) == "0.25 mm more than may still be cut"
    assert not plan.trim.possible and plan.exit_code == 2
    assert plan.trim.unresolved_mm2 == pytest.approx(0.25 * WEIGHT)


@pytest.mark.parametrize(
    ("side", "option", "cut"),
    [
        (None, None, True),
        ("surround", None, True),
        ("none", None, False),
        ("none", "part", False),
        ("part", "none", False),
        ("surround", "part", True),
    ],
)
def test_only_what_may_be_cut_is_cut(side, option, cut):
    plan = planned(
        doors.square(trim_side=side), [0.5, 2.0, 2.0, 2.0], trim=option, **STILL
    )
    assert (by_label(plan)["R"].trim > 0) == cut


def test_too_wide_a_gap_needs_build_up_and_only_where_allowed():
    gaps = [3.4, 2.0, 3.4, 2.0]
    plan = planned(doors.square(), gaps)
    assert not plan.trim.possible
    assert "building up is not allowed" in " ".join(map(reason, plan.stations))
    plan = planned(doors.square(), gaps, build_up_mm=1.0)
    assert plan.trim.possible and plan.exit_code == 1
    assert plan.trim.build_up_mm2 == pytest.approx(0.8 * WEIGHT, rel=1e-6)
    assert plan.trim.area_mm2 == pytest.approx(0, abs=1e-6)


def test_what_a_move_can_do_is_not_built_up():
    # The right is 0.3 too wide. Moving right by 0.3 would cure it, but the left may
    # only open by 0.1 before it is too wide itself. Any x from 0.1 to 0.3 needs 0.2 of
    # build-up on the two sides together; the least deviations are at the narrow left,
    # hence x = 0.1 and 0.2 built up on the right.
    joint = build_joint(
        Station(s.label, s.place, s.gap_direction, gap=Limits(*limits))
        for s, limits in zip(
            doors.square().stations, ((1, 3), (1, 3), (2.0, 2.2), (1, 3)), strict=True
        )
    )
    plan = planned(joint, [3.3, 2.0, 2.1, 2.0], build_up_mm=1.0)
    assert plan.trim.build_up_mm2 == pytest.approx(0.2 * WEIGHT, rel=1e-6)
    assert plan.trim.area_mm2 == pytest.approx(0, abs=1e-6)
    assert plan.trim.move.x_mm == pytest.approx(0.1, abs=1e-6)


def test_the_aim_goes_inside_the_limit_only_where_it_is_cut():
    gaps = [0.6, 2.0, 1.05, 2.0]
    plan = planned(doors.square(), gaps, aim_mm=0.15, **STILL)
    found = by_label(plan)
    assert found["R"].gap_after == pytest.approx(1.15, abs=1e-6)
    assert found["L"].trim == 0


def test_the_aim_goes_no_further_than_the_middle_nor_than_may_be_cut():
    gaps = [0.6, 2.0, 2.0, 2.0]
    plan = planned(doors.square(), gaps, aim_mm=5.0, **STILL)
    assert by_label(plan)["R"].gap_after == pytest.approx(2.0, abs=1e-6)
    plan = planned(doors.square(trim_max=0.5), gaps, aim_mm=0.15, **STILL)
    assert by_label(plan)["R"].trim == pytest.approx(0.5)
    assert plan.trim.possible


def straight(gaps, count=5, side="part"):
    stations = [
        Station(str(k), (100.0 * k, 0.0, 0.0), gap=Limits(1, 3), trim_side=side)
        for k in range(count)
    ]
    return build_joint(stations, closed=False), gaps


def test_trim_changes_no_faster_along_an_edge_than_fairness_allows():
    joint, gaps = straight([2.0, 2.0, 0.2, 2.0, 2.0])
    plan = planned(joint, gaps, fairness=0.004, **STILL)
    # 0.8 at the middle, 0.4 a hundred millimeters away, nothing at two hundred.
    trims = [station.trim for station in plan.stations]
    assert trims == pytest.approx([0, 0.4, 0.8, 0.4, 0], abs=1e-6)
    assert plan.trim.area_mm2 == pytest.approx(160, rel=1e-6)


def test_fairness_does_not_reach_round_a_corner():
    plan = planned(doors.square(), [0.5, 2.0, 2.0, 2.0], fairness=0.0, **STILL)
    assert [round(s.trim, 6) for s in plan.stations] == [0.5, 0, 0, 0]


def test_an_unfair_cut_is_said_to_be_the_reason():
    joint, gaps = straight([2.0, 2.0, 0.2, 2.0, 2.0], side="part")
    plan = planned(joint, gaps, fairness=0.001, max_trim_mm=3.0, **STILL)
    # Everything can be cut 0.8 deep at the middle and 0.6 at the ends: 3.5 > 3.
    assert plan.trim.possible
    trims = [station.trim for station in plan.stations]
    assert trims == pytest.approx([0.6, 0.7, 0.8, 0.7, 0.6], abs=1e-6)


def test_stations_without_a_gap_reading_take_no_part_but_show_their_closure():
    joint = doors.square()
    plan = planned(joint, [1.2, 2.0, 2.8, None])
    last = by_label(plan)["B"]
    assert last.gap_now is None and last.gap_after is None and last.trim == 0
    plan = planned(joint, [None, 2.0, 2.8, 2.0])
    right = by_label(plan)["R"]
    assert right.closes_by == pytest.approx(-0.8, abs=1e-6)


def test_a_step_cannot_be_trimmed_away():
    joint = doors.square(flush=(-0.2, 0.2))
    options = PlanOptions(max_raise_mm=0.5, max_tilt_deg=0.0)
    plan = plan_fit(joint, [2.0] * 4, [1.0, 0.0, 1.0, 0.0], options)
    assert plan.seat.conforms and not plan.level.conforms
    assert plan.outcome == "cannot" and plan.exit_code == 2
    assert any("a step cannot be trimmed away" in note for note in plan_notes(plan))


def test_a_part_with_a_known_excess_is_cut_by_no_more_than_that():
    # A door that fits with 1.5 all round, one long edge left 0.9 proud of its line.
    joint = doors.door(across=5, up=3, gap=(1.0, 3.0))
    excess = [0.9 * (normal[1] > 0.5) for normal in joint.gap_directions]
    gaps = [1.5 - e for e in excess]
    plan = plan_fit(joint, gaps, doors.none(joint), PlanOptions(max_move_mm=0.2))
    most = float(joint.length_weights @ excess)
    assert 0 < plan.trim.area_mm2 <= most
    assert plan.trim.possible
