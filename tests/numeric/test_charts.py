"""Control charts, their constants and their run rules, against what is published."""

import os
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats
from scipy.sparse import csc_array, identity
from scipy.sparse.linalg import spsolve

from qa.numeric.measuring.charts import chart
from qa.numeric.measuring.constants import SizeError, c4, d2, d2_star, d3
from qa.numeric.measuring.exact import exact_list
from qa.numeric.measuring.run_rules import Signal, signals
from qa.numeric.measuring.spread import from_moving_ranges, within
from qa.wording import measuring
from tests.numeric import published

RUNS = int(os.environ.get("FAYLINE_COVERAGE", "1500"))
CONSTANTS = published.load("control_chart_constants")
RINGS = published.load("piston_rings_montgomery")
FLOW = published.load("imr_nist_6_3_2_2")
RULES = published.load("run_rules")


def rows_of(groups):
    """Values and labels of subgroups."""
    pairs = [(value, str(k)) for k, group in enumerate(groups) for value in group]
    return [value for value, _ in pairs], [label for _, label in pairs]


@pytest.mark.parametrize("n", sorted(map(int, CONSTANTS["published_3dp"])))
def test_constants_agree_with_printed_tables(n):
    """ASTM E2587 table 1, Montgomery appendix VI: three decimals (c4 four)."""
    a2, a3 = 3 / (d2(n) * n**0.5), 3 / (c4(n) * n**0.5)
    d4, b = 1 + 3 * d3(n) / d2(n), 3 * (1 - c4(n) ** 2) ** 0.5 / c4(n)
    low = max(0, 1 - 3 * d3(n) / d2(n))
    computed = [d2(n), d3(n), c4(n), a2, low, d4, a3, max(0, 1 - b), 1 + b]
    printed = [float(one) for one in CONSTANTS["published_3dp"][str(n)]]
    assert computed == pytest.approx(printed, abs=1e-3)


def test_constants_have_their_closed_forms():
    """Of two and three normal values: 2/sqrt(pi), 3/sqrt(pi); d3 of two from the half
    normal; the d2* of AIAG's K2 and K3 (one group) is 1.41421 and 1.91155."""
    assert d2(2) == pytest.approx(2 / np.pi**0.5, abs=1e-12)
    assert d2(3) == pytest.approx(3 / np.pi**0.5, abs=1e-12)
    assert d3(2) == pytest.approx((2 - 4 / np.pi) ** 0.5, abs=1e-9)
    assert [d2_star(n, 1) for n in (2, 3)] == pytest.approx(
        [1.41421, 1.91155], abs=1e-4
    )
    with pytest.raises(SizeError, match="2 to 1000"):
        d2(1)


@pytest.mark.parametrize(
    ("spread", "center", "upper"),
    [("range", 0.023, 0.049), ("deviation", 0.0094, 0.0196)],
)
def test_piston_rings_have_the_printed_limits(spread, center, upper):
    """Montgomery, table 6.3 and examples 6.1, 6.3: 74.014 and 73.988."""
    found = chart(*rows_of(RINGS["data"]), spread=spread)
    line, below = found.places, found.spread
    assert found.kind == f"mean_{spread}"
    assert line.center[0] == pytest.approx(74.001176, abs=1e-6)
    assert (line.lower[0], line.upper[0]) == pytest.approx((73.988, 74.014), abs=1e-3)
    assert (below.center[0], below.upper[0]) == pytest.approx((center, upper), abs=5e-4)
    assert below.lower[0] == 0
    assert found.signals == ()


def test_the_other_version_of_the_rings_has_its_own_published_limits():
    """The copy with another sample 21 that circulates: 73.98805, 74.0143, 0.04812."""
    groups = [*RINGS["data"]]
    groups[20] = RINGS["variant"]["sample_21"]
    found, expected = chart(*rows_of(groups)), RINGS["variant"]["expected"]
    told = (found.places.lower[0], found.places.upper[0], found.spread.upper[0])
    printed = [float(expected[name]) for name in ("lcl", "ucl", "r_ucl")]
    assert told == pytest.approx(printed, abs=5e-5)


