"""Mapping and revising joints at the desk: from a file, along a shape, by hand."""

import math

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from qa.models import Joint, JointRevision, Station

from .making import (
    fresh,
    make_airframe,
    make_check,
    make_instrument,
    make_joint,
    make_position,
    make_stations,
    make_type,
    mm,
    revise,
)

FILE = """station,x_mm,y_mm,gap_min_mm,gap_max_mm
A,0,0,1.5,3
B,400,-40,1.5,3
C,800,0,1.5,3
D,840,250,1.5,3
E,800,500,1.5,3
F,400,540,1.5,3
G,0,500,1.5,3
H,-40,250,1.5,3
"""
# Its corners turn by more than 20 degrees, so that every normal is stated.
SQUARE = """station,x_in,y_in,normal_x,normal_y,gap_min_in,gap_max_in,flush_max_mm
1,5,0,0,-1,0.040,0.120,0.5
2,10,5,1,0,0.040,0.120,0.5
3,5,10,0,1,0.040,0.120,0.5
4,0,5,-1,0,0.040,0.120,0.5
"""
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


def requirement(**said):
    return {
        "closed": "closed",
        "part_inside": "inside",
        "marks_on": "surround",
        "rule": "simple",
        "edition": "2017",
        "units": "mm",
        "acceptance_finish": "any",
        "stations": SQUARE,
        **said,
    }


def between(engineer, **said):
    kind = make_type(engineer)
    return requirement(
        position=make_position(engineer, type=kind).pk,
        surround=make_position(engineer, type=kind).pk,
        number="J-7",
        name="Left door to frame",
        first_line="1",
        **said,
    )


def post(client, data, do="look", **files):
    return client.post(reverse("new_joint"), {**data, "do": do, **files})


def upload(text, name="door.csv"):
    data = text if isinstance(text, bytes) else text.encode()
    return SimpleUploadedFile(name, data, content_type="text/csv")


def told(answer):
    return [
        (one["line"], one["column"]) for one in answer.context["form"].complaint_rows
    ]


# -------------------------------------------------------------- from a file


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
    rows = [f"{n},{math.cos(n)},{math.sin(n)}" for n in range(1001)]
    text = "\n".join(["station,x_mm,y_mm", *rows])
    answer = post(client, between(engineer, stations=text))
    assert answer.status_code == 200
    assert answer.context["form"].errors["stations"]


def test_a_name_that_a_spreadsheet_would_run_is_refused(client, engineer):
    answer = post(client, between(engineer, stations=SQUARE.replace("\n1,", "\n=1,")))
    assert told(answer) == [(2, "station")]


def test_a_name_longer_than_its_record_is_refused_by_line(client, engineer):
    text = SQUARE.replace("\n1,", f"\n{'n' * 21},")
    answer = post(client, between(engineer, stations=text), "save")
    assert told(answer) == [(2, "station")]


# ------------------------------------------------------------ along a shape


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


# --------------------------------------------------------------------- save


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


# ------------------------------------------------------------------- revise


def revision_page(client, joint, **said):
    """What the page to revise a joint starts with, as it would be sent."""
    page = client.get(reverse("revise_joint", args=[joint.pk]))
    form = page.context["form"]
    data = {name: form[name].value() or "" for name in form.fields if name != "file"}
    return {**data, "based_on": page.context["based_on"], **said}


def send(client, joint, data, do="save"):
    return client.post(reverse("revise_joint", args=[joint.pk]), {**data, "do": do})


def test_a_revision_starts_from_the_newest_and_changes_only_what_was_changed(
    client, engineer
):
    joint = make_joint(
        engineer,
        rule="guarded",
        flow_mdeg=-12_500,
        finish_part_nm=mm(0.12),
        part_expansion_e9=2400,
        surround_expansion_e9=23100,
        expanding_length_nm=mm(800),
        attach_points=[{"name": "A1", "x_nm": mm(10), "y_nm": mm(-20.5)}],
        motions=[{"name": "x", "translation": [1, 0, 0], "min": -1, "max": 1}],
        acceptance_condition="hinged",
        source="DWG 7",
    )
    data = revision_page(client, joint, note="wider")
    data["stations"] = data["stations"].replace(",1.5,3,", ",1.5,3.5,")
    assert send(client, joint, data).status_code == 302
    first, second = joint.revisions.order_by("number")
    same = {"id", "entry_id", "uuid", "number", "note"}
    assert second.note == "wider"
    assert _columns(first, but=same) == _columns(second, but=same)
    olds, news = first.stations.all(), second.stations.all()
    for old, new in zip(olds, news, strict=True):
        assert (old.gap_max_nm, new.gap_max_nm) == (mm(3), mm(3.5))
        but = {"id", "entry_id", "revision_id", "gap_max_nm", "typed"}
        assert _columns(old, but=but) == _columns(new, but=but)


