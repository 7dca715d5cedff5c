"""Nothing acknowledged is lost, nothing is counted twice, whatever fails on the way.

A person types 32 readings with a gauge while requests are lost, doubled, delayed,
answered by a portal or by nothing, while the server is killed, the site is updated, the
page is loaded again, the browser crashes with its profile and the session expires. A
naive sender through the same faults shows that they have teeth. FAYLINE_FAULT_SEEDS
says how many seeds: 20 in .ci/run, else 2; FAYLINE_FAULT_FIRST the first of them. In
one seed of five the person then takes a plan for a door and cuts it, through the same.
"""

import contextlib
import http.client
import json
import os
import random
import shutil
import threading
import time
import uuid

import pytest
from django.db import connection
from playwright.sync_api import Error as BrowserError

from qa.models import AdjusterSetting, FitPlan, Reading, TrimCut
from shop.environment import alone
from shop.models import Entry, Person, Session
from tests.around import TREE, find_browser
from tests.browser.at_the_tablet import a_check
from tests.browser.conftest import bring_a_session
from tests.databases import shared_folder
from tests.faults.at_the_fuselage import a_tight_door, take_and_cut
from tests.faults.faulty_proxy import FaultyProxy

# A connection that the proxy cut is collected when its thread is gone.
pytestmark = pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning", "ignore::ResourceWarning"
)
PASSWORD = "Test-shop-7"
STATIONS = 16
SEEDS = int(os.environ.get("FAYLINE_FAULT_SEEDS", "2"))
FIRST = int(os.environ.get("FAYLINE_FAULT_FIRST", "1"))
# Nobody looks at it, and each key paints it anew.
SMALL = {"width": 480, "height": 320}
NO_BYTECODE = shutil.ignore_patterns("__pycache__")
# Resolves once done() is true or patience is over. The page tells of its changes: to
# look by the clock would cost more than the typing.
UNTIL = """(done, patience) => new Promise((resolve) => {
    const end = () => (watch.disconnect(), resolve());
    const look = () => done() && end();
    const watch = new MutationObserver(look);
    watch.observe(document, { subtree: true, childList: true, characterData: true,
      attributeFilter: ["open"] });
    setTimeout(end, patience);
    look();
  })"""
# What stands in the pad, whether a question is open, and whether told is true: at once,
# when one of the latter two is or patience is over.
STANDS = f"""async ([told, patience]) => {{
  const asks = () => Boolean(document.querySelector("dialog[open]"));
  const kept = () => document.querySelector(".progress")?.textContent === told;
  await ({UNTIL})(() => asks() || kept(), patience);
  return [document.querySelector(".desk input")?.value, asks(), kept()];
}}"""
# What the bar says of what is not sent yet.
UNSENT = f"""async (patience) => {{
  const told = () => document.querySelector("#unsent").textContent;
  const asks = () => document.querySelector("dialog[open]");
  await ({UNTIL})(() => asks() || /all sent|sign in/.test(told()), patience);
  return told();
}}"""
# Whether another worker serves this page than the one that was there first.
ANOTHER_WORKER = """() => {
  const now = navigator.serviceWorker.controller;
  window.firstWorker ??= now;
  return now !== window.firstWorker;
}"""
# Whether a worker waits for the one before to end.
WORKER_WAITS = """() => {
  const told = window.waits;
  const asked = () => Promise.resolve(navigator.serviceWorker?.getRegistration());
  const keep = (there) => (window.waits = [Boolean(there?.waiting)]);
  window.asked ??= asked().catch(() => null).then(keep);
  if (told) window.asked = window.waits = null;
  return told;
}"""
# Of which release the page's first script is; none of the first.
RELEASE = """() => {
  const { src } = document.querySelector("script[type=module]");
  window.imported ??= import(src).then((page) => (window.release = [page.RELEASE]));
  return window.release;
}"""
# Resolves once it took over, or patience is over.
WORKER_TAKES_OVER = """async (patience) => {
  const { waiting } = await navigator.serviceWorker.getRegistration();
  if (!waiting) return;
  await new Promise((resolve) => {
    const look = () => waiting.state === "activated" && resolve();
    waiting.addEventListener("statechange", look);
    setTimeout(resolve, patience);
    look();
  });
}"""
# What happens between two readings, and how often in a thousand.
EVENTS = {"load_again": 80, "crash": 24, "offline": 100, "kill": 24, "expire": 24}


@pytest.fixture
def proxy(live_site):
    proxy = FaultyProxy(live_site.port)
    yield proxy
    proxy.close()


