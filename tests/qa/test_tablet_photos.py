"""What a tablet's photo shows: checked, pinned, shown on its page; and each once."""

import io
import json
import uuid
import zipfile
from base64 import b64encode

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from qa.actions import checks, holes, raising
from qa.actions.holes import HoleDraft, PatternHead
from qa.models import Check, Reading
from qa.queries.checks.photos import photos_of_item
from qa.queries.tablet.carried_checks import check_for_tablet
from qa.queries.tablet.offline_copy import carry
from qa.views.api import RELATED
from shop.actions import routes, tablets
from shop.identifiers import KINDS
from shop.models import Photo, PhotoPin, StepDone
from tests.qa.making import fresh, make_check, make_fit_up, make_joint, mm, read
from tests.shop.making_floor import make_tool

pytestmark = pytest.mark.django_db


def test_a_photo_of_a_station_marks_it_and_shows_on_what_was_raised_there(
    send, check, people, client_of
):
    for label in ("1", "2", "3", "4", "5", "6", "7", "8"):
        read(check, label, "gap", "9.00" if label == "3" else "2.00")
        read(check, label, "flush", "0.00")
    for station in ("3", "5"):
        assert send(check=check, station=station, kind="gap").status_code == 201
    assert check_for_tablet(check)["photos"] == ["3", "5"]
    checks.finish_check(by=people["engineer"], check=check)
    (item,) = raising.raise_findings(by=people["engineer"], check=check)
    notes = [pin.note for pin in photos_of_item(item)]
    assert notes == ["station 3 gap"]
    page = client_of("builder").get(f"/nonconformances/{item.pk}/")
    photo = PhotoPin.objects.get(note="station 3 gap").photo
    assert reverse("photo", args=[photo.sha256]) in page.content.decode()
    other = make_check(people["engineer"])
    assert check_for_tablet(other)["photos"] == []


