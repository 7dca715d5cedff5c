"""Ways side by side: what a fitter would weigh, taken as the plan that it is."""

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qa.actions.planning_defaults import set_plan_defaults
from qa.models import FitPlan
from qa.rules import plan_records, planning
from tests.around import by_hand
from tests.qa.hung import hung_check, read_displaced
from tests.qa.making import make_check, make_instrument, read_all
from tests.qa.planned import a_check, a_joint, even, planned, read_at, take

pytestmark = [pytest.mark.django_db, pytest.mark.either_database]


@pytest.fixture
def engineer(people):
    return people["engineer"]


def url(check, more="plan/"):
    return f"/fit-checks/{check.entry_id}/{more}"


def ways(client, check, more=""):
    page = client.get(url(check) + more)
    assert page.status_code == 200
    return {one.kind: one for one, _address in page.context["ways"]}, page


def displaced(by, **said):
    check = hung_check(by, **said)
    read_displaced(check, shift=(-0.9, 0, 0))
    return check


def test_a_door_that_is_only_displaced_is_set_and_not_cut(engineer, client_of):
    check = displaced(engineer)
    found, page = ways(client_of("builder"), check)
    first = next(iter(found.values()))
    assert first.kind == "set" and first.first and first.taken and not first.cut
    assert set(found) == {"leave", "shims", "set", "trim", "both"}
    assert first.does == "upper hinge: 0.9 mm aft; lower hinge: 0.9 mm aft"
    assert first.again == "all 12 stations" and first.minutes.endswith("min")
    assert found["both"].same_as == "set it"
    assert (
        found["leave"].state == "does_not_conform" and found["leave"].again == "nothing"
    )
    assert found["shims"].same_as == "leave it"  # no shim helps a gap
    words = page.content.decode()
    assert "What could be done instead" in words and "Take it" in words


def test_a_uniform_gap_with_one_tight_corner_is_trimmed_there(engineer, client_of):
    check = hung_check(engineer)
    read_displaced(check, s4=-1.6, s5=-1.6)
    found, page = ways(client_of("builder"), check)
    first = next(iter(found.values()))
    assert first.kind == "trim" and first.cut == "4, 5" and first.does == ""
    assert first.again == "3 witnesses, then 2 stations"
    assert page.context["view"].worked.way == "trim"
    assert "mm²" in first.cut_size


def test_a_conforming_part_hears_leave_it(engineer, client_of):
    check = hung_check(engineer)
    read_all(check)
    found, page = ways(client_of("builder"), check)
    assert next(iter(found)) == "leave" and found["leave"].taken
    assert page.context["view"].steps == ["Leave it: it conforms where it sits."]


def test_a_door_that_sits_low_all_round_gets_shims_and_nothing_else(
    engineer, client_of
):
    check = hung_check(engineer, typical="corners")
    read_displaced(check, shift=(0, 0, -0.75))
    found, _page = ways(client_of("builder"), check)
    assert "shim" in found["shims"].does and found["shims"].state == "conforms"
    assert "shims in" in found["shims"].does and "aft" not in found["shims"].does


def test_where_nothing_is_stacked_shims_are_no_way(engineer, client_of):
    check = a_check(engineer, a_joint(engineer, 12))
    read_at(check, even(12, s3="0.40"))
    found, _page = ways(client_of("builder"), check)
    assert set(found) == {"leave", "set", "trim", "both"}
    assert found["set"].word == "move it"


@pytest.mark.parametrize("kind", ["leave", "set", "trim", "both"])
def test_any_way_can_be_taken_and_is_that_plan(engineer, client_of, kind):
    check = hung_check(engineer)
    read_displaced(check, shift=(-0.3, 0, 0), s4=-1.6, s5=-1.6)
    client = client_of("builder")
    _found, page = ways(client, check, f"?way={kind}")
    shown = page.context["view"]
    assert shown.worked.way == kind
    assert client.post(url(check, f"plan/take/?way={kind}")).status_code == 302
    row = FitPlan.objects.get()
    worked = plan_records.worked_of(row)
    assert (worked.way, worked.wish.way) == (kind, kind)
    assert json.loads(row.body)["wishes"]["way"] == kind
    assert worked.ways == shown.worked.ways
    found, page = ways(client, check)
    assert page.context["record"] == row and found[kind].taken
    assert bool(page.context["view"].cuts) == (kind in ("trim", "both"))
    assert bool(worked.asked_settings) <= (kind in ("set", "both"))


