"""Gauge studies against the manual's example, and an analysis of variance apart."""

import os

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qa.numeric.measuring.gauge import StudyError, gauge_study
from qa.numeric.measuring.mean_squares import Term, bounds
from qa.wording.measuring import gauge_advice, remark
from tests.numeric import published

STUDIES = int(os.environ.get("FAYLINE_COVERAGE", "200"))
MANUAL = published.load("grr_aiag_10x3x3")


def rows_of(values):
    """Parts, people and values of an array (part, person, repeat)."""
    p, o, r = np.shape(values)
    places = [(i, j, k) for i in range(p) for j in range(o) for k in range(r)]
    return (
        [f"P{i}" for i, _, _ in places],
        [f"O{j}" for _, j, _ in places],
        [values[i][j][k] for i, j, k in places],
    )


def manual():
    """The manual's data as (part, person, repeat)."""
    trials = [MANUAL["data"][person] for person in "ABC"]
    return [[[trials[j][k][i] for k in range(3)] for j in range(3)] for i in range(10)]


def floats(values):
    return {name: float(value) for name, value in values.items()}


def test_the_analysis_of_variance_is_that_of_the_manual():
    """AIAG MSA 4th ed. 2010, ch. III B; main effects against the interaction, since
    people and parts are random: 79.406 and 492.291."""
    study = gauge_study(*rows_of(manual()))
    expected = MANUAL["expected_anova"]
    names = {"person": "appraiser", "part": "part", "total": "total"}
    names |= {"part_x_person": "appraiser_by_part", "repeatability": "equipment"}
    rows = {row.source: row for row in study.anova}
    for ours, theirs in names.items():
        assert rows[ours].df == expected["df"][theirs]
        assert rows[ours].ss == pytest.approx(float(expected["SS"][theirs]), abs=5e-5)
        if theirs in expected["MS"]:
            printed = float(expected["MS"][theirs])
            assert rows[ours].ms == pytest.approx(printed, abs=5e-6)
    main = floats(expected["F_random_model_main_vs_interaction"])
    assert rows["person"].f == pytest.approx(main["appraiser"], abs=5e-4)
    assert rows["part"].f == pytest.approx(main["part"], abs=5e-4)
    assert rows["part_x_person"].f == pytest.approx(0.434, abs=5e-4)
    assert rows["part_x_person"].p == pytest.approx(0.9741, abs=5e-5)
    assert study.pooled
    (model,) = study.notes
    assert model.code == "pooled_model" and model.values["df"] == 78
    error = float(expected["pooled_error_ms"])
    for source, printed in (("person", "appraiser"), ("part", "part")):
        ratio = float(expected["MS"][printed]) / error
        assert model.values[f"{source}_f"] == pytest.approx(ratio, rel=1e-5)


def test_deviations_and_categories_are_those_of_the_manual():
    study = gauge_study(*rows_of(manual()), tolerance=4)
    expected = MANUAL["expected_anova"]
    sd = floats(expected["sd"])
    names = {"repeatability": "EV", "person": "AV", "gauge": "GRR", "part": "PV"}
    for ours, theirs in names.items():
        assert study.sd[ours] == pytest.approx(sd[theirs], abs=2e-6)
    assert study.sd["total"] == pytest.approx(sd["TV"], abs=5e-4)
    assert study.sd["part_x_person"] == 0
    assert 100 * study.share_of_total == pytest.approx(27.9, abs=0.05)
    assert study.distinct_categories == expected["ndc"]
    assert study.share_of_tolerance == pytest.approx(6 * 0.302372 / 4, abs=1e-5)
    ranges, printed = study.range_method, floats(MANUAL["expected_average_range"])
    names = {"repeatability": "EV", "reproducibility": "AV", "gauge": "GRR"}
    for ours, theirs in (names | {"part": "PV", "total": "TV"}).items():
        # The manual rounds its constants and what it goes on with.
        assert ranges.sd[ours] == pytest.approx(printed[theirs], abs=2e-4)
    assert 100 * ranges.share_of_total == pytest.approx(printed["pct_GRR"], abs=0.01)
    assert ranges.distinct_categories == printed["ndc"]


SHAPES = st.tuples(st.integers(2, 6), st.integers(2, 4), st.integers(2, 3))


@settings(max_examples=25, deadline=None)
@given(SHAPES, st.integers(0, 10**6))
def test_sums_of_squares_are_those_of_models_fitted_one_by_one(shape, seed):
    """Independent: NumPy's least squares with dummy columns, model by model."""
    p, o, r = shape
    values = np.random.default_rng(seed).normal(size=shape).round(3)
    part, person = (
        np.repeat(np.eye(p), o * r, 0),
        np.tile(np.eye(o).repeat(r, 0), (p, 1)),
    )
    cell, y = np.repeat(np.eye(p * o), r, 0), values.ravel()

    def left(*columns):
        design = np.hstack([np.ones((y.size, 1)), *columns])
        return np.sum((y - design @ np.linalg.lstsq(design, y, rcond=None)[0]) ** 2)

    expected = {
        "total": left(),
        "part": left() - left(part),
        "person": left() - left(person),
        "part_x_person": left(part, person) - left(cell),
        "repeatability": left(cell),
    }
    study = gauge_study(*rows_of(values.tolist()))
    assert {row.source: row.ss for row in study.anova} == pytest.approx(
        expected, abs=1e-9
    )
    row = {row.source: row for row in study.anova}
    cross, error = row["part_x_person"], row["repeatability"]
    assert cross.p == pytest.approx(stats.f.sf(cross.f, cross.df, error.df))
    assert study.pooled == (cross.p > 0.25)


