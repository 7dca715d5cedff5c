"""The page of devices and calendars, with one and with many."""

import csv
import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shop.models import Device, Opens, Person
from tests.around import by_hand


def devices(people, count, start=0):
    kinds = list(Opens.values)
    with by_hand():
        Device.objects.bulk_create(
            Device(
                name=f"Gauge {n}",
                opens=kinds[n % len(kinds)],
                token_sha256=f"{n:064}",
                person=list(people.values())[n % len(people)],
                made_by=people["lead"],
                made_at=timezone.now(),
            )
            for n in range(start, start + count)
        )


@pytest.mark.either_database
def test_it_takes_as_many_statements_for_30_devices_as_for_1(people, client_of):
    lead, counted = client_of("lead"), []
    lead.get(reverse("devices"))
    for start, count in ((0, 1), (1, 29)):
        devices(people, count, start)
        with CaptureQueriesContext(connection) as seen:
            page = lead.get(reverse("devices"))
        assert page.content.decode().count("Gauge ") >= start + count
        counted.append(len(seen))
    assert counted[0] == counted[1]
    # All of them as a file, to the lead; to others only their own.
    assert {row["Name"] for row in in_csv(lead)} == {f"Gauge {n}" for n in range(30)}
    own = in_csv(client_of("builder"))
    assert own and {row["Acts for"] for row in own} == {people["builder"].name}


def test_it_says_whose_person_keeps_a_token_out(people, client_of):
    devices(people, len(people))
    left, new, gone = people["builder"], people["inspector"], people["visitor"]
    with by_hand():
        Person.objects.filter(pk__in=(left.pk, gone.pk)).update(is_active=False)
        Person.objects.filter(pk=new.pk).update(must_change_password=True)
        Device.objects.filter(person=gone).update(withdrawn_at=timezone.now())
    lead, column = client_of("lead"), "Refused now, as its person"
    refused = {row["Acts for"]: row[column] for row in in_csv(lead) if row[column]}
    assert refused == {
        left.name: "may not sign in any more: its token is refused",
        new.name: "has to choose a password: until then its token is refused",
    }
    page = lead.get(reverse("devices")).content.decode()
    for words in refused.values():
        assert page.count(words) == 1


def in_csv(client) -> list[dict]:
    text = client.get(reverse("devices"), {"as": "csv"}).content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))
