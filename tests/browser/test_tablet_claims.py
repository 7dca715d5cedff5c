"""Acts in somebody's name, and a tablet that knew a newer copy of the records."""

import contextlib
import sqlite3

from django.db import connection
from playwright.sync_api import expect

from qa.models import FitUp, Reading
from shop.ledger import sealer
from shop.models import Confirmation, Entry, Incarnation, Person
from tests.browser.at_the_tablet import OPEN, all_sent, at, open_check, tap
from tests.browser.conftest import bring_a_session
from tests.browser.test_tablet_people import PIN, enroll, set_pin, switch
from tests.qa.making import make_part

# An act as a tablet of an older release left it: keys, and no word of which copy.
ADD = f"""async (item) => {{ {OPEN}
  const rows = database.transaction("outbox", "readwrite").objectStore("outbox");
  rows.put(item);
  await kept(rows);
  database.close();
}}"""


def test_claimed_readings_are_confirmed_and_disowned_by_the_person(
    page, live_site, check, axe
):
    set_pin(bring_a_session(page, live_site, "builder"), live_site)
    open_check(bring_a_session(page, live_site, "lead"), live_site, check)
    all_sent(page)
    enroll(page)
    page.go_back()
    at(page, "1", "gap")
    page.context.clear_cookies()
    # The lead, alone with the tablet, measures as the builder.
    switch(page, "Builder of the shop")
    page.get_by_role("dialog").get_by_role("button", name="Without PIN").click()
    expect(page.locator("#who")).to_have_text("Builder of the shop (claimed)")
    for value in ("2.35", "0.1", "2.4"):
        tap(page, value)
    at(page, "2", "flush")
    all_sent(page)
    assert Entry.objects.filter(form="reading/1", claimed=True).count() == 3
    page.get_by_role("button", name="Station 1: gap").click()
    expect(page.locator(".desk")).to_contain_text("Builder of the shop (claimed)")
    # The builder comes, and is first shown what was sent in that name.
    switch(page, "Builder of the shop")
    page.get_by_label("PIN", exact=True).fill(PIN)
    page.get_by_role("button", name="Prove").click()
    claimed = page.get_by_role("dialog")
    expect(claimed.locator("li")).to_have_count(3)
    assert axe(page) == []
    first, second = claimed.locator("li").nth(0), claimed.locator("li").nth(2)
    first.get_by_role("button", name="Mine", exact=True).click()
    expect(first).to_contain_text("confirmed")
    second.get_by_role("button", name="Not mine").click()
    page.get_by_role("button", name="I was not here").click()
    expect(second).to_contain_text("disowned")
    claimed.get_by_role("button", name="Go on").click()
    all_sent(page)
    said = [
        (one.verdict, one.reason, one.person.username, one.entry.claimed)
        for one in Confirmation.objects.all()
    ]
    # Two acts that name nothing of each other go side by side.
    assert sorted(said) == [
        ("confirmed", "", "builder", False),
        ("disowned", "I was not here", "builder", False),
    ]
    # Its station is to be measured; the third still waits, at the desk.
    expect(
        page.get_by_role("button", name="Station 2: gap not measured")
    ).to_be_visible()
    desk = bring_a_session(page.context.new_page(), live_site, "builder")
    desk.goto(f"{live_site.url}/fit-checks/{check.entry_id}/")
    expect(desk.locator("#asides")).to_be_visible()
    expect(desk.get_by_role("main")).to_contain_text("disowned: I was not here")
    expect(desk.get_by_role("main")).to_contain_text("(claimed)")
    desk.goto(f"{live_site.url}/claims/")
    assert axe(desk) == []
    desk.get_by_label("mine: I confirm it", exact=True).check()
    desk.get_by_role("button", name="Save the answers").click()
    desk.wait_for_url(lambda url: "/claims/" not in url)
    desk.goto(f"{live_site.url}/fit-checks/{check.entry_id}/")
    expect(desk.get_by_role("main")).not_to_contain_text("(claimed)")


def test_a_restored_copy_takes_what_a_tablet_still_has_or_parks_it(
    desk, live_site, check, committed_db, tmp_path
):
    engineer = Person.objects.get(username="engineer")
    older = tmp_path / "older.sqlite3"
    connection.close()
    here = sqlite3.connect(committed_db["NAME"])
    with contextlib.closing(here), contextlib.closing(sqlite3.connect(older)) as copy:
        here.backup(copy)
    known = str(Incarnation.objects.get().pk)
    lost = make_part(engineer, serial="LOST-1")
    sealer.seal()
    desk.get_by_role("link", name="Checks").click()
    desk.get_by_role("link", name="New check").click()
    expect(desk.get_by_label("Instrument")).to_be_visible()
    desk.context.set_offline(True)
    desk.locator("select[name=part]").select_option(label="LOST-1")
    desk.get_by_role("button", name="Start measuring").click()
    at(desk, "1", "gap")
    tap(desk, "2.35")
    at(desk, "1", "flush")
    open_check(desk, live_site, check)
    tap(desk, "2.45")
    at(desk, "1", "flush")
    fit_up = check.fit_up
    said = {"airframe": fit_up.airframe_id, "joint": fit_up.joint_id, "part": lost.pk}
    said |= {"revision": str(fit_up.revision.uuid), "reason": "refit", "held": []}
    act = "33333333-3333-4333-8333-333333333333"
    body = {"form": "fitup/1", "by": "builder", "seq": 90, "said": said, "device": ""}
    body["made_at"] = "2026-11-28T09:00:00.000Z"
    item = {"id": act, "seq": 90, "body": body, "state": "waiting", "problem": None}
    desk.evaluate(ADD, item)
    desk.reload()
    at(desk, "1", "flush")
    expect(desk.locator("#unsent")).to_contain_text("5 not sent")
    # The disk of the server dies, the older copy is put back, work goes on.
    live_site.kill()
    connection.close()
    back = sqlite3.connect(committed_db["NAME"])
    with contextlib.closing(sqlite3.connect(older)) as copy, contextlib.closing(back):
        copy.backup(back)
    Incarnation.objects.create(reason="restored")
    other = make_part(engineer, serial="OTHER-1")
    assert other.pk == lost.pk
    connection.close()
    live_site.start()
    desk.context.set_offline(False)
    # The copy lacks what the tablet was told: a person says that it was put back.
    older_copy = desk.get_by_role("dialog", name="These records are an older copy")
    older_copy.get_by_role("button", name="go on").click()
    expect(desk.locator("#unsent")).to_contain_text("2 need you")
    desk.locator("#unsent").click()
    parked = desk.locator("li.parked")
    expect(parked.filter(has_text="does not know this part")).to_have_count(1)
    expect(parked.filter(has_text="restored from a copy")).to_have_count(1)
    # On the right check it was kept; on the other part nothing was.
    assert Reading.objects.get().fit_check_id == check.pk
    assert not FitUp.objects.filter(part=other).exists()
    assert str(Incarnation.objects.latest("started_at").pk) != known
