"""Today: what is ready, due, waiting, and what others did meanwhile."""

import datetime as dt
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from qa.actions import checks, claims, fitups, remeasuring
from qa.queries.today import today
from qa.rules.remeasure import joints_to_measure_again
from shop.actions import handover, materials, routes, suspects, tooling
from shop.ledger import projections
from shop.models import Entry, Lot, Tool
from shop.queries.changes import FIRST_LOOK, PLACES, WORDS, changes
from tests.around import by_hand
from tests.shop.making_floor import (
    ago,
    lay_all,
    make_demolded,
    make_lot,
    make_material,
    make_mold,
    make_pull,
    make_pulled_part,
    make_tool,
)

from .making import (
    make_check,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
    read,
    read_all,
    refit,
)


@pytest.fixture
def lead(people):
    return people["lead"]


@pytest.fixture
def engineer(people):
    return people["engineer"]


def names(lists, title):
    found = next((one for one in lists if one.title == title), None)
    return [item.label for item in found.items] if found else []


def day(days):
    return timezone.localdate() + dt.timedelta(days=days)


def test_a_tool_waits_for_its_next_step_and_says_who_can_take_it(lead, people):
    tool = make_tool(lead, kind="plug")
    routes.add_step(by=lead, tool=tool, name="polish", order=1, role="inspector")
    (row,) = today(people["inspector"]).floor.ready.items
    assert (row.code, row.waits_for, row.mine) == (tool.code, "polish", True)
    (row,) = today(people["visitor"]).floor.ready.items
    assert not row.mine


def test_what_waited_longest_comes_first(lead):
    late, early = make_tool(lead, kind="plug"), make_tool(lead, kind="plug")
    for tool, since in ((late, ago(days=1)), (early, ago(days=9))):
        routes.add_step(by=lead, tool=tool, name="polish", order=1)
        with by_hand():
            Tool.objects.filter(pk=tool.pk).update(waits_since=since)
    rows = [one.code for one in today(lead).floor.ready.items]
    assert rows.index(early.code) < rows.index(late.code)


def test_a_mold_is_due_for_wax_and_for_service(lead):
    mold = make_mold(lead, service_interval=1)
    for _ in range(3):
        make_demolded(lead, tool=mold, reason="made for a test")
        mold.refresh_from_db()
    due = today(lead).due
    label = f"{mold.code} {mold.name}"
    assert names(due, "Release again") == [label]
    assert names(due, "Service") == [label]
    tooling.act_on_tool(by=lead, tool=mold, kind="serviced", note="")
    assert names(today(lead).due, "Service") == []


def test_instruments_loans_and_lots_are_due_two_weeks_before(lead, engineer):
    soon = make_instrument(engineer, due=day(10))
    make_instrument(engineer, due=day(40))
    late = make_instrument(engineer, due=day(-1))
    loan = make_tool(lead, kind="loan", due_back=day(3), owner="a neighbor")
    lot = make_lot(lead, expires_on=day(5))
    make_lot(lead, expires_on=day(60))
    prepreg = make_material(lead, kind="prepreg", out_time_limit=100)
    warm = make_lot(lead, material=prepreg, expires_on=day(300))
    materials.act_on_lot(by=lead, lot=warm, kind="out", minutes=85 * 60)
    found = today(lead).due
    gauges = next(one for one in found if one.title == "Calibration of instruments")
    assert [(item.label.split()[0], item.overdue) for item in gauges.items] == [
        (late.code, True),
        (soon.code, False),
    ]
    assert names(found, "Loans to give back") == [f"{loan.code} {loan.name}"]
    assert names(found, "Lots near their expiry") == [str(lot)]
    assert names(found, "Lots near their out-time") == [str(warm)]
    assert Lot.objects.get(pk=warm.pk).out_minutes == 85 * 60


def test_pulls_cure_until_a_time_and_parts_wait_for_a_scale(lead):
    from shop.actions import pulls

    pull = make_pull(lead)
    assert names(today(lead).waiting, "Laying up") == [str(pull)]
    lay_all(lead, pull)
    pulls.close_layup(by=lead, pull=pull, reason="no resin, a test")
    pull.refresh_from_db()
    curing = next(one for one in today(lead).waiting if one.title == "Curing")
    assert curing.items[0].label == str(pull)
    assert curing.items[0].when == pull.release_from > timezone.now()
    part = make_pulled_part(lead)
    assert part.serial in names(today(lead).waiting, "Parts to weigh")


def test_suspect_parts_wait_for_a_decision(lead):
    part = make_pulled_part(lead)
    lot = part.lineage.get().pull.plies_laid.first().lot
    suspects.put_on_hold(by=lead, kind="lot", key=lot.pk, reason="wrong roll")
    assert names(today(lead).waiting, "Suspect parts to decide on") == [part.serial]


