"""A door off for paint and back on, as the shop's pages take and tell it."""

import re

import pytest
from django.urls import reverse

from qa.models import Check, CheckState
from shop.models import Placement
from tests.qa.planned import even, read_at
from tests.qa.test_place_and_fit import THREE, Door

pytestmark = pytest.mark.django_db


def text_of(page) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.content.decode()))


def counts(client, door) -> tuple[int, int]:
    """(conforming, stale) as the page of the joint tells them."""
    url = reverse("joint_on_airframe", args=[door.joint.pk, door.airframe.pk])
    page = client.get(url)
    now = page.context["now"]
    shown = re.findall(r"<li><b>(\d+)</b>", page.content.decode())
    assert int(shown[0]) == now.counts["conforms"]
    assert int(shown[3]) == now.counts["stale"]
    return now.counts["conforms"], now.counts["stale"]


def test_a_door_off_for_paint_and_back_on(people, client_of):
    door = Door(people["engineer"])
    lead, builder = client_of("lead"), client_of("builder")
    joint = reverse("joint_on_airframe", args=[door.joint.pk, door.airframe.pk])
    check_page = reverse("check", args=[door.check.entry_id])
    assert counts(builder, door) == (16, 0)
    assert "Changed since" not in text_of(builder.get(check_page))

    # Off for paint: nothing is current, and each page says why.
    off = reverse("remove_part", args=[door.placement.pk])
    assert lead.post(off, {"reason": "Off for paint"}).status_code == 302
    assert counts(builder, door) == (0, 16)
    why = f"{door.door.serial} was taken off (Off for paint)"
    for url in (joint, check_page, "/"):
        assert why in text_of(builder.get(url)), url
    told = builder.get(f"/api/checks/{door.check.entry_id}").json()
    assert why in told["since"]
    said = {
        "airframe": door.airframe.pk, "joint": door.joint.pk, "part": door.door.pk,
        "refit": "same", "finish": "finished",
    }  # fmt: skip
    begun = builder.post(reverse("new_check"), said)
    assert begun.status_code == 200 and why in text_of(begun)

    # Back on: still nothing is current, until witnesses were measured.
    put = reverse("place_part", args=[door.airframe.pk])
    placed = {"position": door.opening.pk, "part": door.door.serial, "note": "Painted"}
    assert lead.post(put, placed).status_code == 302
    assert Placement.objects.filter(part=door.door, removed_at=None).exists()
    assert counts(builder, door) == (0, 16)
    assert "was put in place" in text_of(builder.get(joint))

    instrument = door.check.instrument_id
    begun = builder.post(reverse("new_check"), said | {"instrument": instrument})
    assert begun.status_code == 302
    again = Check.objects.latest("number")
    assert again.fit_up == door.check.fit_up
    read_at(again, THREE, flush=None)
    assert counts(builder, door) == (8, 8)  # every gap, no flushness
    words = text_of(builder.get(joint))
    assert "uncut stations are kept for gap" in words
    assert "0 of 3 well-spread witnesses repeat" in words
    assert {label for label, _ in door.state.now.stale} == set(even())
    assert {kind for _, kind in door.state.now.stale} == {"flush"}
    assert CheckState.objects.get(fit_check=again).state == "open"
