"""The tablet page in a real browser against the real server: one check, end to end."""

import pytest
from playwright.sync_api import expect

from qa.models import Nonconformance, Reading
from shop.models import Person
from tests.browser.at_the_tablet import (
    a_check,
    all_sent,
    at,
    open_check,
    readings,
    standing,
    tap,
)
from tests.browser.conftest import bring_a_session, one_page, one_site
from tests.qa.making import make_check, make_fit_up, read_all

live_site, page = one_site, one_page


def only_reading(check):
    return Reading.objects.get(fit_check=check)


def test_the_pad_logs_a_check_and_goes_on_by_itself(desk, check):
    at(desk, "1", "gap")
    tap(desk, "2.35")
    at(desk, "1", "flush")
    tap(desk, "-0.2")
    at(desk, "2", "gap")
    expect(desk.locator(".progress")).to_have_text("2 of 8")
    all_sent(desk)
    assert standing(check) == {
        ("1", "gap"): ("value", "2.35", "mm", "conforms"),
        ("1", "flush"): ("value", "-0.2", "mm", "conforms"),
    }


def test_the_verdict_shows_while_typing_in_word_and_shape(desk):
    tap(desk, "3.2", ok=False)
    expect(desk.locator(".verdict")).to_have_text("above, 0.20 over")
    expect(desk.locator(".verdict .s-above")).to_have_count(1)
    tap(desk, "5", ok=False)
    expect(desk.locator(".verdict")).to_have_text("above, 0.25 over")
    desk.get_by_role("button", name="Clear").click()
    tap(desk, "0.88", ok=False)
    expect(desk.locator(".verdict")).to_have_text("below, 0.62 under")


def test_a_whole_check_ends_in_nonconformances(desk, check):
    values = ["1.2", "0.1", "1.3", "0.1", "2", "0.9", "2.5", "0"]
    for value in values:
        tap(desk, value)
    expect(desk.locator(".summary h1")).to_have_text("Everything is measured")
    desk.get_by_role("button", name="Finish the check").click()
    expect(desk.locator(".summary h1")).to_have_text("The check is finished")
    onwards = desk.get_by_role("link", name="What next?")
    expect(onwards).to_have_attribute("href", f"/tablet/next/{check.entry_id}")
    finding = desk.get_by_label("gap tight, stations 1, 2, worst 0.30 mm under at 1")
    expect(finding).to_be_checked()
    desk.get_by_label("proud, station 3").uncheck()
    desk.get_by_role("button", name="Raise nonconformances").click()
    expect(desk.locator(".raised li")).to_have_count(1)
    raised = Nonconformance.objects.filter(fit_check=check)
    assert [one.kind for one in raised] == ["gap_tight"]


def test_correcting_a_saved_reading_asks_why_and_keeps_both(desk, check):
    tap(desk, "2.35")
    at(desk, "1", "flush")
    desk.get_by_role("button", name="Back", exact=True).click()
    at(desk, "1", "gap")
    tap(desk, "2.53")
    desk.get_by_role("dialog").get_by_role("button", name="Typed wrong").click()
    at(desk, "1", "flush")
    all_sent(desk)
    assert standing(check)["1", "gap"][1] == "2.53"
    newer = Reading.objects.get(fit_check=check, value="2.53")
    assert (newer.supersedes.value, newer.reason) == ("2.35", "Typed wrong")


def test_a_reason_in_own_words_is_sent_by_enter(desk, check):
    tap(desk, "2.35")
    desk.get_by_role("button", name="Back", exact=True).click()
    tap(desk, "2.53")
    words = desk.get_by_label("Or in your own words")
    words.fill("the strap was loose")
    words.press("Enter")
    at(desk, "1", "flush")
    all_sent(desk)
    newer = Reading.objects.get(fit_check=check, value="2.53")
    assert newer.reason == "the strap was loose"


def undo(page, sure=True):
    """Take the last saved reading back, and say so."""
    page.get_by_role("button", name="Undo").click()
    answer = "Take it back" if sure else "Keep it"
    page.get_by_role("dialog").get_by_role("button", name=answer).click()


@pytest.mark.parametrize(
    ("saved", "keys", "stands"),
    [("0.3", "1", "1"), ("2.35", "-1", "-1"), ("2.35", "", "2.35")],
)
def test_after_undo_the_old_value_is_marked_and_the_first_key_replaces_it(
    desk, check, saved, keys, stands
):
    tap(desk, saved)
    at(desk, "1", "flush")
    undo(desk)
    at(desk, "1", "gap")
    expect(desk.locator("input.number")).to_have_value(saved)
    expect(desk.locator(".reading.marked")).to_be_visible()
    expect(desk.locator(".last")).to_have_text("Marked: a key replaces it.")
    expect(desk.locator(".progress")).to_have_text("0 of 8")
    tap(desk, keys)
    at(desk, "1", "flush")
    all_sent(desk)
    assert standing(check)["1", "gap"][1] == stands
    assert readings(check) == 3


