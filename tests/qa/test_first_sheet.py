"""An empty shop to its first inspection sheet, by the pages alone."""

import json
import re
import uuid

import pytest
from django.test import Client
from django.urls import reverse

from qa.models import Check, Instrument, Joint
from shop.actions.people import add_first_lead
from shop.models import Airframe, AirframeType, Part, PartDesign, Position

from .mapping import SQUARE, requirement

pytestmark = pytest.mark.django_db


class Desk:
    """The lead at a desk: adds what a form leaves to fill, and sends all of it."""

    def __init__(self):
        self.who = add_first_lead(username="ada", name="Ada", password="a long one 77")
        self.client = Client()
        self.client.force_login(self.who)

    def shows(self, page, *words, without=(), args=()) -> None:
        text = self.client.get(reverse(page, args=args)).content.decode()
        text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))
        assert [word for word in words if word not in text] == []
        assert [word for word in without if word in text] == []

    def fill(self, page, *, args=(), **said) -> None:
        url = reverse(page, args=args)
        form = self.client.get(url).context["form"]
        held = {one.name: one.value() for one in form}
        data = {key: value for key, value in held.items() if value not in (None, "")}
        answer = self.client.post(url, data | said)
        assert answer.status_code == 302, answer.context["form"].errors


def set_up(desk: Desk) -> None:
    """Type, positions, airframe, designs and parts; advice goes as it is followed."""
    desk.shows("front", "Where to begin", "Routes: the steps", "The shop: its name")
    desk.shows("airframes", "A type comes first")
    desk.fill("add_airframe_type", code="MG", name="Motor glider")
    desk.shows("airframes", "Add an airframe", without=["A type comes first"])
    kind = AirframeType.objects.get()
    for code, name in (("FUS", "Fuselage"), ("DOOR", "Door")):
        desk.fill("add_position", args=[kind.pk], code=code, name=name)
    # The only type is chosen.
    desk.fill("add_airframe", serial="MG-001", line_number=1)
    desk.shows("airframes", "MG-001", without=["No airframe here"])
    for number, place in (("P-1", "FUS"), ("P-2", "DOOR")):
        words = {"hand": "none", "structural_class": "secondary"}
        desk.fill("add_design", number=number, name=f"{place} part", **words)
        design = PartDesign.objects.get(number=number)
        serial = f"{place}-1"
        said = {"design": design.pk, "serial": serial, "origin": "bought"}
        desk.fill("add_part", **said)
        where = {"position": Position.objects.get(code=place).pk, "part": serial}
        desk.fill("place_part", args=[Airframe.objects.get().pk], **where)


def map_the_joint(desk: Desk) -> None:
    desk.shows("new_check", "Map a joint first")
    said = requirement(
        stations=SQUARE.replace(",flush_max_mm", "").replace(",0.5\n", "\n"),
        position=Position.objects.get(code="DOOR").pk,
        surround=Position.objects.get(code="FUS").pk,
        number="J-1",
        name="Door to frame",
        first_line=1,
        do="save",
    )
    answer = desk.client.post(reverse("new_joint"), said)
    assert answer.status_code == 302, answer.context["form"].errors


def put(desk: Desk, form: str, **said) -> None:
    url = reverse("api_act", args=[uuid.uuid4()])
    body = json.dumps({"form": form, "by": "ada", "said": said})
    answer = desk.client.put(url, body, "application/json")
    assert answer.status_code == 201, answer.content


def measure(desk: Desk, check: Check) -> None:
    of = str(check.entry_id)
    value = {"kind": "gap", "outcome": "value", "value": "2.10", "unit": "mm"}
    for station in check.fit_up.revision.stations.all():
        put(desk, "reading/1", check=of, station=station.label, **value)
    put(desk, "finish/1", check=of)


def test_an_empty_shop_comes_to_its_first_sheet_by_its_pages():
    desk = Desk()
    set_up(desk)
    map_the_joint(desk)
    desk.shows("front", "Log a fit check", without=["Where to begin"])
    lengths = {"unit": "mm", "u_nm": "0.02"}
    desk.fill("new_instrument", code="SG-1", name="Gauge", kind="step gauge", **lengths)
    # One joint, one airframe, one instrument: none of them is asked for.
    page = desk.client.get(reverse("new_check"))
    form = page.context["form"]
    assert form["instrument"].value() == Instrument.objects.get().pk
    said = {
        "airframe": page.context["airframe"].pk,
        "joint": page.context["joint"].pk,
        "part": form["part"].value(),
        "surround_part": form["surround_part"].value(),
        "instrument": form["instrument"].value(),
        "refit": "first",
        "finish": "finished",
    }
    assert Part.objects.get(pk=said["part"]).serial == "DOOR-1"
    answer = desk.client.post(reverse("new_check"), said)
    assert answer.status_code == 302, answer.context["form"].errors
    check = Check.objects.get()
    assert check.fit_up.joint == Joint.objects.get()
    measure(desk, check)
    desk.shows("check", "conforms", args=[check.entry_id])
    sheet = desk.client.get(reverse("check_pdf", args=[check.entry_id]))
    assert (sheet.status_code, sheet["Content-Type"]) == (200, "application/pdf")
    assert b"".join(sheet).startswith(b"%PDF")
