"""The second airframe starts from the first: what was needed, and a pre-trim by it."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from qa.actions import checks, fit_plans, tool_corrections, trimming
from qa.actions.planning_defaults import set_plan_defaults
from qa.actions.trimming import Taken
from qa.models import Check, CheckState, FitPlan, FitUp, PlannedCut, TrimCut
from qa.queries.joints.earlier_airframes import earlier_page
from qa.queries.molds import corrections
from qa.queries.plans import plan_pages, work_orders
from qa.queries.plans.printed_templates import edges_of
from qa.queries.tablet.carried_checks import check_for_tablet
from qa.queries.tablet.offline_copy import carry
from qa.rules import earlier_fits, plan_records
from qa.rules.planning import RELATED
from tests.around import by_hand
from tests.qa.making import (
    make_check,
    make_design,
    make_fit_up,
    make_part,
    make_stations,
    mm,
    read,
    revise,
)
from tests.qa.molding import Shop, noisy, ripple
from tests.qa.test_mold_fits import loaded

pytestmark = pytest.mark.either_database


@pytest.fixture
def shop(people):
    return Shop(people["lead"])


def planned(check) -> Check:
    return Check.objects.select_related(*RELATED).get(pk=check.pk)


def cut(shop, check, **depths):
    """Cut a part that was read, mm by station."""
    check = planned(check)
    taken = [Taken(check, label[1:], "part", d, "mm") for label, d in depths.items()]
    trimming.record_trim(by=shop.by, checks=[check], taken=taken, reason="a test")


def third(shop, part=None):
    """The check of a part on the third airframe, before its first reading."""
    fit_up = make_fit_up(
        shop.by, shop.joint, airframe=shop.airframes[2], part=part or shop.pull()
    )
    return planned(make_check(shop.by, fit_up))


def two_that_were_cut(shop):
    """Cut 0.80 and 0.50 at 4, 0.60 and 0.40 at 5; one of them alone also at 8."""
    first = shop.fit(shop.pull(), shop.airframes[0], noisy(1))
    cut(shop, first, s4="0.80", s5="0.60")
    second = shop.fit(shop.pull(), shop.airframes[1], noisy(2))
    cut(shop, second, s4="0.50", s5="0.40", s8="0.70")


def test_a_pre_trim_is_the_least_that_every_earlier_part_lost(shop):
    two_that_were_cut(shop)
    check = third(shop)
    page = earlier_page(shop.joint, shop.airframes[2], "mm")
    assert [row.fit.airframe for row in page.rows] == shop.airframes[:2]
    assert page.rows[0].cuts == "0.80 mm at station 4, 0.60 mm at station 5"
    assert "setting and cutting" not in page.rows[0].hours  # too short to be seen
    assert page.check == check
    _worked, plan = earlier_fits.pre_trim(check)
    taken = fit_plans.take(by=shop.by, plan=plan)
    bites = {
        row.station: row.bite_nm for row in PlannedCut.objects.filter(bite_nm__gt=0)
    }
    assert bites == {"4": mm(0.5), "5": mm(0.4)}
    row = FitPlan.objects.select_related(*plan_records.PLAN).get(pk=taken.pk)
    view = plan_pages.view_of(plan_records.worked_of(row), "mm")
    assert view.state == "not_measured"
    assert [(one.label, one.bite) for one in view.cuts] == [
        ("4", "0.50"),
        ("5", "0.40"),
    ]
    assert any("nothing was read of this one" in word for word in view.warnings)
    order = work_orders.work_order_of(view, "")
    assert any("stop short where it differs" in line for line in order.cautions)
    (edge,) = edges_of(view, "")
    drawn = {label: trim for _s, label, trim, *_known in edge["points"]}
    assert drawn == {str(n): {4: 0.5, 5: 0.4}.get(n, 0.0) for n in range(1, 11)}
    cuts = [
        Taken(check, label, "part", bite, "mm")
        for label, bite in (("4", "0.50"), ("5", "0.40"))
    ]
    trimming.record_trim(by=shop.by, checks=[check], taken=cuts, plan=row)
    assert TrimCut.objects.filter(plan=row, depth_nm__gt=0).count() == 2
    # What was cut ahead is added back when the mold is judged.
    fit_up = (
        shop.joint.fit_ups.filter(airframe=shop.airframes[2]).order_by("number").last()
    )
    after = make_check(shop.by, fit_up)
    read(after, "4", "gap", "2.00")
    fit = next(fit for fit in shop.found.fits if fit.fit_up == fit_up)
    assert fit.nm[3, "gap"] == mm(1.5)


def test_hours_of_work_are_told_as_far_as_acts_show_them(shop, client_of):
    """A check, a cut 1.5 h after it, a check, a cut 9 h after that: more than a shift,
    which is no round of work and is counted as left out."""
    check = shop.fit(shop.pull(), shop.airframes[0], noisy(1))
    for minutes in (90, 540):
        checks.finish_check(by=shop.by, check=check)
        cut(shop, check, s4="0.20")
        after = FitUp.objects.order_by("-pk").first()
        with by_hand():
            CheckState.objects.filter(fit_check=check).update(
                started_at=after.entry.received_at - timedelta(minutes=minutes + 30),
                finished_at=after.entry.received_at - timedelta(minutes=minutes),
            )
        check = make_check(shop.by, after)
    page = earlier_page(shop.joint, shop.airframes[2], "mm")
    assert page.rows[0].hours.startswith(
        "1.0 h of measuring, 1.5 h of setting and cutting at most (1 of 2 rounds)"
    )
    address = reverse("joint_on_airframe", args=[shop.joint.pk, shop.airframes[2].pk])
    words = client_of("visitor").get(address).content.decode()
    assert page.rows[0].hours in words and "Nobody records hours of work" in words


def test_nothing_is_cut_ahead_once_something_was_read_or_cut(shop):
    two_that_were_cut(shop)
    check = third(shop)
    read(check, "1", "gap", "2.00")
    assert earlier_fits.pre_trim(planned(check)) is None
    assert earlier_page(shop.joint, shop.airframes[2], "mm").check is None


def test_a_part_that_was_not_cut_leaves_nothing_in_common(shop):
    cut(shop, shop.fit(shop.pull(), shop.airframes[0], noisy(1)), s4="0.80")
    shop.fit(shop.pull(), shop.airframes[1], noisy(2))
    assert earlier_fits.pre_trim(third(shop)) is None
    page = earlier_page(shop.joint, shop.airframes[2], "mm")
    assert page.pre_trim == ""
    assert page.rows[1].cuts == ""


def test_what_came_off_the_surround_is_told_as_such_and_is_no_pre_trim(shop, client_of):
    sides = make_stations(10, trim_side="both", trim_max_nm=mm(4))
    revise(shop.by, shop.joint, sides)
    shop.joint.refresh_from_db()
    shell = make_part(shop.by, design=make_design(shop.by))
    fit_up = make_fit_up(
        shop.by,
        shop.joint,
        airframe=shop.airframes[0],
        part=shop.pull(),
        surround_part=shell,
    )
    check = planned(make_check(shop.by, fit_up))
    taken = [Taken(check, "4", "surround", "0.80", "mm")]
    trimming.record_trim(by=shop.by, checks=[check], taken=taken, reason="a test")
    page = earlier_page(shop.joint, shop.airframes[2], "mm")
    (row,) = page.rows
    assert (row.cuts, row.surround_cuts) == ("", "0.80 mm at station 4")
    assert page.pre_trim == ""
    joints = {one["id"]: one for one in carry()["joints"]}
    told = joints[shop.joint.pk]["earlier"][str(shop.airframes[2].pk)]
    assert "cut off the surround 0.80 mm at station 4; " in told[1]
    third(shop)
    at = f"/joints/{shop.joint.pk}/on/{shop.airframes[2].pk}/"
    words = client_of("builder").get(at).content.decode()
    assert "Cut off the surround" in words and "0.80 mm at station 4" in words
    assert "as a pre-trim" not in words


def test_a_part_that_went_on_to_another_airframe_counts_on_both_as_it_was(shop):
    """Fitted at line 1, later at line 3: at line 1 it had lost 0.80, at line 3 1.10."""
    part = shop.pull()
    cut(shop, shop.fit(part, shop.airframes[0], noisy(1)), s4="0.80")
    cut(shop, shop.fit(part, shop.airframes[2], noisy(2)), s4="0.30")
    by = earlier_fits.fitted([shop.joint]).by_joint[shop.joint.pk]
    assert [one.cut_mm["part"][3] for one in by] == pytest.approx([0.8, 1.1])
    fit_up = make_fit_up(
        shop.by, shop.joint, airframe=shop.airframes[1], part=shop.pull()
    )
    _worked, plan = earlier_fits.pre_trim(planned(make_check(shop.by, fit_up)))
    fit_plans.take(by=shop.by, plan=plan)
    assert [row.bite_nm for row in PlannedCut.objects.filter(bite_nm__gt=0)] == [
        mm(0.8)
    ]


def test_parts_from_before_a_correction_do_not_count_for_one_from_after(shop):
    for seed in (1, 2):
        check = shop.fit(
            shop.pull(), shop.airframes[seed - 1], noisy(seed), ripple(seed)
        )
        cut(shop, check, s4="1.20", s5="1.10")
    row = loaded(tool_corrections.take(by=shop.by, correction=shop.page().draft))
    same_state = shop.pull()
    page = corrections.correction_page(row, "mm")
    tool_corrections.record_done(
        by=shop.by, correction=row, what=page.what, place=page.places, note="scribed"
    )
    check = third(shop)
    assert earlier_fits.pre_trim(check) is None
    told = earlier_page(shop.joint, shop.airframes[2], "mm")
    assert told.pre_trim == ""
    assert all(row.fit.before_correction for row in told.rows)
    before = earlier_fits.earlier(shop.joint, shop.airframes[2], same_state)
    assert not any(one.before_correction for one in before)


def test_a_tablet_carries_it_in_words_for_every_joint_at_once(shop, people):
    def statements():
        with CaptureQueriesContext(connection) as said:
            carry()
        # The stations of a seam are many: they are read once for all that is told.
        reads = [read["sql"] for read in said]
        assert sum('FROM "qa_station" ' in sql for sql in reads) == 1
        return len(said)

    def carried():
        rows = {one["id"]: one for one in carry()["joints"]}
        return rows[shop.joint.pk]["earlier"].get(str(shop.airframes[2].pk))

    assert carried() is None
    two_that_were_cut(shop)
    frames = [one.serial for one in shop.airframes]
    told = carried()
    assert told[0] == "What earlier airframes needed"
    assert told[1].startswith(f"{frames[0]}, ")
    assert (
        "cut off the part 0.80 mm at station 4, 0.60 mm at station 5; 2 fit-ups"
        in told[1]
    )
    assert told[2].startswith(f"{frames[1]}, ")
    assert told[3].startswith("Every earlier part lost at least 0.50 mm at stat")
    few = statements()
    for _ in range(5):
        make_check(shop.by, make_fit_up(shop.by))
    assert statements() == few
    # In the check of its first fit-up too, with the way to the pre-trim; not after it.
    check = third(shop)
    copy = check_for_tablet(check)["earlier"]
    assert copy["lines"] == told
    assert copy["url"] == f"/fit-checks/{check.entry_id}/pre-trim/"
    again = make_fit_up(
        shop.by, shop.joint, airframe=shop.airframes[2], part=check.fit_up.part
    )
    assert check_for_tablet(planned(make_check(shop.by, again)))["earlier"] is None
    assert carried() is None


def test_cuts_that_differ_all_along_stand_station_by_station(shop, client_of):
    """On the joint's page in a table, in what tablets carry in the line."""
    first = shop.fit(shop.pull(), shop.airframes[0], noisy(1))
    cut(shop, first, **{f"s{n}": f"{n / 10:.2f}" for n in range(1, 11)})
    cut(shop, shop.fit(shop.pull(), shop.airframes[1], noisy(2)), s4="0.50", s5="0.40")
    page = earlier_page(shop.joint, shop.airframes[2], "mm")
    assert page.rows[0].cuts == "0.10 to 1.00 mm at stations 1–10"
    each = [(str(n), [f"{n / 10:.2f} mm"]) for n in range(1, 11)]
    assert page.by_station == ([f"{shop.airframes[0].serial}, part"], each)
    rows = {one["id"]: one for one in carry()["joints"]}
    line = rows[shop.joint.pk]["earlier"][str(shop.airframes[2].pk)][1]
    assert "1–10 (1: 0.10 mm, 2: 0.20 mm, 3: 0.30 mm, " in line
    third(shop)
    at = f"/joints/{shop.joint.pk}/on/{shop.airframes[2].pk}/"
    words = client_of("builder").get(at).content.decode()
    assert "What was cut, station by station</summary>" in words
    assert words.count('<td class="num nowrap">0.70 mm</td>') == 1