@pytest.fixture(scope="session")
def next_release(tmp_path_factory):
    """The sources with another page script: what an update of the site brings. One copy
    for all workers, whose servers then have one parent (tests/warm.py)."""
    shared = shared_folder(tmp_path_factory)
    tree, made = shared / "next" / "release", shared / "next release.made"
    with alone(shared / "next release.lock"):
        if not made.exists():
            for name in ("shop", "qa", "templates"):
                shutil.copytree(TREE / name, tree / name, ignore=NO_BYTECODE)
            with (tree / "qa/static/qa/tablet/screens/page.js").open("a") as page:
                page.write('\nexport const RELEASE = "next";\n')
            made.touch()
    return tree


class Shift:
    """One tablet with one profile, one check, one seed."""

    def __init__(self, browser, site, proxy, folder, seed, release):
        self.launch = browser.browser_type.launch_persistent_context
        self.site, self.proxy, self.folder = site, proxy, folder
        self.random = random.Random(seed)
        # A flash after each reading is thousands of frames drawn: in one shift only.
        self.motion = "no-preference" if seed == 1 else "reduce"
        proxy.random = random.Random(seed)
        self.check = a_check(STATIONS)
        self.address = f"{proxy.url}/tablet/check/{self.check.entry_id}"
        self.there = ".desk, .summary"  # what shows that the page is open
        self.release = release
        self.update_before = self.random.randrange(10, 2 * STATIONS - 10)
        self.context = self.page = self.restart = None
        self.happened = []

    def open(self):
        self.context = self.launch(
            self.folder,
            executable_path=find_browser(),
            args=["--no-sandbox", "--disable-gpu"],
            viewport=SMALL,
            reduced_motion=self.motion,
        )
        self.context.set_default_timeout(20_000)
        self.page = self.context.pages[0]
        self.page.on("pageerror", lambda error: self.happened.append(str(error)))

    def come_in(self, *, by_the_form):
        """The form is tried by one shift in twenty: it costs a slow hash. Who came in
        by a session of before signs in like all others once it expired."""
        if by_the_form:
            self.sign_in_at_the_desk()
        else:
            day = 24 * 60 * 60
            bring_a_session(self.page, self.site, "builder", seconds=day)
        self.load_again()
        # The shell is kept from here on, as on a tablet that was opened once.
        self.page.evaluate("navigator.serviceWorker.ready.then(() => true)")

    def sign_in_at_the_desk(self):
        self.page.goto(f"{self.proxy.url}/sign-in/")
        self.page.get_by_label("Sign-in name").fill("builder")
        self.page.get_by_label("Password").fill(PASSWORD)
        main = self.page.get_by_role("main")
        main.get_by_role("button", name="Sign in").click()
        self.page.wait_for_url(lambda url: "/sign-in/" not in url)

    def load_again(self, tries=3):
        """As a person does: what does not come is asked for again. Where a worker takes
        over at this very moment, it never comes (see below)."""
        for left in reversed(range(tries)):
            try:
                self.let_the_next_worker_in()
                self.page.goto(self.address, timeout=12_000)
                return self.page.wait_for_selector(self.there)
            except BrowserError as error:
                self.happened.append(f"{error} {self.proxy.happening()}")
                if not left:
                    there = f"{self.happened}: {self.what_is_there()}"
                    raise AssertionError(there) from error
        return None

    def what_is_there(self) -> str:
        """What the page shows, if it answers; what its store says of itself."""
        logs = sorted(self.folder.glob("Default/IndexedDB/*/LOG*"))
        ends = [(log.name, log.read_text("utf-8", "replace")[-1000:]) for log in logs]
        kept = "".join(f"\n{name}: {text}" for name, text in ends)
        try:
            return self.page.inner_text("body", timeout=3000)[:1500] + kept
        except BrowserError as error:
            return f"{error}{kept}"

    def let_the_next_worker_in(self):
        """A worker that nobody asks ends at once when the next one waits; but not while
        a debugger watches it, as a browser test does. Then Chromium ends it over the
        next page that is asked for, which gets no answer any more (so its trace). A
        page that gets none says nothing either, for ever: it is asked for so long."""
        with contextlib.suppress(BrowserError):
            wait = self.page.wait_for_function
            told = wait(WORKER_WAITS, timeout=12_000, polling=50)
            if told.json_value() == [True]:
                debugger = self.context.new_cdp_session(self.page)
                debugger.send("ServiceWorker.enable")
                debugger.send("ServiceWorker.stopAllWorkers")
                self.page.evaluate(WORKER_TAKES_OVER, 3000)
                debugger.detach()

    def type_all(self, values):
        for number, value in enumerate(values, start=1):
            if number == self.update_before:
                self.update()
            self.maybe_happen()
            self.type(value, f"{number} of {len(values)}")

    def type(self, value, told):
        """One reading by gauge; told is the count that says it is kept.

        A question may come up while the gauge types, and the disk may take seconds for
        one reading. So a person looks before typing again: what stands in the pad only
        lacks its OK, or is being kept.
        """
        began = time.monotonic()
        tries = []
        patience = 0
        while time.monotonic() < began + 90:
            stands, question, kept = self.page.evaluate(STANDS, [told, patience])
            tries.append(f"{time.monotonic() - began:.1f} s {stands!r} {question}")
            if kept:
                return
            patience = 0 if question else 8000
            if question:
                self.answer_questions()
            elif stands == value:
                self.page.keyboard.press("Enter")
            else:
                if stands:
                    self.page.keyboard.press("Delete")
                self.page.keyboard.type(f"{value}\n")
        there = self.what_is_there()
        raise AssertionError(f"{value}: {tries}, {self.happened}: {there}")

    def maybe_happen(self):
        point = self.random.uniform(0, 1000)
        for name, share in EVENTS.items():
            point -= share
            if point < 0:
                self.happened.append(name)
                return getattr(self, name)()
        return None

    def crash(self):
        """A flat battery: the browser goes at once, its profile stays."""
        with contextlib.suppress(BrowserError):
            self.context.new_cdp_session(self.page).send("Browser.crash")
        with contextlib.suppress(BrowserError):
            self.context.close()
        self.open()
        self.load_again()

    def offline(self):
        self.context.set_offline(self.random.random() < 0.5)

    def kill(self):
        """The server goes in the middle of what it does, and comes back by itself."""
        if not (self.restart and self.restart.is_alive()):
            self.site.kill()
            self.restart = threading.Thread(target=self.site.start)
            self.restart.start()

    def update(self):
        """Another release takes over while a page of the old one is open."""
        self.happened.append("update")
        if self.restart:
            self.restart.join()
        self.site.tree = self.release
        self.site.kill()
        self.restart = threading.Thread(target=self.site.start)
        self.restart.start()

    def runs_the_next_release(self, seconds=90):
        """Whether the page is the new one, once it was loaded again."""
        end = time.monotonic() + seconds
        wait = self.page.wait_for_function
        while time.monotonic() < end:
            try:
                self.load_again()
                there = wait(RELEASE, timeout=12_000, polling=50)
            except BrowserError as error:
                # The page may go while it is asked.
                self.happened.append(str(error))
                continue
            if there.json_value() == ["next"]:
                return True
            # The browser asks for the new worker a while after a page was loaded.
            with contextlib.suppress(BrowserError):
                wait(ANOTHER_WORKER, timeout=3000, polling=100)
        return False

    def expire(self):
        Session.objects.all().delete()

    def answer_questions(self, patience=2000):
        dialog = self.page.locator("dialog[open]")
        if not dialog.count():
            return
        with contextlib.suppress(BrowserError):
            dialog.get_by_label("Name").fill("builder", timeout=patience)
            dialog.get_by_label("Password").fill(PASSWORD, timeout=patience)
            dialog.get_by_role("button", name="Sign in").click(timeout=patience)
            dialog.wait_for(state="hidden", timeout=patience)
        if dialog.count():
            self.page.keyboard.press("Escape")

    def drain(self, seconds=120):
        """The network is back, at first with faults: all must get there by itself."""
        if self.restart:
            self.restart.join()
        self.context.set_offline(False)
        began = time.monotonic()
        while time.monotonic() < began + seconds:
            self.proxy.faulty = time.monotonic() < began + 15
            self.answer_questions()
            told = self.page.evaluate(UNSENT, 2000)
            if told == "all sent":
                self.proxy.faulty = False
                return
            if "sign in" in told:
                # The page may ask by itself at this moment.
                with contextlib.suppress(BrowserError):
                    self.page.locator("#who").click(timeout=1000)
        raise AssertionError(f"left behind: {told}")

    def close(self):
        if self.restart:
            self.restart.join()
        with contextlib.suppress(BrowserError):
            self.context.close()


