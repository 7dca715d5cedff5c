"""Published numbers of measuring that no other test holds, to the digits printed.

The values are those of the reference that this project was given (check-values.md and
its data in tests/numeric/published); each test names the publication.
"""

import math
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats

from qa.numeric.measuring import budget, risk
from qa.numeric.measuring.budget import Contribution, combine
from qa.numeric.measuring.capability import capability, cpk_bounds
from qa.numeric.measuring.charts import chart
from qa.numeric.measuring.constants import c4, d2, d3
from qa.numeric.measuring.exact import exact_list
from qa.numeric.measuring.gauge import gauge_study
from qa.numeric.measuring.gauge_range import categories
from qa.numeric.measuring.regression import fit
from qa.numeric.measuring.risk import NormalProcess, global_risks
from qa.numeric.measuring.run_rules import signals
from qa.numeric.measuring.trend import trend
from qa.numeric.verdict.acceptance import acceptance, conformance_probability
from shop.numeric.units import to_nm
from tests.numeric import published
from tests.numeric.test_capability import with_moments
from tests.numeric.test_gauge import manual, rows_of
from tests.numeric.test_risk import case

MANUAL = published.load("grr_aiag_10x3x3")
RINGS = published.load("piston_rings_montgomery")
NIST = published.load("trend_pressure_temperature")
GUIDE = published.load("jcgm_106")
THERMOMETER = published.load("gum_examples")["H3"]
MILLION = 1_000_000


@pytest.mark.parametrize(
    ("cp", "ppm", "digits"),
    [
        (1.0, 2699.796, 5e-4),
        (4 / 3, 63.342, 5e-4),
        (1.33, 66.073, 5e-4),
        (5 / 3, 0.5733, 5e-5),
        (1.67, 0.5443, 5e-5),
        (2.0, 0.001973, 5e-7),
    ],
)
def test_a_centered_process_rejects_what_its_index_says(cp, ppm, digits):
    """NIST/SEMATECH e-Handbook 6.1.6, its table of reject rates (0.27 %, 64 ppm,
    0.6 ppm, 2 ppb), recomputed to more digits in check-values.md 1d."""
    found = capability(with_moments(0, 1), -3 * cp, 3 * cp)
    assert found.pp == pytest.approx(cp, rel=1e-12)
    assert MILLION * (found.below + found.above) == pytest.approx(ppm, abs=digits)


def test_the_handbooks_index_is_its_distance_from_the_middle():
    """e-Handbook 6.1.6: k 0.3333 and Cpk = (1 - k) Cp; bounds of Cpk 2/3 at n 50."""
    found = capability(with_moments(16, 2), 8, 20)
    k = abs(14 - found.mean) / 6
    assert k == pytest.approx(0.3333, abs=5e-5)
    assert found.ppk == pytest.approx((1 - k) * found.pp, rel=1e-12)
    told = cpk_bounds(2 / 3, 50, 49)
    assert told == pytest.approx((0.505551, 0.827782), abs=5e-7)


