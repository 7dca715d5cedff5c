"""The calendar of what is due, read back by a reader of RFC 5545."""

from datetime import date, timedelta

from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from qa.actions.nonconformances import assign
from qa.actions.raising import raise_by_hand
from qa.queries import due as queries
from shop.actions import devices
from shop.models import Opens
from tests.conftest import PASSWORD
from tests.qa.making import make_airframe, make_instrument
from tests.qa.test_scripts_api import with_password
from tests.shop.making_floor import make_lot, make_tool


def made(by, **more):
    said = {"name": "Calendar", "person": with_password(by), "opens": Opens.CALENDAR}
    return devices.make_device(by=by, password=PASSWORD, **{**said, **more})


def events(token) -> dict:
    answer = Client().get(reverse("due_calendar", args=[token]))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "no-store" in answer["Cache-Control"]
    assert all(len(line) <= 75 for line in answer.content.split(b"\r\n"))
    read = Calendar.from_ical(answer.content)
    assert read["VERSION"] == "2.0" and read["PRODID"]
    assert read.subcomponents, "a calendar without any is none (RFC 5545, 3.6)"
    found = {str(one["UID"]): one for one in read.walk("VEVENT")}
    assert len(found) == len(read.walk("VEVENT"))
    return found


def test_what_is_due_stands_on_its_day_for_the_shop_and_for_each_person(people):
    lead, builder = people["lead"], people["builder"]
    instrument = make_instrument(people["engineer"], code="SG-9", due=date(2027, 3, 28))
    airframe = make_airframe(people["engineer"])
    item = raise_by_hand(by=builder, airframe=airframe, title="Ä" * 60 + "; a, b")
    due = date(2026, 12, 24)
    said = {"holder": builder, "severity": "minor", "due": due}
    assign(by=lead, item=item, **said)
    lot = make_lot(lead, expires_on=date(2027, 1, 31))
    _device, token = made(lead, whole_shop=True)
    found = events(token)
    told = {str(one["SUMMARY"]): one["DTSTART"].dt for one in found.values()}
    assert told[f"{airframe.serial} {item.label}: {item.title}"] == due
    assert told[f"Calibration of SG-9, {instrument.name}"] == date(2027, 3, 28)
    assert told[f"{lot} expires"] == date(2027, 1, 31)
    one = next(e for e in found.values() if "SG-9" in e["SUMMARY"])
    assert one["DTEND"].dt - one["DTSTART"].dt == timedelta(days=1)
    assert one["DTSTAMP"].dt.tzinfo is not None
    assert str(one["URL"]).endswith(reverse("instrument", args=[instrument.pk]))
    assert set(events(token)) == set(found), "ids stay"

    _device, own = made(builder)
    mine = events(own)
    assert [str(e["SUMMARY"]) for e in mine.values() if "SG-9" in e["SUMMARY"]] == []
    assert any(item.title in str(e["SUMMARY"]) for e in mine.values())
    assert set(mine) < set(found)
    _device, leads_own = made(lead)
    assert not any(item.title in str(e["SUMMARY"]) for e in events(leads_own).values())


def test_what_has_no_room_in_it_is_counted_today_with_its_kind_and_its_list(
    people, monkeypatch
):
    monkeypatch.setattr(queries, "ITEMS_MOST", 2)
    lead, day = people["lead"], date(2027, 1, 31)
    _device, token = made(lead, whole_shop=True)

    def left_out() -> dict:
        return {
            str(event["SUMMARY"]): (event["DTSTART"].dt, str(event["URL"]))
            for event in events(token).values()
            if "not in this calendar" in event["SUMMARY"]
        }

    for number in range(2):
        make_lot(lead, number=f"L-{number}", expires_on=day)
        make_instrument(people["engineer"], code=f"SG-{number}", due=day)
    assert left_out() == {}
    for number in range(2, 5):
        make_lot(lead, number=f"L-{number}", expires_on=day)
        owned = {"owner": "another shop", "due_back": day}
        make_tool(lead, code=f"T-{number}", **owned)
    make_instrument(people["engineer"], code="SG-2", due=day)
    rest = ": {} more due, not in this calendar. All of them are under {}."
    today = timezone.localdate()
    root = "http://testserver"
    assert left_out() == {
        "Lots that expire" + rest.format(3, "Lots"): (today, root + reverse("lots")),
        "Tools to give back" + rest.format(1, "Tooling"): (
            today,
            root + reverse("tooling"),
        ),
        "Calibrations of instruments" + rest.format(1, "Instruments"): (
            today,
            root + reverse("instruments"),
        ),
    }


def test_a_calendar_ends_when_it_is_withdrawn_and_opens_nothing_else(people, client_of):
    builder = with_password(people["builder"])
    client = client_of("builder")
    said = {"name": "Mine", "password": PASSWORD}
    page = client.post(reverse("new_calendar"), said)
    assert page.status_code == 200 and page["Cache-Control"] == "private, no-store"
    address = page.context["address"]
    token = page.context["token"]
    assert token in address and address.encode() in page.content
    assert events(token) == {}
    api = Client(headers={"Authorization": f"Bearer {token}"})
    assert api.get("/api/1/parts").status_code == 401
    device = builder.devices.get()
    assert device.name.encode() in client.get(reverse("devices")).content
    assert token.encode() not in client.get(reverse("devices")).content
    client.post(reverse("withdraw_device", args=[device.pk]))
    gone = Client().get(reverse("due_calendar", args=[token]))
    assert gone.status_code == 404
    wrong = client.post(reverse("new_calendar"), {**said, "password": "Not-it-1"})
    assert b"That is not the password" in wrong.content
