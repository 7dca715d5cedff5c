"""Mapping a joint at the desk: from a file or by hand, looked at, saved; its page."""

import math

import pytest
from django.urls import reverse

from qa.models import Joint, JointRevision, Station

from .making import make_joint, make_position, mm
from .mapping import FILE, SQUARE, between, post, requirement, told, upload


@pytest.fixture
def engineer(people):
    return people["engineer"]


@pytest.fixture
def client(client_of):
    return client_of("engineer")


def test_an_uploaded_file_fills_the_text_and_is_drawn_but_not_saved(client, engineer):
    answer = post(client, between(engineer, stations=""), "read", file=upload(SQUARE))
    page = answer.content.decode()
    assert answer.context["form"]["stations"].value() == SQUARE
    assert "<svg" in page
    assert "4 stations, not saved yet" in page
    assert not Joint.objects.exists()


def test_every_complaint_is_told_by_line_and_column_and_nothing_is_saved(
    client, engineer
):
    bad = SQUARE.replace("2,10,5", "2,ten,5").replace("0.040,0.120,0.5\n4", "0.2,,\n4")
    bad = bad.replace("4,0,5,-1,0,0.040,0.120,0.5", "4,0,5,-1,0,0.200,0.120,0.5")
    answer = post(client, between(engineer, stations=bad), "save")
    assert told(answer) == [(3, "x_in"), (5, "gap_min_in")]
    page = answer.content.decode()
    assert "Line 3, x_in" in page
    assert "2,ten,5,1,0,0.040,0.120,0.5" in page  # the line itself
    assert not Joint.objects.exists()
    assert answer.context["form"]["stations"].value() == bad


def test_a_row_of_the_wrong_length_does_not_hide_the_other_mistakes(client, engineer):
    bad = SQUARE.replace("1,5,0,0,-1,0.040", "1,5,0").replace("2,10,5", "2,ten,5")
    answer = post(client, between(engineer, stations=bad))
    assert told(answer) == [(2, None), (3, "x_in")]


def test_geometry_is_complained_about_by_line(client, engineer):
    bad = SQUARE.replace("2,10,5,1,0", "2,10,5,-1,0")
    answer = post(client, between(engineer, stations=bad))
    assert told(answer) == [(3, "normal_x")]
    assert b"points the wrong way" in answer.content


def test_a_file_chosen_on_saving_is_looked_at_first(client, engineer):
    answer = post(client, between(engineer, stations=""), "save", file=upload(SQUARE))
    assert b"Nothing is saved yet" in answer.content
    assert not Joint.objects.exists()


def test_the_text_before_is_kept_when_a_file_replaces_it(client, engineer):
    answer = post(client, between(engineer, stations=FILE), "read", file=upload(SQUARE))
    form = answer.context["form"]
    assert form["stations"].value() == SQUARE
    assert form["before"].value() == FILE


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"station,x_mm\n" + b"\0\1\2" * 50, "binary"),
        (b"\xff\xfe\x00\x81" * 50, "not UTF-8"),
        (b"", "empty"),
        (b"  \n \n", "empty"),
        (b"station,x_mm,y_mm\n" + b"1,2,3\n" * 900_000, "too large: 5.4 MB; at most 5"),
        (b"x" * 50_000_000, "too large: 50.0 MB; at most 5 MB"),
        (b"station,x_mm,y_mm\n" + b"1,2,3\n" * 100_000, "more than a joint needs"),
    ],
    ids=["binary", "other encoding", "empty", "blank", "5.4 MB", "50 MB", "long"],
)
def test_a_file_that_cannot_be_used_says_why_beside_its_field(
    client, engineer, data, why
):
    answer = post(client, between(engineer), "look", file=upload(data))
    assert answer.status_code == 200
    [error] = answer.context["form"].errors["file"]
    assert error.startswith("door.csv: ")
    assert why in error
    assert answer.context["form"]["stations"].value() == SQUARE


