"""Verdicts against published numbers.

JCGM 106:2012, numbers read from the official PDF. ISO 14253-1: the change from k = 2
(1998) to a 95 % conformance probability (2017) as quoted in the foreword of IS 15371
Part 1:2023; its worked bands recomputed from JCGM 106 eq. 14, its example from memory.
"""

import math
from statistics import NormalDist

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from qa.numeric.geometry.joint import Limits
from qa.numeric.verdict.acceptance import (
    NarrowLimits,
    Rule,
    Verdict,
    acceptance,
    bridge_excess,
    conformance_probability,
    feeler,
    guard_factor,
    judge,
    nearest_nm,
)
from qa.numeric.verdict.deviation import drawn_in, scales

MM = 1_000_000


def nm(mm: float) -> int:
    return round(mm * MM)


# Probabilities, JCGM 106 clause 7


@pytest.mark.parametrize(
    ("p", "z"),
    [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)],
)
def test_one_sided_probability_by_jcgm_106_table_1(p, z):
    assert conformance_probability(-z, None, 0.0, 1.0) == pytest.approx(p, abs=2e-3)
    exact = NormalDist().inv_cdf(p)
    assert exact == pytest.approx(z, abs=5e-3)
    assert conformance_probability(exact, 0.0, None, 1.0) == pytest.approx(p)


def test_upper_limit_by_jcgm_106_7_3_3_example_1():
    found = conformance_probability(-5.47, None, -5.40, 0.05)
    assert found == pytest.approx(0.92, abs=5e-3)
    assert found == pytest.approx(0.919243, abs=1e-6)  # recomputed


def test_lower_limit_by_jcgm_106_7_3_3_example_2():
    found = conformance_probability(509.7, 490.0, None, 8.6)
    assert found == pytest.approx(0.99, abs=5e-3)
    assert found == pytest.approx(0.989010, abs=1e-6)  # recomputed


def test_two_sided_by_jcgm_106_7_4():
    found = conformance_probability(13.6, 12.5, 16.3, 1.8)
    assert found == pytest.approx(0.66, abs=5e-3)
    assert found == pytest.approx(0.662630, abs=1e-6)  # recomputed


def test_window_of_95_percent_by_jcgm_106_7_7_5():
    # Cm = T / (4 u) = 1 and limits 0 and 1, so u = 1/4; published 0.45 to 0.55.
    u = nm(0.25)
    found = acceptance(0, nm(1.0), u, Rule.GUARDED)
    assert found.low_in / MM == pytest.approx(0.45, abs=5e-3)
    assert found.high_in / MM == pytest.approx(0.55, abs=5e-3)
    assert found.low_in / MM == pytest.approx(0.44905318, abs=2e-6)  # recomputed


def test_false_acceptance_with_guard_2u_by_jcgm_106_8_3_2_3():
    found = acceptance(None, nm(1.0), nm(0.1), Rule.GUARDED, "1998")
    assert found.guard_nm == nm(0.2)
    failing = 1 - conformance_probability(found.high_in, None, nm(1.0), nm(0.1))
    assert failing == pytest.approx(0.023, abs=5e-4)


def test_risks_of_the_resistors_by_jcgm_106_9_5_3_2():
    # Resistors N(1500, 0.12), um 0.04, tolerance 1499.8 to 1500.2, accepted with guard
    # w = 0.02 = 0.25 U: 1499.82 to 1500.18. Published: 90 % conform, RC 0.01, RP 0.07.
    made = NormalDist(1500, 0.12)
    step = 1e-4
    conforming = consumer = producer = 0.0
    for k in range(-9600, 9601):
        true = 1500 + (k + 0.5) * step
        weight = made.pdf(true) * step
        accepted = conformance_probability(true, 1499.82, 1500.18, 0.04)
        if 1499.8 <= true <= 1500.2:
            conforming += weight
            producer += weight * (1 - accepted)
        else:
            consumer += weight * accepted
    assert conforming == pytest.approx(0.90, abs=5e-3)
    assert consumer == pytest.approx(0.01, abs=5e-4)
    assert producer == pytest.approx(0.07, abs=1e-3)
    assert consumer == pytest.approx(0.00987829, abs=1e-7)  # recomputed
    assert producer == pytest.approx(0.06902651, abs=1e-7)  # recomputed


# Guard bands, ISO 14253-1


