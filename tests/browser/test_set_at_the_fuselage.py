"""A door on two hinges and a latch at the tablet: checked, set otherwise at one hinge,
and checked again, most of it without a network; all of it on the server once."""

import pytest
from playwright.sync_api import expect

from qa.actions import checks
from qa.models import (
    AdjusterSetting,
    AppliedMove,
    Check,
    CheckState,
    FitPlan,
    FitUp,
    FitUpReason,
    PlanEnd,
    TrimCut,
)
from shop.ledger.verify import verify
from shop.models import Entry, Person
from tests.browser import at_the_tablet
from tests.browser.at_the_tablet import (
    all_sent,
    at,
    open_check,
    readings,
    standing,
    tap,
)
from tests.browser.conftest import bring_a_session
from tests.qa.hung import hung_check, read_displaced
from tests.qa.planned import a_check, take

pytestmark = pytest.mark.browser
STATIONS = 6
UPPER = "upper hinge: aft/fore"


def test_a_door_is_set_and_measured_again_without_a_network(page, live_site, axe):
    page.set_default_timeout(60_000)
    engineer = Person.objects.get(username="engineer")
    check = hung_check(engineer, STATIONS)
    read_displaced(check, (0, -0.0005, 0), (-0.9, 0, 0.2))
    bring_a_session(page, live_site, "builder")
    open_check(page, live_site, check)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.get_by_role("button", name="Finish", exact=True).click()
    finish(page)
    all_sent(page)
    page.get_by_role("link", name="What next?").click()
    step = page.locator(".steps li").first
    expect(step).to_contain_text("pper hinge: 0.9 mm aft")
    expect(page.locator(".offered li").first).to_contain_text("least work")
    assert axe(page) == []

    page.context.set_offline(True)
    page.reload()
    expect(step).to_contain_text("0.9 mm aft")
    expect(page.get_by_text("No contact.")).to_be_visible()
    page.context.set_offline(False)
    # An answer comes while somebody goes through it: the engineer took a plan.
    held = []
    page.route("**/api/checks/*/next?*", lambda route: held.append(route))
    with page.expect_request("**/api/checks/*/next?*"):
        page.reload()
    page.get_by_role("button", name="Go through it").first.click()
    plan = take(engineer, check, None)
    with page.expect_response("**/api/checks/*/next?*"):
        for route in held:
            route.continue_()
    page.context.set_offline(True)
    upper = page.locator("li[data-step]").filter(has_text="upper hinge, aft or fore")
    expect(upper.locator("output")).to_have_text("0.9 mm aft, as asked")
    keys = upper.get_by_role("button")
    assert all(key.bounding_box()["height"] >= 104 for key in keys.all())
    assert all(key.bounding_box()["width"] >= 104 for key in keys.all())
    keys.first.click()
    expect(upper.locator("output")).to_have_text(
        "0.8 mm aft, otherwise: asked 0.9 mm aft"
    )
    assert axe(page) == []
    # Nothing counts as done before somebody says so of each.
    record = page.get_by_role("button", name="Record what was done")
    record.click()
    expect(record).to_be_visible()
    for done in page.locator('li[data-asked="1"]').get_by_role("checkbox").all():
        done.check()
    record.click()
    expect(page.get_by_role("heading", name="Recorded")).to_be_visible()
    assert axe(page) == []
    page.get_by_role("button", name="Measure").click()

    at(page, "1", "gap")
    expect(page.locator(".reference")).to_contain_text("expected 2.")
    page.reload()
    at(page, "1", "gap")
    for number in range(1, STATIONS + 1):
        at(page, str(number), "gap")
        tap(page, "2.20")
        at(page, str(number), "flush")
        tap(page, "0")
    # After the last one the summary comes by itself.
    finish(page)
    expect(page.locator("#unsent")).not_to_have_text("all sent")
    assert (FitUp.objects.count(), AdjusterSetting.objects.count()) == (1, 0)

    page.context.set_offline(False)
    all_sent(page)
    made = {one.name: one for one in AdjusterSetting.objects.all()}
    assert (made[UPPER].change_nm, made[UPPER].asked_nm) == (800_000, 900_000)
    # What was gone through was no plan, so none is done by it.
    assert made[UPPER].plan is None
    assert not PlanEnd.objects.filter(plan=plan).exists()
    again = Check.objects.latest("number")
    assert again.fit_up == FitUp.objects.latest("number") != check.fit_up
    assert again.fit_up.reason == FitUpReason.SET
    assert again.state.state == CheckState.State.FINISHED
    assert readings(again) == 2 * STATIONS == len(standing(again))
    for form in ("set/1", "check/3"):
        assert Entry.objects.filter(form=form).count() == 1
    assert Entry.objects.filter(form="finish/1").count() == 2
    assert not verify().faults


