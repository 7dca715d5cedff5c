"""What the tablet page weighs, how large its keys are, and whether all can use it."""

import pytest
from django.test import Client
from playwright.sync_api import expect

from shop.models import Person
from tests.browser.at_the_tablet import a_check, all_sent, at, open_check, tap
from tests.browser.conftest import bring_a_session, hold, one_page, one_site
from tests.conftest import TABLETS
from tests.qa.making import read_all

# Over the wire: the empty shell, styles, all scripts and one check of 24 stations.
MOST_PAGE_BYTES = 120 * 1024
# The map, then each value with its sign.
BOXES = """[...document.querySelectorAll(".map, .map .value > g")]
  .map((one) => one.getBoundingClientRect().toJSON())"""
# Values large enough for an arm's length, in CSS pixels.
NEAR = """() => {
  const texts = [...document.querySelectorAll(".map .value text")];
  const size = (one) => Number(one.getAttribute("font-size"));
  const most = Math.max(...texts.map(size));
  const scale = document.querySelector(".map").getScreenCTM().a;
  return texts.filter((one) => size(one) === most).map((one) => ({
    px: size(one) * scale, ...one.getBoundingClientRect().toJSON(),
  }));
}"""
TOUCH_PX = 48  # 11 mm is 44 to 57 px on 10-inch tablets; WCAG 2.5.5 asks 44


live_site, page = one_site, one_page


def opened(page, site, check):
    return open_check(bring_a_session(page, site, "builder"), site, check)


def test_the_page_weighs_under_120_kb_over_the_wire(open_page, live_site):
    page, check = open_page(), a_check(24)
    bring_a_session(page, live_site, "builder")
    answers = []
    page.on("requestfinished", lambda request: answers.append(request))
    open_check(page, live_site, check)
    page.wait_for_load_state("networkidle")
    weights = {one.url: one.sizes()["responseBodySize"] for one in answers}
    assert 10_000 < sum(weights.values()) < MOST_PAGE_BYTES, weights


def boxes(page, which) -> list[dict]:
    script = "all => all.map((one) => one.getBoundingClientRect().toJSON())"
    return page.locator(which).evaluate_all(script)


def test_keys_are_20_mm_and_all_fits_the_screen(page, live_site):
    check = a_check(24)
    for tablet, (_width, height) in TABLETS.items():
        hold(page, tablet)
        opened(page, live_site, check)
        for keys, size in (("", 104), ("large", 128)):
            page.evaluate("it => document.documentElement.dataset.keys = it", keys)
            there = boxes(page, ".key")
            assert len(there) > 12
            for box in there:
                assert min(box["width"], box["height"]) >= size - 0.5, (tablet, box)
                assert box["bottom"] <= height + 0.5, (tablet, keys)
            for box in boxes(page, "button:visible, a:visible"):
                assert min(box["width"], box["height"]) >= TOUCH_PX - 0.5, box
            (drawing,) = boxes(page, ".map")
            assert drawing["height"] > 300


def test_values_of_the_station_in_hand_and_its_neighbors_are_18_px_and_whole(
    page, live_site
):
    check = a_check(48)
    read_all(check, flush="-0.05")
    for tablet in TABLETS:
        hold(page, tablet)
        opened(page, live_site, check)
        page.get_by_role("button", name="Back", exact=True).click()
        drawing = page.locator(".map").bounding_box()
        for _station in range(12):
            page.get_by_role("button", name="Forward").click()
            texts = page.evaluate(NEAR)
            # Gap and flushness of three stations; their figures, not their font alone.
            assert len(texts) == 6
            for one in texts:
                assert one["px"] >= 18, texts
                assert drawing["x"] < one["left"]
                assert one["right"] < drawing["x"] + drawing["width"]
                assert drawing["y"] < one["top"]
                assert one["bottom"] < drawing["y"] + drawing["height"] + 2


def test_values_on_the_map_stand_apart_and_inside(page, live_site):
    hold(page, "portrait")
    for stations in (4, 24, 32):
        check = a_check(stations)
        read_all(check, flush="-0.05")
        opened(page, live_site, check)
        page.get_by_role("button", name="Back").click()
        stand_apart(page.evaluate(BOXES), stations)


