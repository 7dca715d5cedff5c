"""Sums of squares and least squares against NIST's certified values.

NIST Statistical Reference Datasets (StRD), as in the files of tests/numeric/published;
the analyses of variance SmLs01-09 (Simon and Lesage 1989) from memory: nine treatments,
the first at 1.4, then by turns 1.3 and 1.5, each value +-0.1 about an odd one in the
middle; certified F 21, 201, 2001, whatever constant is added.
"""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qa.numeric.measuring.exact import (
    OutOfRange,
    exact,
    exact_list,
    moments,
)
from qa.numeric.measuring.regression import Undetermined, fit
from shop.numeric.finite import NotANumber
from tests.numeric import published

UNIVARIATE = published.load("nist_strd_univariate")
LINEAR = published.load("nist_strd_linear")
CERTIFIED = 1e-13  # relative; the certified values have 15 digits


def numbers_of(name):
    made = {"numacc2": "1.2", "numacc3": "1000000.2", "numacc4": "10000000.2"}
    if name not in made:
        return UNIVARIATE[name]["data"]
    middle, step = Decimal(made[name]), Decimal("0.1")
    return [middle, *([middle - step, middle + step] * 500)]


@pytest.mark.parametrize(
    "name",
    ["michelso", "mavro", "lew", "numacc1", "numacc2", "numacc3", "numacc4"],
)
def test_mean_and_deviation_have_every_certified_digit(name):
    found = moments(exact_list(numbers_of(name)))
    certified = UNIVARIATE[name]
    assert float(found.mean) == pytest.approx(float(certified["mean"]), rel=CERTIFIED)
    assert found.sd == pytest.approx(float(certified["sd"]), rel=CERTIFIED)


@pytest.mark.parametrize("added", ["0", "1000000", "1000000000000"])
@pytest.mark.parametrize(("count", "ratio"), [(21, 21), (201, 201), (2001, 2001)])
def test_analyses_of_variance_have_every_certified_digit(added, count, ratio):
    levels = ["1.4", *["1.3", "1.5"] * 4]
    step = Decimal("0.1")
    groups = [
        exact_list([middle, *([middle - step, middle + step] * (count // 2))])
        for middle in (Decimal(level) + Decimal(added) for level in levels)
    ]
    total = moments([value for group in groups for value in group])
    each = [moments(group) for group in groups]
    inside = sum(group.squares for group in each)
    between = total.squares - inside
    assert between == Fraction(count * 8, 100)
    assert (between / 8) / (inside / (9 * (count - 1))) == ratio
    if added == "0" and count == 21:  # an independent reference, where it can
        floats = [[float(value) for value in group] for group in groups]
        assert stats.f_oneway(*floats).statistic == pytest.approx(ratio, rel=1e-9)


def powers(values, degree):
    return [[Fraction(x) ** k for k in range(degree + 1)] for x in values]


def line_of(rows):
    return [[1, x] for _, x in rows], [y for y, _ in rows]


def matches(found, certified):
    return found == pytest.approx([float(one) for one in certified], rel=CERTIFIED)


def test_norris_has_every_certified_digit():
    certified = LINEAR["norris"]["certified"]
    found = fit(*line_of(LINEAR["norris"]["data"]))
    told = [*found.coefficients, *found.standard_errors, found.sd, found.r2]
    names = ("B0", "B1", "sd_B0", "sd_B1", "residual_sd", "r2")
    assert matches(told, [certified[name] for name in names])
    assert matches([float(found.squares_left)], [certified["ss_res"]])


def test_pontius_and_longley_have_every_certified_digit():
    pontius, longley = LINEAR["pontius"], LINEAR["longley"]
    cases = (
        (powers(pontius["x"], 2), pontius["y"], pontius["certified"]),
        (
            [[1, *row[1:]] for row in longley["data"]],
            [row[0] for row in longley["data"]],
            longley["certified"],
        ),
    )
    for design, y, certified in cases:
        found = fit(design, y)
        assert matches(found.coefficients, certified["B"])
        assert matches(found.standard_errors, certified["sd"])
        assert matches([float(found.squares_left)], [certified["ss_res"]])


@pytest.mark.parametrize("name", ["wampler1", "wampler2"])
def test_wampler_is_found_exactly_with_nothing_left(name):
    found = fit(powers(LINEAR[name]["x"], 5), LINEAR[name]["y"])
    certified = [Fraction(str(one)) for one in LINEAR[name]["certified"]["B"]]
    assert list(found.exact_coefficients) == certified
    assert found.squares_left == 0


@pytest.mark.parametrize("name", ["noint1", "noint2"])
def test_lines_through_zero_have_every_certified_digit(name):
    certified = LINEAR[name]["certified"]
    found = fit([[x] for x in LINEAR[name]["x"]], LINEAR[name]["y"], constant=False)
    told = [*found.coefficients, *found.standard_errors, found.sd, found.r2]
    names = ("B1", "sd", "residual_sd", "r2")
    assert matches(told, [certified[name] for name in names])


def test_columns_that_cannot_be_told_apart_are_refused():
    with pytest.raises(Undetermined, match="cannot be told apart"):
        fit([[1, x, 2 * x + 1] for x in range(6)], range(6))
    with pytest.raises(Undetermined, match="2 rows do not tell 2"):
        fit([[1, 0], [1, 1]], [0, 1])


@pytest.mark.parametrize("odd", [float("nan"), float("inf"), Decimal("NaN")])
def test_what_is_no_number_is_refused(odd):
    with pytest.raises(NotANumber):
        exact(odd)


@pytest.mark.parametrize("odd", [1e200, Decimal("1e200"), -1e31, 1e-200])
def test_what_is_far_out_of_range_is_refused_by_its_value(odd):
    with pytest.raises(OutOfRange, match="out of range"):
        exact(odd)


TENTHS = st.integers(-(10**9), 10**9).map(lambda whole: Decimal(whole) / 10)


@given(st.lists(TENTHS, min_size=2, max_size=30), TENTHS)
def test_a_shift_changes_no_sum_of_squares(values, by):
    here = moments(exact_list(values))
    there = moments(exact_list([value + by for value in values]))
    assert there.squares == here.squares
    assert there.mean == here.mean + Fraction(by)
    floats = [float(value) for value in values]
    assert here.sd == pytest.approx(np.std(floats, ddof=1), rel=1e-6, abs=1e-6)
