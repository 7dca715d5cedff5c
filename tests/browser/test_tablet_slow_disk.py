"""The tablet when its own disk takes its time, or is full."""

import io

from PIL import Image
from playwright.sync_api import expect

from qa.models import Check, FitUp
from shop.models import Photo
from tests.browser.at_the_tablet import (
    OPEN,
    all_sent,
    at,
    begin_a_new_check,
    standing,
    tap,
)
from tests.browser.conftest import one_page, one_site

live_site, page = one_site, one_page

# Holds the store as a busy disk would, until the page is told to let go.
HOLD = f"""async () => {{ {OPEN}
  const rows = database.transaction("outbox", "readwrite").objectStore("outbox");
  const more = () => (rows.count().onsuccess = () => window.letGo || more());
  more();
}}"""
# For how long it holds what is pressed at once: what is under test.
DISK_MS = 300
LET_GO = "window.letGo = true"
# A browser that takes nothing for this table until the page is told to let go.
REFUSE = """name => {
  for (const method of ["add", "put"]) {
    const write = IDBObjectStore.prototype[method];
    IDBObjectStore.prototype[method] = function (...row) {
      const request = write.apply(this, row);
      if (this.name === name && !window.letGo) this.transaction.abort();
      return request;
    };
  }
}"""
REFUSED = "Not kept: the browser refused"


def test_a_slow_disk_is_told_and_loses_nothing(desk, check):
    desk.evaluate(HOLD)
    tap(desk, "2.31")
    verdict = desk.locator("[data-ref=verdict]")
    expect(verdict).to_have_text("Still being kept …")
    # A hand and a gauge go on meanwhile: their values come next.
    desk.keyboard.type("0.12", delay=60)
    desk.keyboard.press("Enter")
    desk.keyboard.type("2.4", delay=60)
    tap(desk, "")
    desk.keyboard.type("0.14", delay=1)
    desk.keyboard.press("Enter")
    expect(desk.locator(".progress")).to_have_text("0 of 8")
    desk.evaluate(LET_GO)
    expect(desk.locator(".progress")).to_have_text("4 of 8")
    at(desk, "3", "gap")
    expect(verdict).to_have_text("not measured")
    all_sent(desk)
    there = {place: value for place, (_, value, *_) in standing(check).items()}
    assert there == {
        ("1", "gap"): "2.31",
        ("1", "flush"): "0.12",
        ("2", "gap"): "2.4",
        ("2", "flush"): "0.14",
    }


def test_on_a_slow_disk_a_check_that_is_started_twice_is_one(desk, check):
    begin_a_new_check(desk, check)
    start = desk.get_by_role("button", name="Start measuring")
    before = Check.objects.count(), FitUp.objects.count()
    desk.evaluate(HOLD)
    for _ in range(3):
        start.click()
    desk.wait_for_timeout(DISK_MS)
    desk.evaluate(LET_GO)
    at(desk, "1", "gap")
    all_sent(desk)
    after = Check.objects.count(), FitUp.objects.count()
    assert after == tuple(count + 1 for count in before)


def test_on_a_slow_disk_a_check_that_is_finished_twice_is_finished_once(desk, check):
    desk.get_by_role("button", name="Finish").click()
    finish = desk.locator(".summary").get_by_role("button", name="Finish")
    desk.evaluate(HOLD)
    for _ in range(3):
        finish.click()
    desk.wait_for_timeout(DISK_MS)
    desk.evaluate(LET_GO)
    expect(desk.get_by_role("heading", name="The check is finished")).to_be_visible()
    all_sent(desk)


def test_on_a_slow_disk_everything_happens_in_the_order_in_which_it_was_done(
    desk, check
):
    desk.evaluate(HOLD)
    tap(desk, "2.31")
    # An OK too many is no reason to forget what comes after it.
    tap(desk, "")
    tap(desk, "0.12")
    desk.get_by_role("button", name="Station 3").click()
    tap(desk, "2.4")
    desk.get_by_role("button", name="inch").click()
    tap(desk, "0.004")
    # What was typed and not kept goes with the touch, as ever.
    tap(desk, "9", ok=False)
    desk.get_by_role("button", name="Station 2").click()
    desk.evaluate(LET_GO)
    expect(desk.locator(".progress")).to_have_text("4 of 8")
    at(desk, "2", "gap")
    expect(desk.locator("[data-ref=verdict]")).to_have_text("not measured")
    all_sent(desk)
    there = {place: row[1:3] for place, row in standing(check).items()}
    assert there == {
        ("1", "gap"): ("2.31", "mm"),
        ("1", "flush"): ("0.12", "mm"),
        ("3", "gap"): ("2.4", "mm"),
        ("3", "flush"): ("0.004", "in"),
    }


