"""The trend of a value against pull number, its band, and when it reaches a limit."""

import os
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.measuring.exact import LevelError
from qa.numeric.measuring.trend import trend
from qa.wording.measuring import remark
from tests.numeric import published

MOLDS = int(os.environ.get("FAYLINE_COVERAGE", "400"))
NIST = published.load("trend_pressure_temperature")
THERMOMETER = published.load("gum_examples")["H3"]


def nist(limit, **options):
    """Pressure against temperature: e-Handbook 4.4.4, 4.5.1."""
    rows = NIST["data"]
    return trend([row[3] for row in rows], [row[4] for row in rows], limit, **options)


def test_line_and_band_are_those_of_the_handbook():
    """7.74899 + 3.93014 x and 263.21 at 65 as printed; the band as recomputed."""
    found = nist(178, at=[25, 65])
    assert (found.intercept, found.slope) == pytest.approx((7.74899, 3.93014), abs=1e-5)
    assert found.sd == pytest.approx(4.299098, abs=1e-6)
    band = {one.pull: one for one in found.prediction}
    assert band[65].value == pytest.approx(263.21, abs=5e-3)
    told = [band[25].low, band[25].high, band[65].low, band[65].high]
    assert told == pytest.approx([96.9681, 115.0370, 254.1479, 272.2683], abs=1e-4)
    fitted = {float(row[3]): float(row[5]) for row in NIST["data"]}
    for pull, printed in fitted.items():
        assert band[pull].value == pytest.approx(printed, abs=0.0025)


def test_where_the_line_reaches_a_limit_is_the_calibration_of_the_handbook():
    reach = nist(178).reaches
    told = (reach.pull, reach.low, reach.high)
    assert told == pytest.approx((43.3193, 41.0756, 45.5615), abs=1e-4)


def test_the_thermometer_of_the_guide_is_reproduced():
    """JCGM 100:2008, H.3; pulls are degrees above 20."""
    case, expected = THERMOMETER, THERMOMETER["expected"]
    pulls = [value - case["t0"] for value in case["t"]]
    found = trend(pulls, case["b"], Decimal("-0.1"), at=[10])
    assert found.intercept == pytest.approx(float(expected["y1"]), abs=5e-5)
    assert found.slope == pytest.approx(float(expected["y2"]), abs=5e-6)
    assert found.slope_se == pytest.approx(float(expected["s_y2"]), abs=5e-6)
    assert found.sd == pytest.approx(float(expected["s"]), abs=5e-5)
    at = {one.pull: one for one in found.prediction}
    assert at[10].value == pytest.approx(float(expected["b30"]), abs=5e-5)
    assert at[10].high - at[10].value == pytest.approx(0.012258, abs=1e-6)
    fitted = [at[float(pull)].value for pull in pulls]
    assert fitted == pytest.approx([float(x) for x in expected["predicted"]], abs=6e-5)
    assert "beyond what was measured" in remark(found.course)


def parallel_lines(x, y, breaks):
    """Independent: NumPy's least squares, a column for each stretch, then x."""
    stretch = np.searchsorted(np.sort(breaks), x, side="right")
    design = np.column_stack([np.equal.outer(stretch, np.unique(stretch)), x])
    found = np.linalg.lstsq(design, y, rcond=None)[0]
    left = y - design @ found
    df = len(y) - design.shape[1]
    return found, np.sqrt(left @ left / df), np.linalg.inv(design.T @ design)


def test_a_repair_is_a_step_and_the_slope_is_that_of_all_stretches():
    rng = np.random.default_rng(3)
    x = np.arange(1, 31)
    y = (0.03 * x - 0.5 * (x >= 12) - 0.4 * (x >= 22) + rng.normal(0, 0.05, 30)).round(
        3
    )
    found = trend(x.tolist(), y.tolist(), 1, breaks=[12, 22, 99])
    expected, sd, inverse = parallel_lines(x, y, [12, 22])
    assert (found.slope, found.intercept) == pytest.approx((expected[-1], expected[-2]))
    assert found.sd == pytest.approx(sd)
    assert found.slope_se == pytest.approx(sd * np.sqrt(inverse[-1, -1]))
    assert found.reaches.pull == pytest.approx((1 - expected[-2]) / expected[-1])
    band = {one.pull: one.value for one in found.prediction}
    assert band[5] == pytest.approx(expected[0] + 5 * expected[-1])
    assert band[15] == pytest.approx(expected[1] + 15 * expected[-1])
    # Without the breaks, the repairs would hide the wear.
    assert trend(x.tolist(), y.tolist(), 1).slope < 0.02


