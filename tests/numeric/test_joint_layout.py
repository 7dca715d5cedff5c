"""Outlines to start from. Expectations are plain geometry; no published source."""

import math

import numpy as np
import pytest

from qa.numeric.geometry import layout, outline
from qa.numeric.geometry.joint import Limits, build_joint

SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]


def spacing(found, whole):
    along, _ = outline.distances_along(found.places, closed=True)
    return np.diff(along), whole / len(found.places)


def test_a_rounded_rectangle_is_walked_evenly_by_arc_length():
    found = layout.rounded_rectangle(600, 400, 60, 100)
    whole = 2 * (480 + 280) + 2 * math.pi * 60
    steps, even = spacing(found, whole)
    straight = np.isclose(steps, even)
    assert straight.sum() > 70
    assert (steps <= even + 1e-6).all()  # chords of the corners are shorter
    assert (steps > even * 0.99).all()


def test_stations_of_a_rounded_rectangle_lie_on_it_and_look_outward():
    found = layout.rounded_rectangle(600, 400, 60, 48)
    for (x, y, z), (nx, ny, nz) in zip(found.places, found.gap_directions, strict=True):
        # Distance to the rectangle that is left when the radius is taken off.
        px, py = min(max(x, -240), 240), min(max(y, -140), 140)
        assert math.hypot(x - px, y - py) == pytest.approx(60, abs=1e-5)
        assert ((x - px) / 60, (y - py) / 60) == pytest.approx((nx, ny), abs=1e-6)
        assert (z, nz) == (0, 0)


def test_a_rounded_rectangle_by_side_has_the_counts_asked_for():
    found = layout.rounded_rectangle_by_side(600, 400, 60, (6, 4, 5, 3), per_corner=1)
    down = (found.gap_directions == [0, -1, 0]).all(axis=1)
    up = (found.gap_directions == [0, 1, 0]).all(axis=1)
    assert (len(found.places), down.sum(), up.sum()) == (22, 6, 5)
    assert found.places[0].tolist() == [-200, -200, 0]  # 480 / 6 / 2 from the corner
    half = math.sqrt(0.5)
    assert found.gap_directions[6] == pytest.approx([half, -half, 0])


def test_a_circle_is_an_ellipse_with_stations_at_equal_angles():
    found = layout.ellipse(200, 200, 8)
    angles = np.degrees(np.arctan2(found.places[:, 1], found.places[:, 0])) % 360
    assert angles == pytest.approx([0, 45, 90, 135, 180, 225, 270, 315], abs=1e-4)


def test_an_ellipse_is_walked_evenly_by_arc_length():
    # Perimeter 4 a E(e) by scipy's complete elliptic integral.
    from scipy.special import ellipe

    a, b, count = 300.0, 120.0, 400
    found = layout.ellipse(2 * a, 2 * b, count)
    steps, even = spacing(found, 4 * a * ellipe(1 - (b / a) ** 2))
    assert steps == pytest.approx(even, rel=1e-3)
    x, y = found.places[:, 0] / a, found.places[:, 1] / b
    assert x**2 + y**2 == pytest.approx(1, abs=1e-7)
    normal = np.column_stack([x / a, y / b])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    assert found.gap_directions[:, :2] == pytest.approx(normal, abs=1e-6)


def test_no_station_of_a_polyline_stands_on_a_corner():
    for count in range(3, 40):
        found = layout.polyline(SQUARE, count)
        nearest = min(
            math.dist(place[:2], corner) for place in found.places for corner in SQUARE
        )
        assert nearest > 400 / count / 9
        sides = np.abs(found.gap_directions).max(axis=1)
        assert (sides == 1).all()


def test_a_polyline_is_walked_evenly_round_its_corners():
    found = layout.polyline([(0, 0), (90, 0), (90, 50), (0, 50)], 14)
    flat = found.places[:, :2]
    # Distance walked along the sides of the rectangle from its first corner.
    walked = [
        x if y == 0 else 90 + y if x == 90 else 230 - x if y == 50 else 280 - y
        for x, y in flat
    ]
    assert np.diff(walked) == pytest.approx(20)


def test_an_open_polyline_has_its_surround_on_the_right():
    found = layout.polyline([(0, 0), (0, 100)], 4, closed=False)
    assert found.places[:, 1].tolist() == [12.5, 37.5, 62.5, 87.5]
    assert found.gap_directions.tolist() == [[1, 0, 0]] * 4


def test_a_polyline_by_side_has_the_counts_asked_for():
    found = layout.polyline_by_side(SQUARE, (1, 2, 1, 0))
    assert found.places[:, :2].tolist() == [[50, 0], [100, 25], [100, 75], [50, 100]]


@pytest.mark.parametrize("inside", [True, False])
@pytest.mark.parametrize(
    "make",
    [
        lambda inside: layout.rounded_rectangle(600, 400, 60, 9, part_inside=inside),
        lambda inside: layout.rounded_rectangle(400, 400, 200, 30, part_inside=inside),
        lambda inside: layout.rounded_rectangle_by_side(
            600, 400, 60, (2, 1, 2, 1), part_inside=inside
        ),
        lambda inside: layout.ellipse(500, 90, 12, part_inside=inside),
        lambda inside: layout.polyline(SQUARE, 4, part_inside=inside),
        lambda inside: layout.polyline(SQUARE[::-1], 7, part_inside=inside),
        lambda inside: layout.polyline(
            [(0, 0), (200, 0), (200, 100), (100, 100), (100, 200), (0, 200)],
            20,
            part_inside=inside,
        ),
    ],
)
def test_every_layout_is_a_joint_without_complaint(make, inside):
    limits = Limits(1.5, 3.0)
    stations = make(inside).stations(gap=limits)
    joint = build_joint(stations, part_inside=inside)
    assert joint.flat
    assert [s.label for s in joint.stations] == [
        str(k + 1) for k in range(len(stations))
    ]
    assert {s.gap for s in joint.stations} == {limits}
    assert np.abs(np.linalg.norm(joint.gap_directions, axis=1) - 1).max() < 1e-12


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda: layout.ellipse(100, 50, 2), "at least 3"),
        (lambda: layout.ellipse(0, 50, 8), "width must be more than 0"),
        (lambda: layout.ellipse(100, math.nan, 8), "height must be more than 0"),
        (lambda: layout.rounded_rectangle(100, 50, 26, 8), "more than half"),
        (lambda: layout.rounded_rectangle(100, 50, 0, 8), "radius must be more"),
        (
            lambda: layout.rounded_rectangle_by_side(100, 50, 25, (1, 1, 1, 0)),
            "all corner",
        ),
        (lambda: layout.rounded_rectangle_by_side(9, 9, 1, (1, 2)), "each of 4 sides"),
        (lambda: layout.polyline([(0, 0), (1, 1)], 8), "too few corner points"),
        (lambda: layout.polyline([(0, 0), (1, 1), (2, 2)], 8), "cross"),
        (lambda: layout.polyline([(0, 0), (0, 0), (2, 2)], 8), "same place"),
        (lambda: layout.polyline([(0, 0), (1, 1), (1, 0), (0, 1)], 8), "cross"),
        (lambda: layout.polyline([(0, 0), (1, math.inf), (2, 0)], 8), "finite"),
        (lambda: layout.polyline_by_side(SQUARE, (1, 1)), "each of 4 sides"),
        (lambda: layout.polyline_by_side(SQUARE, (1, 1, 1, -1)), "each of 4 sides"),
    ],
)
def test_what_cannot_be_laid_out_is_refused_with_the_reason(make, why):
    with pytest.raises(ValueError, match=why):
        make()
