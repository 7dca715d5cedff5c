"""Position, bonus, fasteners, spacing and mating of hole patterns."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.holes.fasteners import (
    FastenerError,
    check_grip,
    fixed_hole,
    fixed_tolerance,
    floating_hole,
    floating_tolerance,
)
from qa.numeric.holes.position import (
    Hole,
    HoleError,
    judge_hole,
    material_bonus,
    patterns_together,
    plan_holes,
    position_mm,
    radial_clearance,
)
from qa.numeric.holes.spacing import SPACING_RULES, spacing_shortfalls

RULES = {rule.key: rule for rule in SPACING_RULES}


def hole(dx=0.0, dy=0.0, zone=0.1, **sizes):
    return Hole("H1", (10.0, 20.0), (10.0 + dx, 20.0 + dy), zone, **sizes)


@pytest.mark.parametrize(
    ("dx", "dy", "position"),
    [
        (0.003, 0.004, 0.010),
        (0.05, -0.12, 0.26),
        (0.1, 0.1, 0.2828427125),
        (-0.15, 0.20, 0.50),
        (0.0, 0.0, 0.0),
    ],
)
def test_position_is_twice_the_radial_error(dx, dy, position):
    """Position = 2 sqrt(dx^2 + dy^2), ASME Y14.5M-1994; numbers worked by hand."""
    assert position_mm(dx, dy) == pytest.approx(position, abs=1e-10)
    assert judge_hole(hole(dx, dy)).position_mm == pytest.approx(position, abs=1e-9)


def test_a_hole_exactly_on_its_zone_conforms_and_a_nanometer_more_does_not():
    """Places that floating point cannot hold: 10.003 - 10 is not 0.003 there."""
    assert judge_hole(hole(0.003, 0.004, zone=0.010)).conforms
    assert judge_hole(hole(0.05, -0.12, zone=0.26)).conforms
    assert not judge_hole(hole(0.003, 0.004, zone=0.009999)).conforms


@pytest.mark.parametrize(
    ("actual", "allowed"), [(5.00, 0.10), (5.05, 0.15), (5.10, 0.20)]
)
def test_a_larger_hole_earns_a_bonus(actual, allowed):
    """Hole 5.00 to 5.10, 0.10 at MMC: a published worked article (second-hand)."""
    verdict = judge_hole(hole(hole_mm=actual, mmc_mm=5.0, hole_max_mm=5.1))
    assert verdict.allowed_mm == pytest.approx(allowed, abs=1e-12)
    assert verdict.size_conforms


def test_a_hole_beyond_its_largest_size_fails_on_size_and_earns_no_more_bonus():
    verdict = judge_hole(hole(hole_mm=5.12, mmc_mm=5.0, hole_max_mm=5.1))
    assert verdict.allowed_mm == pytest.approx(0.20)
    assert verdict.position_conforms
    assert verdict.size_conforms is False
    assert not verdict.conforms


def test_a_hole_below_its_smallest_size_fails_on_size_without_bonus():
    verdict = judge_hole(hole(hole_mm=4.99, mmc_mm=5.0, hole_max_mm=5.1))
    assert (verdict.allowed_mm, verdict.size_conforms) == (0.10, False)


def test_a_size_on_its_limits_conforms():
    for size in (5.0, 5.1):
        assert judge_hole(hole(hole_mm=size, mmc_mm=5.0, hole_max_mm=5.1)).size_conforms


def test_without_a_largest_size_nothing_caps_the_bonus():
    verdict = judge_hole(hole(hole_mm=5.3, mmc_mm=5.0))
    assert (verdict.allowed_mm, verdict.size_conforms) == (pytest.approx(0.4), True)


def test_a_hole_without_size_limits_is_not_judged_on_size():
    assert judge_hole(hole(hole_mm=5.3)).size_conforms is None
    assert judge_hole(hole(mmc_mm=5.0, hole_max_mm=5.1)).size_conforms is None


def test_a_smaller_pin_earns_a_bonus_too():
    """Pin 9.90 to 10.00, 0.20 at MMC, actual 9.95: bonus 0.05 (computed)."""
    assert material_bonus(9.95, 10.0, 9.9) == pytest.approx(0.05)
    assert material_bonus(9.85, 10.0, 9.9) == pytest.approx(0.10)
    assert material_bonus(10.02, 10.0, 9.9) == 0.0


def test_the_bonus_is_that_of_the_mating_envelope():
    """A published tip page (1997, text read): measured 0.502, leaning by 0.002, MMC
    0.499: the envelope 0.500 earns 0.001 and 0.015 becomes 0.016, not 0.018."""
    envelope = 0.502 - 0.002
    assert material_bonus(envelope, 0.499, None) == pytest.approx(0.001)
    assert 0.015 + material_bonus(envelope, 0.499, None) == pytest.approx(0.016)


@given(
    st.integers(-300, 300),
    st.integers(-300, 300),
    st.integers(0, 400),
    st.integers(4900, 5200),
)
def test_the_bonus_is_never_beyond_the_size_tolerance(dx, dy, zone, size):
    one = hole(
        dx / 1000,
        dy / 1000,
        zone / 1000,
        hole_mm=size / 1000,
        mmc_mm=5.0,
        hole_max_mm=5.1,
    )
    verdict = judge_hole(one)
    assert 0 <= round(verdict.allowed_mm - zone / 1000, 9) <= 0.1
    expected = 4 * (dx**2 + dy**2) <= round(verdict.allowed_mm * 1000) ** 2
    assert verdict.position_conforms == expected


def test_floating_fasteners_share_nothing():
    """ASME Y14.5M-1994 B.3: F 6, H 6.44 gives T 0.44 (numbers from memory)."""
    assert floating_tolerance(6.44, 6.0) == pytest.approx(0.44)
    assert floating_hole(6.0, 0.44) == pytest.approx(6.44)


def test_fixed_fasteners_share_the_clearance():
    """B.4: F 6, H 6.44 gives 0.22 each (result read in a reprint), or 0.18 + 0.26
    (from memory)."""
    assert fixed_tolerance(6.44, 6.0) == pytest.approx(0.22)
    assert fixed_hole(6.0, 0.22, 0.22) == pytest.approx(6.44)
    assert fixed_hole(6.0, 0.18, 0.26) == pytest.approx(6.44)


def test_without_a_projected_zone_the_fastener_leans():
    """B.5: F 6.35, T1 0.2, T2 0.4, P 12, D 8 (inputs read in a reprint): H 8.15."""
    found = fixed_hole(6.35, 0.2, 0.4, through_mm=12.0, held_depth_mm=8.0)
    assert found == pytest.approx(8.15)


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda: floating_tolerance(5.9, 6.0), "does not go into"),
        (lambda: fixed_hole(0.0, 0.1, 0.1), "fastener_mm must be more than 0"),
        (lambda: fixed_hole(6.0, -0.1, 0.1), "clear_mm must be 0 or more"),
        (lambda: fixed_hole(6.0, 0.1, 0.1, through_mm=12), "held_depth_mm must be"),
        (lambda: check_grip([]), "at least one layer"),
        (lambda: check_grip([1.0, math.nan]), "layer 2 must be 0 or more"),
    ],
)
def test_sizes_that_cannot_be_are_refused_with_the_reason(call, why):
    with pytest.raises(FastenerError, match=why):
        call()


def test_a_stack_beyond_the_grip_of_a_spring_fastener_is_told():
    """Common spring type, 0 to 1/4 in (a magazine page): 0.25 + 0.04 + 0.06 in is
    0.35 in and too much; a stack of exactly 1/4 in is held."""
    thick = check_grip([0.25 * 25.4, 0.04 * 25.4, 0.06 * 25.4])
    assert not thick.holds
    assert thick.over_mm == pytest.approx(0.10 * 25.4)
    assert check_grip([0.125 * 25.4, 0.125 * 25.4]).holds


@pytest.mark.parametrize(
    ("diameter_in", "multiple", "length_in"),
    [
        (1 / 8, 2, 0.250),
        (1 / 8, 2.5, 0.3125),
        (1 / 8, 3, 0.375),
        (1 / 8, 4, 0.500),
        (1 / 8, 6, 0.750),
        (3 / 16, 2, 0.375),
        (3 / 16, 2.5, 0.469),
        (3 / 16, 3, 0.5625),
        (3 / 16, 4, 0.750),
        (3 / 16, 6, 1.125),
        (3 / 32, 2, 0.1875),
        (3 / 32, 2.5, 0.234),
        (3 / 32, 3, 0.281),
        (3 / 32, 4, 0.375),
        (3 / 32, 6, 0.5625),
    ],
)
def test_edge_distances_in_diameters(diameter_in, multiple, length_in):
    """Computed lengths of the common fastener sizes; three printed decimals."""
    verdict = judge_hole(hole(edge_mm=length_in * 25.4, fastener_mm=diameter_in * 25.4))
    assert verdict.edge_ratio == pytest.approx(multiple, abs=0.005)


def test_single_row_rivets_need_two_and_three_diameters():
    """FAA AC 43.13-1B par. 4-57c(1): edge 2D, pitch 3D (second-hand quotation)."""
    rule = RULES["metal_single_row"]
    assert spacing_shortfalls(rule, edge_ratio=2.0, pitch_ratio=3.0) == ()
    short = spacing_shortfalls(rule, edge_ratio=1.9, pitch_ratio=2.9)
    assert [(s.what, s.least) for s in short] == [("edge", 2), ("pitch", 3)]


def test_a_double_row_at_four_diameters_takes_forty_rivets_in_ten_inches():
    """FAA AC 43.13-1B par. 4-58g(2), worked example (text read): 10 in, 1/8 in rivets,
    two rows at minimum spacing are 40 rivets, which makes the spacing 4D."""
    rule = RULES["metal_double_row"]
    rows = 2
    assert rows * 10 / (rule.pitch_min * 1 / 8) == 40
    assert spacing_shortfalls(rule, edge_ratio=None, pitch_ratio=3.99)


def test_every_rule_says_where_it_is_from_and_how_far_it_was_seen():
    assert len(RULES) == len(SPACING_RULES)
    assert all(rule.source and rule.status for rule in SPACING_RULES)
    assert "unverified" in RULES["composite_advisory"].status
    assert RULES["nasa_general"].edge_min == 1.5


def test_what_is_not_known_is_not_judged():
    rule = RULES["composite_advisory"]
    assert spacing_shortfalls(rule, edge_ratio=None, pitch_ratio=None) == ()


def test_pitch_is_over_the_larger_fastener_and_skips_holes_without_one():
    """By hand: A-B 12 mm over 4 is 3.0; B-C 10 mm over 4 is 2.5; D has no fastener."""
    row = [
        Hole("A", (0, 0), (0, 0), 0.1, fastener_mm=3.0),
        Hole("B", (12, 0), (12, 0), 0.1, fastener_mm=4.0),
        Hole("C", (22, 0), (22, 0), 0.1, fastener_mm=3.0),
        Hole("D", (23, 0), (23, 0), 0.1),
    ]
    pitch = plan_holes(row).pitch
    assert (pitch.ratio, pitch.pair) == (pytest.approx(2.5), ("B", "C"))
    assert plan_holes(row[3:]).pitch is None


def test_of_equal_pitches_the_first_pair_is_told():
    row = [
        Hole(n, (x, 0), (x, 0), 0.1, fastener_mm=3.0)
        for n, x in zip("ABC", (0, 9, 18), strict=True)
    ]
    assert plan_holes(row).pitch.pair == ("A", "B")


def test_a_plan_conforms_only_when_every_hole_does():
    good, bad = hole(0.01), replace(hole(0.2), label="H2")
    assert plan_holes([good]).conforms
    assert not plan_holes([good, bad]).conforms


@pytest.mark.parametrize(
    ("changed", "field", "why"),
    [
        ({"zone_mm": -0.1}, "zone_mm", "zone must be 0 or more"),
        ({"fastener_mm": 0.0}, "fastener_mm", "more than 0"),
        ({"edge_mm": -1.0}, "edge_mm", "0 or more"),
        ({"measured": (math.nan, 0.0)}, "measured_x_mm", "must be a number"),
        ({"mmc_mm": 5.2, "hole_max_mm": 5.1}, "mmc_mm", "above the largest"),
        ({"label": "H1"}, "label", "there twice"),
    ],
)
def test_a_hole_that_cannot_be_is_refused_by_row_and_field(changed, field, why):
    second = replace(hole(), label="H2")
    with pytest.raises(HoleError, match=why) as refused:
        plan_holes([hole(), replace(second, **changed)])
    assert (refused.value.row, refused.value.field) == (1, field)


def test_a_pattern_without_holes_is_refused():
    with pytest.raises(HoleError, match="no holes"):
        plan_holes([])


SQUARE = np.array([(0, 0), (100, 0), (100, 100), (0, 100)], dtype=float)


def test_patterns_that_differ_only_by_a_move_take_their_fasteners():
    angle = math.radians(0.3)
    moved = SQUARE @ [
        [math.cos(angle), math.sin(angle)],
        [-math.sin(angle), math.cos(angle)],
    ] + (1, 2)
    together = patterns_together(SQUARE, moved, [0.0] * 4)
    assert together.accepts
    assert max(together.mismatch_mm) < 1e-9


def test_a_pattern_stretched_beyond_clearance_does_not_go_on():
    """By hand: 0.4 mm longer between two pairs is 0.2 mm at each hole at best."""
    longer = SQUARE * (1.004, 1.0)
    assert patterns_together(SQUARE, longer, [0.2] * 4).accepts
    refused = patterns_together(SQUARE, longer, [0.19] * 4)
    assert not refused.accepts
    assert refused.margin_mm == pytest.approx(-0.01, abs=1e-9)


def test_a_roomy_hole_takes_more_of_the_mismatch():
    """Two holes 0.3 mm too far apart: clearances 0.05 and 0.25 take it, in no other
    share than 0.05 to 0.25."""
    first, second = [(0, 0), (100, 0)], [(0, 0), (100.3, 0)]
    together = patterns_together(first, second, [0.05, 0.25])
    assert together.accepts
    assert together.mismatch_mm == pytest.approx((0.05, 0.25), abs=1e-9)
    assert not patterns_together(first, second, [0.05, 0.24]).accepts


def test_radial_clearance_is_half_the_play_of_both_holes():
    assert radial_clearance(3.3, 3.2, 3.0) == pytest.approx(0.25)
    assert radial_clearance(3.3, 3.0, 3.0) == pytest.approx(0.15)
    assert radial_clearance(3.3, 2.9, 3.0) < 0


def test_a_fastener_larger_than_its_hole_never_goes_in():
    clearances = [radial_clearance(3.3, 2.9, 3.0), 1.0]
    row = [(0, 0), (100, 0)]
    assert not patterns_together(row, row, clearances).accepts


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_more_clearance_never_turns_yes_into_no(seed):
    random = np.random.default_rng(seed)
    first = random.uniform(0, 200, (5, 2))
    second = first + random.normal(0, 0.1, (5, 2))
    clearances = random.uniform(0, 0.3, 5)
    less = patterns_together(first, second, clearances)
    more = patterns_together(first, second, clearances + 0.05)
    assert more.accepts or not less.accepts
    assert more.margin_mm == pytest.approx(less.margin_mm + 0.05, abs=1e-8)


def test_a_nanometer_too_close_is_too_close():
    """By hand: two diameters of 3.2 mm are 6.4 mm; 10.4 / 3.2 is 3.25 exactly."""
    [rule] = [one for one in SPACING_RULES if one.key == "metal_single_row"]
    for edge, short in ((6.4, 0), (6.399999, 1), (6.400001, 0)):
        found = spacing_shortfalls(rule, edge_ratio=edge / 3.2, pitch_ratio=10.4 / 3.2)
        assert len(found) == short


def test_patterns_that_miss_by_a_nanometer_do_not_go_together():
    """By hand: two holes 100 mm apart and two 100.2 apart miss by 0.1 at each."""
    first, second = [(0, 0), (100, 0)], [(0, 0), (100.2, 0)]
    for clearance, accepts in ((0.1, True), (0.099999, False), (0.100001, True)):
        assert patterns_together(first, second, [clearance] * 2).accepts is accepts
