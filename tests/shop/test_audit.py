"""At the door: the lead sees who came in, who did not, and what people may do since."""

import re
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.actions import people as crew
from shop.actions import signing_in, tablets
from shop.actions.sessions import end_sessions
from shop.queries.audit import audit
from shop.wording.audit import FORMS, KINDS

from .test_signing_in import HERE, PASSWORD, guess, people  # noqa: F401 -- quick hashes

ACTIONS = Path(signing_in.__file__).parent
# Nothing that anybody may or may not do.
BESIDE = {"person_units/1", "password_hash/1"}


def test_every_act_on_people_tablets_and_secrets_has_its_words():
    names = ("people", "signing_in", "tablets", "sessions", "second_factor", "devices")
    paths = [ACTIONS / f"{name}.py" for name in names]
    sources = [path.read_text() for path in paths if path.exists()]
    acts = {
        form
        for source in sources
        for form in re.findall(r'perform\(\s*"(\w+/\d+)"', source)
    }
    assert len(acts) > 15
    assert acts - BESIDE <= {form for words in FORMS.values() for form in words}


def sign_in(name, address=HERE):
    client = Client(REMOTE_ADDR=address, HTTP_USER_AGENT="Firefox/1 (Windows NT)")
    client.post("/sign-in/", {"username": name, "password": PASSWORD})
    return client


def told(**asked) -> list[tuple]:
    return [(row.what, row.by, row.about) for row in audit(**asked)]


def test_what_happened_is_told_by_kind_by_person_and_newest_first(people):  # noqa: F811
    lead, builder = people["lead"], people["builder"]
    sign_in("builder")
    for _ in range(5):
        guess()
    with pytest.raises(signing_in.TooManyTries):
        guess()
    guess("nobody at all")
    tablets.set_pin(by=builder, pin="4711", password=PASSWORD, address="192.0.2.1")
    with pytest.raises(tablets.WrongPin):
        tablets.prove_pin(person=builder, pin="4712")
    crew.change_role(by=lead, person=builder, role="inspector")
    signing_in.let_try_again(by=lead, person=builder)
    end_sessions(by=lead, person=builder)
    who, boss = builder.name, lead.name
    assert told(kind="door") == [("signed in", who, "")]
    assert told(kind="people")[0] == ("role changed", boss, who)
    assert told(kind="sessions") == [("sessions ended", boss, who)]
    refused = told(kind="refused")
    assert refused[:2] == [
        ("wrong PIN", who, ""),
        ("wrong password", "a name that nobody has", ""),
    ]
    assert refused[2] == ("refused: too many wrong ones", who, "")
    assert refused[3:] == [("wrong password", who, "")] * 5
    assert told()[:3] == [
        ("sessions ended", boss, who),
        ("lock-out lifted", boss, who),
        ("role changed", boss, who),
    ]
    by_name = told(q="builder")
    assert len(by_name) == len(told()) - 1  # but for the name that nobody has
    page = sign_in("lead", "192.0.2.9").get(reverse("audit"), {"kind": "refused"})
    shown = page.content.decode()
    assert HERE in shown and "builder → inspector" not in shown
    (row,) = audit(kind="people", q=who)
    assert row.details == "builder → inspector"
    assert sign_in("engineer").get(reverse("audit")).status_code == 403
    assert set(KINDS) - {"door", "refused"} == set(FORMS)


@pytest.mark.either_database
def test_the_list_takes_as_many_statements_for_many(people, client_of):  # noqa: F811
    lead, builder = people["lead"], people["builder"]
    client, counts = client_of("lead"), []
    for many in (1, 30):
        for number in range(many):
            sign_in("builder", f"198.51.100.{number}")
            guess("visitor", f"198.51.100.{number}")
            role = ("visitor", "builder")[number % 2]
            crew.change_role(by=lead, person=builder, role=role)
        with CaptureQueriesContext(connection) as asked:
            page = client.get(reverse("audit"))
        assert page.status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]
    assert page.context["page"].paginator.num_pages == 4
    last = client.get(reverse("audit"), {"page": 4})
    assert 0 < len(last.context["page"].object_list) < 30