def test_bounds_of_one_mean_square_are_exact():
    """By chi-square: 60 degrees of freedom between 40.48 and 83.30 (any table)."""
    low, high = bounds([Term(1.0, 1.0, 60)], 0.95)
    assert (60 / low, 60 / high) == pytest.approx((83.298, 40.482), abs=1e-3)
    low, high = bounds([Term(-2.0, 1.0, 60)], 0.95)
    assert (120 / -low, 120 / -high) == pytest.approx((40.482, 83.298), abs=1e-3)


@pytest.mark.parametrize(
    ("shape", "sds"),
    [((10, 3, 3), (1, 0.2, 0.1, 0.2)), ((8, 3, 2), (0.5, 0.1, 0, 0.2))],
)
def test_intervals_cover_what_they_promise(shape, sds):
    """95 %, never less than that by more than four standard errors (of 200: 6 %). The
    method is known to err to the safe side, and three quarters of its intervals are not
    as sure."""
    p, o, r = shape
    part, person, cross, repeat = sds
    rng = np.random.default_rng(p)
    gauge = np.sqrt(person**2 + cross**2 + repeat**2)
    true = {"repeatability": repeat, "part": part, "gauge": gauge, "person": person}
    true |= {"reproducibility": np.hypot(person, cross)}
    true |= {"total": np.hypot(part, gauge)}
    true |= {"share_of_total": gauge / np.hypot(part, gauge)}
    hits, inside = dict.fromkeys(true, 0), dict.fromkeys(true, 0)
    for _ in range(STUDIES):
        values = part * rng.normal(size=(p, 1, 1)) + person * rng.normal(size=(1, o, 1))
        values = values + cross * rng.normal(size=(p, o, 1))
        values = values + repeat * rng.normal(size=shape)
        study = gauge_study(*rows_of(values.round(3).tolist()))
        for name, value in true.items():
            low, high = study.intervals[name]
            hits[name] += low <= value <= high
            rim = (high - low) / 8
            inside[name] += low + rim <= value <= high - rim
    slack = max(0.02, 4 * (0.95 * 0.05 / STUDIES) ** 0.5)
    for name, count in hits.items():
        assert count / STUDIES > 0.95 - slack, name
        assert inside[name] / STUDIES < 0.95, name


def test_advice_names_the_limits_a_gauge_is_good_for():
    study = gauge_study(*rows_of(manual()), tolerance=4)
    told = gauge_advice(study)
    # 30 x 0.3024 and 10 x 0.3024, rounded up.
    assert "limits of ±9.1 or wider, usable down to ±3.1" in told
    assert "45% of this tolerance" in told
    assert "not good enough" in told
    assert "Interaction pooled with repeatability (p 0.97 > 0.25)" in told
    assert "tells 4 groups" in told


@pytest.mark.parametrize(
    ("values", "why"),
    [
        (np.arange(20.0).reshape(10, 1, 2), "one person does not tell"),
        (np.arange(20.0).reshape(1, 10, 2), "one part does not tell"),
        (np.arange(20.0).reshape(10, 2, 1), "one value per part and person"),
        (np.arange(2.0).reshape(1, 1, 2), "one part"),
        (np.ones((5, 2, 2)), "no spread"),
    ],
)
def test_what_is_no_study_is_told(values, why):
    study = gauge_study(*rows_of(values.tolist()))
    assert why in remark(study.why)
    assert why in gauge_advice(study)
    assert (study.sd, study.intervals, study.distinct_categories) == (None,) * 3


def test_a_cell_that_lacks_a_value_is_named():
    parts, people, values = rows_of(np.ones((3, 2, 2)).tolist())
    with pytest.raises(StudyError, match="part P2 by O1: 1 of 2 values"):
        gauge_study(parts[:-1], people[:-1], values[:-1])
    with pytest.raises(StudyError, match="tolerance must be more than 0"):
        gauge_study(parts, people, values, tolerance=0)


def test_a_gauge_whose_steps_hide_its_spread_is_told_so():
    values = [[[float(i)] * 2] * 2 for i in range(5)]
    study = gauge_study(*rows_of(values), tolerance=1)
    assert (study.sd["gauge"], study.distinct_categories) == (0, None)
    assert gauge_advice(study) == (
        "No spread seen: read finer, the gauge's steps hide it."
    )
