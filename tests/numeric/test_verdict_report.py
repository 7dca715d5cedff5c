"""A whole check judged: counts, outcome, sentences. Worked by hand, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.numeric.verdict.acceptance import NarrowLimits
from qa.numeric.verdict.report import (
    Outcome,
    StationLimits,
    StationReading,
    as_plain,
    judge_check,
    narrow_limits,
)
from qa.wording.findings import sentence

MM = 1_000_000
LIMITS = StationLimits(1_500_000, 3_000_000, -500_000, 500_000)


def judged(gaps, *, labels=None, limits=LIMITS, flush=0, **options):
    labels = labels or [str(k + 1) for k in range(len(gaps))]
    readings = [StationReading(gap, flush) for gap in gaps]
    return judge_check(labels, [limits] * len(gaps), readings, **options)


@pytest.mark.parametrize(
    ("gaps", "flush", "outcome"),
    [
        ([2 * MM, 3 * MM], 0, Outcome.CONFORMS),
        ([2 * MM, 3 * MM + 1], None, Outcome.DOES_NOT_CONFORM),
        ([2 * MM, None], 0, Outcome.NOT_MEASURED),
        ([2 * MM, 2 * MM], None, Outcome.NOT_MEASURED),
        ([], None, Outcome.NO_LIMITS),
    ],
)
def test_the_outcome_of_a_joint_is_its_worst_news(gaps, flush, outcome):
    assert judged(gaps, flush=flush).outcome is outcome


def test_what_is_not_proven_counts_more_than_what_is_not_measured():
    found = judged([3 * MM, None], rule="guarded", u_nm=50_000)
    assert found.outcome is Outcome.NOT_PROVEN
    assert list(found.counts.values()) == [2, 0, 1, 1]
    assert list(found.counts) == [
        "conforms",
        "does_not_conform",
        "not_proven",
        "not_measured",
    ]


def test_what_is_not_proven_is_no_finding():
    found = judged([3_050_000, 3_090_000], rule="guarded", u_nm=50_000)
    assert [finding.rows for finding in found.findings] == [(1,)]


@pytest.mark.parametrize(
    ("gaps", "labels", "told"),
    [
        ([2, 1.4, 0.88, 1.2, 2], "34567", "tight, stations 4-6, worst 0.62 under at 5"),
        ([1, 2, 2, 2, 1.2], "12345", "tight, stations 5, 1, worst 0.50 under at 1"),
        ([1, 1, 2, 2, 1], "12345", "tight, stations 5, 1-2, worst 0.50 under at 5"),
        ([2, 2, 3.1, 2, 2], "12345", "wide, station 3, worst 0.10 over at 3"),
        (
            [1, 1, 1, 2, 2],
            ["A-1", "A-2", "A-3", "B-1", "B-2"],
            "tight, stations A-1 to A-3, worst 0.50 under at A-1",
        ),
    ],
)
def test_a_finding_is_told_in_one_sentence(gaps, labels, told):
    found = judged([round(gap * MM) for gap in gaps], labels=list(labels))
    assert [sentence(found, one) for one in found.findings] == [f"gap {told}"]


def test_a_sentence_carries_enough_decimals_and_no_more():
    found = judged([1_499_500, 2 * MM, 2 * MM, 3_620_000])
    assert [sentence(found, one) for one in found.findings] == [
        "gap tight, station 1, worst 0.0005 under at 1",
        "gap wide, station 4, worst 0.62 over at 4",
    ]
    inch = judged([3 * MM + 254_000])
    assert sentence(inch, inch.findings[0], "in") == (
        "gap wide, station 1, worst 0.010 over at 1"
    )


def test_narrow_limits_are_named_by_station_and_characteristic():
    limits = [LIMITS, StationLimits(0, 300_000, None, 0), StationLimits()]
    found = list(narrow_limits(limits, "guarded", 100_000, "2017"))
    assert [(row, name) for row, name, _ in found] == [(1, "gap")]
    assert list(narrow_limits(limits, "simple", None, "2017")) == []
    with pytest.raises(NarrowLimits):
        judge_check(
            ["1"], limits[1:2], [StationReading(1)], rule="guarded", u_nm=100_000
        )


NM = st.one_of(st.none(), st.integers(-4 * MM, 4 * MM))


@given(rows=st.lists(st.tuples(NM, NM, NM, NM), max_size=8), closed=st.booleans())
def test_counts_findings_and_plain_values_agree(rows, closed):
    limits = [
        StationLimits(*sorted((low or 0, high or 0)), None, None)
        if low is not None
        else StationLimits(None, high)
        for low, high, _, _ in rows
    ]
    readings = [StationReading(gap, flush) for _, _, gap, flush in rows]
    labels = [str(k) for k in range(len(rows))]
    found = judge_check(labels, limits, readings, closed=closed)
    with_limits = sum(one.gap.has_limits for one in found.stations)
    assert sum(found.counts.values()) == with_limits
    failing = sum(len(one.rows) for one in found.findings)
    assert failing == found.counts["does_not_conform"]
    plain = as_plain(found)
    verdicts = [one["gap"] and one["gap"]["verdict"] for one in plain["stations"]]
    assert verdicts.count("does_not_conform") == failing
    named = [label for one in plain["nonconformances"] for label in one["stations"]]
    assert sorted(named) == sorted(
        label
        for label, verdict in zip(labels, verdicts, strict=True)
        if verdict == "does_not_conform"
    )