def test_a_joint_waits_to_be_measured_again_after_a_refit(engineer):
    joint = make_joint(engineer, 4)
    fit_up = make_fit_up(engineer, joint)
    read_all(make_check(engineer, fit_up))
    assert not joints_to_measure_again()
    said = {"joint": joint, "airframe": fit_up.airframe, "part": fit_up.part}
    again = fitups.open_fit_up(by=engineer, reason="refit", **said)
    (item,) = next(
        one.items
        for one in today(engineer).waiting
        if one.title == "Joints to measure again"
    )
    assert joint.number in item.label
    assert "taken off and refitted" in item.note
    read_all(make_check(engineer, again))
    assert not joints_to_measure_again()


def test_a_joint_changed_before_its_first_value_came_waits_too(engineer):
    joint = make_joint(engineer, 4)
    fit_up = make_fit_up(engineer, joint)
    check = make_check(engineer, fit_up)
    refit(engineer, fit_up)
    assert not joints_to_measure_again()
    read(check, "1", "gap", "2.00")  # late, from a tablet without a network
    assert [one.fit_up.joint for one in joints_to_measure_again()] == [joint]
    assert [*projections.differences([remeasuring.FAMILY])] == []


def test_what_was_disowned_is_no_measuring(engineer, people):
    joint = make_joint(engineer, 4)
    fit_up = make_fit_up(engineer, joint)
    read(make_check(engineer, fit_up), "1", "gap", "2.00")
    check = make_check(engineer, refit(engineer, fit_up))
    assert len(joints_to_measure_again()) == 1
    claimed = read(check, "1", "gap", "2.00", by=people["builder"], claimed=True)
    assert not joints_to_measure_again()
    claims.answer_claim(
        by=people["builder"],
        entry=claimed.entry,
        verdict="disowned",
        reason="not mine",
    )
    assert [one.fit_up.joint for one in joints_to_measure_again()] == [joint]
    read(check, "1", "gap", "2.00")
    assert not joints_to_measure_again()
    assert [*projections.differences([remeasuring.FAMILY])] == []


def test_a_change_at_another_joint_of_the_part_makes_both_wait(engineer):
    part = make_part(engineer)
    first = make_joint(engineer, 4)
    fit_up = make_fit_up(engineer, first, part=part)
    other = make_joint(engineer, 4, position=first.position)
    elsewhere = make_fit_up(engineer, other, part=part, airframe=fit_up.airframe)
    read_all(make_check(engineer, fit_up))
    read_all(make_check(engineer, elsewhere))
    said = {"airframe": fit_up.airframe, "part": part}
    fitups.open_fit_up(by=engineer, joint=first, reason="refit", **said)
    waiting = {one.fit_up.joint_id for one in joints_to_measure_again()}
    assert waiting == {first.pk, other.pk}


def test_a_joint_never_measured_does_not_wait_again(engineer):
    joint = make_joint(engineer, 4)
    fit_up = make_fit_up(engineer, joint)
    refit(engineer, fit_up)
    assert not joints_to_measure_again()


# ------------------------------------------------------- what others did


def test_what_others_did_is_told_in_words_and_what_i_did_is_not(lead, people):
    make_lot(lead)
    make_lot(lead)
    told = today(people["builder"]).changes
    (place,) = [one for one in told.places if one.name == "lots"]
    assert [(one.what, one.count) for one in place.changes] == [("lots received", 2)]
    assert place.who == [lead.name]
    assert told.since is None
    assert today(lead).changes.places == []


def test_what_was_read_is_not_told_again(lead, people, client_of):
    make_lot(lead)
    client = client_of("builder")
    told = today(people["builder"]).changes
    make_lot(lead)  # while the page was being read
    answer = client.post(reverse("read_changes"), {"up_to": told.up_to})
    assert answer["Location"] == reverse("front")
    again = today(people["builder"]).changes
    assert again.since is not None
    (place,) = [one for one in again.places if one.name == "lots"]
    assert place.changes[0].count == 1


def test_nonsense_in_up_to_reads_up_to_the_newest(lead, people, client_of):
    make_lot(lead)
    client_of("builder").post(reverse("read_changes"), {"up_to": "all of it"})
    assert today(people["builder"]).changes.places == []


def test_reading_leaves_no_entry_in_the_ledger(lead, people):
    make_lot(lead)
    before = Entry.objects.count()
    handover.mark_read(by=people["builder"])
    assert Entry.objects.count() == before


def test_every_form_that_is_told_has_words_and_a_page(db):
    assert {place for _words, place in WORDS.values()} == set(PLACES)
    assert all(reverse(place) for place in PLACES if place)


# ------------------------------------------------------------- the page


def test_the_front_page_has_its_doors_and_today(lead, engineer, client_of):
    check = make_check(engineer, make_fit_up(engineer, make_joint(engineer, 4)))
    make_lot(lead, expires_on=day(-2))
    page = client_of("builder").get(reverse("front")).content.decode()
    assert page.count('class="door') >= 3
    assert check.label in page
    assert "overdue" in page
    assert "What others did in the last 7 days" in page