def test_individuals_have_the_printed_limits():
    """NIST/SEMATECH e-Handbook 6.3.2.2, which rounds d2 to 1.128: 2e-3."""
    found, expected = chart(FLOW["data"]), FLOW["expected"]
    line = found.places
    assert found.kind == "individuals"
    assert line.center[0] == pytest.approx(float(expected["mean"]), abs=1e-9)
    told = (line.lower[0], line.upper[0])
    printed = (float(expected["lcl"]), float(expected["ucl"]))
    assert told == pytest.approx(printed, abs=2e-3)
    assert found.spread.center[0] == pytest.approx(1.8778, abs=5e-5)
    assert found.spread.upper[0] == pytest.approx(6.1347, abs=1e-3)
    assert found.signals == ()


@pytest.mark.parametrize(
    "case", RULES["sequences"], ids=lambda case: str(len(case["z"]))
)
def test_western_electric_rules_speak_where_they_must(case):
    """Constructed from the rules' text; the file counts from 0, we from 1."""
    first = {}
    for one in signals([float(z) for z in case["z"]], "western_electric"):
        first.setdefault(f"r{one.rule[-1]}", one.at - 1)
    assert first == case["first_signal"]


UP_AND_DOWN = [0.1, -0.1] * 7
NELSON = {
    "nelson_1": ([0.0, -3.01], 2),
    "nelson_2": ([-0.5, *[0.1, 0.4, 0.2] * 3], 10),
    "nelson_3": ([0.5, 0.1, 0.2, 0.3, 0.4, 0.6, 0.7], 7),
    "nelson_4": (UP_AND_DOWN, 14),
    "nelson_5": ([-2.1, 0.3, -2.2], 3),
    "nelson_6": ([-1.1, -1.2, 0.5, -1.3, -1.4], 5),
    "nelson_7": ([0.5, 0.2, -0.3, -0.4, 0.9] * 3, 15),
    "nelson_8": ([1.2, -1.3, 1.4, 1.5, -1.2, 1.1, -1.6, 1.2], 8),
}


@pytest.mark.parametrize("rule", NELSON)
def test_nelson_rules_speak_at_the_point_that_completes_them_and_not_before(rule):
    """Nelson 1984, JQT 16(4) (from memory): 1, 9, 6, 14, 2 of 3, 4 of 5, 15, 8."""
    z, at = NELSON[rule]
    assert [one.at for one in signals(z, "nelson") if one.rule == rule] == [at]
    without = [one for one in signals(z[:-1], "nelson") if one.rule == rule]
    assert without == []


def test_points_on_the_center_or_on_a_limit_are_not_beyond_it():
    assert signals([3.0, 0.0] + [0.5] * 4 + [0.0] + [0.5] * 4, "western_electric") == []


ZONES = (-3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 3.5)


def remembered(z):
    """What the rules of Western Electric can still see of points: the last four, and
    the run on one side, as points that stand for their zones."""
    run = next((k for k, one in enumerate(z[::-1]) if one * z[-1] < 0), len(z))
    return (*[0.5 if z[-1] > 0 else -0.5] * (min(run, 7) - 4), *z[-4:])


def first_signals(shifts):
    """{rules: points to the first signal, by shift}: an exact Markov chain of which
    every step asks `signals`."""
    states, steps = {(): 0}, []
    for state in (waiting := [()]):
        for zone in ZONES:
            points = [*state, zone]
            found = signals(points, "western_electric")
            spoke = {one.rule[-1] for one in found if one.at == len(points)}
            to = remembered(points)
            if "1" not in spoke and to not in states:
                states[to] = len(states)
                waiting.append(to)
            steps.append((states[state], states.get(to), zone, spoke))
    ends = np.array([-np.inf, -3, -2, -1, 0, 1, 2, 3, np.inf])
    lengths = {}
    normal = [np.diff(stats.norm.cdf(ends - shift)) for shift in shifts]
    for rules in (name for name in RULES["arl"] if name[0] == "1"):
        quiet = [step for step in steps if not step[3] & set(rules.split("+"))]
        places = [[s[0] for s in quiet], [s[1] for s in quiet]]
        zones = [ZONES.index(s[2]) for s in quiet]
        stay = [csc_array((p[zones], places), shape=(len(states),) * 2) for p in normal]
        lengths[rules] = [
            spsolve(identity(len(states), format="csc") - one, np.ones(len(states)))[0]
            for one in stay
        ]
    return lengths