def test_shares_of_the_manual_by_ranges_and_by_analysis_of_variance():
    """AIAG MSA 4th ed. 2010, ch. III B: 17.62, 20.04, 26.68, 96.38 % of the total and
    5.09 categories by ranges to 1e-4 (the manual rounds on its way); 18.4, 20.9, 27.9,
    96.0 % of the study, 3.4, 4.4, 7.8, 92.2 % of the variance; F against the gauge
    itself, as the manual prints them, 34.44, 213.52 and 0.434."""
    study = gauge_study(*rows_of(manual()))
    ranges, printed = study.range_method.sd, MANUAL["expected_average_range"]
    names = {"repeatability": "EV", "reproducibility": "AV", "gauge": "GRR"}
    for ours, theirs in (names | {"part": "PV", "total": "TV"}).items():
        assert ranges[ours] == pytest.approx(float(printed[theirs]), abs=1e-4)
        if theirs != "TV":
            percent = 100 * ranges[ours] / ranges["total"]
            assert percent == pytest.approx(float(printed[f"pct_{theirs}"]), abs=0.01)
    assert 1.41 * ranges["part"] / ranges["gauge"] == pytest.approx(5.094, abs=1e-3)
    expected = MANUAL["expected_anova"]
    total = study.sd["total"]
    for ours, theirs in (names | {"part": "PV"}).items():
        share = study.sd[ours] / total
        wanted = float(expected["pct_study"][theirs])
        assert 100 * share == pytest.approx(wanted, abs=0.05)
        wanted = float(expected["pct_contribution"][theirs])
        assert 100 * share**2 == pytest.approx(wanted, abs=0.05)
        variance = float(expected["var"][theirs])
        assert study.sd[ours] ** 2 == pytest.approx(variance, abs=5.1e-7)
    squares = {row.source: row.ms for row in study.anova}
    against = expected["F_manual_all_vs_equipment"]
    names = {
        "person": "appraiser",
        "part": "part",
        "part_x_person": "appraiser_by_part",
    }
    for ours, theirs in names.items():
        ratio = squares[ours] / squares["repeatability"]
        assert ratio == pytest.approx(float(against[theirs]), abs=5e-3)


CONSTANTS = {  # check-values.md 3d: d2, d3, c4, A2, D3, D4, A3, B3, B4
    2: (1.128379, 0.852502, 0.797885, 1.879971, 0, 3.266532, 2.658681, 0, 3.266532),
    3: (1.692569, 0.888368, 0.886227, 1.023327, 0, 2.574591, 1.954410, 0, 2.568170),
    4: (2.058751, 0.879808, 0.921318, 0.728597, 0, 2.282052, 1.628103, 0, 2.266047),
    5: (2.325929, 0.864082, 0.939986, 0.576819, 0, 2.114499, 1.427299, 0, 2.088998),
    6: (2.534413, 0.848040, 0.951533, 0.483246, 0, 2.003830, 1.287128, 0.030363,
        1.969637),
    7: (2.704357, 0.833205, 0.959369, 0.419284, 0.075708, 1.924292, 1.181916, 0.117685,
        1.882315),
    8: (2.847201, 0.819831, 0.965030, 0.372527, 0.136171, 1.863829, 1.099095, 0.185090,
        1.814910),
    9: (2.970026, 0.807834, 0.969311, 0.336697, 0.184013, 1.815987, 1.031661, 0.239133,
        1.760867),
    10: (3.077505, 0.797051, 0.972659, 0.308264, 0.223023, 1.776977, 0.975350, 0.283706,
         1.716294),
    15: (3.471827, 0.756211, 0.982316, 0.223109, 0.346559, 1.653441, 0.788541, 0.428200,
         1.571800),
    20: (3.734950, 0.728686, 0.986934, 0.179606, 0.414702, 1.585298, 0.679701, 0.510231,
         1.489769),
    25: (3.930629, 0.708441, 0.989640, 0.152647, 0.459292, 1.540708, 0.606281, 0.564786,
         1.435214),
}  # fmt: skip


@pytest.mark.parametrize("n", CONSTANTS)
def test_constants_of_charts_have_six_decimals(n):
    """By integration, as ASTM E2587 table 1 and Montgomery appendix VI define them."""
    wide, deviation = 3 * d3(n) / d2(n), 3 * (1 - c4(n) ** 2) ** 0.5 / c4(n)
    told = (
        *(d2(n), d3(n), c4(n), 3 / (d2(n) * n**0.5), max(0, 1 - wide), 1 + wide),
        *(3 / (c4(n) * n**0.5), max(0, 1 - deviation), 1 + deviation),
    )
    assert told == pytest.approx(CONSTANTS[n], abs=6e-7)


