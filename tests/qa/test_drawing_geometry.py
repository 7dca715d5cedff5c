"""Outlines, projection, profile and plates: geometry that can be worked by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.drawing import outline, plan_map, plate, profile
from qa.drawing.projection import view_from_outside
from qa.drawing.scene import Disc, Path, Text
from tests.qa import drawn

UP = np.array([[0.0, 0.0, 1.0]] * 4)
SQUARE = np.array([[0.0, 0, 0], [100, 0, 0], [100, 80, 0], [0, 80, 0]])


def test_a_flat_joint_keeps_its_x_and_y():
    for height in (0.0, 55.0):
        view = view_from_outside(SQUARE + [0, 0, height], UP)
        np.testing.assert_array_equal(view.points(SQUARE), SQUARE[:, :2])


def test_a_joint_on_the_left_side_is_seen_from_the_left():
    """Skin in the plane y = 0 that looks along -y: x to the right, z up."""
    places = SQUARE[:, [0, 2, 1]]
    view = view_from_outside(places, np.array([[0.0, -1.0, 0.0]] * 4))
    points = view.points(places)
    np.testing.assert_allclose(
        points - points[0], SQUARE[:, :2] - SQUARE[0, :2], atol=1e-9
    )


def test_the_other_side_is_its_mirror_image():
    places = SQUARE[:, [0, 2, 1]]
    view = view_from_outside(places, np.array([[0.0, 1.0, 0.0]] * 4))
    points = view.points(places)
    assert points[1, 0] < points[0, 0] and points[2, 1] > points[1, 1]


angles = st.floats(-math.pi, math.pi)


@given(a=angles, b=angles, c=angles)
def test_however_it_is_turned_in_space_its_shape_is_seen_true(a, b, c):
    turn = _turn(0, a) @ _turn(1, b) @ _turn(2, c)
    view = view_from_outside(SQUARE @ turn.T, UP @ turn.T)
    points = view.points(SQUARE @ turn.T)
    edges = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    np.testing.assert_allclose(edges, [100, 80, 100, 80], atol=1e-6)
    # Seen from outside it is never mirrored: counter-clockwise stays so.
    assert outline.signed_area(points) == pytest.approx(8000, abs=1e-3)


def _turn(axis: int, angle: float) -> np.ndarray:
    i, j = [k for k in range(3) if k != axis]
    out = np.eye(3)
    out[i, i] = out[j, j] = math.cos(angle)
    out[i, j], out[j, i] = -math.sin(angle), math.sin(angle)
    return out


def test_stations_in_one_line_are_seen_along_their_faces():
    places = np.array([[0.0, 0, 0], [100, 0, 0], [250, 0, 5]])
    view = view_from_outside(places, np.array([[0.0, 0.0, 1.0]] * 3))
    assert view.out[2] > 0.99


@given(
    st.lists(
        st.tuples(st.integers(-500, 500), st.integers(-500, 500)),
        min_size=3,
        max_size=20,
        unique=True,
    ),
    st.booleans(),
)
def test_a_smooth_line_goes_through_every_station(points, closed):
    places = np.array(points, float)
    line = outline.flatten(outline.smooth(places, closed), 2.0)
    for place in places:
        assert np.hypot(*(line - place).T).min() < 1e-6


def test_a_circle_of_stations_looks_like_a_circle():
    t = np.linspace(0, 2 * math.pi, 24, endpoint=False)
    places = np.column_stack([300 * np.cos(t), 300 * np.sin(t)])
    line = outline.flatten(outline.smooth(places, True), 2.0)
    assert abs(np.hypot(*line.T) - 300).max() < 0.05


def test_a_square_keeps_its_corners():
    line = outline.flatten(outline.smooth(SQUARE[:, :2], True), 2.0)
    assert line.min() >= -1e-9 and line[:, 0].max() <= 100 + 1e-9


def test_a_seam_is_straight_where_the_stations_say_so_and_round_at_its_corners():
    from qa.numeric.geometry import layout

    laid = layout.rounded_rectangle(900, 700, 120, 24)
    steps = outline.along(laid.places[:, :2], laid.gap_directions[:, :2], True)
    line = outline.flatten(steps, 2.0)
    assert abs(line[:, 0]).max() < 450 + 1 and abs(line[:, 1]).max() < 350 + 1
    # The stations of the bottom side reach from x = -267.6 to 231.4, worked by hand.
    bottom = line[(line[:, 0] > -267) & (line[:, 0] < 231) & (line[:, 1] < 0)]
    assert abs(bottom[:, 1] + 350).max() < 1e-9
    t = np.linspace(0, 2 * math.pi, 12, endpoint=False)
    round_ = np.column_stack([np.cos(t), np.sin(t)])
    line = outline.flatten(outline.along(300 * round_, round_, True), 2.0)
    assert abs(np.hypot(*line.T) - 300).max() < 0.05


def test_normals_that_look_along_the_seam_do_not_bend_it():
    places = np.array([[0.0, 0], [100, 0], [200, 0]])
    looking = np.array([[1.0, 0], [-1, 0], [0, 1]])
    line = outline.flatten(outline.along(places, looking, False), 2.0)
    assert abs(line[:, 1]).max() < 1e-9


def test_normals_point_to_the_surround():
    ccw = SQUARE[:, :2]
    middle = ccw.mean(axis=0)
    for places in (ccw, ccw[::-1]):
        out = outline.normals(places, closed=True)
        assert (np.sum(out * (places - middle), axis=1) > 0).all()
        into = outline.normals(places, closed=True, part_inside=False)
        assert (np.sum(into * (places - middle), axis=1) < 0).all()
    right = outline.normals(np.array([[0.0, 0], [50, 0], [100, 0]]), closed=False)
    np.testing.assert_allclose(right, [[0, -1]] * 3)


@pytest.mark.parametrize(
    ("span", "step"), [(1.0, 0.2), (0.7, 0.2), (6.0, 1.0), (0.05, 0.01), (130, 50)]
)
def test_axis_steps_are_1_2_or_5(span, step):
    assert profile.step_for(span) == pytest.approx(step)


def test_the_profile_shows_limits_values_and_uncertainty_in_range():
    low, high = profile.value_range(drawn.profile().gap)
    assert low < 1.3 and high > 2.7


@pytest.mark.parametrize(("unit", "length"), [("mm", "500 mm"), ("in", "19.7 in")])
def test_a_profile_tells_its_seam_in_the_unit_shown(unit, length):
    point = profile.ProfilePoint("1", 0.0, 1.0)
    scene = profile.build(profile.Profile("Door", unit, 500.0, (point,), ()))
    words = [shape.words for shape in scene.shapes if isinstance(shape, Text)]
    assert f"station, along the seam ({length})" in words


def test_a_profile_of_nothing_says_so():
    point = profile.ProfilePoint("1", 0.0)
    scene = profile.build(profile.Profile("Door", "mm", 10.0, (point,), ()))
    words = [s.words for s in scene.shapes if isinstance(s, Text)]
    assert "no gap measured and no limits" in words


def test_a_limit_that_begins_half_way_is_drawn_from_there():
    points = tuple(
        profile.ProfilePoint(str(i), 100.0 * i, 1.0, None if i < 3 else 0.5, 2.0)
        for i in range(6)
    )
    scene = profile.build(profile.Profile("Door", "mm", 500.0, points, ()))
    lines = [s for s in scene.shapes if isinstance(s, Path) and s.look == "limit"]
    assert sorted(len(line.steps) for line in lines) == [3, 6]
    bands = [s for s in scene.shapes if isinstance(s, Path) and s.look == "band"]
    for band in bands:
        ys = {round(step[2], 6) for step in band.steps if step[0] != "Z"}
        assert len(ys) == 2  # level above and below, no slope


def test_errors_of_holes_are_magnified_by_a_round_number_that_fits():
    hole = plate.PlateHole("H1", 0, 0, (0.1, 0.0), zone=0.4)
    many = plate.Plate("p", (hole, plate.PlateHole("H2", 100, 0)))
    assert plate.magnification(many, 25.0) == pytest.approx(100.0)
    assert plate.magnification(many, 0.05) == 1.0
    assert (
        plate.magnification(plate.Plate("p", (plate.PlateHole("H", 0, 0),)), 9) == 1.0
    )


@given(st.floats(0.001, 5), st.floats(1, 100))
def test_no_magnified_zone_outgrows_its_room(zone, room):
    hole = plate.PlateHole("H1", 0, 0, zone=zone)
    factor = plate.magnification(plate.Plate("p", (hole,)), room)
    assert factor == 1.0 or zone / 2 * factor <= room * (1 + 1e-9)


def test_a_plate_shows_each_measured_hole_off_its_cross():
    holes = (
        plate.PlateHole("H1", 0, 0, (0.1, 0.05), 0.4, "conforms", "0.22"),
        plate.PlateHole("H2", 80, 0, (80.3, 0), 0.4, "above", "0.60"),
        plate.PlateHole("H3", 160, 0),
    )
    scene = plate.build(plate.Plate("Hinge", holes))
    assert "outside: H2" in scene.title
    zones = [s for s in scene.shapes if isinstance(s, Disc) and s.look == "zone"]
    arrows = [s for s in scene.shapes if isinstance(s, Path) and s.look == "move-head"]
    assert len(zones) == len(arrows) == 2
    with pytest.raises(ValueError, match="needs holes"):
        plate.build(plate.Plate("none", ()))


def test_the_cut_is_drawn_on_the_side_that_loses_material():
    """The band of a part inside lies inside the seam, that of its surround outside."""
    for side, inside in (("part", True), ("surround", False)):
        plan = drawn.plan()
        stations = tuple(_on(side, s) for s in plan.stations)
        scene = plan_map.before(plan_map.PlanMap(plan.joint, stations))
        bands = [s for s in _flat(scene.shapes) if getattr(s, "look", "") == "cut-area"]
        seam = next(s for s in _flat(scene.shapes) if getattr(s, "look", "") == "part")
        ring = outline.flatten([s for s in seam.steps if s[0] != "Z"], 3.0)
        middle = ring.mean(axis=0)
        reach = np.abs(ring - middle).max(axis=0)
        assert bands
        tips = np.array([s[1:3] for b in bands for s in b.steps if s[0] != "Z"])
        beyond = (np.abs(tips - middle) > reach + 1.0).any()
        assert beyond != inside


def _on(side, station):
    from dataclasses import replace

    return replace(station, side=side)


def _flat(shapes):
    for shape in shapes:
        if hasattr(shape, "shapes"):
            yield from _flat(shape.shapes)
        else:
            yield shape


def test_before_and_after_say_which_they_are():
    plan = drawn.plan()
    assert plan_map.before(plan).title.startswith("Before: ")
    assert plan_map.after(plan).title.startswith("Expected after: ")
    assert "24 conforms" in plan_map.after(plan).title
