"""Properties of a plan: symmetry, scale, limits, trim, and what it never predicts."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan import bite
from qa.numeric.plan.motions import NothingSeen
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import OptionError, PlanOptions
from qa.numeric.verdict.acceptance import NarrowLimits
from qa.wording.plans import plan_notes
from tests.numeric import doors

DOOR = doors.door(across=3, up=2)
COUNT = len(DOOR.stations)
GAPS = st.lists(
    st.integers(0, 400).map(lambda g: g / 100), min_size=COUNT, max_size=COUNT
)
# A part that touches on opposite sides can turn by no more than a rounding of its gaps
# (they close with the square of the turn), and the area depends on how much that is.
OPEN = GAPS.map(lambda gaps: [gap + 0.2 for gap in gaps])
# Readings with no symmetry of their own: of two equally good places, which one a plan
# takes depends on the picture.
UNEVEN = st.lists(
    st.integers(20, 420).map(lambda g: g / 100),
    min_size=COUNT,
    max_size=COUNT,
    unique=True,
)
FEW = settings(max_examples=12, deadline=None)


def planned(joint, gaps, **options):
    return plan_fit(joint, gaps, doors.none(joint), PlanOptions(**options))


def changed(joint, place, direction, scale=1.0, closed=True):
    """The joint with every place and gap direction taken elsewhere."""
    return build_joint(
        [
            replace(
                station,
                place=place(*station.place),
                gap_direction=direction(*station.gap_direction),
                gap=Limits(station.gap.low * scale, station.gap.high * scale),
            )
            for station in joint.stations
        ],
        closed=closed,
    )


def aims(plan):
    """What the plan reached, whichever picture it was drawn in."""
    trim = plan.trim
    reached = [plan.seat.worst_after, trim.unresolved_mm2, trim.area_mm2]
    return reached + [station.gap_after for station in plan.stations]


@FEW
@given(UNEVEN)
def test_turning_the_picture_by_90_degrees_turns_the_plan(gaps):
    plan = planned(DOOR, gaps)
    joint = changed(DOOR, lambda x, y, z: (-y, x, z), lambda x, y, z: (-y, x, z))
    other = planned(joint, gaps)
    assert aims(other) == pytest.approx(aims(plan), rel=1e-3, abs=2e-3)


@FEW
@given(GAPS, st.floats(-math.pi, math.pi))
def test_turning_by_any_angle_turns_the_seat_where_no_bound_is_met(gaps, angle):
    gaps = [1.5 + gap / 4 for gap in gaps]
    sine, cosine = math.sin(angle), math.cos(angle)

    def turn(x, y, z):
        return cosine * x - sine * y, sine * x + cosine * y, z

    one = planned(DOOR, gaps).seat
    two = planned(changed(DOOR, turn, turn), gaps).seat
    assert two.worst_after == pytest.approx(one.worst_after, abs=1e-6)


@pytest.mark.parametrize("degrees", [17, 45, 123, -80])
def test_the_move_turns_with_the_picture_by_any_angle(degrees):
    gaps = [1.6, 2.2, 1.9, 2.6, 1.7, 2.1, 1.9, 2.8, 2.4, 1.8]
    sine, cosine = math.sin(math.radians(degrees)), math.cos(math.radians(degrees))

    def turn(x, y, z):
        return cosine * x - sine * y, sine * x + cosine * y, z

    one = planned(DOOR, gaps).seat.move
    two = planned(changed(DOOR, turn, turn), gaps).seat.move
    assert two.turn_deg == pytest.approx(one.turn_deg, abs=1e-5)
    expected = turn(one.x_mm, one.y_mm, 0)[:2]
    assert (two.x_mm, two.y_mm) == pytest.approx(expected, abs=1e-5)


@FEW
@given(UNEVEN)
def test_mirroring_the_picture_mirrors_the_plan(gaps):
    plan = planned(DOOR, gaps)
    joint = changed(DOOR, lambda x, y, z: (-x, y, z), lambda x, y, z: (-x, y, z))
    other = planned(joint, gaps)
    assert aims(other) == pytest.approx(aims(plan), rel=1e-3, abs=2e-3)


def test_the_move_is_mirrored_and_turned_with_the_picture():
    # Readings with no symmetry of their own: where two turns are equally good, no rule
    # of one picture can be the mirror image of itself.
    gaps = [0.4, 1.2, 1.9, 2.6, 0.7, 1.1, 0.9, 3.1, 1.4, 0.8]
    one = planned(DOOR, gaps).trim.move
    joint = changed(DOOR, lambda x, y, z: (-x, y, z), lambda x, y, z: (-x, y, z))
    two = planned(joint, gaps).trim.move
    found = (-two.x_mm, two.y_mm, -two.turn_deg)
    assert found == pytest.approx((one.x_mm, one.y_mm, one.turn_deg), abs=1e-5)
    joint = changed(DOOR, lambda x, y, z: (-y, x, z), lambda x, y, z: (-y, x, z))
    two = planned(joint, gaps).trim.move
    found = (two.y_mm, -two.x_mm, two.turn_deg)
    assert found == pytest.approx((one.x_mm, one.y_mm, one.turn_deg), abs=1e-5)


@FEW
@given(OPEN)
def test_scaling_all_lengths_scales_the_plan(gaps):
    plan = planned(DOOR, gaps)
    joint = changed(
        DOOR, lambda x, y, z: (2 * x, 2 * y, 2 * z), lambda x, y, z: (x, y, z), 2.0
    )
    other = planned(joint, [2 * g for g in gaps], max_move_mm=6.0, max_trim_mm=6.0)
    assert other.seat.worst_after == pytest.approx(plan.seat.worst_after, abs=1e-5)
    # Where the limits leave one place only, the part can still turn until the solver's
    # 1e-9 mm are used up, which is the square of the turn; the area feels the turn: by
    # 1.03 percent in the worst case that was found.
    area = 4 * plan.trim.area_mm2
    assert other.trim.area_mm2 == pytest.approx(area, rel=2e-2, abs=1e-3)


def test_scaling_an_ordinary_door_scales_its_area_to_the_last_digits():
    gaps = [0.4, 1.2, 1.9, 2.6, 0.7, 1.1, 0.9, 3.1, 1.4, 0.8]
    one = planned(DOOR, gaps).trim
    joint = changed(
        DOOR, lambda x, y, z: (2 * x, 2 * y, 2 * z), lambda x, y, z: (x, y, z), 2.0
    )
    two = planned(joint, [2 * g for g in gaps], max_move_mm=6.0, max_trim_mm=6.0).trim
    assert two.area_mm2 == pytest.approx(4 * one.area_mm2, rel=1e-7)
    assert two.move.turn_deg == pytest.approx(one.move.turn_deg, abs=1e-6)


@FEW
@given(GAPS, st.integers(1, 100))
def test_wider_limits_never_need_more_area(gaps, by):
    plan = planned(DOOR, gaps)
    wider = build_joint(
        replace(s, gap=Limits(s.gap.low - by / 100, s.gap.high + by / 100))
        for s in DOOR.stations
    )
    if plan.trim.possible:
        assert planned(wider, gaps).trim.area_mm2 <= plan.trim.area_mm2 + 1e-4


@FEW
@given(GAPS, st.integers(0, 200), st.integers(1, 100))
def test_more_trim_allowed_never_leaves_more_unresolved(gaps, most, more):
    less = planned(DOOR, gaps, max_trim_mm=most / 100).trim.unresolved_mm2
    after = planned(DOOR, gaps, max_trim_mm=(most + more) / 100).trim.unresolved_mm2
    # Of a joint wholly closed the solver's 1e-9 mm are felt: 0.0003 mm2 were seen.
    assert after <= less + 1e-3


@FEW
@given(GAPS, GAPS, st.sampled_from([0.0, 0.3, 3.0]))
def test_no_plan_predicts_a_negative_gap(gaps, flushes, most):
    flushes = [flush - 2 for flush in flushes]
    plan = plan_fit(DOOR, gaps, flushes, PlanOptions(max_trim_mm=most))
    assert min(station.gap_after for station in plan.stations) >= -1e-6
    assert plan.settled


def test_the_probability_is_the_product_over_the_readings():
    # All in the middle of 1 to 3, u 0.5: each conforms with 2 Phi(2) - 1 (tables of the
    # normal distribution: 0.954500), four of them independent.
    plan = planned(doors.square(), [2.0] * 4, uncertainty_mm=0.5)
    assert plan.probability == pytest.approx(0.9544997361**4, abs=1e-9)
    assert planned(doors.square(), [2.0] * 4).probability is None


def test_guarded_limits_are_drawn_in_before_anything_is_planned():
    # u 0.1 draws 1 to 3 in by 1.6449 u to 1.16449 (JCGM 106); 1.05 does not do.
    still = {"max_move_mm": 0.0, "max_turn_deg": 0.0}
    gaps = [1.05, 2.0, 2.0, 2.0]
    assert planned(doors.square(), gaps, **still).exit_code == 0
    plan = planned(doors.square(), gaps, rule="guarded", uncertainty_mm=0.1, **still)
    assert plan.exit_code == 1
    assert plan.stations[0].gap_after == pytest.approx(1.164486, abs=1e-6)
    with pytest.raises(NarrowLimits):
        planned(doors.square(), gaps, rule="guarded", uncertainty_mm=0.9)


def test_a_one_sided_limit_has_its_deviation_from_the_narrowest_half_width():
    # Half width 0.25 where nothing two-sided says otherwise: 0.1 beyond is d = 1.4.
    low = planned(doors.square(gap=(1.0, None)), [0.9, 2, 2, 2], max_move_mm=0.0)
    assert low.seat.worst_before == pytest.approx(1.4)
    high = planned(doors.square(gap=(None, 3.0)), [3.1, 2, 2, 2], max_move_mm=0.0)
    assert high.seat.worst_before == pytest.approx(1.4)


def test_nothing_to_plan_by_is_an_error():
    with pytest.raises(NothingSeen, match="no station has limits"):
        planned(doors.square(gap=(None, None)), [2.0] * 4)
    with pytest.raises(NothingSeen, match="nothing was measured"):
        planned(doors.square(), [None] * 4)


@pytest.mark.parametrize(
    "options",
    [
        {"max_move_mm": -1.0},
        {"max_turn_deg": math.inf},
        {"max_tilt_deg": 60.0},
        {"bite": 0.0},
        {"bite": 1.5},
        {"rule": "guarded"},
        {"rule": "hopeful"},
        {"trim": "both"},
        {"edition": "1066"},
    ],
)
def test_options_that_cannot_be_are_refused(options):
    with pytest.raises(OptionError) as refused:
        PlanOptions(**options)
    assert refused.value.option in {*options, "uncertainty_mm"}


def test_sliding_along_a_tight_corner_is_told():
    # Radius 30 mm, 15 degrees between stations: 2 mm of slide is 2^2 / 60 = 0.07 mm.
    around = [math.radians(15 * k) for k in range(-2, 3)]
    stations = [
        Station(
            str(k),
            (30 * math.cos(a), 30 * math.sin(a), 0.0),
            (math.cos(a), math.sin(a), 0.0),
            gap=Limits(1, 3) if k == 4 else Limits(),
        )
        for k, a in enumerate(around)
    ]
    joint = build_joint(stations, closed=False)
    plan = planned(joint, [None] * 4 + [4.0], max_turn_deg=0.0)
    assert any("along a corner of radius 30 mm" in note for note in plan_notes(plan))


def test_a_lasting_shortfall_lengthens_the_bite_but_never_past_the_trim():
    # 80 % of 1.0, 0.5 and 0.8, a hundredth more or less: the ratio is
    # (0.81 + 0.5 x 0.39 + 0.8 x 0.64) / 1.89, t for two degrees of freedom 4.303.
    rounds = [bite.Round(1.0, 0.81), bite.Round(0.5, 0.39), bite.Round(0.8, 0.64)]
    found = bite.learned(rounds)
    assert found.ratio == pytest.approx(1.517 / 1.89)
    assert found.lasting and found.missing == pytest.approx(0.2, abs=0.003)
    found = replace(found, ratio=0.8)
    assert bite.corrected_bite(0.4, 1.0, found) == pytest.approx(0.5)
    assert bite.corrected_bite(0.4, 0.45, found) == pytest.approx(0.45)


def test_scattered_cuts_say_nothing_lasting():
    rounds = [bite.Round(1.0, m) for m in (0.7, 1.3, 0.9)]
    found = bite.learned(rounds)
    # Mean 29/30; squares of residuals .0711 .1111 .0044 sum to .1867, over 2: s 0.3055.
    assert found.spread == pytest.approx(0.3055, abs=1e-4)
    assert not found.lasting
    assert bite.corrected_bite(0.4, 1.0, found) == 0.4
    assert bite.learned(rounds[:1]) is None


@pytest.mark.parametrize(
    ("freedom", "t"), [(1, 12.706), (2, 4.303), (3, 3.182), (5, 2.571), (30, 2.042)]
)
def test_students_t_is_that_of_the_table(freedom, t):
    """Two-sided 95 %, any textbook's table (from memory, reproduced)."""
    assert bite.student(freedom) == pytest.approx(t, abs=5e-4)


def test_two_standard_errors_of_three_cuts_are_no_alarm():
    """By hand: 0.80, 0.90, 1.00 of 1.0: ratio 0.9, spread 0.1, error 0.0577, of which
    0.1 is 1.7; of 0.86, 0.90, 0.94 (error 0.0231) it is 4.33, just more than 4.303."""
    for step, lasting in ((0.10, False), (0.05, False), (0.041, False), (0.04, True)):
        rounds = [bite.Round(1.0, m) for m in (0.9 - step, 0.9, 0.9 + step)]
        assert bite.learned(rounds).lasting is lasting


def test_three_equal_cuts_are_no_alarm_and_six_are():
    """Equal values tell nothing of how far values spread."""
    assert not bite.learned([bite.Round(0.2, 0.15)] * 3).lasting
    assert not bite.learned([bite.Round(0.5, 0.4999)] * 5).lasting
    assert bite.learned([bite.Round(0.2, 0.15)] * 6).lasting
    assert not bite.learned([bite.Round(0.2, 0.199)] * 6).lasting
