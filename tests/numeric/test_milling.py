"""Scallops and striation: textbook geometry (from memory), values computed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.numeric.milling import (
    MillingError,
    finish_at_slopes,
    scallop_mm,
    stepover_mm,
    striation_governs_from_deg,
    striation_mm,
)


@pytest.mark.parametrize(
    ("radius", "stepover", "scallop"),
    [
        (3.0, 0.5, 0.01043),
        (5.0, 0.5, 0.00625),
        (6.35, 1.27, 0.03183),
        (12.7, 2.54, 0.06366),
        (6.0, 2.0, 0.08392),
    ],
)
def test_scallop_on_a_flat(radius, stepover, scallop):
    """h = R - sqrt(R^2 - (s/2)^2); computed."""
    assert scallop_mm(radius, stepover) == pytest.approx(scallop, abs=5e-6)


@pytest.mark.parametrize(
    ("radius", "scallop", "stepover"), [(3.0, 0.005, 0.3463), (12.7, 0.05, 2.2517)]
)
def test_stepover_for_a_wanted_scallop(radius, scallop, stepover):
    """s = 2 sqrt(2 R h - h^2); computed."""
    assert stepover_mm(radius, scallop) == pytest.approx(stepover, abs=5e-5)


def test_on_a_slope_of_sixty_degrees_the_scallop_is_four_times_that_of_the_flat():
    """R 3, s 0.5, 60 degrees: 0.04196 mm; computed."""
    assert scallop_mm(3.0, 0.5, slope_deg=60) == pytest.approx(0.04196, abs=5e-6)


def test_convex_work_has_higher_and_concave_work_lower_scallops():
    """R 6, s 2, rho 300: to first order 0.0850 and 0.0817 mm, exactly 0.7 % more, as
    on the flat; computed, and by the scan below."""
    assert scallop_mm(6, 2, surface_radius=300) == pytest.approx(0.08564, abs=5e-6)
    assert scallop_mm(6, 2, surface_radius=-300) == pytest.approx(0.08221, abs=5e-6)


def test_a_surface_that_is_almost_flat_has_the_scallop_of_the_flat():
    """R 6, s 2: 0.08392; s 12 on a flat leaves the radius itself, 6 (by hand)."""
    for radius in (1e9, -1e9, 1e12):
        found = scallop_mm(6, 2, surface_radius=radius)
        assert found == pytest.approx(scallop_mm(6, 2), abs=1e-7)
    assert scallop_mm(6, 12) == 6.0
    assert scallop_mm(6, 12, surface_radius=-1e12) == pytest.approx(6.0, abs=1e-4)


def cusp_by_scanning(radius, stepover, surface_radius):
    """Independent: how far the material reaches that neither pass takes, on the line
    half way between them, found by stepping along it."""
    half = math.asin(stepover / 2 / surface_radius)
    away = surface_radius + radius
    center = (away * math.sin(half), away * math.cos(half))
    low, high = 0.0, radius
    for _ in range(200):
        middle = (low + high) / 2
        y = surface_radius + middle  # the height above the skin, on the mid line
        if math.hypot(center[0], center[1] - y) > radius:
            low = middle
        else:
            high = middle
    return low


@given(
    st.floats(1, 20),
    st.floats(0.02, 0.95),
    st.floats(25, 500),
    st.sampled_from([1, -1]),
)
def test_the_scallop_on_curved_work_is_where_the_passes_meet(radius, share, bend, way):
    surface = way * bend
    widest = 2 * radius * bend / abs(surface + radius)  # where the passes part
    stepover = share * min(widest, 1.9 * bend)
    found = scallop_mm(radius, stepover, surface_radius=surface)
    assert found == pytest.approx(cusp_by_scanning(radius, stepover, surface), abs=1e-7)
    first_order = stepover**2 / 8 * (1 / radius + 1 / surface)
    assert found >= first_order * 0.9999 or way < 0


@pytest.mark.parametrize(
    ("play", "slope", "normal"),
    [(0.10, 30, 0.0500), (0.05, 45, 0.0354), (0.2, 10, 0.0347)],
)
def test_striation_from_axis_play(play, slope, normal):
    """b sin(slope) between neighboring zig-zag passes; computed."""
    assert striation_mm(play, slope) == pytest.approx(normal, abs=5e-5)


def test_play_of_the_height_axis_adds_its_share():
    """By hand: b 0.1 and b_z 0.05 at 60 degrees, 0.0866 + 0.025."""
    found = striation_mm(0.1, 60, height_play=0.05)
    assert found == pytest.approx(0.1 * math.sqrt(3) / 2 + 0.025)


def test_striation_governs_from_about_six_degrees():
    """R 3, s 0.5 and b 0.10: any slope over about 6 degrees; common practice says so,
    the number is computed."""
    slope = striation_governs_from_deg(0.10, scallop_mm(3.0, 0.5))
    assert slope == pytest.approx(6, abs=0.05)
    assert striation_governs_from_deg(0.01, scallop_mm(3.0, 0.5)) is None


def test_sanding_must_take_off_scallop_and_striation_together():
    flat, steep = finish_at_slopes(3.0, 0.5, 0.10, 0.05, [0, 45])
    assert flat.sanded_away
    assert flat.striation_mm == 0
    assert not steep.sanded_away
    assert steep.total_mm == pytest.approx(steep.scallop_mm + 0.1 * math.sqrt(0.5))


@given(st.floats(0.5, 50), st.floats(0.001, 0.99))
def test_stepover_and_scallop_undo_each_other(radius, share):
    stepover = 2 * radius * share
    height = scallop_mm(radius, stepover)
    assert stepover_mm(radius, height) == pytest.approx(stepover, rel=1e-9)


@given(st.floats(1, 50), st.floats(0.001, 0.05))
def test_half_the_stepover_is_about_a_quarter_of_the_scallop(radius, share):
    whole = scallop_mm(radius, radius * share)
    assert scallop_mm(radius, radius * share / 2) == pytest.approx(whole / 4, rel=2e-3)


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda: scallop_mm(3, 6.1), "the passes do not meet"),
        (lambda: scallop_mm(3, 4, slope_deg=60), "the passes do not meet"),
        (lambda: scallop_mm(3, 0.5, slope_deg=90), "slope must be"),
        (lambda: scallop_mm(0, 0.5), "radius must be more than 0"),
        (lambda: scallop_mm(3, math.nan), "stepover must be more than 0"),
        (lambda: scallop_mm(6, 2, surface_radius=-5), "does not fit a hollow"),
        (lambda: scallop_mm(6, 2, surface_radius=0), "other than 0"),
        (lambda: stepover_mm(3, 3.1), "no scallop is higher"),
        (lambda: striation_mm(-0.1, 30), "play must be 0 or more"),
    ],
)
def test_a_set_up_that_cannot_be_is_refused_with_the_reason(call, why):
    with pytest.raises(MillingError, match=why):
        call()


def test_a_stepover_of_the_whole_tool_leaves_a_scallop_of_its_radius():
    assert scallop_mm(3, 6) == pytest.approx(3)
