"""What is told of a tool, against least squares written otherwise and by hand."""

import math
import os

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.motions import Motion
from qa.numeric.tool.characteristics import free_to_move
from qa.numeric.tool.estimate import (
    Advice,
    Alike,
    PulledReading,
    TooMuch,
    estimate_tool,
)
from qa.numeric.tool.least_squares import Why
from tests.numeric.doors import door, square
from tests.numeric.molds import Mold, curved, dense, numbers, readings

CASES = int(os.environ.get("FAYLINE_TOOL_CASES", "15"))
NO_LIMITS = (None, None)


def told(report, row, kind):
    return getattr(report, kind)[row]


def test_two_parts_that_are_held_give_their_mean_by_hand():
    """By hand, nothing to seat: gaps of R are 1.2 and 1.4 where 2 is wanted, so that
    the tool is -0.7 there; all four stations differ by 0.2 between the parts, so that
    the variance is 4 x 2 x 0.1^2 / 4, the standard deviation 0.2 / sqrt(2) and the
    standard error of a mean 0.1."""
    joint = square(gap=(1.0, 3.0))
    rows = [PulledReading("A", k, gap) for k, gap in enumerate((1.2, 2.0, 2.1, 1.9))]
    rows += [PulledReading("B", k, gap) for k, gap in enumerate((1.4, 1.8, 2.3, 2.1))]
    report = estimate_tool(joint, rows, ())
    assert numbers(report, "tool_mm")[:4] == pytest.approx([-0.7, -0.1, 0.2, 0.0])
    assert report.scatter.sd_mm == pytest.approx(0.2 / math.sqrt(2))
    assert report.scatter.degrees == 4
    assert told(report, 0, "gap").standard_error_mm == pytest.approx(0.1)
    assert [value.advice for value in report.gap] == ["in", "leave", "leave", "leave"]
    assert told(report, 0, "gap").correction_mm == pytest.approx(0.7)
    assert told(report, 1, "gap").correction_mm == 0
    assert {value.why for value in report.flush} == {Why.NO_LIMITS}


def test_what_a_gauge_may_be_off_alike_counts_where_it_read_and_nowhere_else():
    """Of held parts all of it; of parts that sit freely on their flushness what a
    plane through it leaves: of 0.1 at two opposite corners of a square half."""
    joint = square(gap=(1.0, 3.0), flush=(-1.0, 1.0))
    rows = [
        PulledReading(part, row, 2.7 + by, by)
        for part, by in (("A", 0.001), ("B", -0.001))
        for row in range(4)
    ]
    alike = [
        Alike("gap", frozenset({0, 1}), 0.3),
        Alike("gap", frozenset({1}), 0.4),
        Alike("flush", frozenset({0, 2}), 0.1),
    ]
    held = estimate_tool(joint, rows, (), alike=alike)
    assert numbers(held, "zero_mm") == pytest.approx(
        [0.3, 0.5, 0.0, 0.0, 0.1, 0.0, 0.1, 0.0]
    )
    assert held.gap[1].advice == held.gap[2].advice == Advice.OUT
    assert estimate_tool(
        joint, rows, (), alike=[Alike("gap", frozenset({1}), 0.7)]
    ).gap[1].why == Why.ONE_GAUGE  # fmt: skip
    free = estimate_tool(joint, rows, free_to_move(joint), 0.01, alike=alike[2:])
    assert [value.zero_mm for value in free.flush] == pytest.approx([0.05] * 4)
    for mm in (-0.1, math.nan):
        with pytest.raises(ValueError):
            estimate_tool(joint, rows, (), alike=[Alike("gap", frozenset({0}), mm)])