def shown_in(page: str) -> str:
    (digest,) = re.findall(r'name="shown" value="(\w+)"', page)
    return digest


def test_only_what_was_shown_is_taken_and_in_place_of_no_plan(shop, client_of):
    two_that_were_cut(shop)
    check = third(shop)
    client = client_of("builder")
    at = f"/fit-checks/{check.entry_id}/pre-trim/"
    joint_page = f"/joints/{shop.joint.pk}/on/{shop.airframes[2].pk}/"
    on_joint = client.get(joint_page)

    def take(shown):
        answer = client.post(f"{at}take/", {"shown": shown}, follow=True)
        return " ".join(answer.content.decode().split())

    first = shown_in(client.get(at).content.decode())
    assert shown_in(on_joint.content.decode()) == first
    now = shop.airframes[1].fit_ups.latest("number")
    cut(shop, make_check(shop.by, now), s5="0.10")
    for stale in (first, ""):
        words = take(stale)
        assert "This changed while you looked at it" in words
        assert not FitPlan.objects.exists()
    assert "0.50 mm" in words and "0.40 mm" not in words
    words = take(shown_in(words))
    plan = FitPlan.objects.get()
    assert f"{plan} is on record for this check" in words
    # Overtaken: it says so and leads to the plan only.
    set_plan_defaults(by=shop.by, bite_permille=700)
    words = take(earlier_fits.pre_trim(planned(check))[1].digest)
    assert f"{plan} stands for this part: look at it first." in words
    assert FitPlan.objects.get() == plan
    told = f"{plan} is overtaken, do not work by it: how this shop plans was changed."
    assert told in words and f"/plans/{plan.number}/" in words
    here = client.get(f"/plans/{plan.number}/").content.decode()
    assert "Withdraw it, then look at the pre-trim anew, or measure." in here
    assert "Plan again" not in here
    assert "Plan again" not in client.get(joint_page).content.decode()
    assert "Cut what it says" not in words and "/trim/" not in words


