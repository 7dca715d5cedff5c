"""Mapping the other hand: what is sure is filled in, the rest is left empty."""

from dataclasses import replace

import pytest
from django.urls import reverse

from qa.models import Joint
from qa.queries.joints.opposite_hand import exchanged, position_of_other_hand

from .making import make_design, make_joint, make_position, make_stations, make_type


@pytest.fixture
def engineer(people):
    return people["engineer"]


def start_of(client_of, joint) -> dict:
    page = client_of("engineer").get(f"{reverse('new_joint')}?mirror={joint.pk}")
    form = page.context["form"]
    names = ("position", "surround", "number", "name", "mirror")
    return {name: form[name].value() for name in names}


@pytest.mark.parametrize(
    ("text", "other"),
    [
        ("DOOR-L", "DOOR-R"),
        ("Right door to frame", "Left door to frame"),
        ("wing_LH", "wing_RH"),
        ("port hatch", "starboard hatch"),
        ("seal", None),
        ("Rudder", None),
        ("left to right link", None),
    ],
)
def test_left_and_right_are_exchanged_only_where_one_of_them_stands(text, other):
    assert exchanged(text) == other


def test_position_number_and_name_of_the_other_hand_are_filled_in(client_of, engineer):
    kind = make_type(engineer)
    frame = make_position(engineer, type=kind, code="FUS", name="Fuselage")
    both = [
        make_position(engineer, type=kind, code=f"D-{h[0]}", name=f"Door {h}", hand=h)
        for h in ("left", "right")
    ]
    left = make_joint(
        engineer, position=both[0], surround=frame, number="J-7-L", name="Left door"
    )
    assert start_of(client_of, left) == {
        "position": both[1].pk,
        "surround": frame.pk,
        "number": "J-7-R",
        "name": "Right door",
        "mirror": left.pk,
    }


def test_a_number_without_a_hand_goes_on_to_the_next_that_is_free(client_of, engineer):
    left = make_joint(engineer, number="J-09", name="Door seam")
    make_joint(engineer, type=left.type, number="J-10")
    told = start_of(client_of, left)
    assert (told["number"], told["name"]) == ("J-11", "")
    assert Joint.objects.filter(number=told["number"]).count() == 0


def test_a_taken_number_is_not_guessed_around(client_of, engineer):
    left = make_joint(engineer, number="J-L")
    make_joint(engineer, type=left.type, number="J-R")
    assert start_of(client_of, left)["number"] == ""


def test_a_position_that_is_not_sure_is_left_empty(client_of, engineer):
    kind = make_type(engineer)
    left = make_position(engineer, type=kind, code="A", name="Door", hand="left")
    make_position(engineer, type=kind, code="B", name="Hatch", hand="right")
    assert position_of_other_hand(left) is None
    assert start_of(client_of, make_joint(engineer, position=left))["position"] == ""
    # A stated hand speaks against a name.
    odd = make_position(engineer, type=kind, code="C-L", name="Lid", hand="left")
    make_position(engineer, type=kind, code="C-R", name="Cap", hand="left")
    assert position_of_other_hand(odd) is None


def test_mirrored_designs_tell_a_position_whose_name_does_not(engineer):
    kind = make_type(engineer)
    right = make_design(engineer, hand="right", number="P-2")
    make_design(engineer, hand="left", number="P-1", mirror=right)
    one, other = (
        make_position(engineer, type=kind, hand=hand, part_number=number)
        for hand, number in (("left", "P-1"), ("right", "P-2"))
    )
    assert position_of_other_hand(one) == other
    assert position_of_other_hand(other) == one


def test_the_surround_of_a_station_is_turned_or_complained_about(client_of, engineer):
    kind = make_type(engineer)
    place = {
        code: make_position(engineer, type=kind, code=code, name=code)
        for code in ("DOOR-L", "DOOR-R", "WING-L", "WING-R", "FIN-L", "FUS")
    }
    named = ("WING-L", "FIN-L", "FUS")
    stations = [
        replace(one, surround_id=place[named[row]].pk) if row < 3 else one
        for row, one in enumerate(make_stations(8))
    ]
    left = make_joint(
        engineer, stations, position=place["DOOR-L"], surround=place["FUS"]
    )
    page = client_of("engineer").get(f"{reverse('new_joint')}?mirror={left.pk}")
    text = page.context["form"]["stations"].value()
    last = [line.rsplit(",", 1)[1] for line in text.splitlines()]
    assert last[:4] == ["surround", "WING-R", "FIN-R", "FUS"]