def test_undo_asks_before_it_takes_a_saved_reading_back(desk, check):
    tap(desk, "2.35")
    at(desk, "1", "flush")
    undo(desk, sure=False)
    at(desk, "1", "flush")
    # What was only typed goes key by key, without a question.
    tap(desk, "0.12", ok=False)
    desk.get_by_role("button", name="Undo").click()
    expect(desk.locator("input.number")).to_have_value("0.1")
    all_sent(desk)
    assert standing(check)["1", "gap"][1] == "2.35"
    assert readings(check) == 1


def test_a_number_that_is_only_typed_never_stands_above_saved(desk):
    tap(desk, "2.35")
    desk.get_by_role("button", name="Back", exact=True).click()
    at(desk, "1", "gap")
    expect(desk.locator(".last")).to_contain_text("saved")
    tap(desk, "7", ok=False)
    expect(desk.locator(".last")).to_have_text(
        "Not saved: OK saves it. 2.35 mm stands."
    )
    desk.get_by_role("button", name="Clear").click()
    expect(desk.locator(".last")).to_contain_text("saved")


def test_skipping_takes_a_reason_and_goes_on(desk, check):
    desk.get_by_role("button", name="Skip").click()
    desk.get_by_role("dialog").get_by_role("button", name="Cannot reach").click()
    at(desk, "1", "flush")
    all_sent(desk)
    assert only_reading(check).reason == "Cannot reach"
    assert standing(check)["1", "gap"][0] == "skipped"


def test_clearing_a_reading_leaves_the_place_open(desk, check):
    tap(desk, "2.35")
    desk.get_by_role("button", name="Back", exact=True).click()
    desk.get_by_role("button", name="Clear").click()
    desk.get_by_role("dialog").get_by_role("button", name="Misread").click()
    at(desk, "1", "flush")
    expect(desk.locator(".progress")).to_have_text("0 of 8")
    all_sent(desk)
    assert standing(check)["1", "gap"][0] == "cleared"


def test_a_feeler_pair_is_a_reading(desk, check):
    desk.get_by_role("button", name="Feeler").click()
    tap(desk, "2.0")
    expect(desk.get_by_role("button", name="does not go")).to_have_attribute(
        "aria-pressed", "true"
    )
    tap(desk, "2.1")
    at(desk, "1", "flush")
    all_sent(desk)
    reading = only_reading(check)
    assert (reading.goes, reading.does_not_go, reading.value_nm) == (
        "2.0",
        "2.1",
        2_050_000,
    )


def test_the_feeler_stays_on_until_it_is_put_off(desk, check):
    feeler = desk.get_by_role("button", name="Feeler")
    goes = desk.get_by_role("button", name="goes", exact=False).first
    feeler.click()
    tap(desk, "2.0")
    tap(desk, "2.1")
    at(desk, "1", "flush")
    expect(feeler).to_have_attribute("aria-pressed", "true")
    expect(goes).to_be_hidden()
    tap(desk, "0.1")
    at(desk, "2", "gap")
    expect(goes).to_be_visible()
    desk.reload()
    at(desk, "2", "gap")
    expect(goes).to_be_visible()
    feeler.click()
    expect(goes).to_be_hidden()
    expect(desk.locator("input.number")).to_be_visible()


def test_the_value_before_and_the_witnesses_stand_beside_the_field(page, live_site):
    engineer = Person.objects.get(username="engineer")
    old = a_check(8)
    read_all(old, gap="2.40", flush="0.1")
    placed = {"airframe": old.fit_up.airframe, "part": old.fit_up.part}
    again = make_fit_up(engineer, old.fit_up.joint, reason="refit", **placed)
    check = make_check(engineer, again)
    open_check(bring_a_session(page, live_site, "builder"), live_site, check)
    expect(page.locator(".reference")).to_have_text("Witness · before 2.40 mm")
    expect(page.locator("input.number")).to_have_accessible_description(
        "1.50 to 3.00 mm Witness · before 2.40 mm"
    )
    page.get_by_role("button", name="inch").click()
    expect(page.locator(".reference")).to_have_text("Witness · before 0.0945 in")


def test_a_slip_of_the_finger_asks_once(desk, check):
    tap(desk, "235")
    expect(desk.locator(".verdict")).to_contain_text("OK once more keeps it")
    assert readings(check) == 0
    desk.locator('[data-key="ok"]').click()
    at(desk, "1", "flush")
    all_sent(desk)
    assert standing(check)["1", "gap"][1] == "235"


def test_inches_are_kept_as_typed(desk, check):
    desk.get_by_role("button", name="inch", exact=True).click()
    expect(desk.locator("#limits")).to_have_text("0.0591 to 0.1181 in")
    tap(desk, "0.1")
    at(desk, "1", "flush")
    all_sent(desk)
    assert standing(check)["1", "gap"] == ("value", "0.1", "in", "conforms")
    assert only_reading(check).value_nm == 2_540_000


# All at once, as a busy machine would not always type it: the keys have their times
# before the page answers the first. Whether the browser would have gone on to press
# what has the focus, at the last key.
BURST = """keys => keys
  .map((key) => new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }))
  .map((down) => document.activeElement.dispatchEvent(down))
  .pop()"""