def test_of_a_later_plan_the_page_of_a_pre_trim_leads_to_that(shop, client_of):
    two_that_were_cut(shop)
    check = shop.fit(shop.pull(), shop.airframes[2], noisy(3))
    _worked, draft = plan_records.draft(planned(check))
    plan = fit_plans.take(by=shop.by, plan=draft)
    answer = client_of("builder").get(f"/fit-checks/{check.entry_id}/pre-trim/")
    words = " ".join(answer.content.decode().split())
    assert f"{plan} stands for this part: what to do is there." in words
    assert f"/plans/{plan.number}/" in words
    assert "Cut what it says" not in words and "/trim/" not in words


def test_the_page_offers_it_and_takes_it(shop, client_of):
    two_that_were_cut(shop)
    check = third(shop)
    url = f"/joints/{shop.joint.pk}/on/{shop.airframes[2].pk}/"
    client = client_of("builder")
    words = client.get(url).content.decode()
    assert "What earlier airframes needed" in words
    assert "Take it as a pre-trim" in words
    at = f"/fit-checks/{check.entry_id}/pre-trim/"
    page = client.get(at).content.decode()
    assert re.findall(r'row">(\d+)</th><td class="num">([\d.]+ mm)', page) == [
        ("4", "0.50 mm"),
        ("5", "0.40 mm"),
    ]
    assert "Take it" not in client_of("inspector").get(at).content.decode()
    answer = client.post(f"{at}take/", {"shown": shown_in(page)}, follow=True)
    plan = FitPlan.objects.get()
    assert f"{plan} is on record for this check" in answer.content.decode()
    assert f"/fit-checks/{check.entry_id}/trim/" in answer.content.decode()
    form = client.get(f"/fit-checks/{check.entry_id}/trim/").content.decode()
    assert form.index("0.50") < form.index("0.40")
    assert "witnesses" not in form and "Gap now" not in form
    words = client.get(f"/plans/{plan.number}/").content.decode()
    assert "A pre-trim: what it comes to is not known." in words
    assert "Where the cut is. Nothing was read here yet." in words
    assert re.findall(r'<th scope="row">(\d+)</th>', words) == ["4", "5"]
    for of_readings in ("robability", "as measured", "Gap now", "of the trim and no"):
        assert of_readings not in words
    assert "hardly leave a plan" not in words
    again = client.post(f"{at}take/", {"shown": shown_in(page)}, follow=True)
    assert f"{plan} is on record for this check" in again.content.decode()
    assert FitPlan.objects.count() == 1
    assert "Take it as a pre-trim" not in client.get(url).content.decode()
    assert (
        "What earlier"
        not in client.get(
            url.replace(str(shop.airframes[2].pk), str(shop.airframes[0].pk))
        ).content.decode()
    )
    cut_as_asked = {"as_asked": "on", "unit": "mm", "moved": "no"}
    at = f"/fit-checks/{check.entry_id}/trim/"
    done = client.post(at, cut_as_asked, follow=True).content.decode()
    assert "Nothing was read here yet: measure all of it." in done
    assert "witnesses first" not in done


def test_two_earlier_airframes_or_ten_take_as_many_statements(shop):
    two_that_were_cut(shop)
    third(shop)

    def statements():
        with CaptureQueriesContext(connection) as said:
            earlier_fits.earlier(shop.joint, shop.airframes[2], None)
        return len(said)

    few = statements()
    for seed in range(3, 9):
        check = shop.fit(shop.pull(), shop.airframes[seed % 2], noisy(seed))
        checks.finish_check(by=shop.by, check=check)
    assert statements() == few
