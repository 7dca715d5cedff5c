"""Several parts planned at once, on the site: which, what they come to, and the records
that are taken of them by one act."""

import io
import json

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from qa.actions import checks, fit_plans, moves, trimming
from qa.actions.adjusters import (
    AdjusterDraft,
    DirectionDraft,
    HoldingDraft,
    PointDraft,
    define_holding,
)
from qa.actions.planning_defaults import set_plan_defaults
from qa.actions.trimming import Taken
from qa.models import AppliedMove, FitPlan, PlanEnd, StandingPlan
from qa.queries.plans import plan_pages, plan_texts
from qa.queries.plans.plan_records import rows_left
from qa.rules import (
    assembling,
    history,
    overtaking,
    plan_records,
    planning,
    trim_rounds,
)
from qa.rules.staleness import states
from shop.ledger import Refused, projections, verify
from tests.qa.cowls import SEAMS, make_cowls, read_cowls, split
from tests.qa.making import make_check, make_instrument, mm, read
from tests.qa.planned import planned

pytestmark = pytest.mark.django_db

OFF = ((0, 0, 0), (0.9, -0.6, 0.2)), ((0, 0, 0.001), (-0.5, 0.7, 0))


@pytest.fixture
def engineer(people):
    return people["engineer"]


def both(cowls, how="free", other=None) -> dict[int, str]:
    upper, lower = cowls.positions
    return {upper: how, lower: other or how}


def taken(by, cowls) -> list[FitPlan]:
    found, drafts = plan_records.draft_together(cowls.airframe, both(cowls))
    assert drafts, found.problem
    rows = fit_plans.take_together(by=by, plans=drafts)
    return [plan_of(row) for row in rows]


def plan_of(row: FitPlan) -> FitPlan:
    return FitPlan.objects.select_related(*plan_records.PLAN).get(pk=row.pk)


def off_cowls(by, **more):
    cowls = make_cowls(by)
    read_cowls(cowls, *OFF, **more)
    return cowls


def do(by, plan: FitPlan) -> None:
    """Record what a plan asks for: its cuts, and its move beside or alone."""
    view = plan_pages.view_of(plan_records.worked_of(plan_of(plan)), "mm")
    move = plan_pages.moved(view.worked, "mm")
    of = {str(one.entry_id): one for one in view.checks}
    cuts = [
        Taken(of[row.check], row.label, row.side, f"{row.bite_nm / 1e6:.2f}", "mm")
        for row in rows_left(view)
        if row.bite_nm
    ]
    said = {"by": by, "checks": view.checks, "moved": move, "plan": view.record}
    if cuts:
        trimming.record_trim(**said, taken=cuts)
    else:
        moves.record_move(**said)


def rounds_at(cowls, joint):
    loaded = history.load(cowls.airframe, [joint])
    return trim_rounds.rounds_of(loaded, states(loaded)[joint.pk])


def url(cowls, more="", **hows):
    upper, lower = cowls.positions
    told = (upper, hows.get("upper")), (lower, hows.get("lower"))
    asked = "&".join(f"p{key}={value}" for key, value in told if value)
    return f"/airframes/{cowls.airframe.pk}/together/{more}?{asked}"


def words_of(answer) -> str:
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


@pytest.mark.either_database
def test_a_half_that_only_moves_is_told_by_the_move_that_it_makes(engineer, client_of):
    """The other is cut at its seam: what moving alone would do to both is not it."""
    cowls = off_cowls(engineer, left2=-2.2, left3=-2.4)
    plans = {plan.part: plan for plan in taken(engineer, cowls)}
    worked = plan_records.worked_of(plan_of(plans[cowls.lower]))
    plan = worked.plan
    told = {word: after for word, _now, after in plan_pages.view_of(worked, "mm").worst}
    level = max(station.flush_deviation_after for station in plan.stations)
    assert plan.outcome == "fits" and abs(level - plan.level.worst_after) > 0.1
    assert told["flushness"] == f"{level:.2f}"
    # At the tablet, once it is done, the other half comes before any measuring.
    client, check = client_of("builder"), cowls.checks["lower"]
    checks.finish_check(by=engineer, check=check)
    page = client.get(f"/api/checks/{check.entry_id}/next?unit=mm").json()["html"]
    after = page[page.index('class="after"') :]
    assert f"Then go on with {cowls.upper.serial}." in after
    last = plan_records.worked_of(plan_of(plans[cowls.upper]))
    assert plan_texts.then(last).startswith("When both parts are done, measure ")