def _columns(row, *, but):
    names = {field.attname for field in row._meta.concrete_fields} - but
    return {name: getattr(row, name) for name in names}


def test_looking_at_a_revision_saves_nothing(client, engineer):
    joint = make_joint(engineer)
    answer = send(client, joint, revision_page(client, joint), "look")
    assert b"<svg" in answer.content
    assert joint.revisions.count() == 1


def test_a_stale_revision_is_told_and_nothing_is_lost_or_saved(client, engineer):
    joint = make_joint(engineer)
    data = revision_page(client, joint, note="mine")
    revise(engineer, joint, note="theirs")
    answer = send(client, joint, data)
    assert answer.status_code == 200
    assert b"Revision 2 was released in the meantime" in answer.content
    assert answer.context["form"]["note"].value() == "mine"
    assert joint.revisions.count() == 2
    # Having seen it, the person saves theirs after it.
    data["based_on"] = answer.context["based_on"]
    assert send(client, joint, data).status_code == 302
    assert joint.revisions.get(number=3).note == "mine"


def test_a_revision_can_start_from_an_older_one(client, engineer):
    joint = make_joint(engineer, make_stations(8, gap=(1, 2)))
    revise(engineer, joint, make_stations(12, gap=(3, 4)))
    url = reverse("revise_joint", args=[joint.pk])
    text = client.get(f"{url}?from=1").context["form"]["stations"].value()
    assert len(text.splitlines()) == 9
    assert client.get(f"{url}?from=nonsense").status_code == 200


def test_a_new_joint_can_start_from_another(client, engineer):
    joint = make_joint(engineer, source="DWG 7")
    form = client.get(f"{reverse('new_joint')}?from={joint.pk}").context["form"]
    assert form["source"].value() == "DWG 7"
    assert len(form["stations"].value().splitlines()) == 9


# ---------------------------------------------------------- files and sheets


def test_the_downloaded_file_reads_back_as_the_same_record(client, engineer):
    text = (
        "station,x_in,y_in,z_mm,normal_x,normal_y,normal_z,face_x,face_y,face_z,"
        "gap_min_in,gap_max_mm,flush_min_mm,flush_max_in,trim_side,trim_max_in,"
        "trim_max_surround_mm,land_mm,radius_in,laminar,edge\n"
        '"a, 1",10.12345,0,3.000001,0.6,-0.8,0,0,0.1,0.9,0.040,,-0.25,0.02,both,'
        "0.1,0.5,2.5,48,yes,upstream\n"
        "b,20,9.99999,-3,1,0.123456789,0.1,0,0,1,,3.25,,,part,,,,,,downstream\n"
        "c,10,20,0,-0.1,1,0,0.1,0,1,,,,,none,0,,,,no,\n"
        "d,0,10,0,-1,0,0,0,0,1,,,,,surround,,,,,,\n"
    )
    answer = post(client, between(engineer, stations=text), "save")
    assert answer.status_code == 302, answer.context["form"].errors
    joint = Joint.objects.get()
    url = reverse("joint_csv", args=[joint.pk, 1])
    file = client.get(url)
    assert file["Content-Disposition"] == 'attachment; filename="J-7-1.csv"'
    written = file.content.decode()
    assert "0.040" in written  # as typed
    data = revision_page(client, joint, stations=written)
    assert send(client, joint, data).status_code == 302
    first, second = joint.revisions.order_by("number")
    but = {"id", "entry_id", "revision_id"}
    for old, new in zip(first.stations.all(), second.stations.all(), strict=True):
        assert _columns(old, but=but) == _columns(new, but=but)
    again = client.get(reverse("joint_csv", args=[joint.pk, 2])).content.decode()
    assert again == written


def test_the_downloaded_file_is_judged_at_the_command_line(
    client, engineer, tmp_path, capsys
):
    from django.core.management import call_command

    stations = make_stations(8, radius_nm=mm(900), laminar=True, edge="upstream")
    joint = make_joint(engineer, stations)
    file = tmp_path / "joint.csv"
    file.write_bytes(client.get(reverse("joint_csv", args=[joint.pk, 1])).content)
    readings = tmp_path / "readings.csv"
    rows = [f"{n},2,0" for n in range(1, 9)]
    readings.write_text("\n".join(["station,gap_mm,flush_mm", *rows]))
    call_command("check_fit", str(file), str(readings))
    assert "16 conforms" in capsys.readouterr().out