def test_more_stations_than_a_map_can_show_are_refused(client, engineer):
    turn = 2 * math.pi / 501
    rows = [f"{n},{math.cos(turn * n)},{math.sin(turn * n)}" for n in range(501)]
    text = "\n".join(["station,x_mm,y_mm", *rows])
    answer = post(client, between(engineer, stations=text))
    [complaint] = answer.context["form"].complaints
    assert (complaint.line, complaint.text) == (502, "501 stations; at most 500")


def test_a_name_that_a_spreadsheet_would_run_is_refused(client, engineer):
    answer = post(client, between(engineer, stations=SQUARE.replace("\n1,", "\n=1,")))
    assert told(answer) == [(2, "station")]


def test_a_name_longer_than_its_record_is_refused_by_line(client, engineer):
    text = SQUARE.replace("\n1,", f"\n{'n' * 21},")
    answer = post(client, between(engineer, stations=text), "save")
    assert told(answer) == [(2, "station")]


def test_a_joint_is_saved_with_exact_places_directions_and_limits(client, engineer):
    data = between(
        engineer,
        stations=SQUARE,
        rule="guarded",
        flow="180",
        finish_part="0.12",
        aim="0,15",
        part_expansion="2.4",
        surround_expansion="23.1",
        expanding_length="800",
        points="A1, 10, 20\nA2; 30; -40",
        motions='{"motions":[{"name":"slide","translation":[1,0,0],"min":-2,"max":2}]}',
        last_line="9",
    )
    answer = post(client, data, "save")
    joint = Joint.objects.get()
    assert answer.url == reverse("joint", args=[joint.pk])
    revision = joint.current
    assert (revision.number, revision.rule, revision.closed) == (1, "guarded", True)
    assert (revision.flow_mdeg, revision.aim_nm) == (180_000, 150_000)
    assert revision.finish_part_nm == 120_000
    assert (revision.part_expansion_e9, revision.surround_expansion_e9) == (2400, 23100)
    assert revision.attach_points[1] == {
        "name": "A2",
        "x_nm": 30_000_000,
        "y_nm": -40_000_000,
    }
    assert revision.motions[0]["name"] == "slide"
    station = revision.stations.get(label="2")
    assert (station.x_nm, station.y_nm) == (254_000_000, 127_000_000)
    assert (station.gap_x_e9, station.gap_y_e9) == (1_000_000_000, 0)
    assert (station.gap_min_nm, station.gap_max_nm) == (1_016_000, 3_048_000)
    assert station.typed["gap_min"] == ["0.040", "in"]
    assert station.typed["flush_max"] == ["0.5", "mm"]
    assert (joint.first_line, joint.last_line) == (1, 9)
    assert revision.entry.form == "joint/1"


def test_normals_are_worked_out_from_the_outline_and_kept_to_nine_decimals(
    client, engineer
):
    octagon = [
        f"{k},{1000 * math.cos(math.radians(18 * k)):.3f},"
        f"{1000 * math.sin(math.radians(18 * k)):.3f}"
        for k in range(20)
    ]
    text = "\n".join(["station,x_mm,y_mm", *octagon])
    post(client, between(engineer, stations=text), "save")
    station = Station.objects.get(label="5")
    assert station.gap_x_e9 == pytest.approx(0, abs=1000)
    assert station.gap_y_e9 == pytest.approx(1_000_000_000, abs=1000)


def test_what_only_the_record_needs_is_kept_from_the_file(client, engineer):
    data = between(engineer)
    code = make_position(
        engineer, type=Joint(position_id=data["position"]).position.type
    )
    head, *rows = SQUARE.strip().splitlines()
    extra = (
        ",radius_mm,laminar,edge,trim_side,trim_max_mm,trim_max_surround_mm,surround"
    )
    rows[0] += f",1200,yes,Upstream,both,2,1,{code.code}"
    rows[1:] = [row + ",,no,,,,," for row in rows[1:]]
    text = "\n".join([head + extra, *rows])
    answer = post(client, {**data, "stations": text}, "save")
    assert answer.status_code == 302, told(answer)
    one, two = Station.objects.filter(label__in="12").order_by("label")
    assert (one.radius_nm, one.laminar, one.edge) == (mm(1200), True, "upstream")
    assert (one.trim_side, one.trim_max_nm) == ("both", mm(2))
    assert (one.trim_max_surround_nm, one.surround) == (mm(1), code)
    assert (two.radius_nm, two.laminar, two.edge) == (None, False, "")
    assert (two.trim_side, two.surround) == ("part", None)