@pytest.mark.either_database
def test_the_second_of_two_is_told_to_wait_for_the_first_until_that_is_done(
    engineer, client_of
):
    cowls = off_cowls(engineer)
    first, second = taken(engineer, cowls)
    client = client_of("builder")
    words = f"First {first.part.serial} ({first}), which is not done yet"

    def told() -> dict[int, list[bool]]:
        """Whether the tablet and the desk say it, by plan."""
        addresses = {
            plan.number: (
                f"/api/checks/{plan.fit_check.entry_id}/next?unit=mm",
                f"/plans/{plan.number}/",
            )
            for plan in (first, second)
        }
        return {
            number: [words in client.get(address).content.decode() for address in pages]
            for number, pages in addresses.items()
        }

    for check in cowls.checks.values():
        checks.finish_check(by=engineer, check=check)
    assert told() == {first.number: [False, False], second.number: [True, True]}
    do(engineer, first)
    assert told() == {first.number: [False, False], second.number: [False, False]}


@pytest.mark.either_database
def test_two_halves_are_planned_to_lie_right_against_each_other_and_the_rest(engineer):
    cowls = off_cowls(engineer)
    found = assembling.together(cowls.airframe, both(cowls))
    assert found.problem == "" and found.plan.whole.outcome == "fits"
    lower, upper = found.parts
    assert [one.check.fit_up.part for one in found.parts] == [cowls.lower, cowls.upper]
    assert upper.plan.move.x_mm == pytest.approx(-0.9, abs=0.15)
    assert [one.state.joint for one in upper.joints] == [
        cowls.joints[name] for name in ("upper", "left", "right")
    ]
    assert {one.state.joint for one in lower.around} == {
        cowls.joints["left"], cowls.joints["right"],
    }  # fmt: skip
    for one in upper.plan.stations:
        assert 1.0 <= one.gap_after <= 2.5 and abs(one.flush_after) <= 0.5


@pytest.mark.either_database
def test_a_part_alone_cannot_what_both_together_can(engineer, client_of):
    """The lower half sits 4.6 mm too high, and no part may go further than 3."""
    cowls = make_cowls(engineer)
    read_cowls(cowls, lower=((0, 0, 0), (0, 4.6, 0)))
    one = assembling.together(cowls.airframe, both(cowls, "free", "fixed"))
    two = assembling.together(cowls.airframe, both(cowls))
    assert one.plan.whole.outcome != "fits" and two.plan.whole.outcome == "fits"
    page = client_of("builder").get(url(cowls, upper="free", lower="fixed"))
    assert page.status_code == 200


@pytest.mark.either_database
def test_seams_at_which_a_part_that_moves_is_but_the_surround_are_planned_too(
    engineer, client_of
):
    """Left and right are joints of the upper half: the lower one alone moves there."""
    cowls = off_cowls(engineer)
    upper, lower = cowls.positions
    told = [
        assembling.together(cowls.airframe, hows)
        for hows in ({lower: "free"}, {lower: "free", upper: "fixed"})
    ]
    planned_by = {
        joint.state.joint
        for found in told
        for one in found.parts
        for joint in one.joints
    }
    assert planned_by == {cowls.joints[name] for name in ("lower", "left", "right")}
    alone, beside = (found.plan.whole for found in told)
    assert len(alone.stations) == len(beside.stations) == alone.measured / 2
    assert alone.move.each == beside.move.each
    page = client_of("builder").get(url(cowls, lower="free"))
    how = {one.position: one.how for one in page.context["page"].choices}
    assert how == {lower: "free", upper: "fixed"}
    cowls = make_cowls(engineer)
    read_cowls(cowls, *OFF, but=("right",))
    found = assembling.together(cowls.airframe, {cowls.positions[1]: "free"})
    assert [cowls.joints["right"].number in one for one in found.left_out] == [True]
    assert not found.parts[0].shared.complete