def values():
    """Each reading has a value of its own, so that each can be told from the others."""
    bases = (2.0, 0.0)
    return [f"{bases[i % 2] + i / 1000:.3f}" for i in range(2 * STATIONS)]


def wanted(check, typed):
    """Every station in the order of the walk: gap, then flushness."""
    labels = list(check.fit_up.revision.stations.values_list("label", flat=True))
    places = [(label, kind) for label in labels for kind in ("gap", "flush")]
    return dict(zip(places, ([value] for value in typed), strict=True))


def found(check):
    there = {}
    rows = Reading.objects.filter(fit_check=check).select_related("station")
    for row in rows.order_by("id"):
        there.setdefault((row.station.label, row.kind), []).append(row.value)
    return there


@pytest.mark.browser
@pytest.mark.both_databases
@pytest.mark.slow
@pytest.mark.parametrize("seed", range(FIRST, FIRST + SEEDS))
def test_every_reading_gets_there_once_through_all_faults(
    browser, live_site, proxy, next_release, tmp_path, seed
):
    profile = tmp_path / "profile"
    shift = Shift(browser, live_site, proxy, profile, seed, next_release)
    typed = values()
    shift.open()
    try:
        shift.come_in(by_the_form=seed % 20 == 1)
        proxy.faulty = True
        shift.type_all(typed)
        cut = cut_at_the_fuselage(shift) if seed % 5 == 1 else None
        shift.drain()
        told = (seed, shift.happened, dict(proxy.done))
        if cut:
            assert done_at_the_fuselage() == (1, 1, 1, 1, cut), told
        assert found(shift.check) == wanted(shift.check, typed), told
        assert proxy.done, told
        assert shift.runs_the_next_release(), shift.happened
    finally:
        shift.close()


