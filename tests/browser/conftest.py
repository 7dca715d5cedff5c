"""A tablet with an open check on it, for the browser tests.

Files that say `live_site, page = one_site, one_page` share one server, one database and
one tablet: each of their tests has a check of its own, and the tablet forgets
everything in between. What they ask the database, they ask of their own check.
"""

import time

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client, override_settings
from playwright.sync_api import expect

from shop.models import Person
from shop.secret import secret_key
from tests.around import Site
from tests.browser.at_the_tablet import a_check, all_sent, open_check
from tests.conftest import (
    DISK_MS,
    PATIENCE_MS,
    SLOW_DISK,
    TABLETS,
    database_environment,
    leaving,
    make_people,
    refused,
)
from tests.databases import copy_of


@pytest.fixture
def check(live_site):
    return a_check()


@pytest.fixture
def desk(page, live_site, check):
    """The page of the check, signed in as the builder, once the server was met."""
    bring_a_session(page, live_site, "builder")
    open_check(page, live_site, check)
    # Without a network, who measures is known only where the server said so before.
    expect(page.locator("#who")).to_have_text("Builder of the shop")
    # The shell is kept from here on, as on a tablet that was opened once.
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    all_sent(page)
    return page


def bring_a_session(page, site, username, seconds=None):
    """As if signed in before: the form has journeys of its own, and a slow hash.
    seconds: how long a browser keeps it that is closed in between."""
    client = Client()
    with override_settings(SECRET_KEY=secret_key(site.home / "secret.key")):
        client.force_login(Person.objects.get(username=username))
    name = settings.SESSION_COOKIE_NAME
    cookie = {"name": name, "value": client.cookies[name].value, "url": site.url}
    if seconds:
        cookie["expires"] = time.time() + seconds
    page.context.add_cookies([cookie])
    return page


# What axe finds serious or critical: all else it tells stays in the page, and it does
# not load styles and media once more for rules that find neither.
AXE = """async () => {
  const how = { resultTypes: ["violations"], preload: false, elementRef: false };
  const { violations } = await axe.run(how);
  return violations
    .filter(({ impact }) => ["serious", "critical"].includes(impact))
    .flatMap(({ id, help, nodes }) =>
      nodes.map(({ target }) => `${id}: ${help}: ${target}`));
}"""


@pytest.fixture(scope="session")
def axe():
    """axe(page) gives what axe-core finds serious or critical on the page: []."""
    from axe_playwright_python.base import AXE_SCRIPT

    def serious(page):
        if not page.evaluate("'axe' in globalThis"):
            page.evaluate(AXE_SCRIPT)
        return page.evaluate(AXE)

    return serious


def let_go(dialog):
    dialog.accept()


def hold(page, tablet):
    """Turn the tablet: what is opened next finds it so."""
    width, height = TABLETS[tablet]
    page.set_viewport_size({"width": width, "height": height})


# ------------------------------------------ one server and one tablet for a file


@pytest.fixture(scope="module")
def one_site(template_database, django_db_blocker, tmp_path_factory):
    """As `live_site`, for all tests of a file: rows of earlier ones are there."""
    home = tmp_path_factory.mktemp("site")
    with django_db_blocker.unblock(), copy_of(template_database, home):
        make_people()
        connection.close()
        site = Site(home, database_environment(), warm=True).start()
        try:
            yield site
        finally:
            site.kill()


@pytest.fixture(scope="module")
def kept_page(browser):
    """A page, and what went wrong on it since somebody looked."""
    faults = []
    width, height = TABLETS["landscape"]
    context = browser.new_context(
        viewport={"width": width, "height": height},
        has_touch=True,
        reduced_motion="reduce",
    )
    context.set_default_timeout(PATIENCE_MS)
    if DISK_MS:
        context.add_init_script(SLOW_DISK % DISK_MS)
    context.on("request", lambda request: faults.extend(leaving(request.url)))
    context.on("weberror", lambda error: faults.append(str(error.error)))
    context.on("console", lambda message: faults.extend(refused(message.text)))
    yield context.new_page(), faults
    context.close()


@pytest.fixture
def one_page(kept_page, live_site):
    """As `page`, for all tests of a file: it forgets what it knew of the last, save
    the shell of the tablet, which it has as if opened before."""
    page, faults = kept_page
    yield page
    found = [*faults]
    for other in page.context.pages:
        if other != page:
            other.close()
    page.unroute_all()
    page.context.set_offline(False)
    page.context.clear_permissions()
    page.emulate_media(color_scheme="light")
    hold(page, "landscape")
    # It asks before it lets go of what is not sent.
    page.on("dialog", let_go)
    page.goto("about:blank")
    page.remove_listener("dialog", let_go)
    session = page.context.new_cdp_session(page)
    what = {"origin": live_site.url, "storageTypes": "indexeddb,local_storage"}
    session.send("Storage.clearDataForOrigin", what)
    session.detach()
    page.context.clear_cookies()
    faults.clear()
    assert found == []