@pytest.mark.either_database
def test_plans_taken_together_are_one_act_each_with_its_number(engineer):
    cowls = off_cowls(engineer)
    lower, upper = taken(engineer, cowls)
    assert (lower.label, upper.label) == ("FP-0001", "FP-0002")
    assert lower.entry == upper.entry and lower.entry.form == "plans_together/1"
    assert (lower.part, upper.part) == (cowls.lower, cowls.upper)
    told = json.loads(upper.body)
    assert told["form"] == "plan_body/6"
    assert [one["serial"] for one in told["together"]["parts"]] == [
        cowls.lower.serial, cowls.upper.serial,
    ]  # fmt: skip
    fresh_one = assembling.together(cowls.airframe, both(cowls)).parts
    for row, before in zip((lower, upper), fresh_one, strict=True):
        known = before.plan.known.intervals
        assert known.moves and json.loads(row.body)["outcome"]["intervals"]["moves"]
        again = plan_pages.view_of(plan_records.worked_of(row), "mm")
        shown = plan_pages.view_of(before, "mm")
        assert (again.rows, again.steps) == (shown.rows, shown.steps)
        assert again.warnings == shown.warnings and again.state == shown.state
        assert any("±" in step for step in shown.steps)
        assert "19 times in 20" in shown.known == again.known
        moved = [plan_pages.moved(view.worked, "mm") for view in (again, shown)]
        assert moved[0] == moved[1]
    assert fit_plans.take_together(
        by=engineer,
        plans=plan_records.draft_together(cowls.airframe, both(cowls))[1],
    ) == [lower, upper]
    assert verify.verify().fault == ""


def test_what_one_of_them_does_overtakes_none_and_another_act_all(engineer):
    cowls = off_cowls(engineer, left3=-1.4)
    lower, upper = taken(engineer, cowls)
    do(engineer, lower)
    assert overtaking.changes_of(plan_of(upper)) == []
    do(engineer, upper)
    assert StandingPlan.objects.count() == 0
    assert {end.how for end in PlanEnd.objects.all()} == {"done"}
    assert list(projections.differences()) == []
    assert verify.verify().fault == ""


@pytest.mark.either_database
@pytest.mark.parametrize("seam", ["lower", "left", "upper"])
def test_a_reading_at_any_of_their_joints_overtakes_all_of_them(engineer, seam):
    cowls = off_cowls(engineer)
    rows = taken(engineer, cowls)
    read(cowls.checks[seam], "2", "gap", "1.80")
    for row in rows:
        (change,) = overtaking.changes_of(plan_of(row))
        assert change.words.startswith(cowls.joints[seam].number)
    with pytest.raises(Refused, match="measured again at 2"):
        fit_plans.refuse_overtaken(plan_of(rows[0]))


@pytest.mark.either_database
def test_a_re_check_of_one_part_overtakes_what_is_still_to_do_at_the_other(engineer):
    cowls = off_cowls(engineer)
    lower, upper = taken(engineer, cowls)
    do(engineer, lower)
    fit_up = cowls.joints["lower"].fit_ups.order_by("-number").first()
    read(make_check(engineer, fit_up), "1", "gap", "1.75")
    assert overtaking.changes_of(plan_of(upper))


@pytest.mark.either_database
def test_they_are_withdrawn_and_replaced_together(engineer):
    cowls = off_cowls(engineer)
    lower, upper = taken(engineer, cowls)
    fit_plans.withdraw(by=engineer, plan=upper, reason="measured by the wrong gauge")
    assert {row.how for row in PlanEnd.objects.all()} == {"withdrawn"}
    lower, upper = taken(engineer, cowls)
    _worked, draft = plan_records.draft(planned(cowls.checks["upper"]))
    alone = fit_plans.take(by=engineer, plan=draft)
    for row in (lower, upper):
        assert plan_of(row).end.by_plan == alone
    assert [row.plan for row in StandingPlan.objects.all()] == [alone]
    assert list(projections.differences()) == []
    assert verify.verify().fault == ""


