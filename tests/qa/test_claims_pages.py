"""Claimed and late, wherever the author shows; answered row by row at the desk."""

import csv
import io
import json
import uuid

import pypdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from qa.actions import checks, trimming
from qa.models import CutRelease, LateDecision
from qa.queries.checks.check_pages import RELATED, check_view
from shop.ledger import Refused
from shop.models import Confirmation
from tests.qa.making import make_check, read
from tests.qa.planned import a_check, even, read_at, take
from tests.qa.test_claims import Sender, confirm, disown
from tests.qa.test_tablet_photos import picture
from tests.qa.test_tablets import set_pin

pytestmark = [pytest.mark.django_db, pytest.mark.either_database]


@pytest.fixture(autouse=True)
def photos_of_this_test(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def tablet(people):
    return Sender(people)


@pytest.fixture
def check(people):
    return make_check(people["engineer"])


def text_of(data: bytes) -> str:
    return "\n".join(
        page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages
    )


def page_of(client, check) -> str:
    return client.get(reverse("check", args=[check.entry_id])).text


def test_claimed_shows_wherever_the_author_shows(people, tablet, check, client_of):
    name = people["builder"].name
    for n in range(1, 9):
        tablet.reading(check, str(n), value="1.00")
    said = {"check": str(check.entry_id)}
    assert tablet.put("finish/1", "builder", said).status_code == 201
    raised = tablet.put("raise/1", "builder", {**said, "findings": [0]})
    (item,) = raised.json()["result"]["nonconformances"]
    photo = f"/api/photos/{uuid.uuid4()}?check={check.entry_id}&by=builder"
    sent = tablet.client.put(
        photo, picture(), content_type="image/jpeg", headers=tablet.headers
    )
    assert sent.status_code == 201, sent.content
    lead = client_of("lead")
    marked = f"{name} (claimed)"
    page = page_of(lead, check)
    # Each reading, the photo, and above all the count of what is in doubt.
    assert page.count(marked) == 10
    assert f"9 acts by {marked}" in page
    sheet = lead.get(reverse("check_pdf", args=[check.entry_id])).content
    paper = text_of(sheet)
    assert "Not all by proven authors" in paper
    assert f"9 acts by {marked}" in " ".join(paper.split())
    data = json.loads(pypdf.PdfReader(io.BytesIO(sheet)).attachments["check.json"][0])
    assert data["lines"][0]["by"] == marked
    assert marked in lead.get(reverse("nonconformance", args=[item["id"]])).text
    rows = list(
        csv.reader(
            lead.get(reverse("nonconformances"), {"as": "csv"}).text.splitlines()
        )
    )
    assert marked in rows[1]
    assert marked in lead.get("/").text
    told = tablet.client.get(
        f"/api/checks/{check.entry_id}", headers=tablet.headers
    ).json()
    assert {one["authorship"] for one in told["readings"]} == {"claimed"}
    chain = lead.get(reverse("chain", args=["part", check.fit_up.part_id]))
    assert chain.status_code == 200


def test_no_cut_is_released_by_readings_that_nobody_stands_up_for(people, tablet):
    engineer = people["engineer"]
    check = a_check(engineer)
    values = even(s3="0.40", s4="0.40")
    mine = tablet.reading(check, "3", value=values.pop("3"))
    read_at(check, values)
    plan = take(engineer, check)
    part = check.fit_up.part
    with pytest.raises(Refused, match=r"1 acts .*\(claimed\)"):
        trimming.release_cut(by=engineer, plan=plan, part=part)
    assert not CutRelease.objects.exists()
    confirm(mine)
    trimming.release_cut(by=engineer, plan=take(engineer, check), part=part)
    assert CutRelease.objects.count() == 1


def test_signing_in_first_lists_what_was_claimed_and_each_is_answered(
    people, tablet, check, client
):
    builder = people["builder"]
    set_pin(builder)
    mine, other, third = (tablet.reading(check, n) for n in "123")
    said = {"username": "builder", "password": "Test-shop-7", "next": "/joints/"}
    answer = client.post("/sign-in/", said)
    assert answer.url == "/claims/?next=%2Fjoints%2F"
    assert "station 1 gap: 2.00 mm" in client.get(answer.url).text
    said = {
        f"answer-{mine.act}": "confirmed",
        f"answer-{other.act}": "disowned",
    }
    bare = client.post(answer.url, said)
    assert bare.status_code == 200
    assert "Say why." in bare.text
    assert not Confirmation.objects.exists()
    more = client.post(answer.url, {**said, f"why-{other.act}": "I was at home"})
    assert (more.status_code, more.url) == (302, answer.url)
    assert dict(Confirmation.objects.values_list("of", "verdict")) == {
        mine.act: "confirmed",
        other.act: "disowned",
    }
    last = client.post(answer.url, {f"answer-{third.act}": "confirmed"})
    assert last.url == "/joints/"
    assert client.get("/claims/").text.count("Nothing waits for you") == 1
    page = page_of(client, check)
    assert "disowned: I was at home" in page
    assert f"{builder.name} (disowned)" in page
    assert "(claimed)" not in page


def test_an_act_of_somebody_else_is_not_answered_through_the_form(
    people, tablet, check, client_of
):
    entry = tablet.reading(check, "1")
    lead = client_of("lead")
    lead.post("/claims/", {f"answer-{entry.act}": "confirmed"})
    assert not Confirmation.objects.exists()


def test_today_tells_a_person_and_the_lead_how_many_wait(
    people, tablet, check, client_of
):
    for n in "123":
        tablet.reading(check, n)
    title = "Claimed in your name: confirm or disown"
    assert title in client_of("builder").get("/").text
    others = client_of("lead").get("/").text
    assert title not in others
    assert "Claimed, waiting for the person" in others
    assert "3 acts" in others
    assert "Claimed" not in client_of("inspector").get("/").text.split("What others")[0]


def test_late_readings_are_decided_on_a_page_and_the_counts_of_both_times_shown(
    people, check, client_of
):
    read(check, "1", "gap", "2.00")
    checks.finish_check(by=people["engineer"], check=check)
    tablet = Sender(people)
    first, second = (tablet.reading(check, n, value="1.00") for n in "12")
    lead = client_of("lead")
    page = page_of(lead, check)
    assert "2 readings came in after the finish and wait for a decision." in page
    address = reverse("late_readings", args=[check.entry_id])
    assert address in page
    assert address in lead.get("/").text
    assert check_view(
        type(check).objects.select_related(*RELATED).get(pk=check.pk)
    ).row.verdict in (None, "does_not_conform")
    said = {f"answer-{first.act}": "out", f"answer-{second.act}": "in"}
    assert "Say why." in lead.post(address, said).text
    assert not LateDecision.objects.exists()
    done = lead.post(address, {**said, "reason": "the other tablet was first"})
    assert done.status_code == 302
    assert dict(
        LateDecision.objects.values_list("reading__station__label", "counted")
    ) == {
        "1": False,
        "2": True,
    }
    page = page_of(lead, check)
    assert "Counted at the finish: conforms 1" in page
    assert "does not conform 1" in page
    assert "left out: the other tablet was first" in page


def test_no_check_conforms_while_a_late_reading_waits(people, client_of):
    check = make_check(people["engineer"])
    for n in range(1, 9):
        read(check, str(n), "gap", "2.00")
        read(check, str(n), "flush", "0.00")
    checks.finish_check(by=people["engineer"], check=check)

    def verdict():
        return check_view(
            type(check).objects.select_related(*RELATED).get(pk=check.pk)
        ).row.verdict

    assert verdict() == "conforms"
    Sender(people).reading(check, "1", value="1.00")
    assert verdict() is None
    paper = client_of("lead").get(reverse("check_pdf", args=[check.entry_id])).content
    assert "Late readings wait for a decision" in text_of(paper)


def test_the_pages_take_as_many_statements_for_one_row_as_for_thirty(
    people, tablet, check, client_of
):
    builder = client_of("builder")
    addresses = ["/claims/", reverse("check", args=[check.entry_id])]

    def cost():
        counts = []
        for address in addresses:
            with CaptureQueriesContext(connection) as captured:
                assert builder.get(address).status_code == 200
            counts.append(len(captured))
        return counts

    tablet.reading(check, "1")
    disown(tablet.reading(check, "2"))
    few = cost()
    for n in range(3, 9):
        tablet.reading(check, str(n))
        tablet.reading(check, str(n), kind="flush", value="0.1")
        disown(tablet.reading(check, str(n), kind="flush", value="0.2"))
    assert cost() == few