def test_the_bounds_are_where_the_edges_of_the_band_meet_the_limit():
    first = nist(178)
    there = nist(178, at=[Decimal(first.reaches.low), Decimal(first.reaches.high)])
    band = {one.pull: one for one in there.prediction}
    assert band[first.reaches.low].high == pytest.approx(178, abs=1e-9)
    assert band[first.reaches.high].low == pytest.approx(178, abs=1e-9)


def test_band_and_bounds_cover_what_they_promise():
    """95 % within four standard errors (of 400: 4.4 %): the band for the next value,
    the bounds for the pull at which one value was taken (Eisenhart)."""
    rng = np.random.default_rng(40)
    x = np.arange(1, 13)
    hits = np.zeros(2)
    for _ in range(MOLDS):
        y = (0.1 * x + rng.normal(0, 0.05, 12)).round(4)
        nxt, read = 0.1 * 14 + rng.normal(0, 0.05), 0.1 * 9.5 + rng.normal(0, 0.05)
        found = trend(x.tolist(), y.tolist(), round(read, 4))
        band = {one.pull: one for one in found.prediction}[14]
        hits += (
            band.low <= nxt <= band.high,
            found.reaches.low <= 9.5 <= found.reaches.high,
        )
    slack = max(0.01, 4 * (0.95 * 0.05 / MOLDS) ** 0.5)
    assert hits / MOLDS == pytest.approx([0.95, 0.95], abs=slack)


def test_chance_is_called_a_trend_in_one_of_twenty_molds():
    rng = np.random.default_rng(20)
    found = [
        trend(range(1, 11), rng.normal(size=10).round(3).tolist(), 9).p_slope < 0.05
        for _ in range(MOLDS)
    ]
    slack = max(0.01, 4 * (0.95 * 0.05 / MOLDS) ** 0.5)
    assert np.mean(found) == pytest.approx(0.05, abs=slack)


def test_no_trend_and_the_wrong_way_reach_nothing():
    flat = trend(range(1, 9), [1, 2, 1, 2, 1, 2, 1, 2], 5)
    assert (flat.reaches, flat.why) == (None, None)
    assert "no trend" in remark(flat.course)
    away = trend(range(1, 9), [1.0, 1.1, 1.21, 1.3, 1.4, 1.52, 1.6, 1.7], 0.2)
    assert away.reaches is None
    assert "moves away" in remark(away.course)


def test_a_line_without_spread_reaches_at_one_pull():
    found = trend([1, 2, 3, 4], [Decimal(k) / 10 for k in (1, 2, 3, 4)], 1)
    assert (found.sd, found.r2, found.p_slope) == (0, 1, 0)
    assert (found.reaches.low, found.reaches.pull, found.reaches.high) == (10, 10, 10)


@pytest.mark.parametrize(
    ("pulls", "values", "breaks", "why"),
    [
        ([1, 2], [1, 2], [], "2 values; at least 3"),
        ([1], [1], [], "do not vary"),
        ([1, 2, 3], [2, 2, 2], [], "do not vary"),
        ([4, 4, 4], [1, 2, 3], [], "holds two pulls"),
        ([1, 2, 3], [1, 2, 3], [3], "3 values in 2 stretches; at least 4"),
        ([1, 1, 2, 2], [1, 2, 3, 4], [2], "holds two pulls"),
    ],
)
def test_what_tells_no_trend_is_said(pulls, values, breaks, why):
    found = trend(pulls, values, 5, breaks=breaks)
    assert why in remark(found.why)
    assert (found.slope, found.reaches, found.prediction) == (None, None, ())


def test_a_level_that_is_none_is_refused():
    with pytest.raises(LevelError, match="level"):
        trend([1, 2, 3], [1, 2, 4], 5, level=1)


@settings(max_examples=30, deadline=None)
@given(st.integers(-(10**6), 10**6), st.integers(-(10**4), 10**4), st.integers(1, 99))
def test_another_zero_and_another_unit_move_the_answer_with_them(up, along, scale):
    y = [Decimal(k) / 100 for k in (3, 11, 18, 33, 36, 52, 61, 66)]
    here = trend(range(1, 9), y, 1)
    moved = [value * scale + up for value in y]
    there = trend(range(1 + along, 9 + along), moved, scale + up)
    assert there.slope == pytest.approx(scale * here.slope, rel=1e-9)
    assert there.p_slope == pytest.approx(here.p_slope, rel=1e-6)
    assert there.reaches.pull - along == pytest.approx(here.reaches.pull, rel=1e-9)
    assert there.reaches.high - along == pytest.approx(here.reaches.high, rel=1e-9)