def type_as_a_gauge(page, value) -> bool:
    """Whether its Enter also presses the button that has the focus."""
    return page.evaluate(BURST, [*value, "Enter"])


def test_a_gauge_that_types_works_wherever_the_focus_is(desk, check):
    desk.locator("body").focus()
    for number, value in enumerate(["2.35", "0.10", "-0.05", "1.98", "2.00", "0.12"]):
        if number == 2:
            desk.get_by_role("button", name="Skip").focus()
        if number == 4:
            desk.get_by_role("button", name="List").focus()
        assert not type_as_a_gauge(desk, value)
        expect(desk.locator(".progress")).to_have_text(f"{number + 1} of 8")
    expect(desk.get_by_role("dialog")).to_have_count(0)
    all_sent(desk)
    found = [row.value for row in Reading.objects.filter(fit_check=check)]
    assert sorted(found) == sorted(["2.35", "0.10", "-0.05", "1.98", "2.00", "0.12"])
    assert standing(check)["2", "gap"][1] == "-0.05"


def test_a_gauge_does_not_mix_with_what_was_typed_before(desk, check):
    shown = desk.locator("#value, .number").first
    tap(desk, "1", ok=False)
    # As long as a hand takes to let go: what tells it from a gauge is this time.
    desk.wait_for_timeout(450)
    type_as_a_gauge(desk, "2.35")
    expect(shown).to_have_value("2.35")
    expect(desk.locator(".verdict")).to_contain_text("The gauge sent 2.35")
    assert readings(check) == 0
    desk.locator('[data-key="ok"]').click()
    at(desk, "1", "flush")


def test_the_map_and_the_list_are_equal_ways_to_a_station(desk):
    box = desk.get_by_role("button", name="Station 3:").bounding_box()
    # A little off: the nearest station counts.
    desk.mouse.click(box["x"] + box["width"] / 2 + 12, box["y"] + box["height"] / 2)
    at(desk, "3", "gap")
    desk.get_by_role("button", name="List").click()
    desk.get_by_role("button", name="Station 2 flush: not measured").click()
    at(desk, "2", "flush")


def test_a_check_can_be_done_with_the_keyboard_alone(desk, check):
    desk.keyboard.type("2.35", delay=60)
    desk.keyboard.press("Enter")
    at(desk, "1", "flush")
    for _ in range(60):
        desk.keyboard.press("Tab")
        if desk.evaluate("document.activeElement.closest('.station') !== null"):
            break
    desk.keyboard.press("ArrowRight")
    desk.keyboard.press("Enter")
    at(desk, "2", "gap")


def test_verdicts_are_announced(desk):
    tap(desk, "2.35")
    expect(desk.get_by_role("status")).to_have_text(
        "Station 1 gap: 2.35 mm conforms. Now station 1 flush."
    )
    tap(desk, "0.8")
    expect(desk.get_by_role("alert")).to_have_text(
        "Station 1 flush: 0.8 mm above, 0.30 over."
    )


def test_settings_stay_on_the_tablet(desk):
    desk.get_by_role("button", name="Settings").click()
    desk.get_by_label("larger, for small tablets").check()
    desk.get_by_label("left hand").check()
    desk.get_by_label("dark").check()
    desk.get_by_label("all gaps, then all flushness").check()
    desk.get_by_role("button", name="Keep").click()
    for _ in range(2):
        expect(desk.locator(".key").first).to_have_css("min-height", "128px")
        expect(desk.locator("html")).to_have_attribute("data-theme", "dark")
        desk.reload()
    tap(desk, "2")
    at(desk, "2", "gap")


def test_two_tablets_fill_one_check_and_a_person_chooses(
    desk, check, open_page, live_site
):
    other = open_check(
        bring_a_session(open_page("portrait"), live_site, "engineer"), live_site, check
    )
    desk.context.set_offline(True)
    tap(desk, "2.35")
    at(desk, "1", "flush")
    tap(other, "2.45")
    all_sent(other)
    desk.context.set_offline(False)
    all_sent(desk)
    expect(desk.get_by_role("button", name="Station 1: gap two values")).to_be_visible()
    desk.get_by_role("button", name="Back", exact=True).click()
    desk.get_by_role("button", name="2.45 mm").click()
    desk.get_by_role("dialog").get_by_role("button", name="more care").click()
    all_sent(desk)
    assert standing(check)["1", "gap"][1] == "2.45"
    expect(
        other.get_by_role("button", name="Station 1: gap 2.45 conforms")
    ).to_be_visible()
    assert readings(check) == 2


def test_an_expired_session_asks_again_and_loses_nothing(desk, check):
    tap(desk, "2.35")
    all_sent(desk)
    desk.context.clear_cookies()
    tap(desk, "0.1")
    dialog = desk.get_by_role("dialog")
    expect(dialog.get_by_role("heading", name="Sign in")).to_be_visible()
    dialog.get_by_label("Name").fill("builder")
    dialog.get_by_label("Password").fill("Test-shop-7")
    dialog.get_by_role("button", name="Sign in").click()
    all_sent(desk)
    at(desk, "2", "gap")
    assert standing(check)["1", "flush"][1] == "0.1"