def test_charts_have_the_recomputed_limits():
    """Montgomery, table 6.3 unrounded; e-Handbook 6.3.2.2 with the exact d2."""
    values, labels = [], []
    for k, group in enumerate(RINGS["data"]):
        values += group
        labels += [str(k)] * len(group)
    by_range = chart(values, labels, spread="range")
    by_deviation = chart(values, labels, spread="deviation")
    told = [
        (one.places.lower[0], one.places.upper[0], one.spread.center[0])
        for one in (by_range, by_deviation)
    ]
    # Recomputed with A2 0.577 and A3 1.427 as printed, which is 4e-6 off.
    assert told[0] == pytest.approx((73.987767, 74.014585, 0.023240), abs=5e-6)
    assert told[1][:2] == pytest.approx((73.987763, 74.014589), abs=5e-6)
    assert told[1][2] == pytest.approx(0.0093995, abs=6e-8)
    tops = by_range.spread.upper[0], by_deviation.spread.upper[0]
    # The range is printed with D4 2.114, the product of two roundings.
    assert tops == pytest.approx((0.049129, 0.019636), abs=1.3e-5)
    flow = chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    assert flow.places.upper[0] == pytest.approx(55.8024, abs=5e-5)


def test_guarded_rejection_of_a_speed_by_jcgm_106_8_3_3_example_1():
    """JCGM 106:2012, 8.3.3 example 1: beyond 107 km/h a limit of 100 is exceeded with
    99.9 %, at an uncertainty of 2 % of what is read."""
    one = case("8.3.3 Example 1")
    v0, share, nm = one["v0"], one["u_rel"], MILLION
    known = combine([Contribution("radar", share)], level=2 * one["p"] - 1)
    assert known.k == pytest.approx(one["z"], abs=5e-3)
    most = v0 / (1 - known.expanded)
    assert most == pytest.approx(106.587, abs=1e-3)  # by z 3.09
    assert round(most) == one["vmax"]
    u = round(share * most * nm)
    exceeded = conformance_probability(round(most * nm), round(v0 * nm), None, u)
    assert exceeded == pytest.approx(one["p"], abs=1e-8)


def test_guard_of_few_readings_by_jcgm_106_8_3_3_example_2():
    """JCGM 106:2012, 8.3.3 example 2: ten readings, s 0.20: t 1.83, g 0.37, A 2.37."""
    one = case("8.3.3 Example 2")
    found = combine([Contribution("s", one["s"], one["dof"])], level=2 * one["p"] - 1)
    assert found.k == pytest.approx(one["t"], abs=5e-3)
    assert found.expanded == pytest.approx(0.366623, abs=5e-7)
    assert found.expanded == pytest.approx(one["g"], abs=5e-3)
    low, _high = risk.guarded((one["T"], None), found.expanded / 2, 1)
    assert low == pytest.approx(2.366623, abs=5e-7)
    assert low == pytest.approx(one["A"], abs=5e-3)
    # Verdicts come to the same acceptance limit by what is judged by.
    judged = to_nm(found.judged)
    limits = acceptance(to_nm(one["T"]), None, judged, "guarded")
    assert limits.low_in == pytest.approx(to_nm(2.366623), abs=500)


def test_hundred_resistors_are_sorted_as_the_guide_counts_them():
    """JCGM 106:2012, 9.5.3.2: 83, 7, 9 and 1 of a hundred; 99 % of those accepted and
    44 % of those rejected conform."""
    one = case("9.5.3.2")
    limits = one["TL"], one["TU"]
    found = global_risks(
        NormalProcess(one["y0"], one["u0"]), one["um"], limits, (one["AL"], one["AU"])
    )
    good = 100 * (found.accepted - found.customer)
    bad = 100 * (1 - found.accepted - found.shop)
    told = good, 100 * found.shop, bad, 100 * found.customer
    assert told == pytest.approx((83.539, 6.903, 8.570, 0.988), abs=5e-4)
    told = 100 * found.accepted, 100 * (1 - found.accepted)
    assert told == pytest.approx((84.527, 15.473), abs=5e-4)
    assert good / found.accepted == pytest.approx(98.831, abs=5e-4)
    rejected = 1 - found.accepted
    assert 100 * found.shop / rejected == pytest.approx(44.611, abs=5e-4)


