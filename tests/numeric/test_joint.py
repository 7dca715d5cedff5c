"""Joint geometry. Expectations are plain geometry worked in place, no source."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.numeric.geometry.edge_curve import edge_curve
from qa.numeric.geometry.joint import JointError, Limits, Station, build_joint

SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]


def stations(places, **more):
    return [Station(str(k + 1), (x, y, 0.0), **more) for k, (x, y) in enumerate(places)]


def circle(count=24, radius=300.0, turn=0.0):
    angles = [2 * math.pi * k / count + turn for k in range(count)]
    return [(radius * math.cos(a), radius * math.sin(a)) for a in angles]


def complaints(*arguments, **options):
    with pytest.raises(JointError) as refused:
        build_joint(*arguments, **options)
    return refused.value.complaints


def outward_of(joint):
    places = joint.places
    return places / np.linalg.norm(places, axis=1)[:, None]


def test_gap_directions_of_a_round_hatch_point_outward_to_its_surround():
    joint = build_joint(stations(circle()))
    assert np.abs(joint.gap_directions - outward_of(joint)).max() < 1e-12
    assert joint.flat


def test_the_sense_of_walking_round_does_not_matter():
    joint = build_joint(stations(circle()[::-1]))
    assert np.abs(joint.gap_directions - outward_of(joint)).max() < 1e-12


def test_gap_directions_point_inward_when_the_part_is_outside():
    for places in (circle(), circle()[::-1]):
        joint = build_joint(stations(places), part_inside=False)
        assert np.abs(joint.gap_directions + outward_of(joint)).max() < 1e-12


def test_the_surround_is_on_the_right_of_an_open_seam():
    joint = build_joint(stations([(0, 0), (50, 0), (120, 0)]), closed=False)
    assert np.array_equal(joint.gap_directions, [[0, -1, 0]] * 3)


def test_three_stations_of_an_open_seam_have_the_directions_of_their_circle():
    # Edges of 50 and 80 mm along 0 and 16 degrees. Of a chord of a circle of diameter d
    # the ends lean by asin(chord / d), and the two leans make up the 16 degrees.
    turn = math.radians(16)
    places = [(0, 0), (50, 0), (50 + 80 * math.cos(turn), 80 * math.sin(turn))]
    joint = build_joint(stations(places), closed=False)
    across = math.hypot(*places[2]) / math.sin(turn)
    lean, other = math.asin(50 / across), math.asin(80 / across)
    assert lean + other == pytest.approx(turn)
    found = [math.atan2(x, -y) for x, y, _ in joint.gap_directions]
    assert found == pytest.approx([-lean, lean, turn + other])


def test_length_weights_are_half_the_distance_to_each_neighbor():
    closed = build_joint(
        [
            replace(s, gap_direction=(s.place[0] - 50, s.place[1] - 20, 0))
            for s in stations([(0, 0), (100, 0), (100, 40), (0, 40)])
        ]
    )
    assert closed.length_weights.tolist() == [70, 70, 70, 70]
    joint = build_joint(stations([(0, 0), (10, 0), (40, 0)]), closed=False)
    assert joint.length_weights.tolist() == [5, 20, 15]


def test_arrays_cannot_be_written_to():
    joint = build_joint(stations(circle()))
    for array in (joint.places, joint.gap_directions, joint.faces):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


# Corners


def test_a_sharp_corner_needs_a_stated_normal():
    found = complaints(stations(SQUARE))
    assert [one.row for one in found] == [0, 1, 2, 3]
    assert {one.field for one in found} == {"gap_direction"}
    assert "sharp corner" in found[0].text and "90.0 degrees" in found[0].text


def test_a_corner_with_a_stated_normal_is_taken_as_stated():
    given_normals = [
        replace(s, gap_direction=(s.place[0] - 50, s.place[1] - 50, 0))
        for s in stations(SQUARE)
    ]
    joint = build_joint(given_normals)
    half = math.sqrt(0.5)
    assert joint.gap_directions[2] == pytest.approx([half, half, 0])


def test_a_corner_may_have_two_stations_one_per_side():
    places = [(50, 0), (100, 0), (100, 0), (100, 100), (100, 100), (0, 100), (0, 100)]
    places += [(0, 0), (0, 0)]
    joint = build_joint(stations(places))
    right, up, left, down = (1, 0, 0), (0, 1, 0), (-1, 0, 0), (0, -1, 0)
    expected = [down, down, right, right, up, up, left, left, down]
    assert np.abs(joint.gap_directions - expected).max() < 1e-12


def test_three_stations_in_one_corner_need_stated_normals():
    places = [(0, 0), (50, 0), (50, 0), (50, 0), (100, 0)]
    found = complaints(stations(places), closed=False)
    assert [one.row for one in found] == [2]
    assert "three stations in one place" in found[0].text


# Stated directions


def test_stated_normals_are_made_unit_length():
    joint = build_joint(
        [
            replace(s, gap_direction=(7 * s.place[0], 7 * s.place[1], 0))
            for s in stations(circle())
        ]
    )
    assert np.linalg.norm(joint.gap_directions, axis=1) == pytest.approx(1)


@pytest.mark.parametrize("inside", [True, False])
def test_normals_that_point_the_wrong_way_for_the_side_are_refused(inside):
    wrong = [
        replace(s, gap_direction=tuple(-v if inside else v for v in s.place))
        for s in stations(circle())
    ]
    found = complaints(wrong, part_inside=inside)
    assert len(found) == 24
    side = "inside, so that it must point outward" if inside else "must point inward"
    assert "wrong way" in found[0].text and side in found[0].text


def test_a_normal_to_the_left_of_an_open_seam_is_refused():
    one, two, three = stations([(0, 0), (50, 0), (100, 0)])
    found = complaints(
        [one, replace(two, gap_direction=(0, 1, 0)), three], closed=False
    )
    assert [one.row for one in found] == [1]
    assert "on the right when walking" in found[0].text


def test_a_normal_of_zero_length_is_refused():
    first, *rest = stations(circle())
    found = complaints([replace(first, gap_direction=(0, 0, 0)), *rest])
    assert [(one.row, one.field) for one in found] == [(0, "gap_direction")]
    assert "zero length" in found[0].text


def test_a_gap_direction_out_of_the_skin_is_refused():
    first, *rest = stations(circle())
    found = complaints([replace(first, gap_direction=(0.1, 0, 1)), *rest])
    assert "along the face direction" in found[0].text


# Whole outlines


def test_fewer_than_three_stations_are_refused():
    found = complaints(stations([(0, 0), (50, 0)]), closed=False)
    assert [(one.row, one.field) for one in found] == [(None, "label")]
    assert "at least 3" in found[0].text


@pytest.mark.parametrize("closed", [True, False])
def test_stations_that_are_all_in_one_place_make_no_seam(closed):
    places = [replace(s, gap_direction=(1, 0, 0)) for s in stations([(5, 5)] * 4)]
    found = complaints(places, closed=closed)
    assert [(one.row, one.field) for one in found] == [(0, "place")]
    assert "all stations are in one place" in found[0].text


def test_a_station_that_is_there_twice_is_refused():
    places = stations(circle())
    places[5] = replace(places[5], label="2")
    found = complaints(places)
    assert [(one.row, one.field) for one in found] == [(5, "label")]
    assert "twice" in found[0].text


@pytest.mark.parametrize(
    "places",
    [
        [(0, 0), (100, 100), (100, 0), (0, 100)],  # a bow tie
        [(0, 0), (100, 0), (50, 0), (50, 80)],  # doubles back
        [(0, 0), (100, 0), (100, 50), (50, 0), (0, 50)],  # touches
        [(0, 0), (100, 0), (40, 0)],  # runs back over itself
    ],
)
def test_an_outline_that_crosses_itself_is_refused(places):
    found = complaints(stations(places, gap_direction=(1, 0, 0)))
    assert [one.field for one in found] == ["place"]
    assert "crosses itself" in found[0].text


def test_an_open_seam_that_crosses_itself_is_refused_and_says_where():
    places = [(0, 0), (100, 0), (100, 50), (50, 50), (50, -50)]
    found = complaints(stations(places, gap_direction=(1, 0, 0)), closed=False)
    assert found[0].row == 0
    assert "1 to 2 meets 4 to 5" in found[0].text


def test_an_open_seam_may_end_where_closing_it_would_cross():
    places = [(0, 0), (100, 0), (100, 60), (-50, 60), (-50, -60), (150, -60), (150, 30)]
    normals = [(0, -1), (1, -1), (1, 1), (-1, 1), (-1, -1), (1, -1), (1, 0)]
    rows = [
        replace(s, gap_direction=(*normal, 0))
        for s, normal in zip(stations(places), normals, strict=True)
    ]
    assert build_joint(rows, closed=False)
    assert "2 to 3 meets 7 to 1" in complaints(rows)[0].text


def test_everything_wrong_is_told_at_once():
    rows = stations(circle())
    rows[1] = replace(rows[1], gap=Limits(3.0, 1.5))
    rows[2] = replace(rows[2], place=(math.nan, 0, 0))
    rows[3] = replace(rows[3], flush=Limits(None, math.inf), trim_max=-1.0)
    rows[4] = replace(rows[4], trim_side="left", face=(0, 0, 0), label=" ")
    found = [(one.row, one.field) for one in complaints(rows)]
    assert found == [
        (1, "gap"),
        (2, "place"),
        (3, "flush"),
        (3, "trim_max"),
        (4, "label"),
        (4, "face"),
        (4, "trim_side"),
    ]


# Joints that are not flat


def dome(count=24, radius=200.0, ball=500.0):
    """A round hatch on a ball: faces lean outward."""
    height = math.sqrt(ball**2 - radius**2)
    return [
        Station(str(k), (x, y, height), face=(x, y, height))
        for k, (x, y) in enumerate(circle(count, radius))
    ]


def test_gap_directions_follow_the_skin_of_a_domed_hatch():
    joint = build_joint(dome())
    assert not joint.flat
    across = np.einsum("ij,ij->i", joint.gap_directions, joint.faces)
    assert np.abs(across).max() < 1e-12
    # In the plane of each meridian, turned down by the lean of the face.
    lean = math.asin(200 / 500)
    assert joint.gap_directions[0] == pytest.approx(
        [math.cos(lean), 0, -math.sin(lean)]
    )


def test_a_cowl_split_has_faces_all_round_and_needs_its_normals_stated():
    ring = [
        Station(str(k), (0.0, y, z), face=(0.0, y, z))
        for k, (y, z) in enumerate(circle(24, 400.0))
    ]
    found = complaints(ring)
    assert [one.row for one in found] == [None]
    assert "faces look all ways" in found[0].text
    joint = build_joint([replace(s, gap_direction=(2.0, 0, 0)) for s in ring])
    assert np.array_equal(joint.gap_directions, [[1.0, 0, 0]] * 24)


def turned(station, matrix):
    def by(vector):
        return None if vector is None else tuple(matrix @ np.array(vector))

    return replace(
        station,
        place=by(station.place),
        face=by(station.face),
        gap_direction=by(station.gap_direction),
    )


@given(
    angles=st.tuples(*3 * [st.floats(-3, 3)]),
    inside=st.booleans(),
)
def test_turning_the_whole_picture_turns_the_gap_directions(angles, inside):
    a, b, c = angles
    about_z = [[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]]
    about_x = [[1, 0, 0], [0, math.cos(b), -math.sin(b)], [0, math.sin(b), math.cos(b)]]
    about_y = [[math.cos(c), 0, math.sin(c)], [0, 1, 0], [-math.sin(c), 0, math.cos(c)]]
    matrix = np.array(about_z) @ about_x @ about_y
    before = build_joint(dome(), part_inside=inside)
    after = build_joint([turned(s, matrix) for s in dome()], part_inside=inside)
    assert np.abs(after.gap_directions - before.gap_directions @ matrix.T).max() < 1e-9
    assert after.length_weights == pytest.approx(before.length_weights)


def wrapped_panel(degrees, radius=300.0, width=400.0):
    """A panel round a cylinder about x: two edges along it, two around it."""
    around = [math.radians(degrees * k / 24) for k in range(25)]
    along = [width * k / 8 for k in range(9)]
    walk = [(0.0, t, (-1, 0)) for t in around]
    walk += [(x, around[-1], (0, 1)) for x in along]
    walk += [(width, t, (1, 0)) for t in around[::-1]]
    walk += [(x, around[0], (0, -1)) for x in along[::-1]]
    return [
        Station(
            str(row),
            (x, radius * math.cos(t), radius * math.sin(t)),
            gap_direction=(ahead, -turn * math.sin(t), turn * math.cos(t)),
            face=(0.0, math.cos(t), math.sin(t)),
            gap=Limits(1.0, 2.0),
        )
        for row, (x, t, (ahead, turn)) in enumerate(walk)
    ]


@pytest.mark.parametrize("degrees", [60, 120, 180, 220, 270, 350])
def test_a_panel_that_goes_round_a_cylinder_does_not_cross_itself(degrees):
    joint = build_joint(wrapped_panel(degrees))
    assert len(joint.stations) == 68
    curve = edge_curve(joint)
    assert curve.length == pytest.approx(
        2 * 400 + 2 * 300 * math.radians(degrees), abs=1e-6
    )


def test_a_panel_on_a_bulge_that_does_cross_is_still_refused():
    """A figure of eight on a cylinder of 2 m, all faces to one side."""
    places = [(-100, -100), (100, 100), (100, -100), (-100, 100)]
    stations = [
        Station(
            str(row),
            (x, y, math.sqrt(2000**2 - y * y)),
            face=(0.0, y / 2000, math.sqrt(1 - (y / 2000) ** 2)),
            gap_direction=(1.0, 0.0, 0.0),
            gap=Limits(1.0, 2.0),
        )
        for row, (x, y) in enumerate(places)
    ]
    with pytest.raises(JointError, match="crosses itself"):
        build_joint(stations)