@pytest.mark.parametrize(
    ("widths", "k"),
    [(4.0, 1.7962), (4.5, 1.6677), (5.0, 1.6488), (6.0, 1.6449), (50.0, 1.6449)],
)
def test_guard_factors_of_the_2017_default(widths, k):
    assert guard_factor(round(widths * MM), MM) == pytest.approx(k, abs=5e-5)


def test_a_one_sided_limit_has_the_guard_factor_1_6449():
    assert guard_factor(None, MM) == pytest.approx(1.6449, abs=5e-5)


def test_the_1998_default_is_twice_the_uncertainty():
    assert guard_factor(4 * MM, MM, "1998") == 2.0


@pytest.mark.parametrize(
    ("x", "verdict"),
    [
        (1.7, Verdict.CONFORMS),
        (2.8, Verdict.CONFORMS),
        (1.699999, Verdict.NOT_PROVEN),
        (2.9, Verdict.NOT_PROVEN),
        (3.2, Verdict.NOT_PROVEN),
        (1.3, Verdict.NOT_PROVEN),
        (3.21, Verdict.DOES_NOT_CONFORM),
        (1.299999, Verdict.DOES_NOT_CONFORM),
    ],
)
def test_zones_of_iso_14253_1_example_from_memory(x, verdict):
    # Limits 1.5 to 3.0, U = 0.2 (u = 0.1, k = 2 of the 1998 edition).
    found = judge(nm(x), nm(1.5), nm(3.0), nm(0.1), Rule.GUARDED, "1998")
    assert found.verdict is verdict


@pytest.mark.parametrize("t", [3.92, 4.0, 4.7, 5.9, 5.9999])
def test_a_result_on_the_acceptance_limit_conforms_with_95_percent(t):
    u = 1_000_000
    high = round(t * u)
    found = acceptance(0, high, u, Rule.GUARDED)
    for x in (found.low_in, found.high_in):
        assert conformance_probability(x, 0, high, u) == pytest.approx(0.95, abs=1e-5)
        assert conformance_probability(x, 0, high, u) >= 0.95
    outside = conformance_probability(found.low_in - 10, 0, high, u)
    assert outside < 0.95


def test_limits_closer_than_3_92_u_are_refused_with_the_reason():
    u = 1_000_000
    just = 2 * NormalDist().inv_cdf(0.975)  # 3.91993: the middle has 95 %
    assert acceptance(0, math.ceil(just * u) + 2, u, Rule.GUARDED)
    with pytest.raises(NarrowLimits, match="standard uncertainties apart"):
        acceptance(0, math.floor(just * u), u, Rule.GUARDED)
    with pytest.raises(NarrowLimits, match="nothing is left"):
        acceptance(0, 4 * u - 1, u, Rule.GUARDED, "1998")
    assert acceptance(0, 4 * u, u, Rule.GUARDED, "1998").low_in == 2 * u


def test_the_guard_is_rounded_up_to_the_whole_nanometer():
    found = acceptance(None, 1000, 10, Rule.GUARDED)  # 16.449 nm
    assert found.guard_nm == 17
    assert (found.high_in, found.high_out) == (983, 1017)
    assert (found.low_in, found.low_out) == (None, None)


# Simple acceptance


@pytest.mark.parametrize("x", [1_500_000, 2_000_000, 3_000_000])
def test_a_reading_on_the_limit_conforms(x):
    found = judge(x, 1_500_000, 3_000_000, None, Rule.SIMPLE)
    assert found == (found.__class__(Verdict.CONFORMS, None, 0))


@pytest.mark.parametrize(("x", "by"), [(1_499_999, -1), (3_000_001, 1)])
def test_a_nanometer_beyond_the_limit_does_not_conform(x, by):
    found = judge(x, 1_500_000, 3_000_000, None, Rule.SIMPLE)
    assert found.verdict is Verdict.DOES_NOT_CONFORM
    assert found.deviation_nm == by


def test_limits_on_one_side_only_leave_the_other_open():
    assert judge(-(10**9), None, 5, None, "simple").verdict is Verdict.CONFORMS
    assert judge(10**9, 5, None, None, "simple").verdict is Verdict.CONFORMS
    assert judge(6, None, 5, None, "simple").deviation_nm == 1
    assert judge(4, 5, None, None, "simple").deviation_nm == -1


