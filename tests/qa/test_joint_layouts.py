"""Laying the stations of a joint out along a shape."""

import pytest

from qa.models import Joint

from .mapping import between, post

SHAPE = {
    "shape": "rectangle",
    "unit": "mm",
    "width": "800",
    "height": "500",
    "radius": "60",
    "spacing": "even",
    "count": "24",
    "start": "",
    "way": "ccw",
}


@pytest.fixture
def engineer(people):
    return people["engineer"]


@pytest.fixture
def client(client_of):
    return client_of("engineer")


def laid(client, engineer, **said):
    data = {**between(engineer, stations=""), **SHAPE, **said}
    return post(client, data, "lay")


def test_stations_are_laid_out_evenly_by_arc_length_with_limits(client, engineer):
    answer = laid(client, engineer, gap_min="1.5", gap_max="3,0", flush_min="-0.5")
    stations = answer.context["form"].joint_file.joint.stations
    assert len(stations) == 24
    lines = answer.context["form"]["stations"].value().splitlines()
    assert lines[0] == (
        "station,x_mm,y_mm,normal_x,normal_y,gap_min_mm,gap_max_mm,flush_min_mm"
    )
    assert lines[1].endswith(",1.5,3.0,-0.5")
    # Worked by hand: 2 (680 + 380) + 2 pi 60 is 2496.99 round, 104.04 a station, the
    # first half of that after the start of the bottom side at x = -340.
    assert stations[0].place == pytest.approx((-340 + 52.021, -250, 0), abs=0.001)
    assert b"<svg" in answer.content
    assert not Joint.objects.exists()


def test_station_one_is_where_it_was_asked_for_and_numbers_run_the_other_way(
    client, engineer
):
    answer = laid(client, engineer, shape="ellipse", start="top", way="cw")
    places = [one.place for one in answer.context["form"].joint_file.joint.stations]
    assert places[0] == pytest.approx((0, 250, 0), abs=0.001)
    assert places[1][0] > 0 > places[-1][0]


def test_stations_are_laid_out_by_count_per_side(client, engineer):
    counts = {"spacing": "sides", "per_side": "4, 3, 4 3", "per_corner": "1"}
    answer = laid(client, engineer, **counts)
    places = [one.place for one in answer.context["form"].joint_file.joint.stations]
    assert len(places) == 18
    assert [y for _, y, _ in places[:4]] == [-250] * 4


def test_an_open_seam_is_laid_along_corner_points(client, engineer):
    said = {"shape": "corners", "corners": "0, 0\n1000, 0\n\n1000; 500", "count": "6"}
    answer = laid(client, engineer, closed="open", **said)
    joint = answer.context["form"].joint_file.joint
    assert not joint.closed
    assert len(joint.stations) == 6


def test_a_shape_in_inches_stays_in_inches(client, engineer):
    answer = laid(client, engineer, unit="in", gap_min="0.040")
    lines = answer.context["form"]["stations"].value().splitlines()
    assert lines[0] == "station,x_in,y_in,normal_x,normal_y,gap_min_in"
    assert lines[1].endswith(",0.040")


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"width": ""}, "width"),
        ({"width": "wide"}, "width"),
        ({"height": "0"}, "height"),
        ({"radius": "300"}, "shape"),
        ({"radius": ""}, "radius"),
        ({"count": "2"}, "count"),
        ({"count": "100000"}, "count"),
        ({"gap_min": "3", "gap_max": "1"}, "gap_max"),
        ({"spacing": "sides", "per_side": "4, x"}, "per_side"),
        ({"spacing": "sides", "per_side": "4, 3"}, "shape"),
        ({"spacing": "sides", "per_side": "9999, 3, 3, 3"}, "per_side"),
        ({"shape": "ellipse", "spacing": "sides", "per_side": "4"}, "spacing"),
        ({"shape": "corners", "corners": "0 0\n1 x\n2 2"}, "corners"),
        ({"shape": "corners", "corners": "0 0\n1\n2 2"}, "corners"),
        ({"shape": "corners", "corners": "0 0\n9 0\n9 0\n0 9"}, "shape"),
        ({"closed": "open"}, "shape"),
        ({"shape": "spiral"}, "shape"),
    ],
)
def test_a_shape_that_cannot_be_laid_out_says_why(client, engineer, said, field):
    answer = laid(client, engineer, **said)
    assert answer.status_code == 200
    assert field in answer.context["layout"].errors
    assert not answer.context["form"].errors
