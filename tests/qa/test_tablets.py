"""Enrolled tablets: their token, PINs, claimed readings, photos, revoking, recovery."""

import io
import json
import uuid
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from PIL import Image

from qa.actions import gauges
from qa.actions.instruments import save_instrument
from qa.models import Reading
from shop.actions import tablets
from shop.actions.identity import set_identity
from shop.models import Confirmation, Entry, Photo, PinTry, Tablet
from tests.around import by_hand
from tests.qa.making import make_check, make_instrument

pytestmark = pytest.mark.django_db


@pytest.fixture
def tablet(people):
    """(the tablet, headers of its requests)."""
    tablet, token = tablets.enroll(by=people["lead"], name="Hangar 1")
    return tablet, {"Authorization": f"Bearer {token}"}


@pytest.fixture
def check(people):
    return make_check(people["engineer"])


def set_pin(person, pin="4711"):
    person.set_password("Test-shop-7")
    with by_hand():
        person.save()
    tablets.set_pin(by=person, pin=pin, password="Test-shop-7")


def a_reading(check, by, value="2.20", station="1"):
    said = {
        "check": str(check.entry_id),
        "station": station,
        "kind": "gap",
        "outcome": "value",
        "value": value,
        "unit": "mm",
    }
    return {"form": "reading/1", "by": by, "seq": 1, "said": said}


def put(client, headers, act, body):
    return client.put(
        f"/api/acts/{act}", body, content_type="application/json", headers=headers
    )


def prove(client, headers, username, pin):
    said = {"username": username, "pin": pin}
    return client.post(
        "/api/prove", said, content_type="application/json", headers=headers
    )


def test_a_reading_by_an_unproven_person_is_claimed_and_a_pin_alone_confirms_nothing(
    client, tablet, people, check
):
    _tablet, headers = tablet
    set_pin(people["builder"])
    act = uuid.uuid4()
    assert put(client, headers, act, a_reading(check, "builder")).status_code == 201
    assert Entry.objects.get(act=act).claimed
    assert not Confirmation.objects.exists()
    assert prove(client, headers, "builder", "4711").status_code == 200
    assert not Confirmation.objects.exists()
    later = uuid.uuid4()
    put(client, headers, later, a_reading(check, "builder", station="2"))
    assert not Entry.objects.get(act=later).claimed


def test_a_reading_takes_few_statements_however_long_ago_it_was_made(
    client, tablet, people, check
):
    _tablet, headers = tablet
    put(client, headers, uuid.uuid4(), a_reading(check, "builder"))
    now = timezone.now()
    for station, made, most in (("2", now, 10), ("3", now - timedelta(hours=2), 12)):
        body = a_reading(check, "builder", station=station)
        body["made_at"] = made.isoformat()
        with CaptureQueriesContext(connection) as captured:
            assert put(client, headers, uuid.uuid4(), body).status_code == 201
        # Not counted: what begins and ends it.
        rows = [query["sql"].split()[0] for query in captured]
        rows = [verb for verb in rows if verb in ("SELECT", "INSERT", "UPDATE")]
        assert 7 < len(rows) <= most, rows


def test_guessing_a_pin_is_stopped_and_kept(client, tablet, people):
    _tablet, headers = tablet
    set_pin(people["builder"])
    answers = [prove(client, headers, "builder", f"100{n}") for n in range(6)]
    assert [one.status_code for one in answers] == [403] * 5 + [429]
    assert prove(client, headers, "builder", "4711").status_code == 429
    assert PinTry.objects.filter(right=False).count() == 5


def test_a_revoked_tablet_gets_and_sends_nothing(
    client, client_of, tablet, people, check
):
    row, headers = tablet
    page = f"/tablets/{row.pk}/revoke/"
    assert client_of("builder").post(page, {"reason": "lost"}).status_code == 403
    client_of("lead").post(page, {"reason": "lost"})
    assert Tablet.objects.get().revoked_at
    for answer in (
        put(client, headers, uuid.uuid4(), a_reading(check, "builder")),
        client.get("/api/session", headers=headers),
        client.get("/api/carry", headers=headers),
    ):
        assert answer.status_code == 401
        assert answer.json()["error"]["code"] == "revoked"
    assert not Reading.objects.exists()


def file_of(*acts, sent=(), photos=()):
    said = {
        "format": "fayline-tablet/1",
        "outbox": [
            {"id": str(a), "seq": n, "body": b} for n, (a, b) in enumerate(acts)
        ],
        "sent": list(sent),
        "photos": list(photos),
    }
    return SimpleUploadedFile("tablet.json", json.dumps(said).encode())


def test_a_file_taken_in_twice_counts_once(client_of, check, people):
    acts = [(uuid.uuid4(), a_reading(check, "builder", station=n)) for n in "123"]
    lead = client_of("lead")
    first = lead.post("/tablets/recover/", {"file": file_of(*acts)})
    second = lead.post("/tablets/recover/", {"file": file_of(*acts)})
    assert first.context["receipt"] == {"stored": 3, "known": 0, "refused": []}
    assert second.context["receipt"] == {"stored": 0, "known": 3, "refused": []}
    assert Reading.objects.count() == 3
    assert all(Entry.objects.filter(form="reading/1").values_list("claimed", flat=True))


