"""Capability indices, their bounds, and the look at whether values are normal."""

import os
import warnings
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qa.numeric.measuring.capability import (
    LimitsError,
    WithinError,
    capability,
    cp_bounds,
    cpk_bounds,
)
from qa.numeric.measuring.exact import exact_list
from qa.numeric.measuring.normality import TooFew, anderson_darling
from qa.numeric.measuring.pearson import NoCurve, pearson_curve, shape_of
from qa.numeric.measuring.spread import Spread
from qa.wording import measuring
from tests.numeric import published

SHOPS = int(os.environ.get("FAYLINE_COVERAGE", "400"))
NIST = published.load("capability")
RINGS = published.load("piston_rings_montgomery")


def with_moments(mean, sd, n=60):
    """Normal looking values with exactly this mean and standard deviation."""
    z = stats.norm.ppf((np.arange(n) + 0.5) / n)
    z = z / z.std(ddof=1)
    return (mean + sd * z).tolist()


def test_indices_are_those_of_the_handbook():
    """NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2: 1.0 and 0.6667."""
    case = NIST["nist"]
    found = capability(with_moments(16, 2), case["lsl"], case["usl"])
    assert found.method == "normal"
    assert found.pp == pytest.approx(float(case["expected"]["Cp"]), abs=5e-5)
    assert found.ppk == pytest.approx(float(case["expected"]["Cpk"]), abs=5e-5)
    only_upper = capability(with_moments(16, 2), None, case["usl"])
    only_lower = capability(with_moments(16, 2), case["lsl"], None)
    assert only_upper.ppk == pytest.approx(float(case["expected"]["Cpu"]), abs=5e-5)
    assert only_lower.ppk == pytest.approx(float(case["expected"]["Cpl"]), abs=5e-5)
    assert (only_upper.pp, only_upper.pp_interval, only_upper.below) == (None,) * 3
    # Phi(-2) + Phi(-4), tables of the normal: 0.02275 and 0.00003.
    assert found.above == pytest.approx(0.02275, abs=5e-6)
    assert found.below + found.above == pytest.approx(0.0227818, abs=1e-7)


def test_bounds_are_those_of_the_textbook():
    """Montgomery (from memory, reproduced): s 1.75, n 20, limits 38 and 62: 1.57 to
    3.01; Cpk 1.33, n 20: 0.88 to 1.78."""
    one, other = NIST["cp_ci"], NIST["cpk_ci"]
    overall = Spread(1.75, one["n"] - 1, "overall", unbiased=False)
    found = cp_bounds((one["usl"] - one["lsl"]) / (6 * 1.75), overall)
    assert found == pytest.approx([float(x) for x in one["expected"]["ci"]], abs=0.006)
    assert found == pytest.approx((1.564945, 3.005580), abs=1e-6)
    found = cpk_bounds(float(other["Cpk"]), other["n"], other["n"] - 1)
    assert found == pytest.approx(
        [float(x) for x in other["expected"]["ci"]], abs=0.005
    )
    assert found == pytest.approx((0.882606, 1.777394), abs=1e-6)
    for n, printed in ((25, (0.437228, 0.896106)), (100, (0.553128, 0.780206))):
        assert cpk_bounds(2 / 3, n, n - 1) == pytest.approx(printed, abs=1e-6)


def test_piston_rings_by_mean_range():
    """Montgomery, table 6.3; R-bar / 2.326: 1.668 and 1.629."""
    values = [value for group in RINGS["data"] for value in group]
    labels = [str(k) for k, group in enumerate(RINGS["data"]) for _ in group]
    low, high = RINGS["spec"]["lsl"], RINGS["spec"]["usl"]
    found = capability(values, low, high, subgroups=labels, how="rbar")
    assert (found.cp, found.cpk) == pytest.approx((1.668101, 1.628867), abs=1e-4)
    assert found.sd_within == pytest.approx(0.02324 / 2.325929, rel=1e-6)
    pooled = capability(values, low, high, subgroups=labels)
    groups = np.array(RINGS["data"], dtype=float)
    assert pooled.sd_within == pytest.approx(groups.var(axis=1, ddof=1).mean() ** 0.5)
    assert pooled.sd_overall == pytest.approx(groups.std(ddof=1))
    assert found.normality.p > 0.05


@pytest.mark.parametrize("n", [8, 20, 60])
def test_the_test_of_normality_is_the_published_one(n):
    """Against scipy.stats.anderson: its statistic, and p = 0.15, 0.05 and 0.01 at
    Stephens's critical values 0.561, 0.752, 1.035 for the adjusted statistic."""
    rng = np.random.default_rng(n)
    values = rng.normal(size=n).round(3).tolist()
    found = anderson_darling(values)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)  # of its p, not of its statistic
        assert found.statistic == pytest.approx(stats.anderson(values).statistic)
    from qa.numeric.measuring.normality import _p

    told = [_p(critical) for critical in (0.561, 0.752, 1.035)]
    assert told == pytest.approx([0.15, 0.05, 0.01], rel=0.04)
    assert anderson_darling([2.0**k for k in range(n)]).p < 0.05