@pytest.mark.either_database
def test_a_shared_plan_prints_the_template_of_its_own_cuts(engineer, client_of):
    """2 and 5 of the lower cowl are both so tight that going forward is not enough."""
    cowls = off_cowls(engineer, lower2=-1.7, lower5=-1.7)
    lower, upper = taken(engineer, cowls)
    cuts = [row for plan in (lower, upper) for row in plan.cuts.filter(bite_nm__gt=0)]
    assert {(one.plan, one.station) for one in cuts} == {(lower, "2"), (lower, "5")}
    client = client_of("builder")
    here = "/fit-checks/{}/plan/template.pdf"
    printed = client.post(here.format(cowls.checks["lower"].entry_id))
    words = words_of(client.get(printed.url))
    assert lower.label in words and cowls.lower.serial in words
    for one in cuts:
        assert f"{one.station}: take {one.bite_nm / 1e6:.2f}" in words
    nothing = client.post(here.format(cowls.checks["upper"].entry_id), follow=True)
    assert "Nothing is to be cut" in nothing.content.decode()


def test_what_both_moves_should_do_is_held_against_what_came(engineer):
    """Each part is moved by its own act; at the seam between them both count."""
    cowls = off_cowls(engineer)
    for row in taken(engineer, cowls):
        do(engineer, row)
    joint = cowls.joints["left"]
    assert AppliedMove.objects.filter(fit_up__joint=joint).count() == 2
    fit_up = joint.fit_ups.order_by("-number").first()
    again = make_check(engineer, fit_up)
    for one in joint.current.stations.all():
        read(again, one.label, "gap", "1.75")
    rounds = rounds_at(cowls, joint)
    plan = FitPlan.objects.get(part=cowls.upper).content["outcome"]["stations"]
    after = {one["label"]: one["gap_after_nm"] for one in plan if one["joint"] == 1}
    for one in rounds[-1].stations:
        assert one.gap_predicted_nm == pytest.approx(after[one.label], abs=3)


@pytest.mark.either_database
def test_the_page_offers_what_shares_a_seam_and_plans_it_once(
    engineer, client_of, monkeypatch
):
    cowls = off_cowls(engineer)
    searches = []
    real = assembling.plan_assembly

    def counted(*said, **more):
        searches.append(said)
        return real(*said, **more)

    monkeypatch.setattr(assembling, "plan_assembly", counted)
    client = client_of("builder")
    joint = client.get(
        f"/joints/{cowls.joints['lower'].pk}/on/{cowls.airframe.pk}/"
    ).content.decode()
    here = f"/airframes/{cowls.airframe.pk}/together/?from={cowls.positions[1]}"
    assert here in joint
    page = client.get(here)
    assert [one.how for one in page.context["page"].choices] == ["free", "free"]
    text = page.content.decode()
    assert "Seating both of them is enough" in text and len(searches) == 1
    assert f"1. {cowls.lower.serial}" in text and f"2. {cowls.upper.serial}" in text
    # What is taken is what was shown.
    take, shown = url(cowls, "take/", upper="free", lower="free"), page.context["shown"]
    set_plan_defaults(by=engineer, bite_permille=700)
    late = client.post(take, {"shown": shown}, follow=True)
    assert "This is not what was shown before" in late.content.decode()
    assert not FitPlan.objects.exists()
    done = client.post(take, {"shown": late.context["shown"]})
    assert done.url == "/plans/1/together/"
    searches.clear()
    shown = client.get(done.url).content.decode()
    assert "FP-0001" in shown and "FP-0002" in shown and not searches
    one = client.get("/plans/2/").content.decode()
    assert "number 2 of 2" in one and "FP-0001" in one and not searches
    order = client.get(
        f"/fit-checks/{cowls.checks['upper'].entry_id}/plan/work-order.pdf?plan=2"
    )
    assert "FP-0002" in words_of(order) and "FP-0001" in words_of(order)
    assert "together with FP-0002" in client.get(reverse("today")).content.decode()


