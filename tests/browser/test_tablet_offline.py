"""The tablet without a network, and with a server that changed."""

import io
import time

from PIL import Image
from playwright.sync_api import expect

from qa.models import Check, CheckState, Instrument, InstrumentStatus, Reading
from shop.models import Person, Photo
from tests.around import by_hand
from tests.browser.at_the_tablet import (
    LEARNED,
    OPEN,
    a_check,
    all_sent,
    at,
    begin_a_new_check,
    choose_joint,
    open_check,
    readings,
    standing,
    tap,
)
from tests.browser.conftest import one_page, one_site
from tests.qa.making import make_check, make_fit_up

live_site, page = one_site, one_page
# Run in the page, on the browser's own store.
PUT = f"""async ([name, row, key]) => {{ {OPEN}
  const rows = database.transaction(name, "readwrite").objectStore(name);
  rows.put(row, ...(key ? [key] : []));
  await kept(rows);
  database.close();
}}"""


def test_a_check_is_started_filled_and_kept_without_a_network(desk, check):
    begin_a_new_check(desk, check)
    desk.context.set_offline(True)
    desk.get_by_label("clecos").fill("6")
    desk.get_by_role("button", name="Start measuring").click()
    at(desk, "1", "gap")
    for value in ("2.35", "0.1", "1.2"):
        tap(desk, value)
    at(desk, "2", "flush")
    expect(desk.locator("#unsent")).to_contain_text("5 not sent")
    desk.reload()
    at(desk, "2", "flush")
    expect(desk.locator(".progress")).to_have_text("3 of 8")
    desk.context.set_offline(False)
    all_sent(desk)
    started = Check.objects.latest("pk")
    assert {key: row[1] for key, row in standing(started).items()} == {
        ("1", "gap"): "2.35",
        ("1", "flush"): "0.1",
        ("2", "gap"): "1.2",
    }
    assert started.fit_up.held[0]["count"] == 6


def test_a_check_that_is_not_carried_opens_by_itself_once_the_server_is_back(
    desk, live_site
):
    other = a_check()
    desk.context.set_offline(True)
    desk.goto(f"{live_site.url}/tablet/check/{other.entry_id}")
    expect(desk.locator("h1")).to_have_text("This cannot be opened here")
    desk.context.set_offline(False)
    at(desk, "1", "gap")


def test_a_gauge_that_is_not_carried_gives_way_to_no_other(desk, check, live_site):
    # The site is that of the whole file.
    with by_hand():
        others = Instrument.objects.exclude(pk=check.instrument_id)
        others.update(status=InstrumentStatus.OUT)
    fresh = f"{live_site.url}/tablet/new"
    desk.goto(fresh)
    gauge, chosen = desk.get_by_label("Instrument"), "option:checked"
    expect(gauge.locator(chosen)).to_contain_text(check.instrument.code)
    desk.goto(f"{fresh}?instrument=999999")
    expect(gauge).to_have_value("choose")


def test_the_holding_of_the_last_check_is_offered_as_it_was_recorded(
    desk, check, live_site
):
    held = [
        {"kind": "cleco", "where": "1, 4, 7", "count": 3},
        {"kind": "strap", "where": "aft", "count": 1},
    ]
    old = check.fit_up
    placed = make_fit_up(
        Person.objects.get(username="engineer"),
        old.joint,
        **{"airframe": old.airframe, "part": old.part},
        **{"reason": "refit", "held": held},
    )
    make_check(Person.objects.get(username="engineer"), placed)
    desk.goto(f"{live_site.url}/tablet/new")
    choose_joint(desk, old.joint)
    again = desk.get_by_role("button", name="As in the last check")
    expect(again.locator("..")).to_contain_text("3 cleco 1, 4, 7; 1 strap aft")
    desk.context.set_offline(True)
    # Offered, never taken for granted.
    expect(desk.get_by_label("clecos")).to_have_value("")
    again.click()
    expect(desk.get_by_label("clecos")).to_have_value("3")
    expect(desk.get_by_label("straps")).to_have_value("1")
    desk.get_by_label("Why a new fit-up").select_option("refit")
    # Of two gauges none is taken for granted.
    desk.get_by_role("button", name="Start measuring").click()
    expect(desk.get_by_text("Choose the instrument, or none.").first).to_be_visible()
    desk.get_by_label("Instrument").select_option(index=1)
    desk.get_by_role("button", name="Start measuring").click()
    at(desk, "1", "gap")
    desk.context.set_offline(False)
    all_sent(desk)
    assert Check.objects.latest("pk").fit_up.held == held


def test_the_last_contact_is_known_after_a_reload_without_a_network(desk, live_site):
    desk.goto(live_site.url + "/tablet/store")
    told = desk.locator("dt", has_text="Last contact").locator("+ dd")
    expect(told).to_have_text("just now")
    # The store answers in the order it was asked in: the contact is kept then.
    desk.evaluate(PUT, ["settings", "", "after the contact"])
    desk.context.set_offline(True)
    desk.reload()
    expect(told).to_have_text("just now")
    # Without a network no answer can write over what stands here.
    desk.evaluate(PUT, ["settings", 1_000 * (time.time() - 42 * 60), "contact"])
    desk.reload()
    expect(told).to_have_text("42 min")
    desk.context.set_offline(False)
    expect(told).to_have_text("just now")