def test_the_deviation_leaves_the_guard_band_out_of_account():
    found = judge(nm(2.9), nm(1.5), nm(3.0), nm(0.1), "guarded", "1998")
    assert (found.verdict, found.deviation_nm) == (Verdict.NOT_PROVEN, 0)
    found = judge(nm(3.1), nm(1.5), nm(3.0), nm(0.1), "guarded", "1998")
    assert (found.verdict, found.deviation_nm) == (Verdict.NOT_PROVEN, nm(0.1))


def test_a_probability_is_told_whatever_the_rule_when_the_uncertainty_is_known():
    found = judge(nm(3.0), None, nm(3.0), nm(0.1), "simple")
    assert (found.verdict, found.probability) == (Verdict.CONFORMS, 0.5)


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ((0, None, None, None, "simple"), "no limits"),
        ((0, 2, 1, None, "simple"), "low limit is above"),
        ((0, 0, 9, None, "guarded"), "needs the standard uncertainty"),
        ((0, 0, 9, 0, "guarded"), "more than 0"),
        ((0, 0, 9, -1, "simple"), "more than 0"),
        ((0, 0, 9, 1, "other"), "other"),
        ((0, 0, 9, 1, "guarded", "2003"), "edition '2003' is not known"),
    ],
)
def test_what_cannot_be_judged_is_refused(arguments, why):
    with pytest.raises(ValueError, match=why):
        judge(*arguments)


# Ways to read


def test_a_feeler_pair_reads_the_middle_with_its_width_in_the_uncertainty():
    # JCGM 100:2008, 4.3.7: a rectangle of width 0.05 has 0.05 / sqrt(12) = 0.0144338.
    value, u = feeler(nm(0.50), nm(0.55), nm(0.01))
    assert value == nm(0.525)
    assert u == math.ceil(math.hypot(10_000, 50_000 / math.sqrt(12)))


def test_an_odd_feeler_pair_goes_to_the_leaf_that_went_in():
    assert feeler(10, 13, 5)[0] == 11


def test_a_feeler_pair_with_leaves_of_unknown_uncertainty_has_none():
    assert feeler(nm(0.50), nm(0.55), None) == (nm(0.525), None)


@pytest.mark.parametrize("pair", [(5, 5), (6, 5), (-1, 5)])
def test_a_feeler_pair_out_of_order_is_refused(pair):
    with pytest.raises(ValueError, match="leaf"):
        feeler(*pair, 1)


@pytest.mark.parametrize(
    ("base", "radius", "excess"),
    [(50, 600, 0.521), (25, 600, 0.130), (50.8, 1000, 0.323)],
)
def test_a_bridge_reads_too_much_on_a_curve(base, radius, excess):
    # base^2 / (8 R), the sagitta of a shallow arc: plane geometry, no single source.
    found = bridge_excess(radius, -base / 2, base / 2, 0.0)
    assert found == pytest.approx(excess, abs=5e-4)
    assert found == pytest.approx(base**2 / (8 * radius))
    assert bridge_excess(-radius, -base / 2, base / 2, 0.0) == -found


def test_a_bridge_reads_right_under_its_feet_and_off_center_as_the_arc_does():
    assert bridge_excess(600, -25, 25, 25) == 0
    # A true circle over the chord of the feet differs from the parabola by O(R^-3).
    for d in (-20, -5, 0, 10, 24):
        arc = math.sqrt(600**2 - d**2) - math.sqrt(600**2 - 25**2)
        assert bridge_excess(600, -25, 25, d) == pytest.approx(arc, abs=5e-4)


@pytest.mark.parametrize("arguments", [(0, -1, 1, 0), (math.inf, -1, 1, 0)])
def test_a_bridge_on_no_radius_is_refused(arguments):
    with pytest.raises(ValueError, match="radius"):
        bridge_excess(*arguments)


# Properties

LIMIT = st.integers(-(10**7), 10**7)
UNCERTAINTY = st.integers(1, 10**6)


@given(x=LIMIT, ends=st.tuples(LIMIT, LIMIT), u=UNCERTAINTY, more=UNCERTAINTY)
def test_a_verdict_never_becomes_conforms_when_the_uncertainty_grows(x, ends, u, more):
    low, high = sorted(ends)
    try:
        before = judge(x, low, high, u, "guarded").verdict
    except NarrowLimits:
        with pytest.raises(NarrowLimits):
            judge(x, low, high, u + more, "guarded")
        return
    assume(before is not Verdict.CONFORMS)
    try:
        after = judge(x, low, high, u + more, "guarded").verdict
    except NarrowLimits:
        return
    assert after is not Verdict.CONFORMS