@pytest.mark.parametrize(
    ("values", "statistic", "p"),
    [
        (
            [1.0, 1.2, 0.9, 1.1, 1.05, 0.95, 1.15, 1.0, 1.02],
            0.182759690977,
            0.877442246,
        ),
        ([k * k for k in range(12)], 0.463086012603, 0.209582219821),
        ([2**k for k in range(12)], 1.857360940909, 4.259379660637e-05),
        (range(30), 0.321005361193, 0.514759390576),
    ],
)
def test_the_test_of_normality_is_that_of_another_library(values, statistic, p):
    """statsmodels 0.15.0, normal_ad, run once: no dependency of ours."""
    found = anderson_darling(list(values))
    assert found.statistic == pytest.approx(statistic, abs=1e-11)
    assert found.p == pytest.approx(p, rel=1e-8)


CURVES = {
    "normal": stats.norm(5, 2),
    "uniform": stats.uniform(),
    "gamma": stats.gamma(2.5),
    "exponential": stats.expon(),
    "beta": stats.beta(2, 5),
    "two heaps": stats.beta(0.5, 0.5),
    "student": stats.t(8),
    "beta prime": stats.betaprime(3, 9),
    "inverse gamma": stats.invgamma(9),
}


@pytest.mark.parametrize("name", CURVES)
@pytest.mark.parametrize("side", [1, -1])
def test_a_pearson_curve_has_the_quantiles_of_the_law_it_comes_from(name, side):
    """Laws of Pearson's system against SciPy: four moments give the same quantile."""
    law = CURVES[name]
    mean, variance, skewness, excess = (float(one) for one in law.stats("mvsk"))
    sd = variance**0.5
    curve = pearson_curve(side * mean, sd, side * skewness, excess + 3)
    for share in (0.00135, 0.05, 0.5, 0.9, 0.99865):
        place = side * law.ppf(share if side == 1 else 1 - share)
        assert curve.quantile(share) == pytest.approx(place, abs=1e-4 * sd)
        assert curve.share_below(place) == pytest.approx(share, abs=1e-6)


def test_moments_that_no_values_can_have_make_no_curve():
    with pytest.raises(NoCurve, match="no_curve"):
        pearson_curve(0, 1, 2, 4)
    with pytest.raises(NoCurve, match="no_spread_for_curve"):
        pearson_curve(0, 0, 0, 3)


def test_values_that_are_not_normal_are_judged_by_quantiles_and_told_so():
    """Exponential values: the true share above 4 is exp(-4) = 1.8 %; the normal would
    say 0.1 %, and a third of it negative."""
    law = stats.expon()
    values = law.ppf((np.arange(200) + 0.5) / 200).tolist()
    found = capability(values, 0, 4)
    assert (found.method, found.cp, found.ppk_interval) == ("percentile", None, None)
    assert found.normality.p < 0.01
    assert found.above == pytest.approx(np.exp(-4), abs=0.004)
    assert found.below is None  # less than 200 values can show
    unseen = found.seen_below
    assert (unseen.count, unseen.share, unseen.low) == (0, 0, 0)
    assert (1 - unseen.high) ** 200 == pytest.approx(0.05, rel=1e-9)
    assert "less than 1/200" in " ".join(measuring.remarks(found.notes))
    least, middle, most = law.ppf([0.00135, 0.5, 0.99865])
    assert found.pp == pytest.approx(4 / (most - least), rel=0.12)
    expected = min((4 - middle) / (most - middle), middle / (middle - least))
    assert found.ppk == pytest.approx(expected, rel=0.12)
    assert "not normal" in " ".join(measuring.remarks(found.notes))


def test_a_curve_that_has_less_outside_than_was_seen_is_not_told():
    """Independent: the bound by SciPy. Two heaps and 4 of 204 values far above: the
    curve of their moments has less there than what shows 4 of 204."""
    values = [*np.linspace(-1, -0.9, 100), *np.linspace(0.9, 1, 100), *[5.0] * 4]
    found = capability(values, None, 4.9)
    curve = pearson_curve(found.mean, found.sd_overall, *shape_of(exact_list(values)))
    least = stats.binomtest(4, 204).proportion_ci(0.95, "exact").low
    assert 0 < 1 - curve.share_below(4.9) < least
    assert found.above is None
    whole = stats.binomtest(4, 204).proportion_ci(0.95, "exact")
    assert (found.seen_above.count, found.seen_below) == (4, None)
    shares = found.seen_above.share, found.seen_above.low, found.seen_above.high
    assert shares == pytest.approx((4 / 204, whole.low, whole.high), rel=1e-9)
    assert "4 of 204 values lie above" in " ".join(measuring.remarks(found.notes))