def test_a_builder_downloads_the_file_and_the_blank_sheet(client_of, people):
    joint = make_joint(people["engineer"], number="J/7 <left>")
    client = client_of("builder")
    file = client.get(reverse("joint_csv", args=[joint.pk, 1]))
    assert 'filename="J-7-left-1.csv"' in file["Content-Disposition"]
    assert client.get(reverse("joint_csv", args=[joint.pk, 2])).status_code == 404


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_blank_sheet_names_joint_stations_and_limits(client, engineer, paper):
    import io

    from pypdf import PdfReader

    joint = make_joint(engineer, number="J-31", name="Cowl to firewall")
    airframe = make_airframe(engineer, type=joint.type)
    url = reverse("blank_sheet", args=[joint.pk])
    answer = client.get(f"{url}?paper={paper}&airframe={airframe.pk}")
    assert answer["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.content))
    width, height = (round(float(v)) for v in reader.pages[0].mediabox[2:])
    assert (width, height) == {"a4": (595, 842), "letter": (612, 792)}[paper]
    text = "\n".join(page.extract_text() for page in reader.pages)
    for words in ("J-31", "Cowl to firewall", airframe.serial, "1.50 to 3.00"):
        assert words in text
    assert answer.content == client.get(answer.request["PATH_INFO"] + "?" + (
        answer.request["QUERY_STRING"]
    )).content  # fmt: skip
    assert client.get(f"{url}?airframe=0").status_code == 404


# --------------------------------------------------------------- joint page


def test_the_joint_page_shows_map_limits_and_revisions(client, engineer):
    joint = make_joint(engineer, rule="guarded", flow_mdeg=0, finish_part_nm=mm(0.1))
    revise(engineer, joint, make_stations(8, gap=(2, 4)), rule="guarded", note="seal")
    page = client.get(reverse("joint", args=[joint.pk])).content.decode()
    for words in ("<svg", "2.00 to 4.00 mm", "Revision 1", "seal", "guarded"):
        assert words in page
    older = client.get(reverse("joint_revision", args=[joint.pk, 1])).content.decode()
    assert "1.50 to 3.00 mm" in older
    assert "part 0.10 mm, surround 0.00 mm" in older
    assert "the newest is 2" in older


def test_the_page_says_how_uncertain_a_gauge_may_be(client, engineer):
    """The narrowest limits are 1.0 mm wide; 1.0 / 3.92 is 0.255 mm (ISO 14253-1:2017,
    where limits nearer than 3.92 u prove nothing), 1.0 / 4 by the edition of 1998."""
    from qa.queries.joints import joint_view
    from shop.ledger import Refused

    joint = make_joint(engineer, rule="guarded")
    page = client.get(reverse("joint", args=[joint.pk])).content.decode()
    assert "standard uncertainty at most 0.255 mm" in page
    make_check(
        engineer, joint=joint, instrument=make_instrument(engineer, u_nm=255_000)
    )
    rough = make_instrument(engineer, u_nm=256_000)
    with pytest.raises(Refused):
        make_check(engineer, joint=joint, instrument=rough)
    old = make_joint(engineer, rule="guarded", edition="1998")
    assert joint_view(old, old.current, "mm").greatest_u == "0.250 mm"


def queries_of(client, url, counted):
    client.get(url)
    with counted as context:
        assert client.get(url).status_code == 200
    return len(context)


def test_the_list_takes_as_many_statements_for_30_joints_as_for_one(
    client, engineer, django_assert_max_num_queries
):
    kind = make_type(engineer)
    make_joint(engineer, type=kind)
    one = queries_of(client, reverse("joints"), django_assert_max_num_queries(20))
    for _ in range(29):
        make_joint(engineer, type=kind, number=fresh("J"))
    many = queries_of(client, reverse("joints"), django_assert_max_num_queries(20))
    assert many == one


def test_a_joint_takes_as_many_statements_with_60_stations_as_with_three(
    client, engineer, django_assert_max_num_queries
):
    small = make_joint(engineer, 4)
    large = make_joint(engineer, 60)
    counts = [
        queries_of(
            client, reverse("joint", args=[one.pk]), django_assert_max_num_queries(20)
        )
        for one in (small, large)
    ]
    assert counts[0] == counts[1]


def test_pages_hold_no_inline_script_or_style(client, engineer):
    joint = make_joint(engineer)
    for url in (
        reverse("new_joint"),
        reverse("joint", args=[joint.pk]),
        reverse("revise_joint", args=[joint.pk]),
    ):
        page = client.get(url).content.decode()
        assert " style=" not in page
        assert "<style" not in page
        assert "<script>" not in page