def stand_apart(boxes, stations):
    # What the large values of three stations stand on is left out.
    assert 2 * stations - 18 <= len(boxes) - 1 <= 2 * stations
    drawing, *values = boxes
    for number, one in enumerate(values):
        assert drawing["left"] < one["left"] and one["right"] < drawing["right"]
        assert drawing["top"] < one["top"] and one["bottom"] < drawing["bottom"]
        for other in values[number + 1 :]:
            over = min(one["right"], other["right"]) - max(one["left"], other["left"])
            under = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
            # Lines of one station may touch: a box is higher than its figures.
            assert over <= 0 or under <= 4, (one, other)


@pytest.mark.parametrize("held", ["landscape", "portrait"])
def test_nothing_moves_under_a_finger_at_finish_and_back(page, live_site, held):
    hold(page, held)
    opened(page, live_site, a_check())
    places = lambda: [  # noqa: E731
        page.locator(one).bounding_box() for one in (".sheet", "[data-do=summary]")
    ]

    def touched(name, then) -> str:
        """Touch a button; return what a second touch of that place would do once
        the page says what it says then."""
        button = page.get_by_role("button", name=name, exact=True)
        box = button.bounding_box()
        button.click()
        expect(page.get_by_role("heading", name=then, level=1)).to_be_visible()
        return page.evaluate(
            """([x, y]) => document.elementFromPoint(x, y)
                .closest("[data-do]")?.dataset.do ?? "" """,
            [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2],
        )

    before = places()
    for _ in range(2):
        assert touched("Finish", "Not finished yet") == "summary"
        expect(page.locator(".summary h1")).to_be_focused()
        assert places() == before
        assert touched("Back to measuring", "Station 1 gap") == ""
        at(page, "1", "gap")
        assert places() == before
    for value in ["1.2", "0.1", "2.9", "0.9", "2", "0", "2", "0"]:
        tap(page, value)
    expect(page.locator(".summary h1")).to_have_text("Everything is measured")
    counts = page.locator(".counts").bounding_box()
    assert touched("Finish the check", "The check is finished") == ""
    expect(page.get_by_role("button", name="Raise nonconformances")).to_be_visible()
    assert places() == before
    # A button is 56 high: by so little no other comes under a finger.
    assert abs(page.locator(".counts").bounding_box()["y"] - counts["y"]) < 8


def test_at_200_percent_zoom_nothing_is_cut_off(page, live_site):
    page.set_viewport_size({"width": 640, "height": 400})
    opened(page, live_site, a_check())
    assert page.evaluate("document.documentElement.scrollWidth") <= 640
    tap(page, "2.35")
    at(page, "1", "flush")


def test_axe_finds_nothing_serious_in_any_state(page, live_site, axe):
    def clean():
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert axe(page) == [], scheme

    opened(page, live_site, a_check())
    for value in ["1.2", "0.1", "3.9", "2.0"]:
        tap(page, value)
    page.locator('[data-key="ok"]').click()
    clean()
    page.get_by_role("button", name="List").click()
    clean()
    page.get_by_role("button", name="Skip").click()
    expect(page.get_by_role("dialog")).to_be_visible()
    clean()
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Settings").click()
    clean()
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Feeler").click()
    clean()
    page.get_by_role("button", name="Finish").click()
    clean()
    all_sent(page)
    page.context.set_offline(True)
    for name in ("Checks", "all sent"):
        page.get_by_role("link", name=name, exact=True).click()
        expect(page.locator(".page h1")).to_be_visible()
        clean()


def test_the_shell_is_the_same_for_everybody(live_site):
    builder, stranger = Client(), Client()
    builder.force_login(Person.objects.get(username="builder"))
    for path in ("/tablet/", "/tablet/check/x", "/tablet/store"):
        first, second = builder.get(path), stranger.get(path)
        assert first.status_code == second.status_code == 200
        assert first.content == second.content
        assert "max-age" in second["Cache-Control"]
        # A browser would keep it for one session only.
        assert "Cookie" not in first.get("Vary", "")
    assert b"csrf" not in second.content
