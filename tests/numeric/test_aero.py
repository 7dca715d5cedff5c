"""Laminar steps, gaps and waves. Critical numbers are data with their conflict."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.numeric.aero import (
    CONFLICT,
    CRITICALS,
    AeroError,
    allowed_mm,
    judge_step,
    step_facing,
    unit_reynolds,
    viscosity_m2_s,
    wave_ratio,
)
from shop.numeric.units import M_PER_FT, M_S_PER_KT

BY_KEY = {one.key: one for one in CRITICALS}


def test_viscosity_of_the_standard_atmosphere():
    """1.46072e-5 m2/s at sea level, 1.87054e-5 at 10,000 ft; computed."""
    assert viscosity_m2_s(0) == pytest.approx(1.46072e-5, rel=5e-6)
    assert viscosity_m2_s(10_000 * M_PER_FT) == pytest.approx(1.87054e-5, rel=5e-6)


SEA_LEVEL = [
    (80, 2.817e6, (0.035, 0.213, 0.319, 0.639, 0.958, 5.32)),
    (100, 3.522e6, (0.028, 0.170, 0.256, 0.511, 0.767, 4.26)),
    (150, 5.283e6, (0.019, 0.114, 0.170, 0.341, 0.511, 2.84)),
    (200, 7.044e6, (0.014, 0.085, 0.128, 0.256, 0.383, 2.13)),
]
CRITICAL = (100, 600, 900, 1800, 2700, 15_000)


@pytest.mark.parametrize(("knots", "per_meter", "heights"), SEA_LEVEL)
def test_allowed_heights_at_sea_level(knots, per_meter, heights):
    """Heights in mm for critical 100, 600, 900, 1800, 2700 and gap 15,000; computed."""
    unit = unit_reynolds(knots * M_S_PER_KT, viscosity_m2_s(0))
    assert unit == pytest.approx(per_meter, rel=2e-4)
    for critical, height in zip(CRITICAL, heights, strict=True):
        places = 5e-3 if critical == 15_000 else 5e-4
        assert allowed_mm(critical, unit) == pytest.approx(height, abs=places)


def test_allowed_heights_at_ten_thousand_feet():
    """150 kt: 0.024, 0.145, 0.218, 0.436, 0.654 and gap 3.64 mm; computed."""
    unit = unit_reynolds(150 * M_S_PER_KT, viscosity_m2_s(10_000 * M_PER_FT))
    found = [allowed_mm(critical, unit) for critical in CRITICAL]
    assert found[:5] == pytest.approx([0.024, 0.145, 0.218, 0.436, 0.654], abs=5e-4)
    assert found[5] == pytest.approx(3.64, abs=5e-3)


def test_allowed_heights_of_a_stored_note_are_reproduced():
    """35.62 m/s at 4000 m: 0.057, 0.342, 0.512, 1.025 and gap 8.54 mm (second-hand
    note, reproduced)."""
    unit = unit_reynolds(35.62, viscosity_m2_s(4000))
    found = [allowed_mm(critical, unit) for critical in (100, 600, 900, 1800)]
    assert found == pytest.approx([0.057, 0.342, 0.512, 1.025], abs=5e-4)
    assert allowed_mm(15_000, unit) == pytest.approx(8.54, abs=5e-3)


def test_sharp_steps_start_at_nine_hundred_both_ways_and_say_that_sources_conflict():
    """Second-hand: forward 900, aft 1800; from memory the reverse."""
    assert BY_KEY["forward_step"].reynolds == BY_KEY["aft_step"].reynolds == 900
    assert BY_KEY["forward_step"].status == BY_KEY["aft_step"].status == CONFLICT
    assert "conflict" in CONFLICT
    assert all(one.source and one.status for one in CRITICALS)


@pytest.mark.parametrize(
    ("edge", "flush", "facing"),
    [
        ("upstream", 0.3, "forward"),
        ("upstream", -0.3, "aft"),
        ("downstream", 0.3, "aft"),
        ("downstream", -0.3, "forward"),
        ("streamwise", 0.3, "none"),
        ("upstream", 0.0, "none"),
    ],
)
def test_which_way_a_step_faces_at_an_edge_of_the_part(edge, flush, facing):
    """Trailing edge, 0.3 low: its neighbor downstream is high, so it faces forward."""
    assert step_facing(edge, flush) == facing


def test_a_step_is_judged_by_the_critical_number_of_its_facing():
    """By hand: unit 3.6e6 per meter, 900 allows 0.25 mm and 1800 0.5 mm."""
    low = judge_step("downstream", -0.25, 3.6e6)
    assert (low.facing, low.height_mm, low.allowed) == ("forward", 0.25, True)
    assert not judge_step("upstream", 0.3, 3.6e6).allowed
    assert judge_step("upstream", 0.3, 3.6e6, forward_critical=1800).allowed
    assert not judge_step("downstream", 0.3, 3.6e6, forward_critical=1800).allowed
    along = judge_step("streamwise", 5.0, 3.6e6)
    assert (along.allowed_mm, along.allowed) == (None, True)


@pytest.mark.parametrize(
    ("chord", "reynolds", "ratio"),
    [
        (62, 1.1e7, 0.01001),
        (22.87, 1.02e6, 0.0362),
        (17.36, 7.75e5, 0.0387),
        (10.28, 4.58e5, 0.0442),
        (48, 6e6, 0.01388),
    ],
)
def test_allowed_waviness(chord, reynolds, ratio):
    """Carmichael, chord in inches (second-hand; the first row is a paper's table)."""
    digits = 5e-6 if ratio < 0.02 else 5e-5
    assert wave_ratio(chord, reynolds) == pytest.approx(ratio, abs=digits)


def test_several_waves_are_allowed_a_third():
    """c 48, Re 6e6: 0.00463, which is 0.0093 in over 2 in (second-hand)."""
    several = wave_ratio(48, 6e6, waves=3)
    assert several == pytest.approx(0.00463, abs=5e-6)
    assert 2 * several == pytest.approx(0.0093, abs=5e-5)


@given(st.floats(10, 120), st.floats(0, 6000))
def test_faster_is_stricter_and_higher_is_milder(speed, altitude):
    slow = unit_reynolds(speed, viscosity_m2_s(altitude))
    fast = unit_reynolds(speed * 1.1, viscosity_m2_s(altitude))
    high = unit_reynolds(speed, viscosity_m2_s(altitude + 500))
    assert allowed_mm(900, fast) < allowed_mm(900, slow) < allowed_mm(900, high)


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda: unit_reynolds(0, 1.5e-5), "speed_m_s must be more than 0"),
        (lambda: viscosity_m2_s(20_000), "altitude"),
        (lambda: step_facing("left", 0.1), "'left' is not"),
        (lambda: step_facing("upstream", float("nan")), "must be a number"),
        (lambda: wave_ratio(48, 6e6, waves=0), "waves 1 or more"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(call, why):
    with pytest.raises(AeroError, match=why):
        call()
