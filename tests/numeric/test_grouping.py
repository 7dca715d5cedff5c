"""Failing neighbors become one item. Rules of our own; no published source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.numeric.verdict.grouping import Finding, Kind, group, runs

_ = None


def findings(gap, flush=None, *, closed=True):
    flush = [None] * len(gap) if flush is None else flush
    return group(gap, flush, closed=closed)


def test_neighbors_that_fail_in_one_kind_are_one_finding():
    found = findings([_, _, _, -100, -620, -300, -200, _])
    assert found == (Finding(Kind.GAP_TIGHT, (3, 4, 5, 6), 4, 620),)


def test_a_run_ends_at_a_station_that_does_not_fail():
    found = findings([-1, -1, _, -1, _])
    assert [one.rows for one in found] == [(0, 1), (3,)]


def test_a_run_ends_at_a_station_that_fails_in_the_other_kind():
    found = findings([_, -1, 2, -1, _])
    assert [(one.kind, one.rows) for one in found] == [
        (Kind.GAP_TIGHT, (1,)),
        (Kind.GAP_TIGHT, (3,)),
        (Kind.GAP_WIDE, (2,)),
    ]


def test_a_run_wraps_round_on_a_closed_seam_and_not_on_an_open_one():
    gap = [3, _, _, 1, 2]
    assert findings(gap) == (Finding(Kind.GAP_WIDE, (3, 4, 0), 0, 3),)
    assert [one.rows for one in findings(gap, closed=False)] == [(0,), (3, 4)]


def test_a_seam_that_fails_all_round_is_one_run_from_its_first_row():
    assert findings([1, 1, 1]) == (Finding(Kind.GAP_WIDE, (0, 1, 2), 0, 1),)
    assert findings([1, 1, 1], closed=False) == findings([1, 1, 1])


def test_the_first_of_equals_along_the_run_is_the_worst():
    assert findings([-7, _, -7, -7])[0].worst_row == 2


def test_flushness_and_gap_are_told_apart():
    found = group([_, 5, _], [_, 4, -3], closed=False)
    assert [(one.kind, one.rows, one.worst_nm) for one in found] == [
        (Kind.GAP_WIDE, (1,), 5),
        (Kind.FLUSH_PROUD, (1,), 4),
        (Kind.FLUSH_LOW, (2,), 3),
    ]


def test_nothing_that_fails_gives_no_findings():
    assert findings([_, _, _]) == ()
    assert findings([]) == ()


def test_a_failing_result_must_lie_beyond_a_limit():
    with pytest.raises(ValueError, match="beyond a limit"):
        findings([0, 1])


def test_gap_and_flushness_must_be_as_many():
    with pytest.raises(ValueError, match="one entry per row"):
        group([1], [], closed=True)


DEVIATIONS = st.lists(
    st.tuples(*2 * [st.one_of(st.none(), st.integers(-3, 3).filter(lambda v: v != 0))]),
    max_size=12,
)


@given(rows=DEVIATIONS, closed=st.booleans())
def test_every_failing_result_is_in_exactly_one_finding(rows, closed):
    gap, flush = [row[0] for row in rows], [row[1] for row in rows]
    covered = []
    for one in group(gap, flush, closed=closed):
        source = gap if one.kind.startswith("gap") else flush
        below = one.kind in (Kind.GAP_TIGHT, Kind.FLUSH_LOW)
        values = [source[row] for row in one.rows]
        assert all((value < 0) == below for value in values)
        assert one.worst_nm == abs(source[one.worst_row]) == max(map(abs, values))
        covered += [(one.kind.startswith("gap"), row) for row in one.rows]
    failing = [(True, k) for k, v in enumerate(gap) if v is not None]
    failing += [(False, k) for k, v in enumerate(flush) if v is not None]
    assert sorted(covered) == sorted(failing)


@given(failing=st.lists(st.booleans(), max_size=14), closed=st.booleans())
def test_runs_cannot_be_made_longer(failing, closed):
    count = len(failing)
    for run in runs(failing, closed=closed):
        steps = {(b - a) % count for a, b in zip(run, run[1:], strict=False)}
        assert steps <= {1}
        for row, by in ((run[0], -1), (run[-1], 1)):
            beside = row + by
            if closed:
                beside %= count
            outside = not 0 <= beside < count
            assert outside or not failing[beside] or len(run) == count


@given(failing=st.lists(st.booleans(), min_size=1, max_size=14), data=st.data())
def test_on_a_closed_seam_it_does_not_matter_where_the_rows_start(failing, data):
    shift = data.draw(st.integers(0, len(failing) - 1))
    turned = failing[shift:] + failing[:shift]

    def as_sets(found, by):
        return {frozenset((row + by) % len(failing) for row in run) for run in found}

    assert as_sets(runs(failing, closed=True), 0) == as_sets(
        runs(turned, closed=True), shift
    )
