"""Photos on the tablet: what they show, and those that the server refuses."""

import io
import json
import re

import pytest
from PIL import Image
from playwright.sync_api import expect

from qa.models import Check, Nonconformance
from qa.recovery import LARGEST
from shop.models import Person, Photo, PhotoPin
from tests.browser.at_the_tablet import (
    LEARNED,
    OPEN,
    all_sent,
    at,
    begin_a_new_check,
    open_check,
    readings,
    tap,
)
from tests.browser.conftest import bring_a_session, hold, one_page, one_site
from tests.qa.test_tablet_photos import a_defect, a_pattern

live_site, page = one_site, one_page
FIRST = {}


def picture(color="teal", size=(900, 600)) -> dict:
    out = io.BytesIO()
    Image.new("RGB", size, color).save(out, "JPEG")
    return {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def a_bomb() -> dict:
    """A small file that claims 900 million pixels: no browser opens it, and the
    server does not."""
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "PNG")
    content = bytearray(out.getvalue())
    content[16:24] = (30_000).to_bytes(4, "big") * 2
    return {"name": "bomb.png", "mimeType": "image/png", "buffer": bytes(content)}


# What an earlier photo was told by is no word of the next one.
SILENT = """() => {
  for (const region of document.querySelectorAll(".spoken")) region.textContent = "";
}"""


def take(page, *files, key="Photo"):
    page.evaluate(SILENT)
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name=key, exact=True).click()
    chooser.value.set_files(list(files))
    said = page.locator(".spoken", has_text=re.compile("on this tablet|was refused"))
    expect(said.first).to_be_attached()


def ask(page):
    page.get_by_role("button", name="Photo of…").click()
    return page.get_by_role("dialog")


@pytest.fixture(autouse=True)
def since(live_site):
    """Photos and pins of earlier tests are not counted."""
    FIRST.update({model: model.objects.count() for model in (Photo, PhotoPin)})


def photos() -> int:
    return Photo.objects.count() - FIRST[Photo]


def pins():
    rows = PhotoPin.objects.order_by("pk")[FIRST[PhotoPin] :]
    return [(one.subject_kind, one.subject_id, one.note) for one in rows]


def in_store(page, photos):
    page.locator("#unsent").click()
    expect(page.locator(".photo")).to_have_count(photos)
    return page.locator(".photo")


def test_the_usual_photo_shows_the_station_in_hand_and_is_counted(desk, check):
    desk.context.set_offline(True)
    take(desk, picture(), picture("red"))
    status = desk.get_by_role("status")
    expect(status).to_have_text("The photo of station 1 gap is on this tablet.")
    expect(desk.locator("#unsent")).to_contain_text("2 photos not sent, just now")
    in_store(desk, 2)
    expect(desk.locator(".photo").first).to_contain_text("waits for the server")
    desk.context.set_offline(False)
    expect(desk.locator(".photo")).to_have_count(0)
    all_sent(desk)
    assert pins() == [("check", str(check.pk), "station 1 gap")] * 2


def test_a_photo_leaves_a_mark_on_its_station_before_and_after_it_is_sent(
    desk, check, live_site
):
    one, two = (desk.get_by_role("button", name=f"Station {n}:") for n in "12")
    desk.context.set_offline(True)
    take(desk, picture())
    expect(one).to_have_accessible_name(re.compile("photo$"))
    expect(one.locator(".camera")).to_be_visible()
    desk.reload()
    expect(one.locator(".camera")).to_be_visible()
    desk.context.set_offline(False)
    all_sent(desk)
    open_check(desk, live_site, check)
    expect(one.locator(".camera")).to_be_visible()
    expect(two.locator(".camera")).to_have_count(0)


