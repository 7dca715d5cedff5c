"""Setting a shop up: advice that is true, words that keep to the rules, nothing chosen
for a person but what is the only choice."""

import re

import pytest
from django.urls import reverse

from qa.models import Instrument
from shop.actions import airframes
from shop.models import Part, Person
from tests.shop.making import make_airframe, make_design, make_part, make_type

from .making import make_instrument, make_joint


def field_of(page, name: str) -> str:
    """What a page draws for one field: from its label or fieldset to its end."""
    return re.search(
        rf'<div class="field[^>]*>(?:(?!<div class="field).)*name="{name}".*?(?=<div '
        r'class="field|<div class="form-actions)',
        page.content.decode(),
        re.DOTALL,
    )[0]


def chosen(page, name: str) -> str:
    """The value that stands in a field of the page's form."""
    return page.context["form"][name].value() or ""


def test_a_type_comes_first_is_not_said_once_there_is_one(client_of, people):
    lead = client_of("lead")
    assert "A type comes first" in lead.get(reverse("airframes")).content.decode()
    make_type(people["lead"])
    page = lead.get(reverse("airframes")).content.decode()
    assert "A type comes first" not in page
    assert page.count(reverse("add_airframe")) >= 2


def test_a_reason_that_a_rule_asked_for_is_not_called_optional(client_of, people):
    lead = people["lead"]
    airframe = make_airframe(lead)
    place = airframes.add_position(
        by=lead, type=airframe.type, code="D", name="Door", part_number="D-1"
    )
    part = make_part(lead)
    url = reverse("place_part", args=[airframe.pk])
    said = {"position": place.pk, "part": part.serial}
    page = client_of("lead").post(url, said)
    assert page.status_code == 200
    assert "(optional)" not in field_of(page, "reason")
    assert "(optional)" in field_of(page, "note")
    # Emptied again it is still asked for, and the answer still goes through.
    assert client_of("lead").post(url, said | {"reason": " "}).status_code == 200
    assert client_of("lead").post(url, said | {"reason": "a trial"}).status_code == 302


def test_a_field_that_is_needed_at_times_says_when(client_of, people):
    page = client_of("lead").get(reverse("add_part"))
    assert "(optional)" not in field_of(page, "sources")
    assert "needed for bonded and cut parts" in field_of(page, "sources")


@pytest.mark.parametrize(
    ("page", "fields"),
    [
        ("add_person", ["role"]),
        ("add_part", ["origin"]),
        ("add_design", ["hand", "structural_class"]),
        ("add_tool", ["kind", "hand"]),
        ("add_material", ["kind"]),
        ("new_instrument", ["kind"]),
    ],
)
def test_what_a_person_must_decide_is_not_decided_for_them(
    client_of, people, page, fields
):
    lead = client_of("lead")
    shown = lead.get(reverse(page))
    assert [chosen(shown, name) for name in fields] == [""] * len(fields)
    answer = lead.post(reverse(page), {})
    assert all(name in answer.context["form"].errors for name in fields)


def test_a_person_added_without_a_role_is_nobody_yet(client_of, people):
    said = {"username": "mara", "name": "Mara", "password": "a long enough word 7"}
    page = client_of("lead").post(reverse("add_person"), said)
    assert "role" in page.context["form"].errors
    assert not Person.objects.filter(username="mara").exists()


def test_a_part_without_an_origin_is_not_taken_for_bonded(client_of, people):
    design = make_design(people["lead"])
    said = {"design": design.pk, "serial": "S-1"}
    page = client_of("lead").post(reverse("add_part"), said)
    assert list(page.context["form"].errors) == ["origin"]
    assert not Part.objects.exists()


def test_the_only_choice_is_chosen_and_one_of_two_is_not(client_of, people):
    lead = client_of("lead")
    first = make_type(people["lead"])
    assert chosen(lead.get(reverse("add_airframe")), "type") == first.pk
    assert "selected" in field_of(lead.get(reverse("add_airframe")), "type")
    make_type(people["lead"])
    assert chosen(lead.get(reverse("add_airframe")), "type") == ""
    design = make_design(people["lead"])
    assert chosen(lead.get(reverse("add_part")), "design") == design.pk


def test_what_may_stay_empty_is_not_filled_in_because_there_is_one(client_of, people):
    make_design(people["lead"], hand="left")
    page = client_of("lead").get(reverse("add_design"))
    assert chosen(page, "mirror") == ""


def test_the_only_joint_airframe_and_instrument_lead_straight_to_the_check(
    client_of, people
):
    engineer = people["engineer"]
    joint = make_joint(engineer)
    page = client_of("builder").get(reverse("new_check"))
    assert "No joint is for this airframe yet" in page.content.decode()
    frame = make_airframe(engineer, type=joint.type)
    make_instrument(engineer)
    page = client_of("builder").get(reverse("new_check"))
    assert (page.context["airframe"], page.context["joint"]) == (frame, joint)
    assert chosen(page, "instrument") == Instrument.objects.get().pk
    make_airframe(engineer, type=joint.type)
    page = client_of("builder").get(reverse("new_check"))
    assert len(page.context["choices"].rows) == 2
