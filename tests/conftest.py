"""Databases, people, a real server and a browser for the tests.

`db`            (pytest-django) rolled back after the test: for most.
`demo_db`       a copy of the demo, which is loaded once in a run.
`committed_db`  a fresh migrated database where commits are real, for threads and
                processes. The guards refuse to empty tables, so nothing is flushed:
                each such test gets a copy of a template.
`live_site`     the real server in a process of its own, working on `committed_db`.
`page`          a tablet in a real browser; a request that leaves the site fails it.
"""

import functools
import gc
import itertools
import json
import os
from pathlib import Path

import pytest
from django.db import connection
from hypothesis import HealthCheck
from hypothesis import settings as properties

from tests.around import Site, find_browser

# No test is timed: a busy machine is slow to make examples too. CI tries the same ones
# every time, so that a landing does not hang on a die; everybody else tries new ones.
properties.register_profile(
    "suite",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=bool(os.environ.get("CI")),
)
properties.load_profile("suite")

pytest_plugins = ["tests.databases"]
# Hardly anything of what collecting makes is garbage: pytest_collection_finish looks
# for it once.
gc.disable()
NEEDS_DATABASE = {"db", "transactional_db", "committed_db", "live_site"}
NEEDS_DATABASE |= {"demo_db", "demo_site"}
PASSWORD = "Test-shop-7"
PATIENCE_MS = 30_000
TABLETS = {"landscape": (1280, 800), "portrait": (820, 1180)}


def pytest_addoption(parser):
    parser.addoption(
        "--only-database",
        action="store_true",
        help="only tests that use a database: what a second engine can change",
    )


@pytest.hookimpl(wrapper=True, tryfirst=True)  # before xdist reads the groups
def pytest_collection_modifyitems(config, items):
    for item in items:
        if not item.get_closest_marker("slow"):
            # What a file has set up once is not set up again by another worker.
            item.add_marker(pytest.mark.xdist_group(item.path.stem))
        if "page" in item.fixturenames or "browser" in item.fixturenames:
            item.add_marker("browser")
        if "committed_db" in item.fixturenames:
            item.add_marker(pytest.mark.filterwarnings(THREADS_CLOSE_LATE))
    if config.getoption("--only-database"):
        left = [item for item in items if not depends_on_engine(item)]
        config.hook.pytest_deselected(items=left)
        items[:] = [item for item in items if depends_on_engine(item)]
    others = yield
    items[:] = in_turns(items)  # pytest-django has an order of its own
    return others


def pytest_collection_finish():
    """What was imported stays: looking through all of it for garbage every few hundred
    objects is a tenth of the time of a page."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)
    gc.enable()


def in_turns(items) -> list:
    """What is slow goes to whoever is free, and first, so that all end together. What
    mostly waits, behind a bad network, takes turns with what works: side by side, such
    tests would leave the processors idle."""
    slow = [item for item in items if item.get_closest_marker("slow")]
    waiting = [[item] for item in slow if "proxy" in item.fixturenames]
    working = [[item] for item in slow if "proxy" not in item.fixturenames]
    rest = (item for item in items if not item.get_closest_marker("slow"))
    working += [[*of_file] for _, of_file in itertools.groupby(rest, lambda i: i.path)]
    turns = itertools.zip_longest(waiting, working, fillvalue=())
    return [item for turn in turns for unit in turn for item in unit]


def pytest_terminal_summary(terminalreporter):
    """Tell `manage.py test` the counts, where it runs the suite twice."""
    path = os.environ.get("FAYLINE_TEST_COUNTS")
    if path:
        stats = terminalreporter.stats
        counts = {kind: len(stats[kind]) for kind in stats if kind}
        Path(path).write_text(json.dumps(counts))


# A connection that a thread of the test opened is closed when the thread is gone.
THREADS_CLOSE_LATE = "ignore:unclosed database:ResourceWarning"


def depends_on_engine(item) -> bool:
    if item.get_closest_marker("either_database"):
        return False
    if item.get_closest_marker("browser"):
        return bool(item.get_closest_marker("both_databases"))
    uses = NEEDS_DATABASE.intersection(item.fixturenames)
    return bool(uses or item.get_closest_marker("django_db"))


def pytest_runtest_setup(item):
    wants_shell = "whole_browser" not in item.fixturenames
    if item.get_closest_marker("browser") and not find_browser(shell=wants_shell):
        pytest.skip("no Chromium on this machine")
    wants = item.get_closest_marker("postgresql")
    if wants and connection.vendor != "postgresql":
        pytest.skip("only on PostgreSQL")


@pytest.fixture(scope="session", autouse=True)
def told_of_pages(django_test_environment):
    """Django's client is told of each template with a copy of all that it was given, of
    each field of a form too: a tenth of the time of a page. Here of whole pages only,
    which is what tests look at (`answer.context`)."""
    from django.template import RequestContext
    from django.template.base import Template
    from django.test.utils import instrumented_test_render

    def rendered(template, context):
        page = isinstance(context, RequestContext) and context.template is template
        if page:
            return instrumented_test_render(template, context)
        return template.nodelist.render(context)

    Template._render = rendered  # the environment puts back what was there before


# --------------------------------------------------------------------- people


@functools.cache
def slow_hash() -> str:
    """The password as the product keeps it: hashed once, it takes its time."""
    from django.contrib.auth.hashers import ScryptPasswordHasher

    return ScryptPasswordHasher().encode(PASSWORD, "salt")


def make_people() -> dict:
    """One person per role, named after it: username is the role, password PASSWORD."""
    from shop.ledger import perform
    from shop.models import Person
    from shop.models.people import Role

    with perform("people_of_the_test/1", by=None):
        return {
            role.value: Person.objects.create(
                username=role.value,
                name=f"{role.label.title()} of the shop",
                role=role,
                password=slow_hash(),
            )
            for role in Role
        }


@pytest.fixture
def people(db):
    """One person per role, by role."""
    return make_people()


@pytest.fixture
def client_of(people):
    """A client signed in as the person of a role: client_of("builder")."""
    from django.test import Client

    def signed_in(role):
        client = Client()
        client.force_login(people[role])
        return client

    return signed_in


# ------------------------------------------------------------- server, browser


@pytest.fixture
def live_site(committed_db, tmp_path):
    """The server on this test's database, with one person per role (see make_people).

    The test may query and change the same database with the ORM.
    """
    make_people()
    connection.close()
    site = Site(tmp_path, database_environment(), warm=True).start()
    try:
        yield site
    finally:
        site.kill()


def database_environment() -> dict:
    """How another process finds this test's database (SQLite: it lies in its home)."""
    if connection.vendor != "postgresql":
        return {}
    usual, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    return {"DATABASE_URL": f"{usual}/{connection.settings_dict['NAME']}"}