def test_a_file_also_brings_back_what_a_restored_server_lacks(client_of, check):
    act = uuid.uuid4()
    sent = [
        {"id": str(act), "body": a_reading(check, "builder"), "receipt": {"entry": 1}},
        {"id": str(uuid.uuid4()), "body": {}, "receipt": {"aside": "was wrong"}},
    ]
    lead = client_of("lead")
    answer = lead.post("/tablets/recover/", {"file": file_of(sent=sent)})
    assert answer.context["receipt"]["stored"] == 1
    assert Reading.objects.get().entry_id == act


def test_what_cannot_be_taken_in_is_named_and_the_rest_is(client_of, check):
    bad, good = uuid.uuid4(), uuid.uuid4()
    content = file_of(
        (bad, a_reading(check, "nobody")), (good, a_reading(check, "builder"))
    )
    told = client_of("lead").post("/tablets/recover/", {"file": content})
    told = told.context["receipt"]
    assert told["stored"] == 1
    assert [one["id"] for one in told["refused"]] == [str(bad)]


@pytest.mark.parametrize("content", [b"", b"{}", b"\x00\xff", b'{"format":"x"}'])
def test_another_file_is_refused_in_words(client_of, content):
    file = SimpleUploadedFile("other.json", content)
    answer = client_of("lead").post("/tablets/recover/", {"file": file})
    assert answer.status_code == 200
    assert answer.context["form"].errors["file"]


def jpeg(size=(800, 600), exif=None) -> bytes:
    out = io.BytesIO()
    options = {"exif": exif} if exif else {}
    Image.new("RGB", size, "gray").save(out, "JPEG", **options)
    return out.getvalue()


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Pago_Pago"])
@pytest.mark.parametrize("days", [0, 1])
def test_a_tablet_reckons_days_in_the_zone_of_the_shop(
    client, tablet, people, zone, days
):
    """At any moment one of these two zones has another date than the server."""
    _tablet, headers = tablet
    shop = {"name": "Bench", "units": "mm", "paper": "a4"}
    set_identity(by=people["lead"], time_zone=zone, **shop)
    gauges.set_gauge_rules(by=people["lead"], overdue="refuse")
    gauge = make_instrument(people["engineer"])
    check = make_check(people["engineer"], instrument=gauge)
    due = timezone.now().date() - timedelta(days=days)
    save_instrument(by=people["engineer"], instrument=gauge, due=due)
    overdue = due < timezone.now().astimezone(ZoneInfo(zone)).date()
    answer = put(client, headers, uuid.uuid4(), a_reading(check, "builder"))
    assert answer.status_code == (422 if overdue else 201), answer.content
    assert timezone.get_current_timezone_name() == settings.TIME_ZONE


def put_photo(client, headers, photo, check, content, by="builder"):
    address = f"/api/photos/{photo}?check={check.entry_id}&station=4&kind=gap&by={by}"
    return client.put(address, content, content_type="image/jpeg", headers=headers)


def test_a_photo_sent_again_is_one_photo(client, tablet, check, people):
    _tablet, headers = tablet
    photo = uuid.uuid4()
    answers = [put_photo(client, headers, photo, check, jpeg()) for _ in range(3)]
    assert {one.status_code for one in answers} == {201}
    assert answers[0].json() == answers[2].json()
    kept = Photo.objects.get()
    assert (kept.entry_id, kept.caption) == (photo, "station 4 gap")
    assert kept.pins.get().subject_id == str(check.pk)
    client.force_login(people["inspector"])
    assert kept.sha256 in client.get(f"/fit-checks/{check.entry_id}/").text


def test_a_bad_photo_is_refused_in_words(client, tablet, check, people):
    _tablet, headers = tablet
    for content in (jpeg()[:-900], b"GIF89a", b"%PDF-1.4", b""):
        answer = put_photo(client, headers, uuid.uuid4(), check, content)
        assert answer.status_code == 422
        assert answer.json()["error"]["message"]
    assert not Photo.objects.exists()


def test_setting_a_pin_takes_the_password_and_no_easy_pin(client_of, people):
    builder = people["builder"]
    builder.set_password("Test-shop-7")
    with by_hand():
        builder.save()
    client = client_of("builder")

    def post(pin, password="Test-shop-7", again=None):  # noqa: S107
        said = {"pin": pin, "again": again or pin, "password": password}
        answer = client.post("/pin/", said)
        builder.refresh_from_db()
        return answer.status_code

    # It signs, too (test_signatures): the page does not say otherwise.
    assert "signs in place of your password" in client.get("/pin/").content.decode()
    assert post("4711", password="wrong") == 200
    assert post("1234") == 200
    assert post("4711", again="4712") == 200
    assert not builder.pin
    assert post("471108155093") == 302
    assert builder.pin and "471108155093" not in builder.pin
