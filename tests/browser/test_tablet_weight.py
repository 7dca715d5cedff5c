"""What the tablet costs on thin Wi-Fi, as the real server sends it, and that what came
later is there when it is wanted."""

import gzip
import json
import re
import urllib.request
from urllib.error import HTTPError

import pytest
from playwright.sync_api import expect

from tests.browser.at_the_tablet import a_check, at, open_check
from tests.browser.conftest import bring_a_session, one_site

live_site = one_site

# Bytes of scripts over the wire, without the heads of the answers.
OPENING_A_CHECK, ALL_SCRIPTS = 25_000, 45_000


def get(site, path, **headers):
    """(status, heads, body) as it came over the wire: nothing is unpacked."""
    asked = {name.replace("_", "-"): value for name, value in headers.items()}
    request = urllib.request.Request(site.url + path, headers=asked)
    try:
        with urllib.request.urlopen(request) as answer:
            return answer.status, answer.headers, answer.read()
    except HTTPError as answer:
        return answer.code, answer.headers, answer.read()


def scripts(site) -> tuple[list[str], list[str]]:
    """Addresses of the scripts that the shell names: to open a check, and for later."""
    _status, _heads, shell = get(site, "/tablet/")
    return tuple(
        re.findall(rf'<link rel="{rel}" href="([^"]+\.js)">', shell.decode())
        for rel in ("modulepreload", "prefetch")
    )


def test_opening_a_check_costs_25_kb_of_scripts_and_all_screens_45(live_site):
    pytest.importorskip("minify", reason="no wheel here: served as written")
    opening, later = scripts(live_site)
    weights = {
        path: len(get(live_site, path, Accept_Encoding="gzip")[2])
        for path in opening + later
    }
    names = {path.rpartition("/")[2] for path in weights}
    _status, _heads, worker = get(live_site, "/tablet/sw.js")
    kept = json.loads(re.search(r"const FILES = (\[.*?\]);", worker.decode())[1])
    assert names == {
        path.rpartition("/")[2] for path in kept if path.endswith(".js")
    }  # Nothing is weighed less by being left out of the shell.
    assert sum(weights[path] for path in opening) <= OPENING_A_CHECK, weights
    assert sum(weights.values()) <= ALL_SCRIPTS, weights


@pytest.mark.parametrize(
    "address", ["script", "/tablet/", "/tablet/sw.js", "/static/shop/site.css"]
)
def test_text_for_everybody_comes_compressed_to_who_can_read_it(live_site, address):
    path = max(scripts(live_site)[0], key=len) if address == "script" else address
    status, heads, packed = get(live_site, path, Accept_Encoding="br;q=1, gzip")
    assert (status, heads["Content-Encoding"]) == (200, "gzip")
    assert "Accept-Encoding" in heads["Vary"]
    assert int(heads["Content-Length"]) == len(packed)
    _status, plain_heads, plain = get(live_site, path, Accept_Encoding="gzip;q=0, *")
    assert plain_heads["Content-Encoding"] is None
    assert "Accept-Encoding" in plain_heads["Vary"]
    assert gzip.decompress(packed) == plain
    assert len(packed) < 0.7 * len(plain)
    assert plain_heads["Content-Type"] == heads["Content-Type"]
    # One tag for each of the two, and either is enough the next time.
    assert heads["ETag"] != plain_heads["ETag"]
    for told, encoding in ((heads, "gzip"), (plain_heads, "identity")):
        again = get(
            live_site, path, If_None_Match=told["ETag"], Accept_Encoding=encoding
        )
        assert (again[0], again[1]["ETag"], again[2]) == (304, told["ETag"], b"")


def test_a_script_of_the_tablet_is_never_asked_for_twice(live_site):
    _status, heads, _script = get(live_site, scripts(live_site)[0][0])
    assert "immutable" in heads["Cache-Control"]


def test_a_check_opens_with_nothing_but_what_opening_costs(page, live_site):
    check = a_check()
    opening, later = scripts(live_site)
    asked = set()

    def only_what_it_costs(route):
        path = route.request.url.removeprefix(live_site.url)
        if path in opening:
            asked.add(path)
            return route.continue_()
        return route.abort()

    page.context.route("**/tablet/release/**/*.js", only_what_it_costs)
    open_check(bring_a_session(page, live_site, "builder"), live_site, check)
    at(page, "1", "gap")
    assert later
    assert asked == set(opening)


@pytest.mark.parametrize("workers", ["allow", "block"])
def test_screens_that_came_later_open_without_a_network(browser, live_site, workers):
    """With a service worker, which keeps all before it serves, and on plain http,
    where the browser's own cache does once the page has fetched them."""
    check = a_check()
    _opening, later = scripts(live_site)
    context = browser.new_context(service_workers=workers)
    page = context.new_page()
    loaded = set()
    page.on("requestfinished", lambda request: loaded.add(request.url))
    open_check(bring_a_session(page, live_site, "builder"), live_site, check)
    if workers == "allow":
        page.evaluate("navigator.serviceWorker.ready.then(() => null)")
        kept = page.evaluate(
            """async (paths) => {
              const found = await Promise.all(paths.map((path) => caches.match(path)));
              return found.every(Boolean);
            }""",
            later,
        )
        assert kept
    else:
        wanted = {live_site.url + path for path in later}
        while not wanted <= loaded:
            page.wait_for_event("requestfinished")
    context.set_offline(True)
    page.locator("#unsent").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What is on this tablet")
    page.get_by_role("link", name="Checks").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Checks on this tablet")
    context.close()