def test_a_photo_that_finds_no_room_is_told(desk, check, tmp_path):
    desk.evaluate(REFUSE, "photos")
    picture = tmp_path / "a.png"
    picture.write_bytes(b"any")
    with desk.expect_file_chooser() as chooser:
        desk.get_by_role("button", name="Photo", exact=True).click()
    chooser.value.set_files(picture)
    expect(desk.get_by_role("alert")).to_have_text(REFUSED)
    desk.evaluate(LET_GO)
    tap(desk, "2.31")
    at(desk, "1", "flush")
    all_sent(desk)


# A disk that is full until something is removed from it.
FULL = """(NAME) => {
  let full = true;
  const add = IDBObjectStore.prototype.add;
  const remove = IDBCursor.prototype.delete;
  IDBObjectStore.prototype.add = function (...row) {
    const request = add.apply(this, row);
    if (full) this.transaction.abort();
    return request;
  };
  const why = new DOMException("the disk is full", NAME);
  Object.defineProperty(IDBTransaction.prototype, "error", { get: () => why });
  IDBCursor.prototype.delete = function () {
    full = false;
    return remove.apply(this);
  };
}"""


def test_photos_that_the_server_has_make_room_for_a_reading(desk, check):
    before = Photo.objects.count()
    out = io.BytesIO()
    Image.new("RGB", (90, 60), "teal").save(out, "JPEG")
    with desk.expect_file_chooser() as chooser:
        desk.get_by_role("button", name="Photo", exact=True).click()
    photo = {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}
    chooser.value.set_files(photo)
    expect(desk.get_by_role("status")).to_contain_text("is on this tablet")
    all_sent(desk)
    assert Photo.objects.count() == before + 1
    desk.evaluate(FULL, "QuotaExceededError")
    tap(desk, "2.31")
    at(desk, "1", "flush")
    all_sent(desk)
    assert list(standing(check)) == [("1", "gap")]
    desk.locator("#unsent").click()
    expect(desk.locator("[data-ref=sent]")).to_have_text("1")


def test_a_kept_photo_is_not_thrown_away_on_an_error_that_nobody_knows(desk, check):
    out = io.BytesIO()
    Image.new("RGB", (90, 60), "teal").save(out, "JPEG")
    with desk.expect_file_chooser() as chooser:
        desk.get_by_role("button", name="Photo", exact=True).click()
    photo = {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}
    chooser.value.set_files(photo)
    expect(desk.get_by_role("status")).to_contain_text("is on this tablet")
    all_sent(desk)
    desk.evaluate(FULL, "UnknownError")
    tap(desk, "2.31")
    expect(desk.locator("[data-ref=verdict]")).to_have_text(
        "Not kept: the disk is full"
    )
    expect(desk.locator("input.number")).to_have_value("2.31")
    desk.reload()
    desk.locator("#unsent").click()
    expect(desk.locator("[data-ref=sent]")).to_have_text("1")


def test_a_refusal_that_cannot_be_stored_is_told_and_loses_nothing(desk, check):
    body = {"error": {"code": "refused", "message": "Not this one.", "field": ""}}
    refused = {"status": 422, "json": body, "headers": {"X-Request": "one of ours"}}
    # There before anything is sent: a browser may send by the way it had until then.
    answers = [lambda route: route.abort("internetdisconnected")]
    desk.route("**/api/acts/*", lambda route: answers[-1](route))
    desk.context.set_offline(True)
    tap(desk, "2.31")
    at(desk, "1", "flush")
    # Claiming writes too: only what parks is refused.
    desk.evaluate(
        """() => {
          const write = IDBObjectStore.prototype.put;
          IDBObjectStore.prototype.put = function (...row) {
            const request = write.apply(this, row);
            if (row[0]?.state === "parked") this.transaction.abort();
            return request;
          };
        }"""
    )
    answers.append(lambda route: route.fulfill(**refused))
    desk.context.set_offline(False)
    expect(desk.locator("#unsent")).to_contain_text("1 need you")
    alert = desk.get_by_role("alert")
    expect(alert).to_contain_text("Not this one.")
    expect(alert).to_contain_text(REFUSED)
    # For eyes too.
    assert alert.bounding_box()["width"] > 100
    desk.unroute("**/api/acts/*")
    desk.reload()
    all_sent(desk)
    assert list(standing(check)) == [("1", "gap")]


def test_a_reading_that_finds_no_room_stays_in_the_pad(desk, check):
    desk.evaluate(REFUSE, "outbox")
    tap(desk, "2.31")
    expect(desk.locator("[data-ref=verdict]")).to_have_text(REFUSED)
    assert desk.locator(".reading input").input_value() == "2.31"
    at(desk, "1", "gap")
    desk.evaluate(LET_GO)
    tap(desk, "")
    at(desk, "1", "flush")
    all_sent(desk)
    assert list(standing(check)) == [("1", "gap")]
