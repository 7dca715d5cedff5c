"""A plan taken and gone through at the fuselage, whatever fails on the way: for the
shifts of test_outbox_faults.

A person looks at what the page shows, and does again what left nothing there.
"""

import contextlib
import re
import time

from playwright.sync_api import Error as BrowserError

from qa.actions import checks
from tests.qa.hung import hung_check, read_displaced

STATIONS = 6
TAKE = '.offered li:has-text("cut at 3") [data-do="take"]'
TAKEN = '.next[data-taken], .outcome:has-text("FP-")'
WALK = '.outcome:has-text("FP-") ~ p [data-do="walk"]'
RECORDED = '.next[data-state="done"]'
SIGN_IN = '#unsent:has-text("sign in")'


def a_tight_door(engineer):
    """A finished check of a door that is to be cut at station 3."""
    check = hung_check(engineer, STATIONS)
    read_displaced(check, s3=-1.4)
    checks.finish_check(by=engineer, check=check)
    return check


def take_and_cut(shift) -> int:
    """Take the plan that cuts, go through it a step less than asked; nm that came off.

    Only what the server worked out needs it: all else may be done without a network.
    """
    came_off = []
    shift.context.set_offline(False)
    until_shown(shift, TAKE, shift.load_again)
    shift.maybe_happen()
    until_shown(shift, TAKEN, lambda: shift.page.locator(TAKE).click(timeout=5000))
    shift.maybe_happen()
    shift.context.set_offline(False)
    until_shown(shift, WALK, shift.load_again)
    shift.maybe_happen()
    until_shown(shift, RECORDED, lambda: came_off.append(walked(shift.page)))
    shift.maybe_happen()
    return came_off[-1]


def until_shown(shift, shown: str, act, seconds=150):
    """As it drains: at first with faults. Nothing is done while something is asked: to
    load the page again would cut off who is signing in."""
    began, wrong = time.monotonic(), ""
    while time.monotonic() < began + seconds:
        shift.proxy.faulty = time.monotonic() < began + 10
        page = shift.page
        there = page.locator(f"{shown} >> visible=true")
        asked = page.locator(f"dialog[open], {SIGN_IN}")
        try:
            if not there.or_(asked).count():
                act()
            there.or_(asked).first.wait_for(timeout=20_000)
            if there.count():
                shift.proxy.faulty = True
                return
            sign_in(shift)
        except BrowserError as error:
            wrong = str(error)
    said = shift.page.inner_text("body")[:1500]
    raise AssertionError(f"{shown}: {wrong}, {shift.happened}: {said}")


def sign_in(shift):
    """The bar asks for it, or a question does. While an answer is on its way, asking
    once more brings no second question."""
    dialog = shift.page.locator("dialog[open]")
    if not dialog.count():
        shift.page.locator("#who").click(timeout=5000)
        with contextlib.suppress(BrowserError):
            dialog.wait_for(timeout=10_000)
    shift.answer_questions(patience=10_000)


def walked(page) -> int:
    """Once through the rows, as a hand does it, with one step of a hinge that nothing
    asked for: what is recorded to be cut, nm."""
    cut = page.locator("li[data-step]").filter(has_text="station 3")
    hinge = page.locator("li[data-step]").filter(has_text="upper hinge").first
    if not cut.is_visible():
        page.locator(WALK).click(timeout=5000)
    page.get_by_label("Show also what was not asked").check(timeout=5000)
    for row in (cut, hinge):
        if "otherwise" not in row.locator("output").inner_text(timeout=5000):
            row.get_by_role("button").first.click(timeout=5000)
    cut.get_by_role("checkbox").check(timeout=5000)
    told = cut.locator("output").inner_text(timeout=5000)
    with contextlib.suppress(BrowserError):  # a question may have come up
        page.locator('[data-do="record"]').click(timeout=5000)
    return round(float(re.match(r"[\d.]+", told)[0]) * 100) * 10_000