def test_an_act_that_needs_a_person_waits_apart_and_the_rest_goes_on(
    desk, check, live_site
):
    desk.context.set_offline(True)
    tap(desk, "2.35")
    at(desk, "1", "flush")
    CheckState.objects.filter(fit_check=check).update(void=True)
    other = a_check()
    desk.context.set_offline(False)
    expect(desk.locator("#unsent")).to_contain_text("1 need you")
    desk.goto(f"{live_site.url}/tablet/check/{other.entry_id}")
    at(desk, "1", "gap")
    tap(desk, "2.5")
    at(desk, "1", "flush")
    expect(desk.locator("#unsent")).to_contain_text("1 not sent")
    assert readings(other) == 1
    desk.locator("#unsent").click()
    expect(desk.locator("li.parked")).to_contain_text("Its start was disowned")
    desk.get_by_role("button", name="Do not send").click()
    desk.get_by_role("dialog").get_by_role("button", name="Was wrong").click()
    all_sent(desk)
    assert readings(check) == 0


def test_two_tabs_of_one_tablet_send_each_act_once(desk, check, live_site):
    second = desk.context.new_page()
    open_check(second, live_site, check)
    desk.context.set_offline(True)
    tap(desk, "2.35")
    at(desk, "1", "flush")
    second.get_by_role("button", name="Station 3:").click()
    tap(second, "2.45")
    at(second, "3", "flush")
    expect(desk.locator("#unsent")).to_contain_text("2 not sent")
    # Each shows what was done in the other, also while no server tells it.
    expect(desk.get_by_role("button", name="Station 3: gap 2.45")).to_be_visible()
    expect(second.get_by_role("button", name="Station 1: gap 2.35")).to_be_visible()
    expect(desk.locator(".progress")).to_have_text("2 of 8")
    expect(second.locator(".progress")).to_have_text("2 of 8")
    desk.context.set_offline(False)
    all_sent(desk)
    all_sent(second)
    assert readings(check) == 2


def test_nothing_is_handed_to_another_database_before_a_person_says_so(desk, check):
    desk.evaluate(LEARNED, "database")
    desk.evaluate(PUT, ["settings", "11111111-1111-4111-8111-111111111111", "database"])
    desk.context.set_offline(True)
    tap(desk, "2.35")
    at(desk, "1", "flush")
    desk.reload()
    at(desk, "1", "flush")
    desk.context.set_offline(False)
    question = desk.get_by_role("dialog")
    expect(question).to_contain_text("Another database answers")
    question.get_by_role("button", name="Keep waiting").click()
    expect(desk.locator("#unsent")).to_contain_text("other database")
    assert readings(check) == 0
    desk.reload()
    desk.get_by_role("dialog").get_by_role("button", name="This is our shop").click()
    all_sent(desk)
    assert readings(check) == 1


def test_what_a_restored_server_lacks_is_sent_again(desk, check):
    said = {
        "check": str(check.entry_id),
        "station": "2",
        "kind": "gap",
        "outcome": "value",
        "value": "2.2",
        "unit": "mm",
        "goes": "",
        "does_not_go": "",
        "supersedes": None,
        "reason": "",
    }
    body = {"form": "reading/1", "by": "builder", "seq": 1, "said": said}
    body |= {"made_at": "2026-11-25T09:00:00.000Z", "device": ""}
    act = "22222222-2222-4222-8222-222222222222"
    receipt = {"act": act, "database": "x", "entry": 1}
    row = {"id": act, "seq": 1, "body": body, "receipt": receipt}
    desk.evaluate(LEARNED, "reconciled")
    desk.evaluate(PUT, ["sent", row | {"sent_at": 4e12}, None])
    desk.evaluate(PUT, ["settings", 0, "reconciled"])
    with desk.expect_response(lambda answer: answer.url.endswith(act) and answer.ok):
        desk.reload()
    expect(
        desk.get_by_role("button", name="Station 2: gap 2.2 conforms")
    ).to_be_visible()
    assert str(Reading.objects.get(fit_check=check).entry_id) == act


def test_a_photo_is_made_smaller_and_sent_after_the_readings(desk, check):
    out = io.BytesIO()
    Image.new("RGB", (3000, 2000), "teal").save(out, "JPEG")
    desk.context.set_offline(True)
    with desk.expect_file_chooser() as chooser:
        desk.get_by_role("button", name="Photo", exact=True).click()
    chooser.value.set_files(
        {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}
    )
    expect(desk.get_by_role("status")).to_have_text(
        "The photo of station 1 gap is on this tablet."
    )
    tap(desk, "2.35")
    desk.context.set_offline(False)
    all_sent(desk)
    desk.locator("#unsent").click()
    expect(desk.locator("[data-ref=photos]")).to_have_text("0")
    photo = Photo.objects.latest("pk")
    assert max(photo.width, photo.height) == 1600
    assert photo.caption == "station 1 gap"