def test_a_cut_is_taken_gone_through_and_recorded_without_a_network(page, live_site):
    page.set_default_timeout(60_000)
    engineer = Person.objects.get(username="engineer")
    check = hung_check(engineer, STATIONS)
    read_displaced(check, s3=-1.4)
    checks.finish_check(by=engineer, check=check)
    bring_a_session(page, live_site, "builder")
    page.goto(f"{live_site.url}/tablet/next/{check.entry_id}")
    ways = page.locator(".offered li")
    expect(ways.first).to_contain_text("least work")
    page.context.set_offline(True)
    trim = ways.filter(has_text="cut at 3").first
    trim.get_by_role("button", name="Take this plan").dblclick()  # as a glove does
    taken = page.get_by_text("Taken on this tablet.")
    expect(taken).to_be_visible()
    expect(page.get_by_role("button", name="Take this plan")).to_have_count(0)
    assert not FitPlan.objects.exists()
    # It gets there, but what comes of it does not come back: nothing is offered twice.
    page.route("**/api/checks/*/next?*", lambda route: route.abort())
    page.context.set_offline(False)
    expect(page.get_by_text("No contact.")).to_be_visible()
    all_sent(page)
    assert FitPlan.objects.count() == 1
    expect(taken).to_be_visible()
    expect(page.get_by_role("button", name="Take this plan")).to_have_count(0)
    page.unroute("**/api/checks/*/next?*")
    # Nobody has to ask: it comes by itself.
    expect(page.locator(".outcome")).to_contain_text("FP-0001:")
    expect(taken).to_be_hidden()
    expect(page.get_by_role("button", name="Go through it")).to_be_visible()
    plan = FitPlan.objects.get()
    assert (plan.entry.form, plan.entry.by.username) == ("take/1", "builder")

    page.context.set_offline(True)
    page.get_by_role("button", name="Go through it").first.click()
    (bite,) = plan.cuts.filter(bite_nm__gt=0).values_list("bite_nm", flat=True)
    asked = bite // 10_000 / 100
    row = page.locator('li[data-step][data-asked="1"]')
    expect(row.locator("output")).to_have_text(f"{asked:.2f} mm, as asked")
    row.get_by_role("button").first.click()
    less = f"{asked - 0.1:.2f} mm, otherwise: asked {asked:.2f} mm"
    expect(row.locator("output")).to_have_text(less)
    row.get_by_role("checkbox").check()
    page.get_by_role("button", name="Record what was done").click()
    expect(page.get_by_role("heading", name="Recorded")).to_be_visible()
    assert not TrimCut.objects.exists()
    page.context.set_offline(False)
    all_sent(page)
    (depth,) = TrimCut.objects.filter(depth_nm__gt=0).values_list("depth_nm", flat=True)
    assert depth == round(asked * 100 - 10) * 10_000
    assert Entry.objects.filter(form="cut/1").count() == 1
    assert not verify().faults