@pytest.mark.parametrize(
    ("kind", "by", "advice"),
    [
        ("gap", -1.0, Advice.IN),  # too tight: the part is too large
        ("gap", 1.0, Advice.OUT),
        ("flush", 1.0, Advice.FILL),  # proud: the surface of a female mold is too deep
        ("flush", -1.0, Advice.RELIEVE),
    ],
)
def test_advice_says_which_way_the_tool_goes(kind, by, advice):
    joint = square(flush=(-0.3, 0.3))
    tool = np.zeros(8)
    tool[0 if kind == "gap" else 4] = by
    mold = Mold(joint, tool, np.full(8, 0.01), np.random.default_rng(1), ())
    value = told(estimate_tool(joint, mold.parts(3), ()), 0, kind)
    assert value.advice == advice
    assert value.correction_mm == -value.tool_mm == pytest.approx(-by, abs=0.05)


def motions_of(name, joint):
    hinge = Motion("swing", (0, 0, 0), (0, 1, 0), (-250.0, 0, 0), -1, 1)
    slide = Motion("slide", (0, 1.0, 0), (0, 0, 0), (0, 0, 0), -1, 1)
    ways = {"free": free_to_move(joint), "none": (), "hinged": (hinge, slide)}
    return ways[name]


def holes(seed, values, share):
    """Some values not measured."""
    values = values.copy()
    values[np.random.default_rng(seed).random(len(values)) < share] = np.nan
    return values


@settings(max_examples=CASES, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    way=st.sampled_from(["free", "none", "hinged"]),
    shape=st.sampled_from(["flat", "curved"]),
    parts=st.integers(2, 4),
    share=st.sampled_from([0.0, 0.1, 0.2]),
    openings=st.integers(1, 2),
)
def test_least_squares_agrees_with_a_dense_design_matrix(
    seed, way, shape, parts, share, openings
):
    """Independent reference: `molds.dense`, one singular value decomposition."""
    joint = door(across=5, up=3) if shape == "flat" else curved()
    motions = motions_of(way, joint)
    count = 2 * len(joint.stations)
    random = np.random.default_rng(seed)
    mold = Mold(joint, random.normal(size=count), np.full(count, 0.2), random, motions)
    rows = []
    for k in range(parts):
        for s in range(openings):
            values = holes(
                seed + 10 * k + s, mold.values(mold.errors(), 0.3 * s), share
            )
            rows += readings(f"P{k}", values, f"O{s}" if openings > 1 else "")
    report = estimate_tool(joint, rows, motions, sd_mm=0.2)
    coupled = "both" in report.scatter.seen
    assert coupled == (shape == "curved" and way != "none")
    square = freedom = 0.0
    for kinds in [("gap", "flush")] if coupled else [("gap",), ("flush",)]:
        tool, variance, rest, degrees = dense(joint, motions, rows, kinds)
        square, freedom = square + rest, freedom + degrees
        every = {(row, kind): told(report, row, kind) for row, kind in tool}
        if any(value.why for value in every.values()):
            continue  # what hangs together is less than all: tested below
        for key, value in every.items():
            assert value.tool_mm == pytest.approx(tool[key], abs=1e-8)
            if openings == 1:
                error = 0.2 * math.sqrt(variance[key])
                assert value.standard_error_mm == pytest.approx(error, abs=1e-8)
    if openings == 1:
        seen = report.scatter.seen.values()
        assert sum(d for _, d in seen) == freedom
        assert sum(d * sd**2 for sd, d in seen) == pytest.approx(square)


@settings(max_examples=CASES, deadline=None)
@given(seed=st.integers(0, 10**6), shape=st.sampled_from(["flat", "curved"]))
def test_rigid_motions_of_parts_change_nothing_that_is_said(seed, shape):
    joint = door(across=4, up=2) if shape == "flat" else curved()
    count = 2 * len(joint.stations)
    random = np.random.default_rng(seed)
    mold = Mold(joint, random.normal(size=count), np.full(count, 0.2), random)
    values = [holes(seed + k, mold.values(mold.errors()), 0.1) for k in range(3)]
    slopes = mold.asked.slopes
    moved = [v + slopes @ random.normal(size=slopes.shape[1]) * 2 for v in values]
    one, other = (
        estimate_tool(
            joint,
            [r for k, v in enumerate(every) for r in readings(f"P{k}", v)],
            mold.motions,
        )
        for every in (values, moved)
    )
    assert [v.why for v in one.values] == [v.why for v in other.values]
    assert [v.advice for v in one.values] == [v.advice for v in other.values]
    for name in ("tool_mm", "standard_error_mm", "low_mm", "high_mm"):
        np.testing.assert_allclose(numbers(one, name), numbers(other, name), atol=1e-9)
    assert one.share.now == pytest.approx(other.share.now, abs=1e-9)