@pytest.mark.either_database
def test_missing_measurements_are_said(engineer, client_of):
    cowls = make_cowls(engineer)
    read_cowls(cowls, *OFF, but=("right",))
    found = assembling.together(cowls.airframe, both(cowls))
    number = cowls.joints["right"].number
    assert found.left_out == [
        f"{number} was not measured since a part of it last changed"
    ]
    assert found.plan.whole.outcome == "fits"
    page = client_of("visitor").get(url(cowls, upper="free", lower="free"))
    text = page.content.decode()
    assert f"{number} was not measured" in text and "Take these plans" not in text
    assert "not all of it was" in text
    rows = taken(engineer, cowls)
    page = client_of("visitor").get(f"/plans/{rows[1].number}/together/")
    assert f"{number} was not measured" in page.content.decode()


@pytest.mark.either_database
def test_a_part_of_which_no_own_joint_was_measured_stays_where_it_is(engineer):
    cowls = make_cowls(engineer)
    read_cowls(cowls, *OFF, but=("lower",))
    found = assembling.together(cowls.airframe, both(cowls))
    assert found.problem == "" and len(found.parts) == 1
    assert found.plan.parts[1].fixed
    cowls = make_cowls(engineer)
    assert assembling.together(cowls.airframe, both(cowls)).problem


@pytest.mark.either_database
@pytest.mark.parametrize(
    "asked",
    ["p=free", "pX=free", "p0=free", "p99999999999999=held", "from=-1", "from=x"],
)
def test_an_address_that_means_nothing_chooses_nothing(engineer, client_of, asked):
    cowls = off_cowls(engineer)
    page = client_of("builder").get(f"/airframes/{cowls.airframe.pk}/together/?{asked}")
    assert page.status_code == 200 and page.context["page"].chosen == []


@pytest.mark.either_database
def test_all_seams_are_judged_by_one_rule_as_the_least_known_of_them(
    engineer, monkeypatch
):
    """Of each part the second joint counts as the first does."""
    cowls = make_cowls(engineer)
    gauge = make_instrument(engineer, u_nm=mm(0.1))
    fit_up = cowls.checks["right"].fit_up
    cowls.checks["right"] = make_check(engineer, fit_up, instrument=gauge)
    read_cowls(cowls, *OFF)
    set_plan_defaults(by=engineer, wished_permille=900)
    asked, real = [], assembling.plan_assembly

    def told(*said, **more):
        asked.append(said[2])
        return real(*said, **more)

    monkeypatch.setattr(assembling, "plan_assembly", told)
    found = assembling.together(cowls.airframe, both(cowls))
    assert {one.options.uncertainty_mm for one in found.parts} == {0.1}
    assert [(one.uncertainty_mm, one.wish) for one in asked] == [(0.1, 0.9)]
    cowls = make_cowls(engineer, guarded=("right",))
    read_cowls(cowls, *OFF)
    found = assembling.together(cowls.airframe, both(cowls))
    assert "judged by different rules" in found.problem and found.parts == []
    alone = planning.work_out(planned(cowls.checks["upper"]))
    number = cowls.joints["right"].number
    assert alone.left_out == [f"{number} is judged by another rule"]
    assert alone.problem == ""


def test_nothing_to_move_is_said_and_not_taken(engineer, client_of):
    cowls = off_cowls(engineer)
    client = client_of("builder")
    text = client.get(url(cowls, upper="fixed", lower="fixed")).content.decode()
    assert "nothing to move" in text
    client.post(url(cowls, "take/", upper="fixed", lower="fixed"))
    client.post(url(cowls, "take/"))
    assert FitPlan.objects.count() == 0


@pytest.mark.either_database
def test_the_page_asks_as_much_of_the_database_for_30_joints_as_for_few(
    engineer, client_of
):
    client = client_of("builder")

    def statements(cowls) -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            client.get(url(cowls, upper="free", lower="free"))
        return len(asked)

    few = make_cowls(engineer)
    read_cowls(few, *OFF)
    first = statements(few)
    more = SEAMS | {f"left {n}": split(1) for n in range(27)}
    many = make_cowls(engineer, seams=more)
    read_cowls(many, *OFF, but=set(more) - set(SEAMS))
    assert statements(many) == first


