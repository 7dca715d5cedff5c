"""What a check starts with: desk and tablet offer the same parts and ask the same."""

import re

import pytest
from django.urls import reverse

from qa.queries.joints.joint_pages import parts_that_fit
from qa.queries.tablet.offline_copy import carry
from tests.shop.making import (
    make_airframe,
    make_design,
    make_part,
    make_placement,
    make_position,
)

from .making import make_joint

pytestmark = pytest.mark.django_db


@pytest.fixture
def door(people):
    """A joint between a door that sits and its fuselage, and parts that lie about."""
    lead = people["lead"]
    sits = make_placement(lead)
    kind, airframe = sits.position.type, sits.airframe
    around = make_position(lead, type=kind)
    fuselage = make_placement(lead, airframe=airframe, position=around)
    joint = make_joint(
        people["engineer"],
        position=sits.position,
        surround=around,
        type=kind,
        acceptance_condition="hinged and latched",
    )
    again = make_part(lead, design=sits.part.design)
    other = make_part(lead, design=make_design(lead))
    return joint, airframe, sits.part, fuselage.part, again, other


def test_the_fuselage_is_no_part_to_fit_into_its_own_opening(door):
    joint, airframe, sits, fuselage, again, other = door
    offered = list(parts_that_fit(airframe, joint.position))
    assert offered == [*sorted([sits, again], key=lambda part: part.serial), other]
    assert [part.other_design for part in offered] == [0, 0, 1]
    assert fuselage in parts_that_fit(airframe, joint.surround)


def test_where_nothing_sat_yet_no_part_is_of_another_design(people):
    lead = people["lead"]
    joint = make_joint(people["engineer"])
    parts = [make_part(lead), make_part(lead)]
    airframe = make_airframe(lead, type=joint.type)
    offered = parts_that_fit(airframe, joint.position)
    assert {one.pk: one.other_design for one in offered} == {one.pk: 0 for one in parts}


def test_the_tablet_carries_what_the_desk_asks(door):
    joint, airframe, sits, fuselage, _again, _other = door
    (told,) = carry()["joints"]
    assert told["designs"] == [sits.design_id]
    assert told["surround_designs"] == [fuselage.design_id]
    assert told["parts"] == {str(airframe.pk): sits.pk}
    assert told["surrounds"] == {str(airframe.pk): fuselage.pk}
    assert told["acceptance"] == "hinged and latched"


# What is called otherwise on the other page; "refit" is the desk's choice of a reason.
SAME = {
    "surround_part": "surround",
    "refit": "reason",
    "held_note": "where",
    "in_acceptance_condition": "accepted",
}


def test_desk_and_tablet_ask_for_the_same(door, client_of):
    joint, airframe, *_ = door
    client = client_of("builder")
    asked = {"airframe": airframe.pk, "joint": joint.pk}
    desk = client.get(reverse("new_check"), asked).context["form"].fields
    shell = client.get(reverse("tablet")).content.decode()
    form = re.search(r'<template id="t-new">.*?</template>', shell, re.DOTALL)[0]
    names = set(re.findall(r'name="(\w+)', form))
    wanted = {SAME.get(name, name) for name in desk}
    assert {re.sub("^held-.*", "held", name) for name in names} >= wanted - {"held"}
    assert "held" in names or any(name.startswith("held") for name in names)