@pytest.mark.parametrize("index", [2, 4, 10])
def test_risks_of_figure_17_have_their_recomputed_digits(index):
    """JCGM 106:2012, 9.5.6: a process of sd T/6, no guard band, Cm = T / (4 u)."""
    found = global_risks(
        NormalProcess(0, 1 / 6), 0.25 / index, (-0.5, 0.5), (-0.5, 0.5)
    )
    printed = [float(one) for one in GUIDE["recomputed"]["fig17"][f"Cm{index}"]]
    assert (found.customer, found.shop) == pytest.approx(printed, abs=6e-11)


def test_uncertainties_of_the_end_gauge_have_their_unrounded_digits():
    """JCGM 100:2008, H.1: u(d-bar) 5.8, u(d1) 3.9, u(d2) 6.7, u(theta) 0.41."""
    told = 13 / 5**0.5, 10 / stats.t.ppf(0.975, 5), budget.from_expanded(20, 3)
    assert told == pytest.approx((5.8138, 3.8911, 6.6667), abs=1.5e-3)
    whole = combine(
        [
            Contribution("mean", 0.2),
            Contribution("swing", budget.from_half_width(0.5, "arcsine")),
        ]
    )
    assert whole.u == pytest.approx(0.406202, abs=5e-7)
    assert budget.from_half_width(1e-6) == pytest.approx(5.7735e-7, abs=5e-12)
    assert budget.from_half_width(0.05) == pytest.approx(0.0288675, abs=5e-8)


def test_the_band_of_the_handbooks_line_is_made_of_its_standard_errors():
    """e-Handbook 4.5.1, recomputed: at 25 s 4.462795, at 65 4.475510."""
    rows = NIST["data"]
    found = trend([row[3] for row in rows], [row[4] for row in rows], 178, at=[25, 65])
    band = {one.pull: one for one in found.prediction}
    t = stats.t.ppf(0.975, len(rows) - 2)
    assert t == pytest.approx(2.024394, abs=5e-7)
    for at, value, s in ((25, 106.0025, 4.462795), (65, 263.2081, 4.475510)):
        assert band[at].value == pytest.approx(value, abs=5e-5)
        assert (band[at].high - band[at].value) / t == pytest.approx(s, abs=5e-7)


def test_the_thermometers_line_has_its_recomputed_digits():
    """JCGM 100:2008, H.3: -0.171204, 0.0021827 (0.00066794), s 0.0034976; at 30 degC
    -0.149377 with u 0.0041386 (of the line: less than of one reading)."""
    pulls = [value - THERMOMETER["t0"] for value in THERMOMETER["t"]]
    found = trend(pulls, THERMOMETER["b"], 1, at=[10])
    told = found.intercept, found.slope, found.slope_se, found.sd
    assert told == pytest.approx(
        (-0.171204, 0.0021827, 0.00066794, 0.0034976), abs=6e-8 + 5e-7
    )
    one = next(one for one in found.prediction if one.pull == 10)
    assert one.value == pytest.approx(-0.149377, abs=5e-7)
    half = (one.high - one.value) / stats.t.ppf(0.975, len(pulls) - 2)
    assert (half**2 - found.sd**2) ** 0.5 == pytest.approx(0.0041386, abs=5e-8)
    # r -0.930430 and t_min 24.00845, as recomputed: of the fit that a trend is made by.
    line = fit([[1, pull] for pull in exact_list(pulls)], exact_list(THERMOMETER["b"]))
    (one_one, one_two), (_same, two_two) = line.inverse
    r = float(one_two) / float(one_one * two_two) ** 0.5
    assert r == pytest.approx(-0.930430, abs=5e-7)
    assert line.standard_errors[0] == pytest.approx(0.0028776, abs=5e-8)
    lowest = THERMOMETER["t0"] - r * line.standard_errors[0] / line.standard_errors[1]
    assert lowest == pytest.approx(24.00845, abs=5e-6)
    assert lowest == pytest.approx(float(THERMOMETER["expected"]["t_min"]), abs=1e-4)