def test_a_mold_that_is_only_shifted_as_a_whole_is_left_alone():
    joint = door(across=4, up=3)
    count = 2 * len(joint.stations)
    mold = Mold(joint, np.zeros(count), np.full(count, 0.05), np.random.default_rng(2))
    mold.tool = mold.asked.slopes @ np.array([0.0, 0.0, 0.5, 2.0, -1.0, 1.0])
    report = estimate_tool(joint, mold.parts(3), mold.motions)
    assert {value.advice for value in report.values} == {Advice.LEAVE}


def test_the_order_of_rows_does_not_matter():
    joint = door(across=3, up=2)
    count = 2 * len(joint.stations)
    mold = Mold(joint, np.ones(count), np.full(count, 0.1), np.random.default_rng(4))
    rows = mold.parts(3)
    one = estimate_tool(joint, rows, mold.motions)
    other = estimate_tool(joint, rows[::-1], mold.motions)
    for name in ("tool_mm", "low_mm", "high_mm"):
        np.testing.assert_allclose(numbers(one, name), numbers(other, name), atol=1e-9)


def test_the_same_input_gives_the_same_report():
    joint = door(across=3, up=2)
    count = 2 * len(joint.stations)
    mold = Mold(joint, np.ones(count), np.full(count, 0.1), np.random.default_rng(4))
    rows = mold.parts(3)
    assert estimate_tool(joint, rows, mold.motions) == estimate_tool(
        joint, rows, mold.motions
    )


def limits_joint(gaps):
    places = ((100, 0), (0, 100), (-100, 0), (0, -100))
    return build_joint(
        Station(
            name,
            (float(x), float(y), 0.0),
            gap_direction=(x / 100, y / 100, 0.0),
            gap=Limits(*limits),
        )
        for name, (x, y), limits in zip("RTLB", places, gaps, strict=True)
    )


def test_the_target_of_one_limit_is_half_the_narrowest_width_inside_of_it():
    """By hand: the narrowest width is 1, so that at most 3 means 2.5, at least 1 means
    1.5; what reads exactly that has a tool of 0."""
    joint = limits_joint([(1, 2), (None, 3), (1, None), (0, 4)])
    rows = [
        PulledReading(part, k, gap)
        for part in "AB"
        for k, gap in enumerate((1.5, 2.5, 1.5, 2.0))
    ]
    report = estimate_tool(joint, rows, (), sd_mm=0.1)
    assert numbers(report, "tool_mm")[:4] == pytest.approx([0, 0, 0, 0])
    assert report.bare == ()


def test_without_any_width_the_target_is_the_limit_itself_and_that_is_said():
    joint = limits_joint([(None, 3)] * 4)
    rows = [PulledReading("A", k, 3.2) for k in range(4)]
    report = estimate_tool(joint, rows, (), sd_mm=0.1)
    assert numbers(report, "tool_mm")[:4] == pytest.approx([0.2] * 4)
    assert report.bare == tuple((row, "gap") for row in range(4))


def test_one_part_tells_nothing_of_its_mold():
    joint = door(across=4, up=2)
    count = 2 * len(joint.stations)
    mold = Mold(joint, np.ones(count), np.full(count, 0.1), np.random.default_rng(5))
    report = estimate_tool(joint, mold.parts(1), mold.motions)
    assert not report.anything
    assert {value.why for value in report.values} == {Why.NO_SCATTER}
    assert np.isnan(numbers(report, "tool_mm")).all()
    assert (report.scatter.sd_mm, report.scatter.degrees, report.share) == (
        None,
        None,
        None,
    )


