"""Heat: expansion from a textbook table or common practice, the rest computed."""

import math

import pytest

from shop.numeric.thermal import (
    EXPANSIONS,
    ThermalError,
    gap_change,
    growth,
    spring_in_deg,
    tool_length,
)

BY_KEY = {one.key: one for one in EXPANSIONS}


@pytest.mark.parametrize(
    ("expansion", "grown_mm"),
    [(23.6, 0.236), (14, 0.140), (3, 0.030), (-0.5, -0.005), (11.5, 0.115)],
)
def test_a_meter_that_gets_ten_kelvin_warmer(expansion, grown_mm):
    """dL = a L dT for aluminum, glass, carbon (quasi, along) and steel; computed."""
    assert growth(expansion, 1000, 10) == pytest.approx(grown_mm, abs=5e-4)


def test_a_plug_of_tooling_board_grows_with_the_day():
    """55e-6 (common practice), 2 m, 10 K: 1.10 mm; computed."""
    assert growth(55, 2000, 10) == pytest.approx(1.10)


def test_an_acrylic_window_loses_a_millimeter_of_gap_in_fifteen_kelvin():
    """Panel +1.050, carbon opening +0.045: 1.005 mm lost over both sides; computed."""
    assert growth(70, 1000, 15) == pytest.approx(1.050)
    assert growth(3, 1000, 15) == pytest.approx(0.045)
    assert gap_change(3, 1000, 70, 1000, 15) == pytest.approx(-1.005)


@pytest.mark.parametrize(
    ("tool", "above", "length"),
    [
        (23.6, 100, 1496.917),
        (14, 40, 1499.340),
        (55, 40, 1496.887),
        (3, 40, 1500.0),
        (23.6, 0, 1500.0),
    ],
)
def test_a_tool_is_made_shorter_when_the_part_sets_warm(tool, above, length):
    """Part 1500 mm, 3e-6; nothing to do for a part that gels at room temperature
    (the last row); computed."""
    assert tool_length(1500, 3, tool, above) == pytest.approx(length, abs=5e-4)


def test_a_right_angle_closes_on_cooling():
    """90 degrees, 55 - 3, 100 K: 0.468 degrees; computed."""
    assert spring_in_deg(90, 55, 3, 100) == pytest.approx(0.468)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("carbon_ud_along", -0.5),
        ("carbon_ud_across", 32),
        ("glass_ud_along", 6.6),
        ("glass_ud_across", 30),
    ],
)
def test_the_textbook_values_are_those_of_its_table(key, value):
    """Callister, Materials Science and Engineering, table B.6 (text read)."""
    assert BY_KEY[key].middle == value
    assert BY_KEY[key].status == "text read"


def test_every_expansion_says_how_far_its_source_was_seen():
    assert len(BY_KEY) == len(EXPANSIONS)
    assert all(one.source and one.status for one in EXPANSIONS)
    assert all(one.least <= one.middle <= one.most for one in EXPANSIONS)
    assert BY_KEY["carbon_quasi"].status.startswith("common practice")
    assert BY_KEY["acrylic"].status == "from memory"


def test_a_value_that_is_no_number_is_refused():
    with pytest.raises(ThermalError, match="warmer_k must be a number"):
        growth(3, 1000, math.nan)
