"""Stations by tape. Expectations are plain geometry worked in place, no source."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.numeric.geometry import layout, tape
from qa.numeric.geometry.joint import Station, build_joint

NOWHERE = (0.0, 0.0, 0.0)


def corner(x, y):
    return tape.Row(Station("", (x, y, 0.0)), point=True)


def station(label, x, y, **more):
    return tape.Row(Station(label, (x, y, 0.0), **more))


def by_tape(label, distance):
    return tape.Row(Station(label, NOWHERE), tape=distance)


def lay(rows, *, closed=True, part_inside=True):
    return tape.lay(rows, closed=closed, part_inside=part_inside)


def test_distances_run_along_straight_sides_from_the_corner_before():
    rows = [corner(0, 0), by_tape("1", 100), by_tape("2", 300), corner(400, 0)]
    rows += [by_tape("3", 50), corner(400, 300), by_tape("4", 400)]
    rows += [corner(0, 300), by_tape("5", 0), by_tape("6", 299)]
    found = [one for one in lay(rows) if one.label]
    assert [one.place[:2] for one in found] == [
        *((100, 0), (300, 0), (400, 50), (0, 300), (0, 300), (0, 1)),
    ]
    down, right, up, left = (0, -1, 0), (1, 0, 0), (0, 1, 0), (-1, 0, 0)
    assert [one.gap_direction for one in found] == [down, down, right, up, left, left]
    assert build_joint(found)


def test_the_sense_of_walking_and_the_side_of_the_part_turn_the_directions():
    rows = [corner(0, 0), by_tape("1", 100), corner(0, 300), by_tape("2", 100)]
    rows += [corner(400, 300), corner(400, 0), by_tape("3", 1)]
    assert [one.gap_direction for one in lay(rows) if one.label] == [
        *((-1, 0, 0), (0, 1, 0), (0, -1, 0))
    ]
    assert lay(rows, part_inside=False)[1].gap_direction == (1, 0, 0)
    assert lay(rows[:-1], closed=False)[1].gap_direction == (1, 0, 0)


def apart(gone, middle, length):
    """Those of them that stand 1 mm and more from each other and from what is typed:
    what stands nearer has no direction that a tape could tell."""
    kept = [0.0]
    for one in gone:
        if one - kept[-1] >= 1 and abs(one - middle) >= 1 and length - one >= 1:
            kept.append(one)
    return kept[1:]


@given(
    radius=st.floats(100, 3000),
    spread=st.floats(0.3, 1.7),
    shares=st.lists(st.floats(0, 1), min_size=1, max_size=9),
)
def test_a_tape_follows_a_curved_side(radius, spread, shares):
    """Three places of an arc between two corners, closed over its center."""
    around = [0.0, spread * 0.4, spread]
    arc = [(radius * math.cos(t), radius * math.sin(t)) for t in around]
    length = radius * spread
    middle = around[1] * radius
    gone = apart(sorted({round(share * length, 3) for share in shares}), middle, length)
    before = [s for s in gone if s < middle]
    rows = [corner(0, 0), corner(*arc[0])]
    rows += [by_tape(f"{s}", s) for s in before]
    rows += [station("middle", *arc[1])]
    rows += [by_tape(f"{s}", s) for s in gone[len(before) :]]
    rows += [corner(*arc[2])]
    for one in lay(rows):
        if one.label not in ("", "middle"):
            t = float(one.label) / radius
            assert (
                math.dist(one.place[:2], (radius * math.cos(t), radius * math.sin(t)))
                < 2e-3
            )
            if 1 < float(one.label) < length - 1:
                x, y, _ = one.gap_direction
                assert math.hypot(x - math.cos(t), y - math.sin(t)) < 2e-3


def test_a_round_hatch_is_measured_from_its_first_station():
    around = np.radians([0, 50, 90, 140, 180, 230, 270, 320])
    rows = [
        station(str(k), 200 * math.cos(t), 200 * math.sin(t))
        for k, t in enumerate(around)
    ]
    rows.append(by_tape("last", 200 * math.radians(340)))
    t = math.radians(340)
    assert lay(rows)[-1].place == pytest.approx(
        (200 * math.cos(t), 200 * math.sin(t), 0), abs=2e-3
    )


def test_a_marked_corner_is_a_station_to_measure_from():
    t = math.radians(40)
    away = (200 * math.cos(t), 200 * math.sin(t))
    rows = [station("A", -200, 0), by_tape("1", 150)]
    rows += [station("B", 0, 0, corner=True, gap_direction=(0.0, -1.0, 0.0))]
    rows += [by_tape("2", 50), station("C", *away)]
    found = lay(rows, closed=False)
    assert found[1].place == (-50, 0, 0)
    assert found[3].place == pytest.approx(
        (50 * math.cos(t), 50 * math.sin(t), 0), abs=1e-3
    )
    assert found[3].gap_direction == pytest.approx(
        (math.sin(t), -math.cos(t), 0), abs=1e-5
    )


FAR = corner(9, 9)


@pytest.mark.parametrize(
    ("rows", "closed", "row", "why"),
    [
        ([by_tape("1", 5), corner(0, 0)], True, 0, "two places of the edge at least"),
        (
            [by_tape("1", 5), corner(0, 0), corner(9, 0), corner(9, 9)],
            False, 0, "no corner before it",
        ),
        (
            [corner(100, 0), station("m", 94, 34), by_tape("1", 90), corner(-9, 99)],
            False, 1, "more than 60 degrees from one place to the next",
        ),
        (
            [corner(0, 0), corner(9, 0), by_tape("1", 1)],
            False, 2, "an open seam ends in a row with a place",
        ),
        (
            [corner(0, 0), by_tape("1", 9.5), corner(9, 0), corner(9, 9)],
            True, 1, "between 0.00 and 9.00 mm",
        ),
        (
            [corner(0, 0), by_tape("1", 5), by_tape("2", 4), corner(9, 0), FAR],
            True, 2, "between 5.00 and 9.00 mm",
        ),
        (
            [corner(0, 0), by_tape("1", -1), corner(9, 0), corner(9, 9)],
            True, 1, "out of order",
        ),
        (
            [corner(0, 0), station("m", 5, 0), by_tape("1", 4), corner(9, 0), FAR],
            True, 2, "between 5.00 and 9.00 mm",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_laid_is_refused_with_its_row(rows, closed, row, why):
    with pytest.raises(tape.TapeError, match=why) as refused:
        lay(rows, closed=closed)
    assert refused.value.row == row


def test_layouts_by_tape_are_the_edge_at_those_distances():
    """By hand: 600 x 400, radius 60: half a corner is 47.12 mm, so 100 mm from its
    middle is 52.88 mm along the bottom; 10 mm is in the corner itself, 37.12 mm or
    35.45 degrees before the bottom begins."""
    found = layout.rounded_rectangle_by_tape(
        600, 400, 60, [[10, 100], [47.12389], [], []]
    )
    t = math.radians(35.449)
    assert found.places[0][:2] == pytest.approx(
        (-240 - 60 * math.sin(t), -140 - 60 * math.cos(t)), abs=0.01
    )
    assert found.places[1][:2] == pytest.approx((-240 + 52.876, -200), abs=0.001)
    assert found.places[2][:2] == pytest.approx((300, -140), abs=0.001)
    sides = layout.polyline_by_tape([(0, 0), (90, 0), (90, 50)], [[0, 90], [50], []])
    assert sides.places[:, :2].tolist() == [[0, 0], [90, 0], [90, 50]]
    assert sides.gap_directions[:2].tolist() == [[0, -1, 0]] * 2
    for lines, why in (
        ([[1], [1]], "each of 3 sides; there are 2"),
        ([[91], [], []], "side 1 is 90.00 mm long"),
        ([[5, 5], [], []], "must rise"),
        ([[math.inf], [], []], "finite"),
    ):
        with pytest.raises(ValueError, match=why):
            layout.polyline_by_tape([(0, 0), (90, 0), (90, 50)], lines)
