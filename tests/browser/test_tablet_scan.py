"""Scanning labels in the tablet page.

Chromium on Linux has no BarcodeDetector: the page gets one that reads what the test
holds before its camera. Its shell has no camera either: there the page gets one that
shows a canvas, where the real permission is given. The camera is the browser's own in
one journey, in the whole browser; all of our code is real everywhere.
"""

import pytest
from playwright.sync_api import expect

from qa.models import Joint
from shop.identifiers import KINDS
from shop.models import Part, Person
from tests.browser.at_the_tablet import a_check, all_sent, at
from tests.browser.conftest import bring_a_session, one_site
from tests.qa.making import make_joint, make_part
from tests.shop.making_floor import make_tool

READER = """
  globalThis.BarcodeDetector = class {
    static getSupportedFormats = async () => ["qr_code"];
    async detect(video) {
      if (!video.videoWidth) throw new DOMException("", "InvalidStateError");
      return globalThis.held ? [{ rawValue: globalThis.held }] : [];
    }
  };
  globalThis.streams = [];
  const ask = ASK;
  navigator.mediaDevices.getUserMedia = async (...wanted) => {
    const stream = await ask(...wanted);
    globalThis.streams.push(stream);
    return stream;
  };
"""
OWN_CAMERA = "navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices)"
CANVAS = """async () => {
    const { state } = await navigator.permissions.query({ name: "camera" });
    if (state !== "granted") throw new DOMException("", "NotAllowedError");
    const canvas = document.createElement("canvas");
    canvas.getContext("2d").fillRect(0, 0, 9, 9);
    return canvas.captureStream(5);
  }"""
STATES = "streams.flatMap((one) => one.getTracks()).map((one) => one.readyState)"
SCAN = "Scan a label"


live_site = one_site


@pytest.fixture(scope="module")
def reads_codes(kept_page):
    kept_page[0].add_init_script(READER.replace("ASK", CANVAS))


@pytest.fixture
def start(one_page, reads_codes, live_site, check):
    """The start screen of a tablet whose browser reads codes."""
    one_page.context.grant_permissions(["camera"])
    return started(one_page, live_site, check)


def started(page, site, *checks):
    bring_a_session(page, site, "builder").goto(f"{site.url}/tablet/")
    carried(page, *checks)
    all_sent(page)
    return page


def carried(page, *checks):
    for check in checks:
        shown = page.locator(f".checks a[href$='{check.entry_id}']")
        expect(shown).to_be_visible()


def scan(page):
    hold(page, "")
    page.get_by_role("button", name=SCAN).click()
    expect(page.get_by_role("dialog").get_by_role("heading", name=SCAN)).to_be_visible()
    page.wait_for_function(
        "() => document.querySelector('dialog video')?.videoWidth > 0"
    )


def new_check(page):
    page.get_by_role("link", name="New check").click()
    expect(page.get_by_label("Instrument")).to_be_visible()


def hold(page, text):
    page.evaluate("text => { globalThis.held = text }", text)


def label_of(live_site, kind, row) -> str:
    return f"{live_site.url}/t/{KINDS[kind].code(row.pk)}"


def camera_is_off(page):
    page.wait_for_function(f"() => {STATES}.every((state) => state === 'ended')")
    assert page.evaluate(f"{STATES}.length") > 0
    expect(page.locator("video")).to_have_count(0)


class TestOwnCamera:
    @pytest.fixture
    def browser(self, whole_browser):
        return whole_browser

    def test_a_refused_camera_says_so_and_with_one_a_fit_sheet_opens_its_check(
        self, open_page, live_site, check
    ):
        page = open_page()
        page.add_init_script(READER.replace("ASK", OWN_CAMERA))
        started(page, live_site, check)
        page.get_by_role("button", name=SCAN).click()
        dialog = page.get_by_role("dialog")
        expect(dialog.get_by_role("status")).to_contain_text("may not use the camera")
        page.keyboard.press("Escape")
        expect(dialog).to_have_count(0)
        page.context.grant_permissions(["camera"])
        scan(page)
        assert page.evaluate(STATES) == ["live"]
        hold(page, f"{live_site.url}/fit-checks/{check.entry_id}/")
        at(page, "1", "gap")
        assert page.url.endswith(f"/tablet/check/{check.entry_id}")
        camera_is_off(page)


