"""A gauge study of 10 places x 3 people x 3 times at the tablet: 90 readings by pad and
by a gauge that types, the network gone in the middle, each counted once, none shown
before all are read."""

import pytest
from playwright.sync_api import expect

from qa.actions.gauge_studies import plan_study
from qa.actions.gauges import set_gauge_rules
from qa.models import Strictness, StudyValue
from qa.rules import gauge_studies as rules
from shop.models import Person
from tests.browser.at_the_tablet import all_sent, tap
from tests.browser.conftest import bring_a_session
from tests.qa.making import make_instrument, mm

PEOPLE = ("builder", "lead", "engineer")


def value_of(number: int) -> str:
    """Another text for every turn, so that one that is shown is found."""
    return f"{2 + number / 1000:.3f}"


@pytest.fixture
def study(live_site):
    engineer = Person.objects.get(username="engineer")
    set_gauge_rules(by=engineer, outside=Strictness.REFUSE)
    return plan_study(
        by=engineer,
        instrument=make_instrument(engineer, range_low_nm=0, range_high_nm=mm(10)),
        what="gap of the door",
        places=[f"station {n}" for n in range(1, 11)],
        people=[Person.objects.get(username=name) for name in PEOPLE],
        repeats=3,
    )


def choose(page, person, read=0):
    page.get_by_label("Who measures").select_option(label=f"{person}: {read} of 30")


def gauge(page, turn):
    """A gauge types at the place that is asked for, and Enter."""
    expect(page.locator(".study .place h2")).to_have_text(turn.place)
    page.keyboard.type(f"{value_of(turn.number)}\n")


def counted(page, person, read):
    """Wait until the page counts so many of a person."""
    options = page.get_by_label("Who measures").locator("option")
    expect(options.filter(has_text=person)).to_have_text(f"{person}: {read} of 30")


def test_90_readings_of_a_study_come_in_once_and_unseen_with_no_network_between(
    page, live_site, study, axe
):
    bring_a_session(page, live_site, "builder")
    page.goto(f"{live_site.url}/tablet/")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.get_by_role("link", name=study.label).click()
    names = [Person.objects.get(username=name).name for name in PEOPLE]
    turns = rules.state_of(study).turns
    first, second, third = (turns[start : start + 30] for start in (0, 30, 60))
    counted(page, names[0], 0)  # Who is signed in measures, unless somebody else does.
    for turn in first[:2]:
        expect(page.locator(".study .place h2")).to_have_text(turn.place)
        tap(page, value_of(turn.number))
    counted(page, names[0], 2)
    assert axe(page) == []
    # The second was misread: taken again, with the reason.
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="slip").first.click()
    gauge(page, first[1])
    # The third is beyond what the gauge reads: refused, it is not read, and comes back
    # once the turn in hand is done.
    tap(page, "999")
    expect(page.locator("#unsent")).to_contain_text("1 need you")
    counted(page, names[0], 2)
    for turn in (first[3], first[2], *first[4:]):
        gauge(page, turn)
    counted(page, names[0], 30)
    choose(page, names[1])
    for turn in second[:10]:
        gauge(page, turn)
    counted(page, names[1], 10)
    page.context.set_offline(True)
    for turn in second[10:]:
        gauge(page, turn)
    counted(page, names[1], 30)
    page.reload()
    choose(page, names[2])
    for turn in third[:15]:
        gauge(page, turn)
    counted(page, names[2], 15)
    expect(page.locator("#unsent")).to_contain_text("not sent")
    # Nothing of it is told while it waits.
    page.locator("#unsent").click()
    waiting = page.get_by_role("list", name="What waits")
    expect(waiting.get_by_role("listitem").first).to_contain_text("study value")
    page.get_by_role("button", name="Do not send").click()
    page.get_by_role("button", name="Entered again").click()
    expect(page.locator("#unsent")).not_to_contain_text("need you")
    words = page.locator("main").inner_text()
    assert not any(value_of(turn.number) in words for turn in turns)
    page.context.set_offline(False)
    page.go_back()
    choose(page, names[2], 15)
    for turn in third[15:]:
        gauge(page, turn)
    expect(page.get_by_text("Everything is read.")).to_be_visible()
    all_sent(page)
    rows = list(StudyValue.objects.filter(study=study).order_by("turn", "pk"))
    assert [row.turn for row in rows] == [0, 1, 1, *range(2, 90)]
    state = rules.state_of(study)
    assert all(state.values[t.number].value == value_of(t.number) for t in turns)
    page.get_by_role("link", name="Its page").click()
    expect(page.get_by_role("heading", name="What it says")).to_be_visible()
    page.goto(f"{live_site.url}/tablet/")
    page.get_by_role("button", name="Fetch what is new").click()
    expect(page.get_by_role("link", name=study.label)).to_have_count(0)


def test_what_one_tablet_reads_another_that_has_the_study_open_learns(
    page, live_site, study, browser
):
    """A value that was begun there for a turn that is read meanwhile is dropped, and
    taken for no other turn."""
    context = browser.new_context()
    other = context.new_page()
    name = Person.objects.get(username="builder").name
    for tablet in (page, other):
        bring_a_session(tablet, live_site, "builder")
        tablet.goto(f"{live_site.url}/tablet/study/{study.entry_id}/")
        choose(tablet, name)
    turns = rules.state_of(study).turns
    tap(other, "7", ok=False)
    expect(other.locator(".study output")).to_have_text("7")
    for turn in turns[:2]:
        gauge(page, turn)
    counted(page, name, 2)
    all_sent(page)
    counted(other, name, 2)
    expect(other.get_by_text("was read elsewhere")).to_be_visible()
    expect(other.locator(".study output")).not_to_have_text("7")
    gauge(other, turns[2])
    all_sent(other)
    counted(page, name, 3)
    assert list(study.values.values_list("turn", flat=True).order_by("turn")) == [
        0,
        1,
        2,
    ]
    context.close()
