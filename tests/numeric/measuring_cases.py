"""Calls of qa.numeric.measuring that are good as they stand, for test_no_numbers."""

from qa.numeric.measuring import (
    budget,
    capability,
    charts,
    check_risk,
    constants,
    exact,
    gauge,
    joint_capability,
    normality,
    pearson,
    proportion,
    regression,
    risk,
    run_rules,
    sampling,
    spread,
    trend,
)

VALUES = [1.0, 1.2, 0.9, 1.1, 1.05, 0.95, 1.15, 1.0, 1.02]
STUDY = [1.0, 1.1, 1.2, 1.1, 2.0, 2.1, 2.2, 2.3]
PARTS, PEOPLE = [*"aaaabbbb"], [*"xxyyxxyy"]


def two(u, df):
    return [budget.Contribution("one", u, df), budget.Contribution("other", 1.0)]


def normal_risks(mean, sd, u, low, high):
    process = risk.NormalProcess(mean, sd)
    return risk.global_risks(process, u, (low, high), (low, high))


def one_place(mean, sd, u, low, high):
    process = risk.NormalProcess(mean, sd)
    return check_risk.Characteristic(process, u, (low, high))


def gamma_risks(shape, rate, u, high):
    process = risk.GammaProcess(shape, rate)
    return risk.global_risks(process, u, (None, high), (None, high))


CASES = [
    (exact.exact, None, {"value": 1.0}),
    (exact.exact_list, None, {"values": VALUES}),
    (exact.level_of, None, {"level": 0.95}),
    (
        joint_capability.place_level,
        lambda level: joint_capability.place_level(9, level),
        {"level": 0.95},
    ),
    (
        proportion.share_bounds,
        lambda level: proportion.share_bounds(3, 9, level),
        {"level": 0.95},
    ),
    (
        proportion.seen_of,
        lambda level: proportion.seen_of(0, 9, level),
        {"level": 0.95},
    ),
    (constants.chi_mean, None, {"df": 4.0}),
    (
        charts.chart,
        lambda values: charts.chart(values, [*"aaabbbccc"]),
        {"values": VALUES},
    ),
    (run_rules.signals, lambda z: run_rules.signals(z, "nelson"), {"z": VALUES}),
    (
        capability.capability,
        None,
        {"values": VALUES, "lower": 0.0, "upper": 2.0, "level": 0.95},
    ),
    (
        capability.cp_bounds,
        lambda cp, sd, df, level: capability.cp_bounds(
            cp, spread.Spread(sd, df, "pooled"), level
        ),
        {"cp": 1.0, "sd": 1.0, "df": 8.0, "level": 0.95},
    ),
    (
        capability.cpk_bounds,
        lambda cpk, df, level: capability.cpk_bounds(cpk, 9, df, level),
        {"cpk": 1.0, "df": 8.0, "level": 0.95},
    ),
    (normality.anderson_darling, None, {"values": VALUES}),
    (
        pearson.pearson_curve,
        None,
        {"mean": 1.0, "sd": 2.0, "skewness": 0.5, "kurtosis": 4.0},
    ),
    (
        regression.fit,
        None,
        {"design": [[1.0, 2.0], [1.0, 3.0], [1.0, 5.0]], "y": [1.0, 2.0, 2.5]},
    ),
    (
        gauge.gauge_study,
        lambda values, tolerance, level: gauge.gauge_study(
            PARTS, PEOPLE, values, tolerance=tolerance, level=level
        ),
        {"values": STUDY, "tolerance": 2.0, "level": 0.95},
    ),
    (
        trend.trend,
        None,
        {
            "pulls": [1.0, 2.0, 3.0, 4.0, 5.0],
            "values": [1.0, 1.1, 1.25, 1.6, 1.7],
            "limit": 3.0,
            "breaks": [4.0],
            "level": 0.95,
            "at": [9.0],
        },
    ),
    (
        sampling.share_accepted,
        lambda nonconforming: sampling.share_accepted(nonconforming, 20, 1, lot=50),
        {"nonconforming": 0.1},
    ),
    (
        sampling.operating_curve,
        lambda shares: sampling.operating_curve(shares, 20, 1),
        {"shares": [0.1, 0.2]},
    ),
    (
        sampling.quality_accepted,
        lambda accepted: sampling.quality_accepted(accepted, 20, 1),
        {"accepted": 0.9},
    ),
    (
        sampling.find_plan,
        None,
        {"good": 0.01, "shop_risk": 0.1, "bad": 0.2, "customer_risk": 0.1},
    ),
    (
        risk.global_risks,
        normal_risks,
        {"mean": 0.0, "sd": 1.0, "u": 0.2, "low": -2.0, "high": 2.0},
    ),
    (
        risk.global_risks,
        gamma_risks,
        {"shape": 4.0, "rate": 4.0, "u": 0.2, "high": 2.0},
    ),
    (
        risk.guarded,
        lambda low, high, u, r: risk.guarded((low, high), u, r),
        {"low": 0.0, "high": 1.0, "u": 0.1, "r": 1.0},
    ),
    (
        risk.guard_for,
        lambda u, high, customer: risk.guard_for(
            risk.GammaProcess(4, 4), u, (None, high), customer
        ),
        {"u": 0.25, "high": 2.0, "customer": 0.001},
    ),
    (risk.all_conform, None, {"probabilities": [0.9, 0.99]}),
    (
        check_risk.whole_risks,
        lambda place, ends: check_risk.whole_risks([one_place(*place)], [tuple(ends)]),
        {"place": [0.1, 0.4, 0.05, -1.0, 1.0], "ends": [-0.9, 0.9]},
    ),
    (
        check_risk.guard_that_keeps,
        lambda place, customer: check_risk.guard_that_keeps(
            [one_place(*place)], customer
        ),
        {"place": [0.1, 0.4, 0.05, -1.0, 1.0], "customer": 0.001},
    ),
    (
        risk.check_risks,
        lambda shares: risk.check_risks([risk.Risks(*shares)]),
        {"shares": [0.9, 0.85, 0.01, 0.06]},
    ),
    (budget.from_half_width, None, {"half_width": 1.0}),
    (budget.from_resolution, None, {"resolution": 0.01}),
    (budget.from_expanded, None, {"expanded": 0.1, "k": 2.0}),
    (budget.df_of_doubt, None, {"doubt": 0.25}),
    (
        budget.combine,
        lambda u, df, level: budget.combine(two(u, df), level),
        {"u": 1.0, "df": 8.0, "level": 0.95},
    ),
]

# Whole numbers, and what was said in words.
WHOLE = {
    *("constants.d2", "constants.d3", "constants.c4", "constants.d2_star"),
    "gauge_advice.advice",
}
# Fractions and mean squares that were made of values by exact_list.
INNER = {
    *(
        "joint_capability.joint_capability",
        "charts.grouped",
        "charts.scattered",
        "exact.moments",
        "exact.root",
    ),
    *("gauge_range.by_ranges", "gauge_range.categories", "mean_squares.bounds"),
    *("normality.standardized", "pearson.shape_of", "spread.moving_ranges"),
    *("spread.from_moving_ranges", "spread.within"),
}
