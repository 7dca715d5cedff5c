"""Airframes, the tree of positions, and which serial sits where."""

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from shop.actions import airframes
from shop.ledger import Refused
from shop.models import Hand, Part, PartState, Placement, PlacementAct
from tests.around import by_hand

from .making import (
    make_airframe,
    make_design,
    make_part,
    make_placement,
    make_position,
    make_type,
)


@pytest.fixture
def lead(people):
    return people["lead"]


def test_a_part_is_placed_and_the_act_keeps_who(lead):
    placement = make_placement(lead, note="first fit")
    fact = PlacementAct.objects.get()
    assert fact.placed
    assert fact.note == "first fit"
    assert placement.placed_by_entry.by == lead
    assert placement.removed_at is None


def test_a_part_taken_out_keeps_from_when_to_when(lead):
    placement = make_placement(lead)
    airframes.remove_part(by=lead, placement=placement, reason="to trim the edge")
    placement.refresh_from_db()
    assert placement.removed_at >= placement.placed_at
    assert placement.removed_by_entry.by == lead
    assert PlacementAct.objects.filter(placed=False).get().note == "to trim the edge"


def test_it_is_taken_out_once(lead):
    placement = make_placement(lead)
    airframes.remove_part(by=lead, placement=placement, reason="trim")
    with pytest.raises(Refused) as no:
        airframes.remove_part(by=lead, placement=placement, reason="trim")
    assert no.value.code == "conflict"


def test_a_position_holds_one_part(lead):
    first = make_placement(lead)
    with pytest.raises(Refused, match=first.part.serial) as no:
        make_placement(lead, airframe=first.airframe, position=first.position)
    assert no.value.field == "position"


def test_a_part_sits_in_one_place(lead):
    first = make_placement(lead)
    with pytest.raises(Refused, match=first.airframe.serial) as no:
        make_placement(lead, part=first.part)
    assert no.value.field == "part"


def test_a_scrapped_part_is_never_placed_again(lead):
    part = make_part(lead)
    with by_hand():
        Part.objects.filter(pk=part.pk).update(state=PartState.SCRAPPED)
    with pytest.raises(Refused) as no:
        make_placement(lead, part=part)
    assert no.value.field == "part"


def test_a_suspect_part_is_placed_only_with_a_reason(lead):
    part = make_part(lead)
    with by_hand():
        Part.objects.filter(pk=part.pk).update(state=PartState.SUSPECT)
    with pytest.raises(Refused) as no:
        make_placement(lead, part=part)
    assert no.value.field == "reason"
    make_placement(lead, part=part, reason="mock-up fit only")
    assert PlacementAct.objects.get().note == "mock-up fit only"


def test_a_test_coupon_is_never_placed(lead):
    coupon = make_part(lead, design=make_design(lead, is_coupon=True))
    with pytest.raises(Refused) as no:
        make_placement(lead, part=coupon)
    assert no.value.field == "part"


def test_a_position_of_another_type_is_refused(lead):
    with pytest.raises(Refused) as no:
        make_placement(lead, position=make_position(lead))
    assert no.value.field == "position"


def test_a_visitor_places_nothing(lead, people):
    airframe = make_airframe(lead)
    position = make_position(lead, type=airframe.type)
    part = make_part(lead)
    with pytest.raises(PermissionDenied):
        make_placement(
            people["visitor"], airframe=airframe, position=position, part=part
        )


def test_paths_follow_when_a_position_is_renamed_or_moved(lead):
    kind = make_type(lead)
    body = make_position(lead, type=kind, code="F", name="Fuselage")
    door = make_position(lead, type=kind, code="D", name="Door", parent=body)
    hatch = make_position(lead, type=kind, code="H", name="Hatch", parent=door)
    assert hatch.path == "Fuselage / Door / Hatch"
    airframes.change_position(by=lead, position=body, code="F", name="Pod")
    hatch.refresh_from_db()
    assert hatch.path == "Pod / Door / Hatch"
    airframes.change_position(by=lead, position=door, code="D", name="Door")
    hatch.refresh_from_db()
    assert hatch.path == "Door / Hatch"


def test_a_position_cannot_be_part_of_itself(lead):
    body = make_position(lead)
    door = make_position(lead, type=body.type, parent=body)
    with pytest.raises(Refused) as no:
        airframes.change_position(
            by=lead, position=body, code=body.code, name="Body", parent=door
        )
    assert no.value.field == "parent"


def test_a_code_is_taken_once_on_a_type(lead):
    body = make_position(lead)
    with pytest.raises(Refused) as no:
        make_position(lead, type=body.type, code=body.code)
    assert no.value.field == "code"