def test_a_label_of_a_check_opens_it_without_a_network(start, live_site, check):
    # What a scan needs comes after the first screen.
    start.wait_for_load_state("networkidle")
    start.context.set_offline(True)
    scan(start)
    hold(start, label_of(live_site, "check", check))
    at(start, "1", "gap")


def test_a_label_of_a_part_starts_a_check_where_it_sits(start, live_site, check):
    other = a_check()
    start.get_by_role("button", name="Fetch what is new").click()
    carried(start, check, other)
    for one in (check, other):
        start.goto(f"{live_site.url}/tablet/")
        carried(start, check, other)
        scan(start)
        hold(start, label_of(live_site, "part", one.fit_up.part))
        part = start.get_by_role("combobox", name="Part", exact=True)
        expect(part.locator("option:checked")).to_have_text(one.fit_up.part.serial)
        camera_is_off(start)


def test_labels_fill_a_new_check(start, live_site, check):
    by = check.fit_up.entry.by
    second = make_joint(by, 4, type=check.fit_up.joint.type, name="Canopy to frame")
    spare = make_part(by)
    joints = Joint.objects.count()
    new_check(start)
    scan(start)
    hold(start, label_of(live_site, "joint", second))
    joint = start.get_by_role("combobox", name="Joint", exact=True)
    expect(joint.locator("option:checked")).to_contain_text("Canopy to frame")
    expect(joint).to_be_focused()
    scan(start)
    hold(start, label_of(live_site, "part", spare))
    part = start.get_by_role("combobox", name="Part", exact=True)
    expect(part.locator("option:checked")).to_have_text(spare.serial)
    # A part in the hand never takes the joint away that a person chose.
    expect(joint.locator("option:checked")).to_contain_text("Canopy to frame")
    expect(start.get_by_role("status").last).to_have_text(f"{spare.serial} is chosen.")
    scan(start)
    hold(start, label_of(live_site, "instrument", check.instrument))
    gauge = start.get_by_label("Instrument").locator("option:checked")
    expect(gauge).to_contain_text(check.instrument.code)
    camera_is_off(start)
    assert Joint.objects.count() == joints


def test_what_was_typed_into_a_new_check_is_not_lost_by_another_label(
    start, live_site, check
):
    mold = make_tool(Person.objects.get(username="lead"))
    new_check(start)
    start.get_by_label("Note").fill("left hinge is tight")
    scan(start)
    hold(start, label_of(live_site, "tool", mold))
    found = start.get_by_role("dialog")
    code = KINDS["tool"].code(mold.pk)
    expect(found.get_by_role("heading")).to_have_text(f"tool {code}")
    expect(found.get_by_role("button", name="Open its page")).to_be_visible()
    found.get_by_role("button", name="Back").click()
    expect(start.get_by_label("Note")).to_have_value("left hinge is tight")


def test_another_thing_opens_its_page_and_offline_says_what_it_is(
    start, live_site, check
):
    mold = make_tool(Person.objects.get(username="lead"))
    address = label_of(live_site, "tool", mold)
    start.wait_for_load_state("networkidle")
    start.context.set_offline(True)
    scan(start)
    hold(start, address)
    found = start.get_by_role("dialog")
    expect(found).to_contain_text(f"tool {KINDS['tool'].code(mold.pk)}")
    expect(found).to_contain_text("The server cannot be reached")
    expect(found.get_by_role("button", name="Take a photo of it")).to_be_visible()
    found.get_by_role("button", name="Back").click()
    start.context.set_offline(False)
    scan(start)
    hold(start, address)
    start.wait_for_url(f"**/tooling/{mold.pk}/")


@pytest.mark.parametrize(
    "text, words",
    [
        ("http://elsewhere.example/t/P1", "It leads to elsewhere.example"),
        ("WIFI:T:WPA;S:hangar;;", "It says: WIFI:T:WPA;S:hangar;;"),
    ],
)
def test_a_foreign_code_says_so_and_the_camera_goes_on(
    start, live_site, check, text, words
):
    scan(start)
    hold(start, text)
    note = start.get_by_role("dialog").get_by_role("status")
    expect(note).to_contain_text("not of this shop")
    expect(note).to_contain_text(words)
    hold(start, f"{live_site.url}/fit-checks/{check.entry_id}/")
    at(start, "1", "gap")