def test_the_rules_speak_as_often_as_champ_and_woodall_computed():
    """Technometrics 29 (1987), 393-399 (from memory): average run lengths of eight sets
    of rules at five shifts of the mean, to the two decimals printed."""
    told = first_signals([float(x) for x in RULES["arl"]["columns_shift_sigma"]])
    for rules, lengths in told.items():
        printed = [float(one) for one in RULES["arl"][rules]]
        assert lengths == pytest.approx(printed, abs=5.1e-3), rules
    assert len(told) == 8


def test_subgroups_of_unequal_size_have_limits_of_their_own():
    rng = np.random.default_rng(6)
    sizes = [5, 3, 4, 5, 2] * 5
    groups = [[round(x, 3) for x in rng.normal(10, 1, n)] for n in sizes]
    for spread in ("range", "deviation"):
        found = chart(*rows_of(groups), spread=spread)
        assert not found.places.even
        reach = np.array(found.places.upper) - found.places.center
        assert reach * np.sqrt(sizes) == pytest.approx([3 * found.sd] * 25)
        assert found.sd == pytest.approx(1, abs=0.2)
    equal = [group[:2] for group in groups]
    ranges = [abs(a - b) for a, b in equal]
    assert chart(*rows_of(equal)).sd == pytest.approx(np.mean(ranges) / d2(2))


def test_a_wide_subgroup_speaks_on_the_chart_of_spread():
    groups = [[1.0, 1.1, 0.9, 1.05], [1.02, 0.95, 1.1, 1.0]] * 6
    groups[6] = [0.1, 1.9, 1.0, 1.0]
    assert Signal(7, "western_electric_1_spread") in chart(*rows_of(groups)).signals
    jump = [1.0, 1.1, 0.9, 1.05, 1.0, 0.95] * 2 + [4.0]
    told = chart(jump).signals
    assert Signal(13, "western_electric_1_spread") in told
    assert Signal(13, "western_electric_1") in told


@pytest.mark.parametrize(
    ("values", "groups", "why"),
    [
        ([1, 2], None, "at least 3"),
        ([5, 5, 5, 5], None, "no spread"),
        ([1, 2, 3, 4], ["a"] * 4, "one subgroup"),
        ([1, 1, 2, 2], ["a", "a", "b", "b"], "no spread within"),
    ],
)
def test_what_makes_no_chart_is_told(values, groups, why):
    found = chart(values, groups)
    assert why in measuring.remark(found.why)
    assert found.places is None


def test_estimates_of_spread_are_worth_the_degrees_of_freedom_they_claim():
    """The relative variance of each, simulated, is that of a chi with its degrees of
    freedom: within 12 % (a standard error is 3 %)."""
    rng = np.random.default_rng(8)
    estimates: dict[str, list[float]] = {}
    worth = {}
    for _ in range(RUNS):
        values = exact_list([Decimal(f"{x:.3f}") for x in rng.normal(size=24)])
        groups = [values[k : k + 4] for k in range(0, 24, 4)]
        found = [within(groups, how) for how in ("rbar", "sbar", "pooled")]
        for spread in (*found, from_moving_ranges(values)):
            estimates.setdefault(spread.how, []).append(spread.sd)
            worth[spread.how] = spread.df
    for how, sds in estimates.items():
        seen = (np.std(sds) / np.mean(sds)) ** 2
        df = worth[how]
        mean = (2 / df) ** 0.5 * np.exp(_log_gamma((df + 1) / 2) - _log_gamma(df / 2))
        assert seen == pytest.approx(1 / mean**2 - 1, rel=0.12), how
        assert np.mean(sds) == pytest.approx(1, abs=0.03), how


def _log_gamma(x):
    from scipy.special import gammaln

    return gammaln(x)


def test_rules_speak_the_same_however_far_from_zero_the_values_are():
    """A float of 1e15 has an eighth as its last step."""
    near = [Decimal(one) / 100 for one in (0, 3, 1, 2, 4, 0, 2, 1, 3, 2, 30)]
    far = [value + 10**15 for value in near]
    assert chart(far).signals == chart(near).signals != ()
    groups = [*"aabbccddeeff"[: len(near)]]
    assert chart(far, groups).signals == chart(near, groups).signals