def test_few_values_that_are_not_normal_are_refused():
    values = stats.expon().ppf((np.arange(49) + 0.5) / 49).tolist()
    found = capability(values, 0, 4)
    assert "do not tell how their tails run on" in measuring.remark(found.why)
    assert (found.method, found.pp, found.above) == (None, None, None)
    assert found.normality.p < 0.01


def test_an_index_by_quantiles_errs_by_no_more_than_is_said():
    """Exponential values, samples of 100: the middle of the indices is not too low,
    and at most a third too good."""
    rng, law = np.random.default_rng(9), stats.expon()
    least, middle, most = law.ppf([0.00135, 0.5, 0.99865])
    true = (5 - middle) / (most - middle)
    seen = [
        capability(rng.exponential(size=100).round(3).tolist(), None, 5).ppk / true
        for _ in range(SHOPS // 4)
    ]
    assert 1 < np.median(seen) < 1.33


@pytest.mark.parametrize("n", [20, 50])
@pytest.mark.parametrize(("low", "high"), [(-4, 4), (-3, 5)])
def test_bounds_cover_what_they_promise(n, low, high):
    """95 % within four standard errors of the share (of 400: 4.4 %; FAYLINE_COVERAGE
    for more, then 93 to 97 %, Bissell's being an approximation)."""
    rng = np.random.default_rng(n)
    true = {"cp": (high - low) / 6, "cpk": min(high, -low) / 3}
    true |= {"pp": true["cp"], "ppk": true["cpk"]}
    hits, told = dict.fromkeys(true, 0), 0
    for _ in range(SHOPS):
        found = capability(rng.normal(size=n).round(3).tolist(), low, high)
        if found.method != "normal":
            continue
        told += 1
        for name, value in true.items():
            least, most = getattr(found, f"{name}_interval")
            hits[name] += least <= value <= most
    slack = max(0.02, 4 * (0.95 * 0.05 / told) ** 0.5)
    for name, count in hits.items():
        assert count / told == pytest.approx(0.95, abs=slack), name
    # One in twenty normal samples is called not normal, by design of the test.
    assert 1 - told / SHOPS == pytest.approx(0.05, abs=slack)


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ([1.0], "fewer than two"),
        ([1.0, 2.0], "at least 8"),
        ([1.0, 1.1, 1.2, 1.1, 1.0, 0.9, 1.1], "at least 8"),
        ([1.0] * 30, "no spread"),
    ],
)
def test_with_too_few_or_the_same_values_nothing_is_said(values, why):
    found = capability(values, 0, 2)
    assert why in measuring.remark(found.why)
    assert (found.n, found.cp, found.ppk, found.method) == (len(values), *(None,) * 3)


def test_one_subgroup_tells_no_within():
    found = capability(with_moments(1, 0.1), 0, 2, subgroups=["a"] * 60)
    assert (found.sd_within, found.cp, found.cpk_interval) == (None,) * 3
    assert found.pp is not None


def test_a_process_that_is_not_steady_is_told():
    values = [*with_moments(1, 0.1, 20), *with_moments(1.5, 0.1, 20)]
    assert "not steady" in " ".join(measuring.remarks(capability(values, 0, 3).notes))


def test_limits_that_are_none_are_refused():
    with pytest.raises(LimitsError, match="must be given"):
        capability([1, 2], None, None)
    with pytest.raises(LimitsError, match="is above"):
        capability([1, 2], 2, 1)
    none = capability(with_moments(2, 0.1), 2, 2)
    assert "the limits are one value" in measuring.remark(none.why)
    assert (none.n, none.mean, none.ppk) == (60, pytest.approx(2), None)
    with pytest.raises(WithinError, match="needs subgroups"):
        capability(with_moments(1, 0.1), 0, 2, how="sbar")
    with pytest.raises(TooFew):
        anderson_darling([1] * 20)


@given(st.integers(-(10**6), 10**6), st.integers(1, 1000))
def test_another_unit_and_another_zero_change_no_index(shift, scale):
    values = [Decimal(f"{x:.3f}") for x in with_moments(0, 1, 30)]
    here = capability(values, -3, 4)
    moved = [value * scale + shift for value in values]
    there = capability(moved, -3 * scale + shift, 4 * scale + shift)
    assert there.ppk == pytest.approx(here.ppk, rel=1e-9)
    assert there.cp_interval == pytest.approx(here.cp_interval, rel=1e-9)
    assert there.normality.p == pytest.approx(here.normality.p, rel=1e-6)