def test_a_free_door_is_moved_otherwise_than_asked_without_a_network(
    page, live_site, axe
):
    page.set_default_timeout(60_000)
    engineer = Person.objects.get(username="engineer")
    check = a_check(engineer)
    read_displaced(check, (0, 0, 0.001), (1.2, 0, 0))
    checks.finish_check(by=engineer, check=check)
    plan = take(engineer, check, None)
    bring_a_session(page, live_site, "builder")
    page.goto(f"{live_site.url}/tablet/next/{check.entry_id}")
    expect(page.locator(".steps li").first).to_contain_text("left")
    page.context.set_offline(True)
    page.get_by_role("button", name="Go through it").first.click()
    asked = page.locator('li[data-step][data-asked="1"]')
    along = asked.filter(has_text="sliding along x, right or left")
    expect(along.locator("output")).to_have_text("1.20 mm left, as asked")
    # No word is wider than its key.
    fits = "keys => keys.every(key => key.scrollWidth <= key.clientWidth)"
    assert asked.get_by_role("button").evaluate_all(fits)
    longest = """keys => keys.every(key => {
      const words = key.textContent;
      key.classList.add("long");
      key.textContent = "0.10 " + "w".repeat(20);
      const high = key.scrollHeight <= key.clientHeight;
      const fits = high && key.scrollWidth <= key.clientWidth;
      key.classList.remove("long");
      key.textContent = words;
      return fits;
    })"""
    assert asked.get_by_role("button").evaluate_all(longest)
    keys = along.get_by_role("button").all()
    assert all(key.bounding_box()["height"] >= 104 for key in keys)
    keys[0].click()
    expect(along.locator("output")).to_have_text(
        "1.30 mm left, otherwise: asked 1.20 mm left"
    )
    assert axe(page) == []
    for done in asked.get_by_role("checkbox").all():
        done.check()
    page.get_by_role("button", name="Record what was done").click()
    expect(page.get_by_role("heading", name="Recorded")).to_be_visible()
    page.get_by_role("button", name="Measure").click()
    at(page, "1", "gap")
    expect(page.locator(".reference")).to_contain_text("expected 2.")
    assert not AppliedMove.objects.exists()

    page.context.set_offline(False)
    all_sent(page)
    (move,) = AppliedMove.objects.all()
    x = next(one["amount"] for one in move.amounts if one["name"] == "x")
    assert (x, move.plan) == ("-1.3000", plan)
    again = Check.objects.latest("number")
    assert again.fit_up.reason == FitUpReason.MOVE
    assert Entry.objects.filter(form="move/3").count() == 1 and not verify().faults


def test_a_tablet_that_comes_back_with_readings_asks_once_what_is_next(page, live_site):
    """Each that lands may change what comes next: while one answer is worked out, all
    of them together ask for one more."""
    engineer = Person.objects.get(username="engineer")
    check = hung_check(engineer, STATIONS)
    read_displaced(check, s3=-1.4)
    checks.finish_check(by=engineer, check=check)
    other = at_the_tablet.a_check()
    bring_a_session(page, live_site, "builder")
    next_page = f"{live_site.url}/tablet/next/{check.entry_id}"
    page.goto(next_page)
    expect(page.locator(".offered li").first).to_contain_text("least work")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    open_check(page, live_site, other)
    page.context.set_offline(True)
    for number in "123":
        at(page, number, "gap")
        tap(page, "2.20")
        at(page, number, "flush")
        tap(page, "0")
    at(page, "4", "gap")  # the last one is kept
    page.goto(next_page)
    expect(page.get_by_text("No contact.")).to_be_visible()

    asked = []

    def hold(route):
        asked.append(route)
        if len(asked) > 1:
            route.continue_()

    page.route("**/api/checks/*/next?*", hold)
    with page.expect_request("**/api/checks/*/next?*"):
        page.context.set_offline(False)
    all_sent(page)
    assert (readings(other), len(asked)) == (6, 1)
    with page.expect_response("**/api/checks/*/next?*"):
        asked[0].continue_()
    expect(page.get_by_text("No contact.")).to_be_hidden()
    page.wait_for_load_state("networkidle")
    assert len(asked) == 2


def finish(page):
    page.get_by_role("button", name="Finish the check").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("The check is finished")
