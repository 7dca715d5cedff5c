"""Part designs with their mirrors, part serials, and scrap."""

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from shop.actions import airframes, parts, suspects
from shop.ledger import Refused
from shop.models import Hand, Lineage, Origin, PartState

from .making import make_design, make_part, make_placement


@pytest.fixture
def lead(people):
    return people["lead"]


def test_a_mirror_is_linked_from_both_sides(lead):
    left = make_design(lead, hand=Hand.LEFT)
    right = make_design(lead, hand=Hand.RIGHT, mirror=left)
    left.refresh_from_db()
    assert (left.mirror, right.mirror) == (right, left)


def test_a_changed_mirror_leaves_no_link_behind(lead):
    left = make_design(lead, hand=Hand.LEFT)
    right = make_design(lead, hand=Hand.RIGHT, mirror=left)
    parts.change_design(
        by=lead,
        design=right,
        number=right.number,
        name=right.name,
        revision=right.revision,
        hand=Hand.RIGHT,
        structural_class="primary",
        mirror=None,
    )
    left.refresh_from_db()
    right.refresh_from_db()
    assert (left.mirror, right.mirror) == (None, None)
    assert right.structural_class == "primary"


@pytest.mark.parametrize(
    ("hand", "other"), [(Hand.NONE, Hand.LEFT), (Hand.LEFT, Hand.LEFT)]
)
def test_a_mirror_must_be_of_the_other_hand(lead, hand, other):
    mirror = make_design(lead, hand=other)
    with pytest.raises(Refused) as no:
        make_design(lead, hand=hand, mirror=mirror)
    assert no.value.field == "mirror"


def test_a_design_mirrors_only_one(lead):
    left = make_design(lead, hand=Hand.LEFT)
    make_design(lead, hand=Hand.RIGHT, mirror=left)
    with pytest.raises(Refused) as no:
        make_design(lead, hand=Hand.RIGHT, mirror=left)
    assert no.value.field == "mirror"


def test_a_number_and_revision_exist_once(lead):
    design = make_design(lead)
    with pytest.raises(Refused) as no:
        make_design(lead, number=design.number)
    assert no.value.field == "revision"
    assert make_design(lead, number=design.number, revision="B").pk != design.pk


def test_a_serial_exists_once(lead):
    part = make_part(lead)
    with pytest.raises(Refused) as no:
        make_part(lead, serial=part.serial)
    assert no.value.field == "serial"


def test_a_bonded_part_names_what_it_is_made_of(lead):
    skins = [make_part(lead), make_part(lead)]
    with pytest.raises(Refused) as no:
        make_part(lead, origin=Origin.BONDED)
    assert no.value.field == "sources"
    door = make_part(lead, origin=Origin.BONDED, sources=skins)
    edges = Lineage.objects.filter(part=door).order_by("pk")
    assert [edge.source for edge in edges] == skins


def test_a_part_made_of_a_suspect_one_is_suspect(lead):
    skin = make_part(lead)
    suspects.put_on_hold(by=lead, kind="part", key=skin.pk, reason="dull tap")
    assert make_part(lead, origin=Origin.CUT, sources=[skin]).state == PartState.SUSPECT


def test_scrap_is_for_good_and_not_while_it_sits(lead):
    placement = make_placement(lead)
    with pytest.raises(Refused):
        parts.scrap_part(by=lead, part=placement.part, reason="cracked")
    airframes.remove_part(by=lead, placement=placement, reason="cracked")
    part = parts.scrap_part(by=lead, part=placement.part, reason="cracked")
    assert part.state == PartState.SCRAPPED
    with pytest.raises(Refused):
        parts.scrap_part(by=lead, part=part, reason="again")


def test_a_builder_defines_no_design(people):
    with pytest.raises(PermissionDenied):
        make_design(people["builder"])


def test_the_part_page_leads_up_down_and_to_its_place(lead, client_of):
    skin = make_part(lead)
    door = make_part(lead, origin=Origin.BONDED, sources=[skin])
    placement = make_placement(lead, part=door)
    client = client_of("inspector")
    shown = client.get(reverse("part", args=[door.pk])).context["shown"]
    assert [edge.part for edge in shown.made_from] == [skin]
    assert shown.sits.airframe == placement.airframe_id
    shown = client.get(reverse("part", args=[skin.pk])).context["shown"]
    assert [edge.part for edge in shown.made_into] == [door]


def test_a_part_is_registered_from_the_page(lead, client_of):
    skin = make_part(lead)
    said = {
        "design": skin.design_id,
        "serial": "DOOR-9",
        "origin": "bonded",
        "sources": f"{skin.serial}, S-none",
        "note": "",
    }
    client = client_of("builder")
    page = client.post(reverse("add_part"), said)
    assert list(page.context["form"].errors) == ["sources"]
    done = client.post(reverse("add_part"), {**said, "sources": skin.serial})
    assert done.status_code == 302
    assert Lineage.objects.get(part__serial="DOOR-9").source == skin


def test_a_design_is_added_from_the_page(client_of):
    left = {
        "number": "MG2-301",
        "revision": "A",
        "name": "Door",
        "hand": "left",
        "structural_class": "secondary",
    }
    client = client_of("engineer")
    page = client.post(reverse("add_design"), left, follow=True)
    assert page.context["design"].number == "MG2-301"
    again = client.post(reverse("add_design"), left)
    assert again.context["form"].errors
