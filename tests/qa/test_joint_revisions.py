"""Revising a joint, its mirror, its file and its blank sheet."""

import io
from dataclasses import replace

import pytest
from django.core.management import call_command
from django.urls import reverse
from pypdf import PdfReader

from qa.models import Joint
from qa.numeric.geometry import layout
from qa.rules import revised
from qa.wording import revisions

from .making import (
    make_airframe,
    make_joint,
    make_stations,
    mm,
    revise,
)
from .mapping import (
    between,
    columns,
    post,
    revision_page,
    send,
)


@pytest.fixture
def engineer(people):
    return people["engineer"]


@pytest.fixture
def client(client_of):
    return client_of("engineer")


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
    assert columns(first, but=same) == columns(second, but=same)
    olds, news = first.stations.all(), second.stations.all()
    for old, new in zip(olds, news, strict=True):
        assert (old.gap_max_nm, new.gap_max_nm) == (mm(3), mm(3.5))
        but = {"id", "entry_id", "revision_id", "gap_max_nm", "typed"}
        assert columns(old, but=but) == columns(new, but=but)


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


def test_a_revision_that_changes_nothing_is_none(client, engineer):
    joint = make_joint(engineer, flow_mdeg=-12_500, finish_part_nm=mm(0.12))
    data = revision_page(client, joint)
    answer = send(client, joint, data)
    assert answer.status_code == 200 and b"Nothing was changed." in answer.content
    assert joint.revisions.count() == 1
    data["stations"] = data["stations"].replace(",1.5,3,", ",1.5,3.5,", 1)
    assert send(client, joint, data).status_code == 302
    assert joint.revisions.count() == 2


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


@pytest.mark.parametrize("closed", [True, False])
def test_the_joint_of_the_other_hand_starts_as_the_mirror_image(
    client, engineer, closed
):
    laid = layout.polyline([(100, 0), (100, 900)], 4, closed=False)
    stations = make_stations(12)
    if not closed:
        stations = [
            replace(one, place_nm=tuple(map(mm, place)), gap_e9=(10**9, 0, 0))
            for one, place in zip(stations, laid.places, strict=False)
        ]
    left = make_joint(engineer, stations, closed=closed, flow_mdeg=10_000)
    page = client.get(f"{reverse('new_joint')}?mirror={left.pk}")
    form = page.context["form"]
    data = {name: form[name].value() or "" for name in form.fields if name != "file"}
    data |= {"number": "J-R", "name": "Right door to frame"}
    data |= {"position": left.position.pk, "surround": left.surround.pk}
    answer = post(client, data, "save")
    assert answer.status_code == 302, answer.context["form"].errors
    right = Joint.objects.select_related("current").get(number="J-R")
    assert right.mirror == left
    assert right.current.flow_mdeg == 170_000
    for one in left.current.stations.all():
        other = right.current.stations.get(label=one.label)
        assert (other.x_nm, other.y_nm) == (-one.x_nm, one.y_nm)
        assert (other.gap_x_e9, other.gap_y_e9) == (-one.gap_x_e9, one.gap_y_e9)


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
    data = revision_page(client, joint, stations=written, note="again")
    assert send(client, joint, data).status_code == 302
    first, second = joint.revisions.order_by("number")
    but = {"id", "entry_id", "revision_id"}
    for old, new in zip(first.stations.all(), second.stations.all(), strict=True):
        assert columns(old, but=but) == columns(new, but=but)
    again = client.get(reverse("joint_csv", args=[joint.pk, 2])).content.decode()
    assert again == written


def test_the_downloaded_file_is_judged_at_the_command_line(
    client, engineer, tmp_path, capsys
):
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


def test_whatever_a_revision_requires_has_words_for_its_change():
    assert set(revisions.REQUIRED) == set(revised.OF_REVISION)
