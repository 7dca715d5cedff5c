"""Upper and lower cowl, at the desk: from their checks to one plan for both, to the
moves and the cut, and to the check after them."""

import pytest
from playwright.sync_api import expect

from qa.actions import checks
from qa.models import AppliedMove, FitPlan, PlanEnd, StandingPlan, TrimCut
from qa.queries.plans.plan_pages import view_of
from qa.rules import plan_records
from shop.models import Person
from tests.browser.conftest import bring_a_session
from tests.browser.test_door_that_does_not_fit import record_as_asked
from tests.qa.cowls import make_cowls, read_cowls
from tests.qa.making import make_check, read

pytestmark = pytest.mark.browser


def test_two_cowl_halves_are_planned_taken_done_and_measured_again_together(
    page, live_site, axe
):
    page.set_default_timeout(60_000)
    engineer = Person.objects.get(username="engineer")
    cowls = make_cowls(engineer)
    off = ((0, 0, 0), (0.9, -0.3, 0.2)), ((0, 0, 0), (-0.5, 0.4, 0))
    read_cowls(cowls, *off, left3=-2.4, left2=-2.2)
    for check in cowls.checks.values():
        checks.finish_check(by=engineer, check=check)
    bring_a_session(page, live_site, "builder")
    joint = cowls.joints["upper"]
    page.goto(f"{live_site.url}/joints/{joint.pk}/on/{cowls.airframe.pk}/")
    page.get_by_role("link", name="Plan it with others").click()
    expect(page.locator(".plan-verdict")).to_contain_text("Both can fit")
    assert axe(page) == []
    # First as if the lower one stayed, then both go.
    lower = page.get_by_label(f"How {cowls.lower.serial} may go")
    lower.select_option("fixed")
    page.get_by_role("button", name="Plan together").click()
    expect(lower).to_have_value("fixed")
    second = page.get_by_role("heading", name=f"2. {cowls.upper.serial}")
    expect(second).to_have_count(0)
    lower.select_option("free")
    page.get_by_role("button", name="Plan together").click()
    expect(lower).to_have_value("free")
    expect(second).to_be_visible()
    page.get_by_role("button", name="Take these plans").click()
    expect(page.locator(".messages")).to_contain_text("FP-0001, FP-0002 are on record")
    assert axe(page) == []
    plans = list(FitPlan.objects.order_by("number"))
    for plan in plans:
        page.get_by_role("link", name=f"Do {plan}").click()
        expect(page.get_by_text("Taken together with other parts")).to_be_visible()
        if plan.cuts.exists():
            page.get_by_role("link", name="Record what came off").click()
            record_as_asked(page)
        else:
            page.get_by_role("link", name="Record a move").click()
            page.get_by_role("button", name="Record this move").click()
        page.wait_for_url("**/joints/**")
        page.goto(f"{live_site.url}/plans/{plan.number}/together/")
        expect(page.get_by_text(f"{plan} is done")).to_be_visible()
        expect(page.get_by_text("Overtaken, do not cut")).to_have_count(0)
    assert StandingPlan.objects.count() == 0 and PlanEnd.objects.count() == 2
    assert TrimCut.objects.filter(plan=plans[1]).exists()
    assert AppliedMove.objects.filter(plan=plans[0]).count() == 3
    measure_again(engineer, cowls, plans)
    page.goto(
        f"{live_site.url}/airframes/{cowls.airframe.pk}/together/?from={joint.position_id}"
    )
    expect(page.locator(".plan-verdict")).to_contain_text("conform as they sit")
    expect(page.get_by_role("button", name="Take these plans")).to_have_count(0)


def measure_again(by, cowls, plans) -> None:
    """Every joint comes out as its plan says, but for a bite that was not all."""
    for plan in plans:
        row = FitPlan.objects.select_related(*plan_records.PLAN).get(pk=plan.pk)
        worked = plan_records.worked_of(row)
        view = view_of(worked, "mm")
        for joint in worked.joints:
            fit_up = joint.state.joint.fit_ups.order_by("-number").first()
            check = make_check(by, fit_up)
            for station in view.rows:
                if station.check == str(joint.check.entry_id):
                    gap = station.gap_after
                    read(check, station.label, "gap", gap)
                    flush = station.flush_after.replace("−", "-")
                    read(check, station.label, "flush", flush)
            checks.finish_check(by=by, check=check)