# Lays a photo into the kept week, as if it had been acknowledged before a restore.
KEPT = f"""async (about) => {{ {OPEN}
  const canvas = new OffscreenCanvas(60, 40);
  canvas.getContext("2d").fillRect(0, 0, 30, 20);
  const blob = await canvas.convertToBlob({{ type: "image/jpeg" }});
  const id = crypto.randomUUID();
  const made_at = new Date().toISOString();
  const photo = {{ id, about, words: "", by: "builder", made_at, name: "", blob }};
  const work = database.transaction(["sent", "settings"], "readwrite");
  const receipt = {{ entry: id }};
  work.objectStore("sent").put({{ id, photo, receipt, sent_at: Date.now() }});
  work.objectStore("settings").put(0, "reconciled");
  await new Promise((done) => (work.oncomplete = done));
  database.close();
}}"""


def test_a_photo_that_a_restored_server_lacks_is_sent_again(desk, check):
    take(desk, picture())
    all_sent(desk)
    assert photos() == 1
    desk.locator("#unsent").click()
    expect(desk.locator("[data-ref=sent]")).to_have_text("1")
    about = {"check": str(check.entry_id), "station": "2", "kind": "gap"}
    desk.evaluate(LEARNED, "reconciled")
    desk.evaluate(KEPT, about)
    with desk.expect_response(lambda it: "/api/photos/" in it.url and it.ok):
        desk.reload()
    assert photos() == 2
    assert pins()[-1] == ("check", str(check.pk), "station 2 gap")
    # What the server has is asked for too, and stays.
    all_sent(desk)
    assert photos() == 2
    with desk.expect_download() as download:
        desk.get_by_role("button", name="Save everything as a file").click()
    told = json.loads(download.value.path().read_text())
    assert sorted(one["about"]["station"] for one in told["photos"]) == ["1", "2"]
    assert told["sent"] == []


def test_a_photo_shows_a_hole_or_a_defect_when_asked(desk, check):
    engineer = Person.objects.get(username="engineer")
    pattern = a_pattern(engineer, check.fit_up.joint)
    item = a_defect(engineer, check)
    tap(desk, "2.35")
    at(desk, "1", "flush")
    # The tablet looks for what is new every few seconds; when it does so again, it has
    # taken in what it was told before.
    for _ in range(2):
        with desk.expect_request(f"**/api/checks/{check.entry_id}*"):
            pass
    ask(desk)
    take(desk, picture(), key=f"{item.label} scratch in the flange")
    all_sent(desk)
    ask(desk)
    take(desk, picture("red"), key=f"hole 2 of {pattern.number} Hinge to frame")
    expect(desk.get_by_role("status")).to_contain_text("The photo of hole 2")
    all_sent(desk)
    assert pins() == [
        ("nonconformance", str(item.pk), f"station 1 flush, {check.label}"),
        ("hole_pattern", str(pattern.pk), f"hole 2, {check.label}"),
    ]


def test_what_was_carried_can_be_photographed_without_a_network(desk, check, live_site):
    pattern = a_pattern(Person.objects.get(username="engineer"), check.fit_up.joint)
    begin_a_new_check(desk, check)
    desk.context.set_offline(True)
    desk.get_by_role("button", name="Start measuring").click()
    at(desk, "1", "gap")
    ask(desk)
    take(desk, picture(), key=f"hole 3 of {pattern.number} Hinge to frame")
    expect(desk.locator("#unsent")).to_contain_text("2 not sent, 1 photo not sent")
    desk.context.set_offline(False)
    all_sent(desk)
    ((kind, key, note),) = pins()
    assert (kind, key) == ("hole_pattern", str(pattern.pk))
    # The check that it names got its number from the server first.
    begun = Check.objects.latest("pk")
    assert begun != check
    assert note == f"hole 3, {begun.label}"


def test_photos_can_come_from_the_files_of_the_tablet(desk):
    dialog = ask(desk)
    dialog.get_by_label("take it from the files").check()
    with desk.expect_file_chooser() as chooser:
        dialog.get_by_role("button", name="station 1 gap").click()
    assert chooser.value.element.get_attribute("capture") is None
    chooser.value.set_files([picture(), picture("red")])
    expect(desk.get_by_role("status")).to_contain_text("on this tablet")
    all_sent(desk)
    assert photos() == 2


