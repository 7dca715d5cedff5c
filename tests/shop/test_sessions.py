"""Where somebody is signed in: told without what would open the door, and ended."""

from datetime import timedelta

import pytest
from django.contrib.auth import BACKEND_SESSION_KEY
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shop.ledger.verify import verify
from shop.models import Entry, Proof, Session, Tablet
from shop.queries.sessions import handle_of
from shop.wording.browsers import words_of
from tests.around import by_hand

from .test_signing_in import PASSWORD, people  # noqa: F401 -- with quick hashes

TABLET = (
    "Mozilla/5.0 (Linux; Android 14; X1) AppleWebKit/537.36 (KHTML, like Gecko) "
    "Chrome/126.0.0.0 Safari/537.36"
)
DESK = (
    "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:127.0) Gecko/20100101 Firefox/127.0"
)
IPAD = (
    "Mozilla/5.0 (iPad; CPU OS 17_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like "
    "Gecko) Version/17.5 Mobile/15E148 Safari/604.1"
)


def test_a_browser_is_told_in_words_its_owner_knows():
    told = [words_of(agent) for agent in (TABLET, DESK, IPAD, "", "x" * 5000)]
    assert told == [
        "Chrome on Android",
        "Firefox on Windows",
        "Safari on iPad",
        "an unknown browser",
        "an unknown browser",
    ]


def come_in(name, agent=DESK, address="198.51.100.7") -> Client:
    client = Client(HTTP_USER_AGENT=agent, REMOTE_ADDR=address)
    said = {"username": name, "password": PASSWORD}
    assert client.post("/sign-in/", said).status_code == 302
    return client


def test_nobody_is_signed_out_by_an_update(people):  # noqa: F811
    """The release before named who lets people in otherwise."""
    desk = come_in("builder")
    kept = desk.session
    kept[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    kept.save()
    assert is_in(desk)
    kept[BACKEND_SESSION_KEY] = "another.Backend"
    kept.save()
    assert not is_in(desk)


def is_in(client) -> bool:
    return client.get(reverse("sessions")).status_code == 200


def test_a_person_sees_where_they_are_signed_in_and_ends_one_or_all_others(people):  # noqa: F811
    desk = come_in("builder")
    tablet = come_in("builder", TABLET, "198.51.100.8")
    third = come_in("builder", IPAD, "198.51.100.9")
    other = come_in("lead")
    page = desk.get(reverse("sessions")).content.decode()
    for words in ("Firefox on Windows", "Chrome on Android", "198.51.100.8"):
        assert words in page
    assert page.count("here</span>") == 1
    for session in Session.objects.all():
        assert session.session_key not in page
    handle = handle_of(Session.objects.get(browser="Chrome on Android"))
    # What is another's is not found, and cannot be ended.
    assert other.post(reverse("end_session", args=[handle])).status_code == 404
    assert is_in(tablet)
    assert desk.post(reverse("end_session", args=[handle])).status_code == 302
    assert [is_in(one) for one in (desk, tablet, third, other)] == [1, 0, 1, 1]
    again = come_in("builder", TABLET)
    desk.post(reverse("end_sessions"))
    assert [is_in(one) for one in (desk, again, third, other)] == [1, 0, 0, 1]
    said = Entry.objects.filter(form="session_ended/1").get().body
    assert "Chrome on Android" in said and "198.51.100.8" in said
    assert Entry.objects.get(form="sessions_ended/1").by == people["builder"]
    for entry in Entry.objects.filter(form__startswith="session"):
        assert handle not in entry.body
    assert verify().fault == ""


def test_the_lead_ends_those_of_anyone_with_what_a_pin_proved(people):  # noqa: F811
    lead, builder = come_in("lead"), come_in("builder", TABLET)
    with by_hand():
        tablet = Tablet.objects.create(
            name="hall",
            token_sha256="0" * 64,
            enrolled_by=people["lead"],
            enrolled_at=timezone.now(),
        )
    until = timezone.now() + timedelta(hours=2)
    Proof.objects.create(tablet=tablet, person=people["builder"], until=until)
    pk = people["builder"].pk
    page = lead.get(reverse("person_sessions", args=[pk])).content.decode()
    assert "Chrome on Android" in page and "hall" in page
    assert builder.get(reverse("person_sessions", args=[pk])).status_code == 403
    assert builder.post(reverse("end_person_sessions", args=[pk])).status_code == 403
    lead.post(reverse("end_person_sessions", args=[pk]))
    assert (is_in(builder), is_in(lead)) == (False, True)
    assert not Proof.objects.exists()
    assert Entry.objects.get(form="sessions_ended/1").by == people["lead"]


def test_a_session_says_when_it_was_used_last_and_goes_when_it_has_run_out(people):  # noqa: F811
    client = come_in("builder")
    long_ago = timezone.now() - timedelta(hours=3)
    Session.objects.update(used_at=long_ago)
    assert is_in(client)
    assert timezone.now() - Session.objects.get().used_at < timedelta(minutes=1)
    Session.objects.update(expire_date=long_ago)
    assert not is_in(client)
    come_in("lead")
    assert [one.person for one in Session.objects.all()] == [people["lead"]]


@pytest.mark.either_database
@pytest.mark.parametrize("address", ["sessions", "people"])
def test_lists_of_sessions_and_people_take_as_many_statements_for_many(people, address):  # noqa: F811
    counts = []
    for many in (1, 30):
        for number in range(many):
            come_in("lead", DESK, f"198.51.100.{number}")
        client = come_in("lead")
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert client.get(reverse(address)).status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]
