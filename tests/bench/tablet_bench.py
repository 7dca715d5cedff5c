"""What the tablet costs: `python tests/bench/tablet_bench.py [acts ...]`.

Acts (1,000 unless told, 20,000 for the long run) are laid into the tablet's own store
as if made without a network; then the page is opened and the time is taken until the
last receipt. The verdict after a key is timed with the processor slowed 4 times.
Prints times; nothing passes or fails here.
"""

import os
import statistics
import sys
import tempfile
import time
import uuid
from pathlib import Path

from tests.around import by_hand

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
STATIONS = 500
PASSWORD = "Test-shop-7"
LAY = """async (acts) => {
  const answer = (asked) =>
    new Promise((done) => (asked.onsuccess = () => done(asked.result)));
  const database = await answer(indexedDB.open("fayline"));
  const work = database.transaction(["outbox", "settings"], "readwrite");
  for (const act of acts) work.objectStore("outbox").put(act);
  work.objectStore("settings").put(acts.at(-1).seq, "seq");
  await new Promise((done) => (work.oncomplete = done));
  database.close();
}"""
# From the key to the frame after the verdict is on the page.
KEY = """async (key) => {
  const start = performance.now();
  document.querySelector(`[data-key="${key}"]`).click();
  await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  return performance.now() - start;
}"""


def main() -> None:
    counts = [int(one) for one in sys.argv[1:]] or [1000]
    with tempfile.TemporaryDirectory(prefix="fayline-bench-") as folder:
        os.environ["FAYLINE_HOME"] = folder
        os.environ["DJANGO_SETTINGS_MODULE"] = "shop.settings"
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
        os.environ.pop("DATABASE_URL", None)
        check = prepare()
        from tests.around import Site

        site = Site(Path(folder), {}).start()
        try:
            measure(site, check, counts)
        finally:
            site.stop()


def prepare():
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from shop.models import Person
    from tests.qa.making import make_check, make_joint

    for role in ("builder", "engineer"):
        person = Person(username=role, name=role.title(), role=role)
        person.set_password(PASSWORD)
        with by_hand():
            person.save()
    return make_check(person, joint=make_joint(person, STATIONS))


def measure(site, check, counts) -> None:
    from playwright.sync_api import sync_playwright

    from tests.around import find_browser

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=find_browser(), args=["--no-sandbox"]
        )
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.set_default_timeout(1_200_000)
        page.goto(f"{site.url}/sign-in/")
        page.get_by_label("Sign-in name").fill("builder")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("main").get_by_role("button", name="Sign in").click()
        page.wait_for_url(lambda url: "/sign-in/" not in url)
        page.goto(f"{site.url}/tablet/store")
        sent_before = 0
        for count in counts:
            page.wait_for_function(
                "() => document.querySelector('#unsent').textContent === 'all sent'"
            )
            page.evaluate(LAY, acts(check, count, sent_before))
            sent_before += count
            start = time.perf_counter()
            page.reload()
            page.wait_for_function(
                "n => document.querySelector('[data-ref=sent]')?.textContent === n",
                arg=str(sent_before),
            )
            spent = time.perf_counter() - start
            memory = page.evaluate("performance.memory.usedJSHeapSize / 1e6")
            tell(f"{count} acts sent and acknowledged", f"{spent:.1f} s")
            tell("  an act", f"{spent / count * 1000:.1f} ms")
            tell("  memory of the page", f"{memory:.0f} MB")
        time_verdicts(page, site, check)
        browser.close()


def acts(check, count: int, start: int) -> list[dict]:
    """Readings over all stations in turn, every further round superseding nothing."""
    told = []
    for n in range(start + 1, start + count + 1):
        said = {
            "check": str(check.entry_id),
            "station": str(n % STATIONS + 1),
            "kind": "gap",
            "outcome": "value",
            "value": "2.2",
            "unit": "mm",
        }
        body = {"form": "reading/1", "by": "builder", "device": "", "seq": n}
        body |= {"made_at": "2026-11-25T09:00:00.000Z", "said": said}
        act = {"id": str(uuid.uuid4()), "seq": n, "body": body}
        told.append(act | {"state": "waiting", "problem": None})
    return told


def time_verdicts(page, site, check) -> None:
    page.goto(f"{site.url}/tablet/check/{check.entry_id}")
    page.wait_for_selector(".desk")
    page.wait_for_timeout(2000)
    link = page.context.new_cdp_session(page)
    link.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    times = []
    for _ in range(10):
        times += [page.evaluate(KEY, key) for key in "3.25"]
        page.locator("[data-do=clear]").click()
    tell(
        f"verdict after a key, {STATIONS} stations, slowed 4x",
        f"{statistics.median(times):.0f} ms, worst {max(times):.0f} ms",
    )


def tell(what: str, value: str) -> None:
    sys.stdout.write(f"{what:<52}{value:>24}\n")


if __name__ == "__main__":
    main()