@pytest.fixture(autouse=True)
def photos_of_this_test(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def check(people):
    return make_check(people["engineer"])


@pytest.fixture
def send(client, people):
    """Send a photo as an enrolled tablet does: send(check=..., station=...)."""
    _tablet, token = tablets.enroll(by=people["lead"], name="Hangar 1")

    def sent(content=None, photo=None, by="builder", **about):
        if isinstance(about.get("check"), Check):
            about["check"] = str(about["check"].entry_id)
        asked = "&".join(f"{name}={value}" for name, value in about.items())
        return client.put(
            f"/api/photos/{photo or uuid.uuid4()}?by={by}&{asked}",
            picture() if content is None else content,
            content_type="image/jpeg",
            headers={"Authorization": f"Bearer {token}"},
        )

    return sent


def picture(color="gray", form="JPEG", size=(640, 480)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, color).save(out, form)
    return out.getvalue()


def a_pattern(by, joint, count=3):
    drafts = [
        HoleDraft(str(n + 1), mm(20 * n), 0, mm(0.3), mm(4.1), mm(4.2), mm(4), mm(12))
        for n in range(count)
    ]
    return holes.define_pattern(
        by=by,
        number=fresh("HP"),
        name="Hinge to frame",
        joint=joint,
        holes=drafts,
        says=PatternHead(spacing_rule="composite_advisory"),
    )


def a_defect(by, check, title="scratch in the flange"):
    fit_up = check.fit_up
    return raising.raise_by_hand(
        by=by, airframe=fit_up.airframe, joint=fit_up.joint, title=title
    )


def refused(answer, field) -> None:
    assert answer.status_code == 422, answer.content
    said = answer.json()["error"]
    assert said["field"] == field
    assert said["message"]
    assert not Photo.objects.exists()


def test_a_photo_of_a_hole_is_shown_at_the_pattern(send, check, people, client_of):
    pattern = a_pattern(people["engineer"], check.fit_up.joint)
    answer = send(check=check, pattern=pattern.pk, hole="2")
    assert answer.status_code == 201
    pin = PhotoPin.objects.get()
    assert (pin.subject_kind, pin.subject_id) == ("hole_pattern", str(pattern.pk))
    page = client_of("inspector").get(reverse("hole_pattern", args=[pattern.pk]))
    assert pin.photo.sha256 in page.text
    assert f"hole 2, {check.label}" in page.text


def test_a_photo_of_a_defect_is_shown_at_the_nonconformance(
    send, check, people, client_of
):
    item = a_defect(people["engineer"], check)
    about = {"check": check, "nonconformance": item.pk, "station": "3", "kind": "gap"}
    assert send(**about).status_code == 201
    pin = PhotoPin.objects.get()
    assert (pin.subject_kind, pin.subject_id) == ("nonconformance", str(item.pk))
    page = client_of("inspector").get(reverse("nonconformance", args=[item.pk]))
    assert pin.photo.sha256 in page.text
    assert f"station 3 gap, {check.label}" in page.text


def test_a_photo_of_a_step_is_shown_at_the_step(send, people, client_of):
    routes.set_route(by=people["lead"], kind="plug", steps=[("fill", "")])
    step = make_tool(people["lead"], kind="plug").steps.get()
    client_of("builder").post(reverse("do_step", args=[step.pk]), {})
    done = StepDone.objects.get()
    assert send(thing=KINDS["step"].code(done.pk)).status_code == 201
    page = client_of("inspector").get(reverse("step_done", args=[done.pk]))
    assert Photo.objects.get().sha256 in page.text


def test_a_photo_of_what_is_not_there_or_of_another_joint_is_refused(
    send, check, people
):
    other = make_check(people["engineer"])
    theirs = a_pattern(people["engineer"], other.fit_up.joint)
    ours = a_pattern(people["engineer"], check.fit_up.joint)
    item = a_defect(people["engineer"], other)
    refused(send(check=uuid.uuid4()), "check")
    refused(send(check="x"), "check")
    refused(send(check=check, station="99", kind="gap"), "station")
    refused(send(check=check, station="1", kind="depth"), "station")
    refused(send(check=check, pattern=theirs.pk, hole="1"), "hole_pattern")
    refused(send(check=check, pattern="x", hole="1"), "hole_pattern")
    refused(send(check=check, pattern=ours.pk, hole="9"), "hole")
    refused(send(check=check, nonconformance=item.pk), "nonconformance")
    refused(send(check=check, nonconformance="9" * 30), "nonconformance")
    refused(send(thing="S1A"), "thing")
    refused(send(thing=KINDS["joint"].code(check.fit_up.joint_id)), "thing")


def test_the_same_joint_on_another_airframe_has_defects_of_its_own(send, people):
    joint = make_joint(people["engineer"])
    here, there = (
        make_check(people["engineer"], make_fit_up(people["engineer"], joint))
        for _ in range(2)
    )
    item = a_defect(people["engineer"], there)
    refused(send(check=here, nonconformance=item.pk), "nonconformance")


def test_the_same_again_is_the_same_photo_and_another_under_its_id_is_refused(
    send, check
):
    photo = uuid.uuid4()
    said = {"photo": photo, "check": check, "station": "4", "kind": "gap"}
    first, again = send(**said), send(**said)
    assert first.status_code == again.status_code == 201
    assert first.json() == again.json()
    for changed in (
        {"content": picture("red")},
        {"station": "5"},
        {"kind": "flush"},
        {"by": "inspector"},
    ):
        answer = send(**{**said, **changed})
        assert answer.status_code == 422
        assert answer.json()["error"]["code"] == "reused"
    assert Photo.objects.count() == PhotoPin.objects.count() == 1


def test_an_id_that_an_act_has_is_refused_for_a_photo(send, check):
    read(check, "1", "gap", "2.20")
    act = Reading.objects.get().entry_id
    answer = send(photo=act, check=check)
    assert answer.json()["error"]["code"] == "reused"


def hostile() -> dict:
    def claims(side):
        png = bytearray(picture(form="PNG", size=(8, 8)))
        png[16:24] = side.to_bytes(4, "big") * 2
        return bytes(png)

    return {
        "bomb": claims(30_000),
        "100 MP": claims(10_000),
        "truncated": picture(size=(3000, 2000))[:-2000],
        "polyglot": b"%PDF-1.7\n" + picture(),
        "page": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        "empty": b"",
    }


@pytest.mark.parametrize("name", sorted(hostile()))
def test_a_hostile_file_is_refused_in_words_and_the_readings_are_unharmed(
    send, check, name
):
    read(check, "1", "gap", "2.20")
    refused(send(hostile()[name], check=check, station="1", kind="gap"), "file")
    assert Reading.objects.get().value == "2.20"


def test_a_file_too_large_is_refused_before_it_is_opened(send, check, settings):
    settings.PHOTO_LIMIT_BYTES = 1000
    refused(send(picture(), check=check), "file")


def test_what_hangs_behind_a_picture_is_not_kept(send, check, settings):
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as archive:
        archive.writestr("evil.html", "<script>")
    assert send(picture() + zipped.getvalue(), check=check).status_code == 201
    (kept,) = settings.MEDIA_ROOT.rglob("*.jpg")
    assert b"evil.html" not in kept.read_bytes()


def test_a_recovered_photo_sent_again_by_its_tablet_is_one_photo(
    send, check, people, client_of
):
    item = a_defect(people["engineer"], check)
    photo, content = str(uuid.uuid4()), picture()
    about = {"check": str(check.entry_id), "nonconformance": item.pk}
    row = {"id": photo, "about": about, "by": "builder", "made_at": ""}
    row |= {"type": "image/jpeg", "data": b64encode(content).decode()}
    saved = {"format": "fayline-tablet/1", "outbox": [], "sent": [], "photos": [row]}
    file = SimpleUploadedFile("tablet.json", json.dumps(saved).encode())
    answer = client_of("lead").post("/tablets/recover/", {"file": file})
    assert Photo.objects.count() == 1, answer.content
    assert PhotoPin.objects.get().subject_id == str(item.pk)
    assert send(content, photo=photo, **about).status_code == 201
    assert Photo.objects.count() == 1


def test_a_tablet_carries_what_photos_can_show(check, people):
    joint = check.fit_up.joint
    pattern = a_pattern(people["engineer"], joint)
    item = a_defect(people["engineer"], check)
    told = check_for_tablet(check)
    label = f"{pattern.number} Hinge to frame"
    assert told["holes"] == [
        {"id": pattern.pk, "label": label, "holes": ["1", "2", "3"]}
    ]
    assert told["defects"] == [
        {"id": item.pk, "label": item.label, "title": "scratch in the flange"}
    ]
    carried = next(one for one in carry()["joints"] if one["id"] == joint.pk)
    assert carried["holes"] == told["holes"]
    assert carried["defects"] == {str(item.airframe_id): told["defects"]}


def test_a_revised_pattern_is_carried_as_it_is_now(check, people, send):
    by, joint = people["engineer"], check.fit_up.joint
    pattern = a_pattern(by, joint)
    holes.revise_pattern(
        by=by,
        pattern=pattern,
        based_on=1,
        holes=[HoleDraft("9", 0, 0, mm(0.3), mm(4.1), mm(4.2), mm(4), mm(12))],
        says=PatternHead(spacing_rule="composite_advisory"),
    )
    (told,) = check_for_tablet(check)["holes"]
    assert told["holes"] == ["9"]
    # A tablet that was away still knows the holes of before.
    assert send(check=check, pattern=pattern.pk, hole="2").status_code == 201


def test_carrying_takes_the_same_number_of_statements_however_much_there_is(people):
    by = people["engineer"]

    def statements(work):
        with CaptureQueriesContext(connection) as seen:
            work()
        return len(seen)

    def fetched(check):
        return check_for_tablet(Check.objects.select_related(*RELATED).get(pk=check.pk))

    check = make_check(by)
    first = [statements(carry), statements(lambda: fetched(check))]
    for _ in range(3):
        one = make_check(by)
        for here in (one, check):
            a_pattern(by, here.fit_up.joint)
            a_defect(by, here)
    assert [statements(carry), statements(lambda: fetched(check))] == first