def fill(lead, engineer, count):
    prepreg = make_material(lead, kind="prepreg", out_time_limit=100)
    for _ in range(count):
        mold = make_mold(lead, service_interval=1, calibration_due=day(1))
        routes.add_step(by=lead, tool=mold, name="polish", order=1)
        pull = make_pull(lead, tool=mold)
        part = make_pulled_part(lead)
        lot = part.lineage.get().pull.plies_laid.first().lot
        suspects.put_on_hold(by=lead, kind="lot", key=lot.pk, reason="x")
        make_tool(lead, kind="loan", due_back=day(1), owner="a neighbor")
        make_lot(lead, expires_on=day(2))
        warm = make_lot(lead, material=prepreg)
        materials.act_on_lot(by=lead, lot=warm, kind="out", minutes=95 * 60)
        make_instrument(engineer, due=day(3))
        assert pull.state == "laid_up"
    joint = make_joint(engineer, 4)
    for _ in range(count):
        fit_up = make_fit_up(engineer, joint)
        check = make_check(engineer, fit_up)
        read_all(check, gap_at={"2": "0.4"})
        checks.finish_check(by=engineer, check=check)
        make_check(engineer, fit_up)
        # Refitted, and nothing measured since: it waits.
        said = {"joint": joint, "airframe": fit_up.airframe, "part": fit_up.part}
        fitups.open_fit_up(by=engineer, reason="refit", **said)


@pytest.mark.either_database
def test_today_takes_as_many_statements_for_30_of_everything(lead, engineer, client_of):
    client = client_of("builder")

    def statements():
        with CaptureQueriesContext(connection) as seen:
            assert client.get(reverse("front")).status_code == 200
        return len(seen)

    fill(lead, engineer, 1)
    first = statements()
    fill(lead, engineer, 29)
    assert statements() == first
    assert len(today(lead).floor.ready.items) == 8
    assert today(lead).floor.ready.count >= 30


# Of these there are few, however large a shop is; and what is counted, or known.
SHORT = {
    *("shop_shopidentity", "shop_backupplan", "qa_plandefaults", "shop_releaseproduct"),
    *("shop_hold", "subquery"),
}
FOUND_BY = ("tool_wax_due", "lot_out", "instrument_due", "lineage_of_parts")
COUNTED_BY = ("check_still_open", "standing_unclosed")


@pytest.mark.skipif(connection.vendor != "sqlite", reason="plans of SQLite")
def test_today_goes_through_no_table_that_grows(lead, engineer):
    fill(lead, engineer, 1)
    today(lead)  # what it asks once a process is known then
    with CaptureQueriesContext(connection) as seen:
        today(lead)
    gone_through, plans = {}, []
    for sql in [query["sql"] for query in seen.captured_queries]:
        with connection.cursor() as cursor:
            plan = cursor.execute(f"EXPLAIN QUERY PLAN {sql}".replace("%", "%%"))
            steps = [row[-1] for row in plan.fetchall()]
        plans += steps
        for scan in (re.fullmatch(r"SCAN (\w+)", step) for step in steps):
            if scan and not sql.endswith("DESC LIMIT 1"):  # the newest of all is short
                table = re.search(rf'"(\w+)" "?{scan[1]}\b', sql)
                gone_through[table[1] if table else scan[1]] = sql
    assert not gone_through.keys() - SHORT
    for index in FOUND_BY:
        assert any(f"INDEX {index} (" in step for step in plans), index
    for index in COUNTED_BY:
        assert any(f"COVERING INDEX {index}" in step for step in plans), index


def test_of_very_many_acts_the_newest_are_counted(people, monkeypatch):
    reader, other = people["builder"], people["lead"]
    tools = Entry.objects.filter(form="tool/1").order_by("pk")
    monkeypatch.setattr("shop.queries.changes.NEWEST", 2)
    for counted, whole in ((1, True), (2, True), (2, False)):
        make_tool(other)
        told = changes(reader)
        counts = [what.count for place in told.places for what in place.changes]
        assert (counts, told.whole) == ([counted], whole)
        assert told.up_to == tools.last().pk


def test_who_was_never_here_is_told_the_last_days_without_a_look_at_all_before(
    people, monkeypatch
):
    """Gone through by their keys, they begin at the first of these days."""
    reader, other = people["builder"], people["lead"]
    make_tool(other)
    with CaptureQueriesContext(connection) as seen:
        told = changes(reader)
    assert told.since is None and told.up_to and told.whole
    asked = [query["sql"] for query in seen.captured_queries]
    by_key = [sql for sql in asked if '"shop_entry"."id" >= ' in sql]
    # One such key each: of two, SQLite begins at the lower.
    assert [sql.count('"shop_entry"."id" >= ') for sql in by_key] == [1, 1]
    if connection.vendor == "sqlite":
        # Not by the index of forms: that reads and sorts all acts of these days.
        with connection.cursor() as cursor:
            plans = [
                row[-1]
                for sql in by_key
                for row in cursor.execute(f"EXPLAIN QUERY PLAN {sql}").fetchall()
            ]
        through = [step for step in plans if " shop_entry " in step]
        assert len(through) == 2
        assert all("USING INTEGER PRIMARY KEY" in step for step in through)
    later = timezone.now() + FIRST_LOOK + dt.timedelta(minutes=1)
    monkeypatch.setattr(timezone, "now", lambda: later)
    told = changes(reader)
    assert told.places == [] and told.up_to == 0