@given(x=LIMIT, limit=LIMIT, u=UNCERTAINTY)
def test_a_guarded_result_conforms_when_95_percent_are_behind_it(x, limit, u):
    found = judge(x, limit, None, u, "guarded")
    if found.verdict is Verdict.CONFORMS:
        assert found.probability >= 0.95 - 1e-12
    elif x + 1 < limit + acceptance(limit, None, u, "guarded").guard_nm:
        assert found.probability < 0.95
    if found.verdict is Verdict.DOES_NOT_CONFORM:
        assert found.probability <= 0.05 + 1e-12


@given(x=LIMIT, ends=st.tuples(LIMIT, LIMIT), u=UNCERTAINTY, shift=LIMIT)
def test_turning_the_scale_round_or_shifting_it_turns_the_verdict(x, ends, u, shift):
    low, high = sorted(ends)
    one = judge(x, low, high, u, "simple")
    other = judge(-x, -high, -low, u, "simple")
    moved = judge(x + shift, low + shift, high + shift, u, "simple")
    assert one.verdict is other.verdict is moved.verdict
    assert one.deviation_nm == -other.deviation_nm == moved.deviation_nm
    assert one.probability == pytest.approx(other.probability, rel=1e-9, abs=1e-300)
    assert one.probability == pytest.approx(moved.probability, rel=1e-9, abs=1e-300)


@given(
    x=st.integers(-4000, 4000),
    ends=st.tuples(st.integers(-4000, 4000), st.integers(-4000, 4000)),
    u=st.integers(1, 400),
)
def test_a_verdict_does_not_depend_on_the_unit(x, ends, u):
    """Thousandths of an inch as nanometers, and the same numbers as whole units."""
    low, high = sorted(ends)
    mil = 25_400
    try:
        found = judge(x * mil, low * mil, high * mil, u * mil, "guarded", "1998")
    except NarrowLimits:
        with pytest.raises(NarrowLimits):
            judge(x, low, high, u, "guarded", "1998")
        return
    plain = judge(x, low, high, u, "guarded", "1998")
    assert found.verdict is plain.verdict
    assert found.deviation_nm == plain.deviation_nm * mil
    assert found.probability == plain.probability


@given(z=st.floats(-30, 30))
def test_probabilities_keep_their_digits_in_both_tails(z):
    one = conformance_probability(z, 0.0, None, 1.0)
    other = conformance_probability(-z, None, 0.0, 1.0)
    assert one == pytest.approx(other, rel=1e-14)
    assert 0 <= one <= 1
    if z < -2:  # Mills: phi(z)/|z| (1 - 1/z^2) < Phi(z) < phi(z)/|z|
        density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
        assert density / -z * (1 - 1 / z**2) <= one <= density / -z


# What is computed is judged as a reading is


@given(
    x=st.integers(-100_000_000, 100_000_000),
    low=st.none() | st.integers(-5_000_000, 5_000_000),
    width=st.none() | st.integers(0, 90_000_000),
    u=st.none() | st.integers(1, 900_000),
    slip=st.floats(-4e-7, 4e-7),
)
def test_a_computed_length_is_judged_as_the_reading_it_predicts(x, low, width, u, slip):
    assume(low is not None or width is not None)
    high = None if width is None else (low or 0) + width
    rule = Rule.SIMPLE if u is None else Rule.GUARDED
    try:
        judged = judge(x, low, high, u, rule)
    except NarrowLimits:
        return
    limits = Limits(*(None if nm is None else nm / MM for nm in (low, high)))
    inside = scales([drawn_in(limits, None if u is None else u / MM, rule)])
    computed = x / MM + slip  # what a solver leaves below a nanometer changes nothing
    assert nearest_nm(computed) == x
    assert bool(inside.conform([computed])[0]) == (judged.verdict is Verdict.CONFORMS)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_has_no_verdict(value):
    with pytest.raises(ValueError, match="number"):
        nearest_nm(value)
    with pytest.raises(ValueError, match="number"):
        scales([Limits(0.0, 1.0)]).conform([value])