def test_the_manuals_sheet_of_ranges_line_by_line():
    """AIAG MSA 4th ed. 2010, ch. III B: R-bar and X-bar of persons a, b, c from a chart
    of each, the others from the deviations by ranges, divided by K1, K2, K3."""
    printed = {k: float(v) for k, v in MANUAL["expected_average_range"].items()}
    data, every = manual(), []
    for k, person in enumerate("abc"):
        groups = [part[k] for part in data]
        every += groups
        found = ranged(groups)
        told = found.spread.center[0], found.places.center[0]
        wanted = printed[f"rbar_{person}"], printed[f"xbar_{person}"]
        assert told[0] == pytest.approx(wanted[0], abs=5e-4)
        assert told[1] == pytest.approx(wanted[1], abs=5e-5)
    found = ranged(every)
    assert found.spread.center[0] == pytest.approx(printed["r_double_bar"], abs=5e-5)
    # The manual's D4 is 2.58, which is 2.574591 rounded up, of 0.3417.
    upper = found.spread.upper[0] * 2.58 / 2.574591
    assert upper == pytest.approx(0.881500, abs=1e-6)
    assert upper == pytest.approx(printed["ucl_r"], abs=1.1e-4)
    sd = gauge_study(*rows_of(data)).range_method.sd
    part = sd["part"] / 0.3146
    people = (sd["reproducibility"] ** 2 + sd["repeatability"] ** 2 / 30) ** 0.5
    told = sd["repeatability"] / 0.5908, people / 0.5231, part
    assert told == pytest.approx((0.341667, 0.444667, 3.511111), abs=6e-7)
    wanted = printed["r_double_bar"], printed["xbar_diff"], printed["part_range"]
    assert told == pytest.approx(wanted, abs=5e-4)


def ranged(groups):
    labels = [str(k) for k, group in enumerate(groups) for _value in group]
    values = [value for group in groups for value in group]
    return chart(values, labels, spread="range")


def test_the_factor_of_parts_is_that_of_the_manual_for_two_to_ten():
    """AIAG MSA 4th ed. 2010, ch. III B: K3."""
    told = []
    for count in range(2, 11):
        data = manual()[:count]
        means = [sum(map(sum, part)) / 9 for part in data]
        sd = gauge_study(*rows_of(data)).range_method.sd["part"]
        told.append(sd / float(max(means) - min(means)))
    printed = (0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146)
    assert told == pytest.approx(printed, abs=1e-9)


def test_the_manuals_study_without_pooling():
    """check-values.md 2a, computed: a study here pools where p is above 0.25, so that
    the deviations are put together from its mean squares."""
    ms = {row.source: row.ms for row in gauge_study(*rows_of(manual())).anova}
    cross = ms["part_x_person"]
    repeat, person = ms["repeatability"] ** 0.5, ((ms["person"] - cross) / 30) ** 0.5
    part = ((ms["part"] - cross) / 9) ** 0.5
    gauge = math.hypot(repeat, person)
    total = math.hypot(gauge, part)
    assert cross < ms["repeatability"]  # clipped to 0
    told = repeat, person, gauge, part, total
    wanted = 0.214435, 0.228304, 0.313217, 1.043395, 1.089393
    assert told == pytest.approx(wanted, abs=6e-7)
    assert 100 * gauge / total == pytest.approx(28.7516, abs=5e-5)
    assert categories(part, gauge) == 4


@pytest.mark.parametrize(
    ("source", "k", "between"), [("western_electric", 8, 255), ("nelson", 9, 511)]
)
def test_a_run_on_one_side_comes_by_chance_once_in_two_to_its_length(
    source, k, between
):
    """check-values.md 3e: 2^k - 1 points in control; 7 in a row is no rule here."""
    assert signals([0.5] * (k - 1), source) == []
    (spoke,) = signals([0.5] * k, source)
    assert spoke.at == k
    turned = signals([0.5] * (k - 1) + [-0.5] * (k - 1), source)
    assert spoke.rule not in [one.rule for one in turned]
    # Points yet to come after j on one side: E_j = 1 + E_(j+1)/2 + E_1/2, E_k = 0.
    chain, ones = np.eye(k - 1), np.ones(k - 1)
    chain[:, 0] -= 0.5
    chain -= np.diag([0.5] * (k - 2), 1)
    assert 1 + np.linalg.solve(chain, ones)[0] == pytest.approx(2**k - 1, rel=1e-9)
    assert 2**k - 1 == between


