"""How well settings are set. Expectations are worked by hand or simulated with a known
spread; no published source."""

import math

import numpy as np
import pytest

from qa.numeric.plan.setting_spread import SetRound, came


def rounds(errors, effect=((1.0,), (1.0,)), noise=None):
    effect = np.array(effect)
    made = []
    for k, error in enumerate(errors):
        apart = effect @ np.atleast_1d(error)
        if noise is not None:
            apart = apart + noise[k]
        made.append(SetRound(tuple("ab"[: effect.shape[1]]), effect, apart))
    return made


def test_without_scatter_the_spread_is_the_root_mean_square_of_the_errors():
    """By hand: sqrt((0.01 + 0.04 + 0.01 + 0.16) / 4) = sqrt(0.055), the mean is 0.1.
    Chi-square of 4: 11.1433 and 0.484419 (any table)."""
    (one,) = came(rounds([0.1, -0.2, 0.1, 0.4]))
    assert one.errors == pytest.approx((0.1, -0.2, 0.1, 0.4))
    assert (one.mean, one.spread) == pytest.approx((0.1, math.sqrt(0.055)))
    assert one.low == pytest.approx(math.sqrt(0.22 / 11.1433), rel=1e-4)
    assert one.high == pytest.approx(math.sqrt(0.22 / 0.484419), rel=1e-4)


def test_the_scatter_of_the_readings_is_taken_off():
    """Two readings of each error, +- 0.03 apart: left over are 2 x 0.0009 a round with
    one degree, so the scatter is 0.0018, half of it on a mean of two: 0.0009."""
    noise = [np.array([0.03, -0.03])] * 4
    (one,) = came(rounds([0.1, -0.2, 0.1, 0.4], noise=noise))
    assert one.spread == pytest.approx(math.sqrt(0.055 - 0.0009))


def test_settings_better_than_readings_can_tell_have_no_spread():
    noise = [np.array([0.15, -0.15])] * 4
    (one,) = came(rounds([0.1, -0.1, 0.1, -0.1], noise=noise))
    assert one.spread == 0 and one.high > 0.1


def test_two_adjusters_are_told_apart_where_their_readings_do():
    effect = [(1.0, 0.0), (0.5, 0.5), (0.0, -1.0)]
    pairs = [(0.1, 0.0), (-0.1, 0.2), (0.1, 0.1), (0.0, -0.3)]
    one, two = came(rounds(pairs, effect))
    assert one.errors == pytest.approx([a for a, _ in pairs])
    assert two.errors == pytest.approx([b for _, b in pairs])
    alike = [(1.0, 1.0), (0.5, 0.5), (2.0, 2.0)]
    one, two = came(rounds(pairs, alike))
    assert (one.errors, one.why, two.why) == ((), "too_few", "too_few")


def test_too_few_rounds_are_refused_and_so_is_a_scatter_nobody_can_see():
    (one,) = came(rounds([0.1, -0.2, 0.1]))
    assert (one.spread, one.why, len(one.errors)) == (None, "too_few", 3)
    (one,) = came(rounds([0.1] * 4, effect=((1.0,),)))
    assert (one.spread, one.why) == (None, "no_rest")
    assert came([]) == ()


def test_a_planted_spread_is_found_and_its_bounds_cover():
    """2,000 shops, each with 8 rounds of two adjusters set to 0.08 and 0.05 mm and
    readings of 0.03 mm. Bounds of 95 % cover 93 to 97 %; mean squares are right."""
    rng = np.random.default_rng(8)
    effect = rng.normal(size=(12, 2))
    true = (0.08, 0.05)
    covered, squares = np.zeros(2), np.zeros(2)
    for _ in range(2000):
        made = rounds(
            rng.normal(size=(8, 2)) * true,
            effect,
            noise=rng.normal(0, 0.03, size=(8, 12)),
        )
        for k, one in enumerate(came(made)):
            covered[k] += one.low <= true[k] <= one.high
            squares[k] += one.spread**2 / 2000
    assert ((covered > 0.93 * 2000) & (covered < 0.97 * 2000)).all(), covered
    assert np.sqrt(squares) == pytest.approx(true, rel=0.02)