def test_one_part_and_a_known_standard_deviation_tell_what_they_can():
    """By hand for held parts: the standard error is the standard deviation itself."""
    joint = square(flush=(-0.3, 0.3))
    tool = np.zeros(8)
    tool[0] = -2.0
    mold = Mold(joint, tool, np.full(8, 0.01), np.random.default_rng(5), ())
    report = estimate_tool(joint, mold.parts(1), (), sd_mm=0.2)
    assert numbers(report, "standard_error_mm") == pytest.approx(np.full(8, 0.2))
    assert told(report, 0, "gap").advice == Advice.IN
    assert report.scatter.degrees is None


def test_parts_that_read_alike_to_the_last_digit_tell_no_bounds():
    joint = door(across=4, up=2)
    count = 2 * len(joint.stations)
    values = 1.9 + 0.1 * np.arange(count)
    rows = readings("A", values) + readings("B", values)
    report = estimate_tool(joint, rows, free_to_move(joint))
    assert {value.why for value in report.values} == {Why.NO_SCATTER}
    assert np.isfinite(numbers(report, "tool_mm")).all()


def test_flushness_of_one_part_alone_tells_nothing_although_gaps_are_told():
    joint = door(across=4, up=2)
    count = 2 * len(joint.stations)
    mold = Mold(joint, np.zeros(count), np.full(count, 0.1), np.random.default_rng(6))
    bare = mold.values(mold.errors())
    bare[count // 2 :] = np.nan
    report = estimate_tool(joint, mold.parts(1) + readings("Q", bare), mold.motions)
    assert {value.why for value in report.gap} == {None}
    assert {value.why for value in report.flush} == {Why.NO_SCATTER}


def test_a_station_seen_by_one_reading_of_a_part_that_sits_anyhow_cannot_be_told():
    """Part C was measured at station 1 alone: its motion explains whatever it read. The
    others are told as if C had not been there."""
    joint = door(across=4, up=2, flush=NO_LIMITS)
    count = 2 * len(joint.stations)
    mold = Mold(joint, np.zeros(count), np.full(count, 0.1), np.random.default_rng(7))
    rows = [r for r in mold.parts(2) if r.station != 0]
    lone = [PulledReading("C", 0, 2.5)]
    report = estimate_tool(joint, rows + lone, mold.motions)
    assert told(report, 0, "gap").why == Why.NOT_TIED
    assert {value.why for value in report.gap[1:]} == {None}
    alone = estimate_tool(joint, rows, mold.motions)
    np.testing.assert_allclose(
        numbers(report, "tool_mm")[1:], numbers(alone, "tool_mm")[1:], atol=1e-9
    )


def test_halves_measured_on_different_parts_are_not_told_as_one():
    """Five stations on two parts, seven on two others: nothing says how the halves lie
    to each other, and the larger is told."""
    joint = door(across=4, up=2, flush=NO_LIMITS)
    count = 2 * len(joint.stations)
    mold = Mold(joint, np.zeros(count), np.full(count, 0.1), np.random.default_rng(8))
    rows = [
        reading
        for name in "ABCD"
        for reading in mold.part(name)
        if (reading.station < 5) == (name in "AB")
    ]
    report = estimate_tool(joint, rows, mold.motions)
    assert [value.why for value in report.gap] == [Why.NOT_TIED] * 5 + [None] * 7
    tied = estimate_tool(joint, rows + mold.part("E"), mold.motions)
    assert {value.why for value in tied.gap} == {None}


def test_what_seating_follows_whatever_it_is_cannot_be_told():
    """By hand: of the gaps right, top and left only the top one sees the part go up and
    down, and a turn about the middle is seen by none. Right and left read 2.0 and 2.6,
    so that both are 0.3 too wide wherever the part sits."""
    joint = square(gap=(1.0, 3.0))
    rows = [PulledReading(p, k, 2.0 + 0.3 * k) for p in "AB" for k in range(3)]
    report = estimate_tool(joint, rows, free_to_move(joint), sd_mm=0.1)
    assert told(report, 1, "gap").why == Why.FOLLOWS_SEATING
    assert told(report, 3, "gap").why == Why.NOT_MEASURED
    assert numbers(report, "tool_mm")[[0, 2]] == pytest.approx([0.3, 0.3])


def openings_mold(seed=9):
    joint = door(across=4, up=2)
    count = 2 * len(joint.stations)
    tool = np.zeros(count)
    tool[3] = -1.0
    mold = Mold(joint, tool, np.full(count, 0.05), np.random.default_rng(seed))
    there = np.zeros(count)
    there[8] = 1.0
    return mold, {"L1": there, "L2": -there}


def test_parts_tried_in_two_openings_tell_the_tool_from_the_openings():
    """The openings are off by 1 at station 9, one wide and one tight: the mold hears
    nothing of it."""
    mold, there = openings_mold()
    rows = [
        reading
        for name in "ABC"
        for opening, off in there.items()
        for reading in mold.part(name, opening=opening, there=off)
    ]
    report = estimate_tool(mold.joint, rows, mold.motions)
    assert told(report, 3, "gap").advice == Advice.IN
    assert told(report, 8, "gap").advice == Advice.LEAVE
    assert abs(told(report, 8, "gap").tool_mm) < 0.3


def test_parts_each_tried_in_an_opening_of_its_own_cannot_tell_the_tool_from_it():
    mold, there = openings_mold()
    rows = mold.part("A", opening="L1", there=there["L1"])
    rows += mold.part("B", opening="L2", there=there["L2"])
    report = estimate_tool(mold.joint, rows, mold.motions, sd_mm=0.05)
    assert {value.why for value in report.values} == {Why.OPENING}


def test_a_station_that_links_the_openings_on_no_part_is_not_told():
    mold, there = openings_mold()
    rows = [
        reading
        for name, opening in (("A", "L1"), ("A", "L2"), ("B", "L1"), ("C", "L2"))
        for reading in mold.part(name, opening=opening, there=there[opening])
        if (name, opening, reading.station) != ("A", "L2", 5)
    ]
    report = estimate_tool(mold.joint, rows, mold.motions)
    assert told(report, 5, "gap").why == told(report, 5, "flush").why == Why.OPENING
    assert {v.why for row, v in enumerate(report.gap) if row != 5} == {None}


def test_a_motion_turns_but_how_far_it_may_does_not_count():
    joint = door(across=4, up=2)
    near, far = (
        (Motion("slide", (0, 1.0, 0), (0, 0, 0), (0, 0, 0), -end, end),)
        for end in (0.001, 5.0)
    )
    count = 2 * len(joint.stations)
    mold = Mold(joint, np.zeros(count), np.full(count, 0.1), np.random.default_rng(3))
    rows = mold.parts(3)
    assert estimate_tool(joint, rows, near) == estimate_tool(joint, rows, far)
    fixed = (Motion("slide", (0, 1.0, 0), (0, 0, 0), (0, 0, 0), 0.0, 0.0),)
    assert estimate_tool(joint, rows, fixed) == estimate_tool(joint, rows, ())


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"sd_mm": 0.0}, "standard deviation is more than 0"),
        ({"sd_mm": -1.0}, "standard deviation is more than 0"),
        ({"worth_mm": -0.1}, "0 or more"),
        ({"readings": [PulledReading("A", 4, 1.0)]}, "no station in row 4"),
        ({"readings": [PulledReading("A", 0, 1.0)] * 2}, "read twice"),
        ({"readings": [PulledReading("A", 0, math.nan)]}, "gap_mm must be a number"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(change, why):
    given_ = {"joint": square(), "readings": [], "motions": ()} | change
    with pytest.raises(ValueError, match=why):
        estimate_tool(**given_)


def test_too_many_stations_to_work_out_are_refused():
    joint = door(across=1001, up=2, size=(40_000.0, 250.0))
    with pytest.raises(TooMuch, match="4012 characteristics"):
        estimate_tool(joint, [], ())


def test_no_reading_at_all_tells_nothing():
    report = estimate_tool(square(), [], ())
    assert not report.anything
    assert report.parts == ()