def test_a_surround_that_is_no_position_of_the_type_is_refused_by_line(
    client, engineer
):
    elsewhere = make_position(engineer)
    head, *rows = SQUARE.strip().splitlines()
    text = "\n".join([f"{head},surround", *(f"{r},{elsewhere.code}" for r in rows)])
    answer = post(client, between(engineer, stations=text), "save")
    assert told(answer)[0] == (2, "surround")
    assert not Joint.objects.exists()


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"number": ""}, "number"),
        ({"name": ""}, "name"),
        ({"position": ""}, "position"),
        ({"last_line": "0"}, "last_line"),
        ({"first_line": "5", "last_line": "4"}, "last_line"),
        ({"flow": "north"}, "flow"),
        ({"finish_part": "-0.1"}, "finish_part"),
        ({"finish_part": "thin"}, "finish_part"),
        ({"repeatability": "0"}, "repeatability"),
        ({"part_expansion": "2.4"}, "expanding_length"),
        ({"points": "A1, 10"}, "points"),
        ({"points": "A1, 10, x"}, "points"),
        ({"points": "A1, 10, 1\nA1, 3, 4"}, "points"),
        ({"motions": "{"}, "motions"),
        ({"motions": '[{"name":"slide","min":0,"max":1}]'}, "motions"),
        ({"stations": ""}, "stations"),
        ({"rule": "lenient"}, "rule"),
        ({"edition": "1066"}, "edition"),
    ],
)
def test_a_wrong_field_is_told_and_nothing_typed_is_lost(client, engineer, said, field):
    data = {**between(engineer, source="DWG 7"), **said}
    answer = post(client, data, "save")
    form = answer.context["form"]
    assert set(form.errors) == {field}
    assert form["source"].value() == "DWG 7"
    assert form["stations"].value() == data["stations"]
    assert not Joint.objects.exists()


def test_a_number_is_taken_once_a_type(client, engineer):
    data = between(engineer)
    assert post(client, data, "save").status_code == 302
    answer = post(client, data, "save")
    assert "number" in answer.context["form"].errors
    assert Joint.objects.count() == 1


def test_both_positions_are_of_one_type_and_two(client, engineer):
    data = between(engineer)
    for surround in (data["position"], make_position(engineer).pk):
        answer = post(client, {**data, "surround": surround}, "save")
        assert "surround" in answer.context["form"].errors


def test_a_mirror_is_linked_from_both_sides_and_maps_by_name(client, engineer):
    left = make_joint(engineer, 8)
    data = between(engineer, mirror=left.pk)
    data |= {"position": left.position.pk, "surround": left.surround.pk}
    post(client, data, "save")
    right = Joint.objects.get(number="J-7")
    left.refresh_from_db()
    assert (left.mirror, right.mirror) == (right, left)
    page = client.get(reverse("joint", args=[right.pk])).content.decode()
    assert left.number in page
    assert "without a counterpart: 5, 6, 7, 8" in page
    again = post(client, {**data, "number": "J-8"}, "save")
    assert "mirror" in again.context["form"].errors


@pytest.mark.parametrize("role", ["builder", "inspector"])
def test_only_lead_and_engineer_define_joints(client_of, people, role):
    joint = make_joint(people["engineer"])
    client = client_of(role)
    for url in (reverse("new_joint"), reverse("revise_joint", args=[joint.pk])):
        assert client.get(url).status_code == 403
        assert client.post(url, requirement(do="save")).status_code == 403
    assert JointRevision.objects.count() == 1