@pytest.fixture
def demo_site(demo_db, tmp_path):
    """The server on a copy of the demo, where everybody's password is PASSWORD."""
    connection.close()
    site = Site(tmp_path, database_environment(), warm=True).start()
    try:
        yield site
    finally:
        site.kill()


@pytest.fixture(scope="session")
def playwright():
    from playwright.sync_api import expect, sync_playwright

    # What comes is waited for as long as a busy machine may take.
    expect.set_options(timeout=PATIENCE_MS)
    # Playwright's loop runs in this thread, between the lines of the test; the ORM is
    # used in between and never inside it.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def browser(playwright):
    """A headless Chromium that can look up no name but this machine's."""
    chromium = launched(playwright, find_browser())
    yield chromium
    chromium.close()


@pytest.fixture(scope="session")
def whole_browser(playwright):
    """The same with windows and a camera: the shell is without both."""
    chromium = launched(playwright, find_browser(shell=False))
    yield chromium
    chromium.close()


def launched(playwright, path):
    rules = "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost"
    return playwright.chromium.launch(
        executable_path=path,
        args=[
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            # A camera with a moving test picture; who may use it is up to the test.
            "--use-fake-device-for-media-stream",
            f"--host-resolver-rules={rules}",
        ],
    )


# Every write of a page's own store takes so much longer: FAYLINE_DISK_MS=400 finds the
# screen, and the test, that goes on before what was done is kept.
DISK_MS = int(os.environ.get("FAYLINE_DISK_MS", 0))
SLOW_DISK = """
const open = IDBDatabase.prototype.transaction;
IDBDatabase.prototype.transaction = function (names, mode, ...options) {
  const work = open.call(this, names, mode, ...options);
  if (mode !== "readwrite") return work;
  const rows = work.objectStore([names].flat()[0]);
  const until = performance.now() + %d;
  const more = () => (rows.count().onsuccess = spin);
  const spin = () => performance.now() < until && more();
  more();
  return work;
};
"""


@pytest.fixture
def open_page(browser):
    """Open a tablet: open_page("portrait", color_scheme="dark", ...) gives its page.

    At the end the test fails if a page asked anything of another host, broke the
    content security policy or raised an error that no script caught.
    """
    contexts, faults = [], []

    def opened(tablet="landscape", **options):
        width, height = TABLETS[tablet]
        context = browser.new_context(
            viewport={"width": width, "height": height},
            **{"has_touch": True, "reduced_motion": "reduce", **options},
        )
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        if DISK_MS:
            context.add_init_script(SLOW_DISK % DISK_MS)
        context.on("request", lambda request: faults.extend(leaving(request.url)))
        context.on("weberror", lambda error: faults.append(str(error.error)))
        context.on("console", lambda message: faults.extend(refused(message.text)))
        return context.new_page()

    yield opened
    for context in contexts:
        context.close()
    assert faults == []


def leaving(url) -> list[str]:
    inside = ("http://127.0.0.1:", "https://127.0.0.1:", "http://localhost:")
    own = ("data:", "blob:", "about:", "https://localhost:")
    return [] if url.startswith(inside + own) else [f"left the site: {url}"]


def refused(words) -> list[str]:
    return [words] if "Content Security Policy" in words else []


@pytest.fixture
def page(open_page):
    """A tablet of 1280 by 800, lying."""
    return open_page()


@pytest.fixture
def sign_in(request):
    """Sign a page in: sign_in(page, "builder")."""
    with_demo = "demo_site" in request.fixturenames
    site = request.getfixturevalue("demo_site" if with_demo else "live_site")

    def signed_in(page, username, password=PASSWORD):
        page.goto(f"{site.url}/sign-in/")
        page.get_by_label("Sign-in name").fill(username)
        page.get_by_label("Password").fill(password)
        page.get_by_role("main").get_by_role("button", name="Sign in").click()
        page.wait_for_url(lambda url: "/sign-in/" not in url)
        return page

    return signed_in
