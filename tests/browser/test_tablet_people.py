"""Several people on one tablet, and a tablet that is no longer trusted."""

import json

from playwright.sync_api import expect

from shop.actions import tablets
from shop.models import Confirmation, Entry, Person, Tablet
from tests.browser.at_the_tablet import OPEN, all_sent, at, open_check, readings, tap
from tests.browser.conftest import bring_a_session

PASSWORD = "Test-shop-7"
# So long that no serial number, digest or token holds it by chance.
PIN = "471108155093"
# Run in the page, on the browser's own store.
DUMP = f"""async () => {{ {OPEN}
  const all = [];
  for (const name of database.objectStoreNames)
    all.push(await answer(database.transaction(name).objectStore(name).getAll()));
  database.close();
  return JSON.stringify(all);
}}"""


def set_pin(page, site):
    page.goto(f"{site.url}/pin/")
    page.get_by_label("New PIN").fill(PIN)
    page.get_by_label("The same again").fill(PIN)
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Save").click()
    page.wait_for_url(lambda url: "/pin/" not in url)
    page.context.clear_cookies()


def enroll(page):
    page.locator("#unsent").click()
    page.get_by_role("button", name="Enroll this tablet").click()
    page.get_by_label("Name of the tablet").fill("Hangar 1")
    page.get_by_role("dialog").get_by_role("button", name="Enroll").click()
    expect(page.locator("[data-ref=tablet]")).to_have_text("Hangar 1")


def switch(page, name):
    page.locator("#who").click()
    page.get_by_role("dialog").get_by_role("button", name=name).click()


def test_several_people_share_an_enrolled_tablet(page, live_site, check):
    set_pin(bring_a_session(page, live_site, "builder"), live_site)
    open_check(bring_a_session(page, live_site, "lead"), live_site, check)
    all_sent(page)
    enroll(page)
    page.go_back()
    at(page, "1", "gap")
    page.context.clear_cookies()
    switch(page, "Builder of the shop")
    page.get_by_role("dialog").get_by_role("button", name="Without PIN").click()
    tap(page, "2.35")
    at(page, "1", "flush")
    all_sent(page)
    entry = Entry.objects.get(form="reading/1")
    assert (entry.by.username, entry.claimed) == ("builder", True)
    switch(page, "Builder of the shop")
    page.get_by_label("PIN", exact=True).fill("1111")
    page.get_by_role("button", name="Prove").click()
    expect(page.get_by_role("dialog")).to_contain_text("That is not the PIN")
    page.get_by_label("PIN", exact=True).fill(PIN)
    with page.expect_response("**/api/prove"):
        page.get_by_role("button", name="Prove").click()
    claimed = page.get_by_role("dialog")
    expect(claimed).to_contain_text("Sent in your name without your PIN")
    expect(claimed.locator("li")).to_contain_text("station 1 gap: 2.35 mm")
    claimed.get_by_role("button", name="Mine", exact=True).click()
    expect(claimed.locator("li")).to_contain_text("confirmed")
    claimed.get_by_role("button", name="Go on").click()
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(page.locator("#who")).to_have_text("Builder of the shop")
    all_sent(page)
    said = Confirmation.objects.get()
    assert (said.of_id, said.verdict) == (entry.act, "confirmed")
    assert not said.entry.claimed
    kept = page.evaluate(DUMP)
    assert PIN not in kept
    assert PASSWORD not in kept
    assert "sessionid" not in kept


def test_the_page_of_a_guest_network_is_taken_for_nothing(page, live_site, check):
    """A portal answers every question with 200 and a page of its own."""
    set_pin(bring_a_session(page, live_site, "builder"), live_site)
    open_check(bring_a_session(page, live_site, "lead"), live_site, check)
    all_sent(page)
    enroll(page)
    page.goto(f"{live_site.url}/tablet/", wait_until="networkidle")
    carried = page.get_by_role("link", name="Left door to frame")
    expect(carried).to_be_visible()
    page.route("**/api/**", lambda route: route.fulfill(body="<title>Guests</title>"))
    page.get_by_role("button", name="Fetch what is new").click()
    expect(page.locator("[data-ref=note]")).to_contain_text("cannot be reached")
    expect(carried).to_be_visible()
    switch(page, "Builder of the shop")
    page.get_by_label("PIN", exact=True).fill(PIN)
    page.get_by_role("button", name="Prove").click()
    expect(page.get_by_role("dialog")).to_contain_text("cannot be reached")
    page.get_by_role("dialog").get_by_role("button", name="Without PIN").click()
    expect(page.locator("#who")).to_have_text("Builder of the shop (claimed)")
    page.get_by_role("link", name="New check").click()
    expect(page.get_by_label("Joint")).to_be_visible()


def test_a_revoked_tablet_keeps_its_readings_and_a_lead_recovers_them(
    page, live_site, check
):
    open_check(bring_a_session(page, live_site, "lead"), live_site, check)
    all_sent(page)
    enroll(page)
    page.go_back()
    tablets.revoke(
        by=Person.objects.get(username="lead"), tablet=Tablet.objects.get(), reason="x"
    )
    tap(page, "2.35")
    expect(page.locator("#unsent")).to_contain_text("tablet revoked")
    page.locator("#unsent").click()
    with page.expect_download() as download:
        page.get_by_role("button", name="Save everything as a file").click()
    content = json.loads(download.value.path().read_text())
    assert [one["body"]["said"]["value"] for one in content["outbox"]] == ["2.35"]
    assert readings(check) == 0