def test_another_way_replaces_the_one_that_was_taken(engineer, client_of):
    check = displaced(engineer)
    client = client_of("builder")
    client.post(url(check, "plan/take/?way=trim"))
    client.post(url(check, "plan/take/?way=set"))
    first, second = FitPlan.objects.order_by("number")
    assert first.end.by_plan == second and plan_records.standing(second)


def test_a_way_that_is_none_is_told_and_the_first_is_shown(engineer, client_of):
    _found, page = ways(client_of("builder"), displaced(engineer), "?way=paint")
    assert "way" in page.context["form"].errors
    assert page.context["view"].worked.way == "set"


def test_a_wished_probability_asks_for_more_than_what_just_conforms(engineer):
    joint = a_joint(engineer, 12)
    check = make_check(
        engineer,
        a_check(engineer, joint).fit_up,
        instrument=make_instrument(engineer, u_nm=50_000),
    )
    read_displaced(check, shift=(-0.7, 0, 0))  # 1.55 on one side: the limit is 1.50
    assert planning.work_out(planned(check)).way == "leave"
    set_plan_defaults(by=engineer, wished_permille=900)
    worked = planning.work_out(planned(check))
    assert worked.way != "leave" and worked.plan.probability > 0.9


def test_minutes_are_those_of_the_shop(engineer):
    check = displaced(engineer)
    rates = {"loosen_s": 60, "adjuster_s": 120, "measure_s": 60, "look_again_s": 0}
    set_plan_defaults(by=engineer, **rates)
    by_kind = {one.kind: one for one in planning.work_out(planned(check)).ways}
    # By hand: once 1, two adjusters 2 each, twelve stations 1 each.
    assert by_kind["set"].minutes == pytest.approx(1 + 2 * 2 + 12)
    assert by_kind["leave"].minutes == 0


def test_what_nothing_can_mend_still_says_where_and_why(engineer, client_of):
    check = hung_check(engineer, trim_max_nm=100_000)
    read_displaced(check, s4=-2.0, s10=-2.0)
    _found, page = ways(client_of("builder"), check)
    view = page.context["view"]
    assert view.state == "above" and view.worked.way == "both"
    assert any("more than may still be cut" in one for one in view.impossible)


def test_the_page_takes_as_many_statements_for_thirty_stations_as_for_twelve(
    engineer, client_of
):
    client, counts = client_of("builder"), []
    for count in (12, 12, 30):
        check = hung_check(engineer, count)
        read_displaced(check, shift=(-0.9, 0, 0))
        with CaptureQueriesContext(connection) as asked:
            client.get(url(check))
        take(engineer, check, None)
        with CaptureQueriesContext(connection) as again:
            client.get(url(check))
        counts.append((len(asked), len(again)))
    assert counts[1] == counts[2]


def test_minutes_follow_the_rounds_on_record_once_there_are_enough(engineer, client_of):
    check = displaced(engineer)
    usual = planning.work_out(planned(check)).learned
    assert (usual.measured, usual.rates.measure) == (0, 0.5)
    # Written down by hand: twelve stations in 24, 12, 12, 6 and 600 (a night) minutes.
    with by_hand():
        for minutes in (24, 12, 12, 6, 36, 600):
            other = displaced(engineer)
            state = other.state
            state.state = "finished"
            state.finished_at = state.started_at + timedelta(minutes=minutes)
            state.save()
    found = planning.work_out(planned(check)).learned
    assert found.measured == 5 and found.rates.measure == pytest.approx(1.0)
    assert found.rates.cut == usual.rates.cut and found.set == found.cut == 0
    _found, page = ways(client_of("builder"), check)
    assert "measuring as in the last 5 checks" in page.content.decode()
