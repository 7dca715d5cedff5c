"""Hands on the tablet page, for the tests: open a check, type, read what it says."""

from playwright.sync_api import expect

from qa.models import CurrentReading, Reading
from shop.models import Person
from tests.qa.making import make_check, make_joint

KEYS = {"-": "sign", ",": "."}
BAR_MS = 100  # how late the page paints its bar (page.js)
# For scripts that run in the page, on the browser's own store.
OPEN = """
  const open = indexedDB.open("fayline");
  const answer = (asked) =>
    new Promise((done) => (asked.onsuccess = () => done(asked.result)));
  const kept = ({ transaction }) =>
    new Promise((done) => (transaction.oncomplete = done));
  const database = await answer(open);
"""


# Until the tablet has kept what it learns of a server under this name: what is put
# there by hand before that, the page writes over.
LEARNED = f"""async (name) => {{ {OPEN}
  const settings = () => database.transaction("settings").objectStore("settings");
  while ((await answer(settings().get(name))) === undefined);
  database.close();
}}"""


def a_check(stations=4, by="engineer", **joint):
    """An open check of a door with so many stations; gap 1.50 to 3.00, flush ±0.50."""
    person = Person.objects.get(username=by)
    return make_check(person, joint=make_joint(person, stations, **joint))


def open_check(page, site, check):
    page.goto(f"{site.url}/tablet/check/{check.entry_id}")
    expect(page.locator(".desk, .summary").first).to_be_visible()
    return page


def begin_a_new_check(page, like):
    """Open the form of a new check, of the joint and with the gauge of another."""
    page.get_by_role("link", name="Checks").click()
    page.get_by_role("link", name="New check").click()
    choose_joint(page, like.fit_up.joint)
    gauges = page.get_by_label("Instrument")
    gauge = gauges.locator("option", has_text=like.instrument.code)
    gauges.select_option(gauge.get_attribute("value"))


def choose_joint(page, joint):
    field = page.get_by_role("combobox", name="Joint", exact=True)
    field.select_option(label=f"{joint.number} {joint.name}")


def tap(page, text, ok=True):
    """Type on our own pad."""
    for sign in text:
        page.locator(f'[data-key="{KEYS.get(sign, sign)}"]').click()
    if ok:
        page.locator('[data-key="ok"]').click()


def at(page, station, kind):
    """Wait until the page asks for this place."""
    name = {"gap": "gap", "flush": "flushness"}[kind]
    expect(page.locator(".desk h1")).to_have_text(f"Station {station} {name}")


# What was done before is on the tablet's disk, and the bar that counts it is painted:
# the store answers in the order it was asked in, and so does the page's clock.
COUNTED = f"""async () => {{ {OPEN}
  const rows = database.transaction("outbox", "readwrite").objectStore("outbox");
  await answer(rows.count());
  database.close();
  await new Promise((done) => setTimeout(done, {BAR_MS}));
}}"""


def all_sent(page):
    page.evaluate(COUNTED)
    expect(page.locator("#unsent")).to_have_text("all sent")


def standing(check) -> dict:
    """What stands on the server: {(station, kind): (outcome, value, unit, verdict)}."""
    rows = CurrentReading.objects.filter(fit_check=check).select_related(
        "station", "reading"
    )
    return {
        (row.station.label, row.kind): (
            row.reading.outcome,
            row.reading.value,
            row.reading.unit,
            row.reading.verdict,
        )
        for row in rows
    }


def readings(check) -> int:
    return Reading.objects.filter(fit_check=check).count()