def by_escape(page):
    page.keyboard.press("Escape")


def by_its_key(page):
    page.get_by_role("dialog").get_by_role("button", name="Back").click()


def by_leaving(page):
    page.go_back()


def by_hiding(page):
    page.evaluate("""() => {
      Object.defineProperty(document, "hidden", { value: true });
      document.dispatchEvent(new Event("visibilitychange"));
    }""")


@pytest.mark.parametrize("end", [by_escape, by_its_key, by_leaving, by_hiding])
def test_the_camera_stops_however_the_question_ends(start, end):
    new_check(start)
    scan(start)
    assert start.evaluate(STATES) == ["live"]
    end(start)
    camera_is_off(start)
    expect(start.get_by_role("dialog")).to_have_count(0)


def test_a_camera_that_comes_after_the_question_was_closed_is_stopped(start):
    start.evaluate("""() => {
      const ask = navigator.mediaDevices.getUserMedia;
      navigator.mediaDevices.getUserMedia = async (...wanted) => {
        await new Promise((go) => (globalThis.allow = go));
        return ask(...wanted);
      };
    }""")
    start.get_by_role("button", name=SCAN).click()
    expect(start.get_by_role("dialog")).to_be_visible()
    start.keyboard.press("Escape")
    expect(start.get_by_role("dialog")).to_have_count(0)
    start.evaluate("allow()")
    start.wait_for_function("() => streams.length === 1")
    camera_is_off(start)


def test_a_refused_camera_says_so_and_the_code_can_be_typed(
    start, live_site, check, axe
):
    start.context.clear_permissions()
    start.get_by_role("button", name=SCAN).click()
    dialog = start.get_by_role("dialog")
    expect(dialog.get_by_role("status")).to_contain_text("may not use the camera")
    typed = dialog.get_by_label("Or type the code under the square")
    expect(typed).to_be_focused()
    assert axe(start) == []
    start.keyboard.type("zz!")
    start.keyboard.press("Enter")
    expect(dialog.get_by_role("status")).to_have_text("That is no code of a label.")
    expect(typed).to_have_value("zz!")
    expect(typed).to_have_attribute("aria-invalid", "true")
    typed.fill(KINDS["check"].code(check.pk).lower())
    start.keyboard.press("Enter")
    at(start, "1", "gap")


def test_scanning_is_done_with_the_keyboard_alone(start, live_site, check):
    start.get_by_role("button", name=SCAN).focus()
    start.keyboard.press("Enter")
    expect(start.get_by_role("dialog")).to_be_visible()
    start.keyboard.press("Escape")
    expect(start.get_by_role("dialog")).to_have_count(0)
    expect(start.get_by_role("button", name=SCAN)).to_be_focused()
    start.keyboard.press("Enter")
    expect(start.get_by_role("dialog")).to_be_visible()
    hold(start, label_of(live_site, "part", Part.objects.get(pk=check.fit_up.part_id)))
    expect(start.get_by_role("heading", name="New check")).to_be_focused()
    serial = check.fit_up.part.serial
    expect(start.get_by_role("status")).to_have_text(f"{serial} is chosen.")


def test_a_browser_that_reads_no_codes_is_offered_nothing(page, live_site, check):
    started(page, live_site, check)
    expect(page.get_by_role("button", name=SCAN)).to_have_count(0)
    new_check(page)
    expect(page.get_by_role("button", name=SCAN)).to_have_count(0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_while_scanning(
    open_page, live_site, check, axe, scheme
):
    page = open_page("portrait", color_scheme=scheme)
    page.context.grant_permissions(["camera"])
    page.add_init_script(READER.replace("ASK", CANVAS))
    bring_a_session(page, live_site, "builder").goto(f"{live_site.url}/tablet/new")
    expect(page.get_by_label("Instrument")).to_be_visible()
    assert axe(page) == []
    scan(page)
    hold(page, "http://elsewhere.example/")
    expect(page.get_by_role("dialog")).to_contain_text("not of this shop")
    assert axe(page) == []
    for key in page.locator("dialog button:visible, dialog input:visible").all():
        box = key.bounding_box()
        assert min(box["width"], box["height"]) >= 47.5, box