def cut_at_the_fuselage(shift) -> int:
    """Take a plan for a tight door and go through it; nm that came off."""
    door = a_tight_door(Person.objects.get(username="engineer"))
    shift.address = f"{shift.proxy.url}/tablet/next/{door.entry_id}"
    shift.there = ".next[data-state]"
    return take_and_cut(shift)


def done_at_the_fuselage():
    """(plans, adjusters set, acts that took one, that cut, nm cut) on record."""
    takes, cuts = (
        Entry.objects.filter(form=form).count() for form in ("take/1", "cut/1")
    )
    depths = TrimCut.objects.filter(depth_nm__gt=0).values_list("depth_nm", flat=True)
    made = AdjusterSetting.objects.exclude(change_nm=0).count()
    return FitPlan.objects.count(), made, takes, cuts, sum(depths)


def test_a_naive_sender_loses_or_doubles_readings(live_site, proxy):
    """The control: a new id for every try, and any 200 taken for a receipt."""
    check = a_check(30)
    cookies, token = sign_in_by_hand(live_site.port)
    proxy.random, proxy.faulty = random.Random(7), True
    labels = list(check.fit_up.revision.stations.values_list("label", flat=True))
    for label in labels:
        said = {"check": str(check.entry_id), "station": label, "kind": "gap"}
        said |= {"outcome": "value", "value": "2.0", "unit": "mm"}
        send_naively(proxy.port, cookies, token, said)
    connection.close()
    there = found(check)
    lost = [label for label in labels if (label, "gap") not in there]
    doubled = [place for place, all_of_it in there.items() if len(all_of_it) > 1]
    assert lost and doubled


def sign_in_by_hand(port):
    link = http.client.HTTPConnection("127.0.0.1", port)
    link.request("GET", "/api/session")
    answer = link.getresponse()
    token = json.loads(answer.read())["csrf"]
    cookie = answer.getheader("Set-Cookie").split(";")[0]
    body = json.dumps({"username": "builder", "password": PASSWORD})
    link.request("POST", "/api/session", body, {"X-CSRFToken": token, "Cookie": cookie})
    answer = link.getresponse()
    token = json.loads(answer.read())["csrf"]
    set_cookies = answer.headers.get_all("Set-Cookie")
    link.close()
    return "; ".join(one.split(";")[0] for one in set_cookies), token


def send_naively(port, cookies, token, said, tries=30):
    body = json.dumps({"form": "reading/1", "by": "builder", "said": said})
    for _ in range(tries):
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        headers = {"X-CSRFToken": token, "Cookie": cookies}
        try:
            link.request("PUT", f"/api/acts/{uuid.uuid4()}", body, headers)
            answer = link.getresponse()
            answer.read()
            if answer.status in (200, 201):
                return
        except (OSError, http.client.HTTPException):
            pass
        finally:
            link.close()