def test_a_line_number_is_taken_once_on_a_type(lead):
    airframe = make_airframe(lead)
    with pytest.raises(Refused) as no:
        make_airframe(lead, type=airframe.type, line_number=airframe.line_number)
    assert no.value.field == "line_number"


# ------------------------------------------------------------------------- pages


def test_the_page_shows_the_serial_in_each_position_and_the_history(lead, client_of):
    placement = make_placement(lead)
    airframes.remove_part(by=lead, placement=placement, reason="swap")
    second = make_placement(
        lead,
        airframe=placement.airframe,
        position=placement.position,
        part=make_part(lead, design=placement.part.design),
    )
    url = reverse("airframe", args=[placement.airframe_id])
    shown = client_of("visitor").get(url).context["shown"]
    assert [branch.sits.serial for branch in shown.tree] == [second.part.serial]
    assert [one.serial for one in shown.history] == [
        second.part.serial,
        placement.part.serial,
    ]
    assert shown.history[0].removed_at is None
    assert shown.history[1].removed_by == str(lead)


def test_a_refusal_stands_beside_its_field_and_nothing_typed_is_lost(lead, client_of):
    first = make_placement(lead)
    part = make_part(lead)
    url = reverse("place_part", args=[first.airframe_id])
    said = {"position": first.position_id, "part": part.serial, "note": "by hand"}
    page = client_of("builder").post(url, said)
    form = page.context["form"]
    assert list(form.errors) == ["position"]
    assert f'value="{part.serial}"' in page.text
    assert 'value="by hand"' in page.text
    assert Placement.objects.count() == 1


def test_an_unknown_serial_is_said_beside_its_field(lead, client_of):
    airframe = make_airframe(lead)
    position = make_position(lead, type=airframe.type)
    said = {"position": position.pk, "part": "S-none"}
    page = client_of("builder").post(reverse("place_part", args=[airframe.pk]), said)
    assert list(page.context["form"].errors) == ["part"]


def test_the_field_for_the_reason_comes_with_the_warning(lead, client_of):
    airframe = make_airframe(lead)
    position = make_position(lead, type=airframe.type)
    part = make_part(lead)
    with by_hand():
        Part.objects.filter(pk=part.pk).update(state=PartState.SUSPECT)
    url = reverse("place_part", args=[airframe.pk])
    client = client_of("builder")
    assert client.get(url).context["form"]["reason"].is_hidden
    said = {"position": position.pk, "part": part.serial}
    page = client.post(url, said)
    assert not page.context["form"]["reason"].is_hidden
    assert list(page.context["form"].errors) == ["reason"]
    client.post(url, {**said, "reason": "only to see"})
    assert Placement.objects.get().part == part


@pytest.mark.either_database
@pytest.mark.parametrize("name", ["airframes", "parts", "designs"])
def test_a_list_takes_the_same_statements_with_1_and_30_rows(
    lead, client_of, name, django_assert_num_queries
):
    client = client_of("visitor")
    kind = make_type(lead)

    def one_more():
        make_placement(lead, airframe=make_airframe(lead, type=kind))

    def statements():
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as seen:
            assert client.get(reverse(name)).status_code == 200
        return len(seen)

    one_more()
    before = statements()
    for _ in range(29):
        one_more()
    assert statements() == before


@pytest.mark.either_database
def test_an_airframe_page_takes_the_same_statements_with_1_and_30_parts(
    lead, client_of
):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = client_of("visitor")
    airframe = make_airframe(lead)
    url = reverse("airframe", args=[airframe.pk])

    def statements():
        with CaptureQueriesContext(connection) as seen:
            assert client.get(url).status_code == 200
        return len(seen)

    make_placement(lead, airframe=airframe)
    before = statements()
    for _ in range(29):
        make_placement(lead, airframe=airframe)
    assert statements() == before


def test_a_list_is_filtered_by_a_link(lead, client_of):
    wanted = make_airframe(lead, name="Kestrel")
    make_airframe(lead)
    page = client_of("visitor").get(reverse("airframes"), {"q": "kestr"})
    assert [row.id for row in page.context["page"]] == [wanted.pk]


def test_a_part_of_the_other_hand_is_not_placed_there(lead):
    airframe = make_airframe(lead)
    left = make_position(lead, type=airframe.type, hand=Hand.LEFT)
    said = {"airframe": airframe, "position": left}
    right = make_part(lead, design=make_design(lead, hand=Hand.RIGHT))
    with pytest.raises(Refused, match="right-hand part") as no:
        make_placement(lead, part=right, **said)
    assert no.value.field == "part"
    own = make_part(lead, design=make_design(lead, hand=Hand.LEFT))
    assert make_placement(lead, part=own, **said).part == own