def test_a_four_to_one_rule_leaves_the_zone_of_the_standard():
    """ASME B89.7.3.1, check-values.md 4: T 0.40 and U 0.05 are 4:1, and the stringent
    zone is U inside of each limit; JCGM 106 7.6.2 Cm = T / (2 U) and 8.2.3 U = Emax / 3
    have no function of their own: their zones are held by the same guard."""
    assert risk.guarded((0, 0.40), 0.025, 1) == pytest.approx((0.05, 0.35), abs=1e-15)
    for index in (3, 4):
        low, high = risk.guarded((-1, 1), 2 / (4 * index), 1)
        assert (high - low) / 2 == pytest.approx(1 - 1 / index, rel=1e-12)


def test_the_band_of_the_handbooks_mean_is_the_recomputed_one():
    """e-Handbook 4.5.1, recomputed: 103.5781 to 108.4270 at 25, 260.6895 to 265.7268 at
    65: the band of a trend is for one value; less its own spread it is the mean's."""
    rows = NIST["data"]
    found = trend([row[3] for row in rows], [row[4] for row in rows], 178, at=[25, 65])
    band = {one.pull: one for one in found.prediction}
    t = stats.t.ppf(0.975, len(rows) - 2)
    for at, se, ends in (
        (25, 1.197616, (103.5781, 108.4270)),
        (65, 1.244162, (260.6895, 265.7268)),
    ):
        one = band[at]
        of_mean = (((one.high - one.value) / t) ** 2 - found.sd**2) ** 0.5
        assert of_mean == pytest.approx(se, abs=6e-7)
        told = one.value - t * of_mean, one.value + t * of_mean
        assert told == pytest.approx(ends, abs=6e-5)


@pytest.mark.parametrize(
    ("added", "count"),
    [(0, 21), (10**6, 21), (10**12, 21), (0, 201), (10**6, 201), (10**12, 201)],
)
def test_certified_analyses_of_variance_come_out_of_the_study_of_a_gauge(added, count):
    """NIST StRD, SmLs01, 02, 04, 05, 07, 08: nine treatments as parts; three people
    share the replicates, and what is not between parts is within treatments. Certified:
    between 1.68 (16.08), within 1.8 (18), F 21 (201), residual deviation 0.1."""
    step = Decimal("0.1")
    values = []
    for level in ("1.4", *["1.3", "1.5"] * 4):
        middle = Decimal(level) + added
        group = [middle, *([middle - step, middle + step] * (count // 2))]
        values.append([group[k::3] for k in range(3)])
    parts, people, flat = rows_of(values)
    rows = {row.source: row for row in gauge_study(parts, people, flat).anova}
    inside = [rows[name] for name in ("person", "part_x_person", "repeatability")]
    ss, df = sum(row.ss for row in inside), sum(row.df for row in inside)
    part = rows["part"]
    assert (part.df, df) == (8, 9 * (count - 1))
    told = part.ss, part.ms, ss, ss / df, part.ms / (ss / df), (ss / df) ** 0.5
    wanted = 0.08 * count, 0.01 * count, 0.09 * (count - 1), 0.01, count, 0.1
    assert told == pytest.approx(wanted, rel=1e-13)
    r2 = part.ss / rows["total"].ss
    assert r2 == pytest.approx(0.08 * count / (0.17 * count - 0.09), rel=1e-13)
    within = capability(flat, added, added + 3, subgroups=parts, how="pooled")
    assert within.sd_within == pytest.approx(0.1, rel=1e-13)
