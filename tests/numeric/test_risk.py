"""Risks of a rule, uncertainty budgets and sampling plans against what is published."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qa.numeric.measuring import attribute_plans, budget, risk, sampling
from qa.numeric.measuring.budget import Contribution, combine
from qa.numeric.measuring.check_risk import (
    Characteristic,
    guard_that_keeps,
    whole_risks,
)
from qa.numeric.measuring.risk import GammaProcess, NormalProcess, global_risks
from tests.numeric import published

GUIDE = published.load("jcgm_106")
BUDGETS = published.load("gum_examples")
PLANS = published.load("sampling_iso2859_z14")


def case(clause):
    found = next(one for one in GUIDE["cases"] if one["clause"].startswith(clause))
    return {
        name: float(value) if name not in ("clause", "kind", "per_100") else value
        for name, value in found.items()
        if not isinstance(value, dict | list) or name == "per_100"
    }


def test_resistors_of_the_guide_have_its_risks():
    """JCGM 106:2012, 9.5.3.2: 1 % and 7 %; counts of a hundred as printed."""
    one = case("9.5.3.2")
    process = NormalProcess(one["y0"], one["u0"])
    tolerance = (one["TL"], one["TU"])
    acceptance = risk.guarded(tolerance, one["um"], one["r"])
    assert acceptance == pytest.approx((one["AL"], one["AU"]), abs=1e-9)
    found = global_risks(process, one["um"], tolerance, acceptance)
    assert found.conforming == pytest.approx(one["pc"], abs=0.005)
    assert found.customer == pytest.approx(one["RC"], abs=0.0005)
    assert found.shop == pytest.approx(one["RP"], abs=0.001)
    told = (found.conforming, found.customer, found.shop, found.accepted)
    recomputed = (0.9044192954544461, 0.009878291521772138, 0.06902651046145071)
    assert told == pytest.approx((*recomputed, 0.8452710765147675), abs=1e-12)
    # A hundred resistors: 1 that does not conform is accepted, 7 conforming refused.
    assert round(100 * found.customer) == one["per_100"]["nonconf_accepted"]
    assert round(100 * found.shop) == one["per_100"]["conf_rejected"]


@pytest.mark.parametrize(
    ("r", "customer", "shop"),
    [(0, 0.01894221, 0.03720780), (1, 0.00046863, 0.24766964)],
)
def test_other_rules_on_the_resistors_have_the_computed_risks(r, customer, shop):
    """Simple acceptance, and w = U: computed apart, in check-values.md section 4."""
    made, limits = NormalProcess(1500, 0.12), (1499.8, 1500.2)
    risks = global_risks(made, 0.04, limits, risk.guarded(limits, 0.04, r))
    assert (risks.customer, risks.shop) == pytest.approx((customer, shop), abs=5e-9)


def test_bearings_of_the_guide_have_its_risks_and_its_rule():
    """JCGM 106:2012, 9.5.4: gamma (4, 4), r 0.65, A 1.7, 0.1 % and 7.5 %."""
    one = case("9.5.4")
    process, tolerance = GammaProcess(one["alpha"], one["lam"]), (None, one["T"])
    acceptance = risk.guarded(tolerance, one["um"], one["r"])
    assert acceptance[1] == pytest.approx(one["A"], abs=0.05)
    found = global_risks(process, one["um"], tolerance, acceptance)
    assert 1 - found.conforming == pytest.approx(one["pc_bar"], abs=0.0005)
    assert found.customer == pytest.approx(one["RC"], abs=0.00005)
    assert found.shop == pytest.approx(one["RP"], abs=0.0005)
    told = 1 - found.conforming, found.customer, found.shop
    assert told == pytest.approx((0.042380, 0.00102654, 0.07464969), abs=5e-7)
    assert found.shop == pytest.approx(0.07464969, abs=5e-9)
    assert 1 - found.accepted == pytest.approx(0.1160032698859893, abs=1e-10)
    factor = risk.guard_for(process, one["um"], tolerance, one["RC"])
    assert factor == pytest.approx(0.6563424568886929, abs=1e-6)


@pytest.mark.parametrize(
    ("index", "customer", "shop", "digits"),
    [(2, 0.001, 0.015, 5e-4), (10, 0.0004, 0.0007, 5e-5)],
)
def test_risks_at_a_measuring_capability_are_those_of_the_figure(
    index, customer, shop, digits
):
    """JCGM 106:2012, figure 17: a process of sd T/6, no guard band."""
    found = global_risks(
        NormalProcess(0, 1 / 6), 0.25 / index, (-0.5, 0.5), (-0.5, 0.5)
    )
    assert found.customer == pytest.approx(customer, abs=digits)
    assert found.shop == pytest.approx(shop, abs=digits)


@settings(max_examples=30, deadline=None)
@given(st.floats(-1, 1), st.floats(0.2, 2), st.floats(0.05, 0.5), st.floats(-0.3, 0.5))
def test_risks_are_those_of_a_bivariate_normal(mean, sd, u, guard):
    """Independent: value and reading are jointly normal (SciPy's rectangle)."""
    found = global_risks(NormalProcess(mean, sd), u, (None, 1), (None, 1 - guard))
    read = math.hypot(sd, u)
    accepted = stats.norm.cdf((1 - guard - mean) / read)
    both = stats.multivariate_normal([mean, mean], [[sd**2] * 2, [sd**2, read**2]])
    conforming = stats.norm.cdf((1 - mean) / sd)
    assert found.conforming == pytest.approx(conforming, abs=1e-9)
    assert found.accepted == pytest.approx(accepted, abs=1e-9)
    good = both.cdf([1, 1 - guard])
    assert found.customer == pytest.approx(accepted - good, abs=2e-5)
    assert found.shop == pytest.approx(conforming - good, abs=2e-5)


def test_a_whole_check_risks_more_than_each_of_its_characteristics():
    """By hand: two alike, independent: 0.9 conform, 0.85 are accepted, of which 0.01
    do not conform: all conform 0.81, accepted 0.7225, both 0.84^2 = 0.7056."""
    one = risk.Risks(0.9, 0.85, 0.01, 0.06)
    found = risk.check_risks([one, one])
    told = (found.conforming, found.accepted, found.customer, found.shop)
    assert told == pytest.approx((0.81, 0.7225, 0.7225 - 0.7056, 0.81 - 0.7056))
    together = risk.all_conform([0.9, 0.95, 0.8])
    told = (together.independent, together.least, together.most)
    assert told == pytest.approx((0.684, 0.65, 0.8))


def test_the_rule_of_a_whole_check_keeps_a_wish_in_simulated_checks():
    """Two places of unlike limits: the guard keeps 1 % of all checks accepted with
    something that does not conform; a million checks are drawn."""
    each = [
        Characteristic(NormalProcess(2.1, 0.3), 0.1, (1.5, 3.0)),
        Characteristic(NormalProcess(0.0, 0.2), 0.05, (-0.4, 0.4)),
    ]
    r = guard_that_keeps(each, 0.01)
    ends = [risk.guarded(one.tolerance, one.u, r) for one in each]
    told = whole_risks(each, ends)
    assert told.customer == pytest.approx(0.01, abs=1e-5)
    looser = [risk.guarded(one.tolerance, one.u, r - 0.01) for one in each]
    assert whole_risks(each, looser).customer > 0.01
    random = np.random.default_rng(7)
    conform = accepted = np.ones(1_000_000, dtype=bool)
    for one, (low, high) in zip(each, ends, strict=True):
        true = random.normal(one.process.mean, one.process.sd, size=len(conform))
        read = true + random.normal(0, one.u, size=len(conform))
        lowest, highest = one.tolerance
        conform = conform & (true >= lowest) & (true <= highest)
        accepted = accepted & (read >= low) & (read <= high)
    came = accepted.mean(), (accepted & ~conform).mean(), (conform & ~accepted).mean()
    assert came == pytest.approx((told.accepted, told.customer, told.shop), abs=2e-3)
    # A gauge as wide as the limits keeps no such wish.
    blunt = [Characteristic(NormalProcess(0, 0.5), 1.0, (-0.4, 0.4))]
    assert guard_that_keeps(blunt, 1e-9) is None


@pytest.mark.parametrize(
    "call",
    [
        lambda: guard_that_keeps([], 0.1),
        lambda: guard_that_keeps([], 1.0),
        lambda: global_risks(NormalProcess(0, 0), 1, (0, 1), (0, 1)),
        lambda: global_risks(NormalProcess(0, 1), 0, (0, 1), (0, 1)),
        lambda: global_risks(NormalProcess(0, 1), 1, (None, None), (0, 1)),
        lambda: global_risks(NormalProcess(0, 1), 1, (1, 0), (0, 1)),
        lambda: global_risks(GammaProcess(0.5, 1), 1, (None, 1), (None, 1)),
        lambda: risk.guard_for(NormalProcess(0, 1), 1, (-1, 1), 0),
        lambda: risk.all_conform([]),
        lambda: risk.all_conform([1.1]),
        lambda: risk.check_risks([]),
    ],
)
def test_what_is_no_risk_is_refused(call):
    with pytest.raises(risk.RiskError):
        call()


def test_a_wish_that_is_kept_without_a_guard_needs_none():
    assert risk.guard_for(NormalProcess(0, 0.1), 0.01, (-1, 1), 0.01) == 0


def test_the_end_gauge_of_the_guide_is_combined_as_there():
    """JCGM 100:2008, H.1: all to the digits printed, U99 to 1 nm."""
    given, expected = BUDGETS["H1"]["inputs"], BUDGETS["H1"]["expected"]
    given = {name: float(value) for name, value in given.items()}
    standard = budget.from_expanded(given["U_lS_nm"], given["k_lS"])
    observed = given["s_pool_nm"] / math.sqrt(given["n_obs"])
    random = given["d1_bound_nm"] / given["t95_5"]
    systematic = budget.from_expanded(given["d2_nm"], given["d2_sigma"])
    difference = combine(
        [
            Contribution("observed", observed, given["nu_dbar"]),
            Contribution("random", random, given["nu_d1"]),
            Contribution("systematic", systematic, given["nu_d2"]),
        ]
    )
    printed = {name: expected[name] for name in ("u_d_nm", "nu_d")}
    assert difference.u == pytest.approx(float(printed["u_d_nm"]), abs=0.05)
    assert difference.df == pytest.approx(float(printed["nu_d"]), abs=0.05)
    length = 50e6  # nm, nominal, as it was recomputed
    expansion = budget.from_half_width(given["dalpha_halfwidth"])
    warmth = budget.from_half_width(given["dtheta_halfwidth"])
    swing = budget.from_half_width(given["Delta"], "arcsine")
    theta = math.hypot(given["u_theta_mean"], swing)
    assert theta == pytest.approx(float(expected["u_theta"]), abs=0.005)
    parts = [
        Contribution("standard", standard, given["nu_lS"]),
        Contribution("difference", difference.u, difference.df),
        Contribution("d alpha", length * 0.1 * expansion, given["nu_dalpha"]),
        Contribution("d theta", length * 11.5e-6 * warmth, given["nu_dtheta"]),
    ]
    assert parts[2].u == pytest.approx(float(expected["contrib_dalpha_nm"]), abs=0.05)
    assert parts[3].u == pytest.approx(float(expected["contrib_dtheta_nm"]), abs=0.05)
    found = combine(parts, level=0.99)
    assert found.u**2 == pytest.approx(expected["uc_sq"], abs=0.5)
    assert found.df == pytest.approx(float(expected["nu_eff"]), abs=0.05)
    assert found.k == pytest.approx(float(expected["t99_16"]), abs=0.005)
    assert found.expanded == pytest.approx(expected["U99_nm"], abs=1)
    assert (found.u, found.df) == pytest.approx((31.65816, 16.74166), abs=5e-6)
    assert found.u**2 == pytest.approx(1002.2389, abs=5e-5)
    assert found.k_df == expected["nu_eff_trunc"]
    assert found.k == pytest.approx(2.920782, abs=5e-7)
    assert found.expanded == pytest.approx(92.4666, abs=5e-5)
    assert sum(found.shares) == pytest.approx(1)
    second = [
        length * budget.from_half_width(given["alphaS_halfwidth"]) * warmth,
        length * expansion * theta,
    ]
    whole = combine([*parts, *(Contribution("second order", u) for u in second)])
    assert whole.u == pytest.approx(expected["uc_with_second_order_nm"], abs=0.5)
    assert whole.u == pytest.approx(33.80113, abs=5e-6)


def test_welch_and_satterthwaite_are_those_of_the_guide():
    """JCGM 100:2008, G.4.1: 1.03 %, 19.0, 2.09, 2.2 %; G.4.2: 8, 50, 2."""
    given, expected = BUDGETS["G41"], BUDGETS["G41"]["expected"]
    found = combine(
        [
            Contribution(str(k), float(u), df)
            for k, (u, df) in enumerate(
                zip(given["u_rel_pct"], given["nu"], strict=True)
            )
        ]
    )
    assert found.u == pytest.approx(float(expected["uc_pct"]), abs=0.005)
    assert found.df == pytest.approx(float(expected["nu_eff"]), abs=0.05)
    assert found.k == pytest.approx(float(expected["t95_19"]), abs=0.005)
    assert found.expanded == pytest.approx(float(expected["U95_pct"]), abs=0.05)
    assert [budget.df_of_doubt(x) for x in (0.25, 0.1, 0.5)] == pytest.approx(
        [8, 50, 2]
    )


def test_coverage_factors_are_those_of_the_table_of_the_guide():
    """JCGM 100:2008, table G.2, two decimals; 68.27 % and on."""
    table = BUDGETS["G2_table_t"]
    for df, row in table["rows"].items():
        for percent, printed in zip(table["columns_percent"], row, strict=True):
            level = float(percent) / 100
            found = combine([Contribution("one", 1.0, int(df))], level)
            assert found.k == pytest.approx(float(printed), abs=0.0051, rel=5e-4)
    endless = combine([Contribution("one", 1.0)], 0.95)
    assert (endless.k, endless.df) == (pytest.approx(1.95996, abs=1e-5), None)
    assert budget.from_resolution(0.01) == pytest.approx(0.0029, abs=5e-5)  # F.2.2.1


@pytest.mark.parametrize(
    "call",
    [
        lambda: combine([]),
        lambda: combine([Contribution("one", 0.0)]),
        lambda: combine([Contribution("one", -1.0)]),
        lambda: combine([Contribution("one", 1.0, 0.5)]),
        lambda: combine([Contribution("one", 1.0)], level=1),
        lambda: budget.from_half_width(-1),
        lambda: budget.from_half_width(1, "round"),
        lambda: budget.from_expanded(1, 0),
        lambda: budget.df_of_doubt(0),
    ],
)
def test_what_is_no_budget_is_refused(call):
    with pytest.raises(budget.BudgetError):
        call()


def test_operating_curves_are_those_that_are_printed():
    """ISO 2859-1 table X-J (n 80, Ac 2); Montgomery n 89, c 2 (both from memory)."""
    curve = PLANS["oc_J_n80_Ac2"]
    qualities = [
        100 * sampling.quality_accepted(float(pa), 80, 2) for pa in curve["Pa"]
    ]
    printed = [float(one) for one in curve["percent_nonconforming"]]
    assert qualities == pytest.approx(printed, rel=6e-3)
    printed = PLANS["oc_n89_c2"]
    shares = sampling.operating_curve([float(p) for p in printed], 89, 2)
    assert shares == pytest.approx([float(one) for one in printed.values()], abs=1e-4)
    # n 52, c 3, remembered of NIST 6.2: ten of twelve are right as printed, .845 and
    # .739 at 4 and 5 % are no values of it. Held to what it comes to: binomial terms
    # added in whole fractions, and SciPy's law.
    printed = PLANS["oc_n52_c3"]
    shares = dict(
        zip(
            printed,
            sampling.operating_curve([float(p) for p in printed], 52, 3),
            strict=True,
        )
    )
    for p, found in shares.items():
        each = (math.comb(52, k) * Fraction(p) ** k for k in range(4))
        terms = (one * (1 - Fraction(p)) ** (52 - k) for k, one in enumerate(each))
        assert found == pytest.approx(float(sum(terms)), abs=1e-12)
        assert found == pytest.approx(stats.binom.cdf(3, 52, float(p)), abs=1e-12)
        if p not in ("0.04", "0.05"):
            assert found == pytest.approx(float(printed[p]), abs=5e-4)
    computed = (shares["0.04"], shares["0.05"])
    assert computed == pytest.approx((0.8460, 0.7383), abs=5e-5)


def test_published_plans_are_those_of_the_table():
    """ISO 2859-1 tables 1 and 2-A: letters as read in a reprint, acceptance numbers
    from memory, see the source in the file."""
    levels = PLANS["levels"]
    for lots, letters in PLANS["code_letters"].items():
        first, _, last = lots.strip("+").partition("-")
        for lot in (int(first), int(last or first)):
            told = [attribute_plans.code_letter(lot, level) for level in levels]
            assert told == list(letters), lots
    sizes = zip(attribute_plans.LETTERS, attribute_plans.SIZES, strict=True)
    assert dict(sizes) == {
        letter: int(size) for letter, size in PLANS["sample_size"].items()
    }
    lots = {attribute_plans.code_letter(lot, "II"): lot for lot in range(2, 10_000)}
    for one in PLANS["normal_single"]:
        limit = next(
            text for text in attribute_plans.LIMITS if float(text) == float(one["aql"])
        )
        plan = attribute_plans.published_plan(lots[one["letter"]], "II", limit)
        assert (plan.letter, plan.n, plan.c) == (one["letter"], one["n"], one["Ac"])


def test_where_the_table_has_an_arrow_the_plan_of_its_letter_is_told():
    """F at 1.0 leads to E, at 1.5 to G (n 32, Ac 1); A at 0.65 to F (n 20, Ac 0)."""
    plan = attribute_plans.published_plan
    told = [plan(280, "III", "1.0"), plan(120, "II", "1.0"), plan(120, "II", "1.5")]
    assert [(one.asked, one.letter, one.n, one.c) for one in told] == [
        ("H", "H", 50, 1),
        ("F", "E", 13, 0),
        ("F", "G", 32, 1),
    ]
    small = plan(8, "II", "0.65")
    assert (small.asked, small.n, small.c, small.all_of_it) == ("A", 8, 0, True)
    # No plan lies before A nor after R: to C (n 5, Ac 1) and to P (n 800, Ac 0).
    told = [plan(8, "II", "10"), plan(600_000, "III", "0.015")]
    assert [(one.asked, one.letter, one.n, one.c) for one in told] == [
        ("A", "C", 5, 1),
        ("R", "P", 800, 0),
    ]


def test_every_letter_has_a_plan_at_every_limit_and_larger_lots_look_at_no_fewer():
    lots = [2, 9, 16, 26, 51, 91, 151, 281, 501, 1201, 3201, 10_001, 35_001, 150_001]
    for limit in attribute_plans.LIMITS:
        plans = [
            attribute_plans.published_plan(lot, "III", limit)
            for lot in (*lots, 500_001)
        ]
        assert all(0 <= plan.c < plan.n for plan in plans)
        assert [plan.n for plan in plans] == sorted(plan.n for plan in plans)


def accepted_by_hand(bad, good, n, c):
    """Hypergeometric, by counting (math.comb)."""
    ways = sum(math.comb(bad, k) * math.comb(good, n - k) for k in range(c + 1))
    return ways / math.comb(bad + good, n)


def test_a_plan_for_a_lot_keeps_both_risks_and_no_smaller_one_does():
    lot, good, bad = 60, 0.05, 0.2
    plan = sampling.find_plan(good, 0.1, bad, 0.1, lot=lot)
    assert plan.accepted_when_good == pytest.approx(
        accepted_by_hand(3, 57, plan.n, plan.c)
    )
    assert plan.accepted_when_bad == pytest.approx(
        accepted_by_hand(12, 48, plan.n, plan.c)
    )
    assert (plan.accepted_when_good, plan.accepted_when_bad) >= (0.9, 0)
    assert plan.accepted_when_bad <= 0.1
    kept = [
        (n, c)
        for n in range(1, plan.n)
        for c in range(n)
        if accepted_by_hand(3, 57, n, c) >= 0.9
        and accepted_by_hand(12, 48, n, c) <= 0.1
    ]
    assert kept == []


def test_a_plan_for_a_process_is_the_one_of_the_larson_nomograph():
    """Montgomery, example 15.1 style: p1 0.01, 5 %, p2 0.06, 10 %: the nomograph gives
    n 89, c 2 (from memory), which misses the shop's risk by 1 %; exact is 110, 3."""
    assert sampling.share_accepted(0.01, 89, 2) == pytest.approx(0.94, abs=0.001)
    plan = sampling.find_plan(0.01, 0.05, 0.06, 0.1)
    assert (plan.n, plan.c) == (110, 3)
    assert plan.accepted_when_good >= 0.95
    assert plan.accepted_when_bad <= 0.1


def test_a_lot_so_small_that_only_all_of_it_tells_is_said():
    plan = sampling.find_plan(0.1, 0.01, 0.15, 0.01, lot=20)
    assert (plan.n, plan.all_of_it) == (20, True)


@pytest.mark.parametrize(
    "call",
    [
        lambda: sampling.share_accepted(1.1, 5, 0),
        lambda: sampling.share_accepted(0.1, 0, 0),
        lambda: sampling.share_accepted(0.1, 5, 6),
        lambda: sampling.share_accepted(0.1, 5, 0, lot=4),
        lambda: sampling.quality_accepted(1.0, 5, 0),
        lambda: sampling.find_plan(0.1, 0.05, 0.1, 0.1),
        lambda: sampling.find_plan(0.1, 0, 0.2, 0.1),
        lambda: sampling.find_plan(0.1, 0.1, 0.2, 0.1, lot=0),
    ],
)
def test_what_is_no_plan_is_refused(call):
    with pytest.raises(sampling.SamplingError):
        call()


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 40), st.integers(0, 5), st.floats(0.001, 0.999))
def test_a_quality_is_accepted_as_often_as_it_says(n, c, accepted):
    c = min(c, n - 1)
    quality = sampling.quality_accepted(accepted, n, c)
    back = sampling.share_accepted(quality, n, c)
    assert back == pytest.approx(accepted, abs=1e-9)
    assert np.all(np.diff(sampling.operating_curve([0, quality, 1], n, c)) <= 0)