def test_a_defect_just_raised_is_photographed_from_the_summary(desk, check):
    for value in ["1.2", "0.1", "2", "0", "2", "0", "2", "0"]:
        tap(desk, value)
    desk.get_by_role("button", name="Finish the check").click()
    desk.get_by_role("button", name="Raise nonconformances").click()
    take(desk, picture(), key="Photo of NC-001")
    expect(desk.get_by_role("status")).to_have_text(
        "The photo of NC-001 is on this tablet."
    )
    all_sent(desk)
    item = Nonconformance.objects.get(fit_check=check)
    assert pins() == [("nonconformance", str(item.pk), check.label)]


def test_photos_alone_ask_for_a_sign_in_when_the_session_is_over(desk):
    desk.context.clear_cookies()
    take(desk, picture())
    dialog = desk.get_by_role("dialog")
    expect(dialog.get_by_role("heading", name="Sign in")).to_be_visible()
    dialog.get_by_label("Name").fill("builder")
    dialog.get_by_label("Password").fill("Test-shop-7")
    dialog.get_by_role("button", name="Sign in").click()
    all_sent(desk)
    assert photos() == 1


def test_a_refused_photo_waits_for_a_person_and_holds_up_nothing(desk, check):
    take(desk, a_bomb())
    expect(desk.get_by_role("alert")).to_contain_text("was refused")
    expect(desk.locator("#unsent")).to_contain_text("1 photo not sent")
    expect(desk.locator("#unsent")).to_contain_text("1 need you")
    tap(desk, "2.35")
    at(desk, "1", "flush")
    expect(desk.locator("#unsent")).to_contain_text("1 photo not sent")
    with desk.expect_response(re.compile("/api/photos/")) as sent:
        take(desk, picture())
    assert sent.value.status == 201
    assert readings(check) == 1
    desk.reload()
    row = in_store(desk, 1)
    expect(row).to_contain_text("station 1 gap")
    expect(row).to_contain_text("bomb.png: refused.")
    expect(desk.locator("[data-ref=parked]")).to_have_text("1")
    expect(desk.locator("[data-ref=photos]")).to_have_text("0")
    assert photos() == 1


def test_a_refused_photo_is_sent_again_saved_or_removed(desk, check):
    bomb = a_bomb()
    take(desk, bomb)
    expect(desk.locator("#unsent")).to_contain_text("1 need you")
    row = in_store(desk, 1)
    with desk.expect_response("**/api/photos/*") as again:
        row.get_by_role("button", name="Send again").click()
    assert again.value.status == 422
    with desk.expect_download() as download:
        row.get_by_role("button", name="Save as file").click()
    assert download.value.suggested_filename == "bomb.png"
    assert download.value.path().read_bytes() == bomb["buffer"]
    expect(row).to_contain_text("refused.")
    row.get_by_role("button", name="Remove").press("Enter")
    question = desk.get_by_role("dialog")
    expect(question).to_contain_text("once removed here, it is gone")
    desk.keyboard.press("Escape")
    expect(desk.locator(".photo")).to_have_count(1)
    row.get_by_role("button", name="Remove").click()
    question.get_by_role("button", name="Remove it").click()
    expect(desk.locator(".photo")).to_have_count(0)
    expect(desk.get_by_role("heading", name="What is on this tablet")).to_be_focused()
    all_sent(desk)


def test_a_photo_that_is_sent_while_the_list_opens_is_not_listed_as_waiting(desk):
    held = []
    desk.route("**/api/photos/*", lambda route: held.append(route))
    with desk.expect_request("**/api/photos/*"):
        take(desk, picture())
    desk.evaluate(
        """() => {
            window.asked = new Promise((asked) => {
                navigator.storage.estimate = () =>
                    new Promise((answer) => {
                        Object.assign(window, { answer });
                        delete navigator.storage.estimate;
                        asked();
                    });
            });
        }"""
    )
    desk.locator("#unsent").click()
    desk.evaluate("() => window.asked")
    held[0].continue_()
    all_sent(desk)
    desk.evaluate("() => window.answer({ usage: 0 })")
    expect(desk.get_by_role("heading", name="What is on this tablet")).to_be_focused()
    expect(desk.locator(".photo")).to_have_count(0)