@pytest.fixture
def held_cowls(engineer):
    """Both halves held by two bolts each that slide up and down and fore and aft."""
    cowls = make_cowls(engineer)
    for half, name in zip(("upper", "lower"), cowls.positions, strict=True):
        hold(engineer, cowls.joints[half].position, 1 if half == "upper" else -1)
        assert name == cowls.joints[half].position_id
    read_cowls(cowls, ((0, 0, 0), (0.9, -0.3, 0)), ((0, 0, 0), (-0.4, 0.4, 0)))
    return cowls


def hold(by, position, up: int) -> None:
    directions = (
        DirectionDraft("fore", "aft", (1.0, 0.0, 0.0)),
        DirectionDraft("up", "down", (0.0, 1.0, 0.0)),
    )
    points = (
        PointDraft("rear bolt", "slot", (0, mm(200 * up), mm(400))),
        PointDraft("nose bolt", "slot", (mm(600), mm(100 * up), 0)),
    )
    said = {"min_nm": mm(-1), "max_nm": mm(1), "step_nm": mm(0.1), "set_u_nm": 0}
    rows = (
        AdjusterDraft(point="rear bolt", direction=0, **said),
        AdjusterDraft(point="rear bolt", direction=1, **said),
        AdjusterDraft(point="nose bolt", direction=0, **said),
        AdjusterDraft(point="nose bolt", direction=1, **said),
    )
    draft = HoldingDraft(directions, points, rows, note="as drawn")
    define_holding(by=by, position=position, draft=draft)


@pytest.mark.either_database
def test_parts_that_are_held_by_adjusters_are_set_together_in_whole_steps(
    engineer, client_of, held_cowls
):
    client = client_of("builder")
    here = f"/airframes/{held_cowls.airframe.pk}/together/"
    page = client.get(f"{here}?from={held_cowls.positions[0]}")
    assert [one.how for one in page.context["page"].choices] == ["held", "held"]
    text = page.content.decode()
    assert "Seating both of them is enough" in text and "ear bolt: " in text
    take = url(held_cowls, "take/", upper="held", lower="held")
    client.post(take, {"shown": page.context["shown"]})
    lower, upper = FitPlan.objects.order_by("number")
    worked = plan_records.worked_of(plan_of(lower))
    assert worked.asked_settings and worked.holding == 1
    assert all(nm % mm(0.1) == 0 for nm in worked.asked_settings.values())
    for row in (lower, upper):
        set_as_asked(client, row)
    assert StandingPlan.objects.count() == 0
    seam = held_cowls.joints["left"]
    assert AppliedMove.objects.filter(fit_up__joint=seam, kind="set").count() == 2
    again = make_check(engineer, seam.fit_ups.order_by("-number").first())
    read(again, "3", "gap", "1.75")
    rounds = rounds_at(held_cowls, seam)
    told = upper.content["outcome"]["stations"]
    after = {one["label"]: one["gap_after_nm"] for one in told if one["joint"] == 1}
    for one in rounds[-1].stations:
        assert one.gap_predicted_nm == pytest.approx(after[one.label], abs=3)
    assert verify.verify().fault == ""


def set_as_asked(client, row) -> None:
    """Through the form, which comes filled with what is asked."""
    address = f"/fit-checks/{row.fit_check.entry_id}/set/"
    form = client.get(address).context["form"]
    said = {name: form[name].value() for name in form.fields}
    said = {name: value for name, value in said.items() if value is not None}
    assert client.post(address, {**said, "do": "record"}).status_code == 302


@pytest.mark.either_database
def test_one_is_set_and_the_other_goes_freely_beside_it(
    engineer, client_of, held_cowls
):
    client = client_of("builder")
    page = client.get(url(held_cowls, upper="held", lower="free"))
    assert "ear bolt: " in page.content.decode()
    take = url(held_cowls, "take/", upper="held", lower="free")
    client.post(take, {"shown": page.context["shown"]})
    worked = [
        plan_records.worked_of(plan_of(row)) for row in FitPlan.objects.order_by("pk")
    ]
    (held,) = (one for one in worked if one.present)
    (free,) = (one for one in worked if not one.present)
    assert held.asked_settings and not free.asked_settings and any(free.plan.move.raw)
    assert held.plan.known.intervals.settings and free.plan.known.intervals.moves