def test_a_photo_too_large_for_something_in_between_is_kept_too(desk, check):
    desk.route("**/api/photos/*", lambda route: route.fulfill(status=413, body="no"))
    take(desk, picture())
    expect(desk.locator("#unsent")).to_contain_text("1 need you")
    desk.unroute("**/api/photos/*")
    take(desk, picture("red"))
    row = in_store(desk, 1)
    expect(row).to_contain_text("Too large for the server")
    row.get_by_role("button", name="Send again").click()
    all_sent(desk)
    assert photos() == 2


def test_a_photo_that_the_server_cannot_answer_for_lets_the_others_go(desk, check):
    names = []

    def answer(route):
        name = route.request.url.split("?")[0]
        names.append(name)
        if name == names[0]:
            return route.fulfill(status=500, body="broken")
        return route.continue_()

    desk.route("**/api/photos/*", answer)
    take(desk, picture(), picture("red"), picture("blue"))
    expect(desk.locator("#unsent")).to_contain_text("1 photo not sent")
    assert photos() == 2
    desk.unroute("**/api/photos/*")
    expect(desk.locator("#unsent")).to_have_text("all sent")


@pytest.mark.parametrize("tablet", ["landscape", "portrait"])
def test_axe_finds_nothing_serious_where_photos_are(
    page, live_site, check, axe, tablet
):
    def clean():
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert axe(page) == [], scheme

    engineer = Person.objects.get(username="engineer")
    a_pattern(engineer, check.fit_up.joint, 12)
    a_defect(engineer, check)
    hold(page, tablet)
    open_check(bring_a_session(page, live_site, "builder"), live_site, check)
    dialog = ask(page)
    expect(dialog).to_contain_text("Hole of")
    clean()
    reachable(page, "dialog")
    page.keyboard.press("Escape")
    take(page, a_bomb())
    expect(page.locator("#unsent")).to_contain_text("1 need you")
    in_store(page, 1)
    clean()
    reachable(page, ".photo")
    page.get_by_role("button", name="Remove").click()
    clean()


def reachable(page, where):
    """What is touched is 11 mm and more, and inside the width of the screen."""
    for key in page.locator(f"{where} button:visible").all():
        box = key.bounding_box()
        assert min(box["width"], box["height"]) >= 47.5, box
        assert box["x"] + box["width"] <= page.viewport_size["width"]


LARGE = """async () => {
  const opening = indexedDB.open("fayline", 1);
  const database = await new Promise((done) => (opening.onsuccess = () => done(opening.result)));
  const rows = database.transaction("photos", "readwrite").objectStore("photos");
  for (const n of [1, 2])
    rows.put({ id: crypto.randomUUID(), by: "builder", made_at: new Date().toISOString(),
      words: `large ${n}`, name: "", about: {}, blob: new Blob([new Uint8Array(2e7)]) });
  await new Promise((done) => (rows.transaction.oncomplete = done));
}"""  # noqa: E501


def test_what_is_too_much_for_one_file_is_saved_in_parts_the_acts_first(desk, check):
    desk.context.set_offline(True)
    tap(desk, "2.35")
    desk.evaluate(LARGE)
    desk.locator("#unsent").click()
    with desk.expect_download() as first:
        desk.get_by_role("button", name="Save everything as a file").click()
    assert first.value.suggested_filename.endswith("-1-of-2.json")
    with desk.expect_download() as second:
        desk.get_by_role("button", name="Save part 2 of 2").click()
    one, two = (json.loads(x.value.path().read_text()) for x in (first, second))
    assert [row["body"]["said"].get("value") for row in one["outbox"]] == ["2.35"]
    assert (one["part"], one["of"], two["part"], two["outbox"]) == (1, 2, 2, [])
    assert [len(part["photos"]) for part in (one, two)] == [1, 1]
    assert max(x.value.path().stat().st_size for x in (first, second)) < LARGEST
