"""A plan is a record: frozen, for everyone, overtaken when something changed."""

import hashlib
import io
import json

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pypdf import PdfReader

from qa.actions import fit_plans, moves, settings, trimming
from qa.actions.planning_defaults import set_plan_defaults
from qa.models import FitPlan, PlanEnd, StandingPlan
from qa.numeric.plan import free_planner, set_planner
from qa.numeric.plan.planner import METHOD
from qa.queries.plans import plan_pages as plans
from qa.queries.tablet import carried_checks as tablet
from qa.rules import overtaking, plan_records, planning, ways
from qa.rules.moved import Moved
from shop.actions import suspects
from shop.ledger import Refused, projections, verify
from shop.models import StructuralClass
from tests.around import by_hand
from tests.qa.making import make_fit_up, make_joint, make_stations, mm, read, revise
from tests.qa.planned import a_check, a_joint, cut, even, planned, read_at, take
from tests.shop.making import make_placement

pytestmark = pytest.mark.django_db


@pytest.fixture
def engineer(people):
    return people["engineer"]


def tight(by, **said):
    check = a_check(by, **said)
    read_at(check, even(s3="0.40", s4="0.40"))
    return check


@pytest.fixture
def runs(monkeypatch):
    """How often the solver searches where the part may go: it still answers."""
    asked = []
    ways.side_by_side.cache_clear()

    def counted(made, name):
        real = getattr(made, name)

        def search(self):
            options = self.options
            still = options.adjusters is None and not options.max_raise_mm
            if not (still or getattr(self, "stays", False)):
                asked.append(name)
            return real(self)

        monkeypatch.setattr(made, name, search)

    for made in (free_planner.Planner, set_planner.SetPlanner):
        counted(made, "_solve_seat")
        counted(made, "_solve_trim")
    return asked


def url(check, more="plan/"):
    return f"/fit-checks/{check.entry_id}/{more}"


def words_of(answer) -> str:
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


@pytest.mark.either_database
def test_a_plan_on_record_says_what_was_read_wished_and_found(engineer):
    check = tight(engineer)
    row = take(engineer, check)
    assert row.label == "FP-0001"
    assert hashlib.sha256(row.body.encode()).hexdigest() == row.digest
    body = json.loads(row.body)
    assert body["form"] == "plan_body/6" and row.method == body["method"] == METHOD
    (joint,) = body["inputs"]["joints"]
    assert len(joint["readings"]) == 16
    assert joint["check"] == str(check.entry_id)
    assert body["wishes"]["limits"] == {"max_move_mm": 0.0, "max_turn_deg": 0.0}
    three = next(s for s in body["outcome"]["stations"] if s["label"] == "3")
    assert (three["gap_now_nm"], three["bite_nm"]) == (mm(0.4), mm(0.75))
    asked = {c.station: c.bite_nm for c in row.cuts.all()}
    assert asked == {"2": 0, "3": mm(0.75), "4": mm(0.75), "5": 0}
    assert verify.verify().fault == ""


@pytest.mark.either_database
def test_reasons_are_kept_as_codes_with_values(engineer):
    joint = a_joint(engineer, trim_max_nm=mm(0.5))
    row = take(engineer, tight(engineer, joint=joint))
    three = next(s for s in row.content["outcome"]["stations"] if s["label"] == "3")
    assert [code for code, _ in three["reasons"]] == ["may_still_cut"]
    assert three["reasons"][0][1]["mm"] == pytest.approx(mm(0.6), abs=2)


@pytest.mark.either_database
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_plan_on_record_is_shown_as_it_was_worked_out(engineer, unit):
    check = a_check(engineer)
    read_at(check, even(s3="0.40", s7="2.00"))
    fresh = plans.view_of(planning.work_out(planned(check)), unit)
    row = take(engineer, check, limits=None)
    again = plans.view_of(plan_records.worked_of(row), unit)
    assert again.rows == fresh.rows and again.steps == fresh.steps
    for name in (
        "outcome",
        "state",
        "moves",
        "probability",
        "worst",
        "area",
        "share",
        "known",
    ):
        assert getattr(again, name) == getattr(fresh, name), name
    assert plans.moved(again.worked, unit) == plans.moved(fresh.worked, unit)
    drawn = [(one.before, one.after, one.profile) for one in again.drawings]
    assert drawn == [(one.before, one.after, one.profile) for one in fresh.drawings]


@pytest.mark.either_database
def test_a_page_searches_twice_and_not_at_all_for_a_plan_on_record(
    engineer, client_of, runs
):
    check, client = tight(engineer), client_of("builder")
    page = client.get(url(check))
    assert 1 <= len(runs) <= 2 and len(page.context["ways"]) == 4
    # What is taken is what was shown: nothing is searched again.
    runs.clear()
    client.get(url(check, "plan/?way=both"))
    client.post(url(check, "plan/take/"))
    assert runs == []
    for where in (
        url(check), "/plans/1/", url(check, "plan/work-order.pdf"),
        url(check, "trim/"), url(check, "move/"), "/",
        f"/joints/{check.fit_up.joint_id}/on/{check.fit_up.airframe_id}/",
    ):  # fmt: skip
        answer = client.get(where)
        assert answer.status_code == 200, where
    client.post(url(check, "plan/template.pdf"))
    client.post(url(check, "trim/"), {"unit": "mm", "moved": "no", "as_asked": "on"})
    assert runs == []
    assert PlanEnd.objects.get().how == "done"


def test_bites_and_moves_come_from_the_record_and_not_from_the_address(
    engineer, client_of
):
    check, client = tight(engineer), client_of("builder")
    take(engineer, check)
    page = client.get(url(check, "trim/?max_trim=0.1&unit=mm")).content.decode()
    assert '<td class="num">0.75</td>' in page and "FP-0001" in page


CHANGES = {
    "measured again": lambda by, c: read(
        a_check(by, fit_up=c.fit_up), "3", "gap", "0.5"
    ),
    "corrected": lambda by, c: read_over(by, c),
    "refitted": lambda by, c: refit(by, c),
    "cut": lambda by, c: cut(by, c, {"5": "0.2"}),
    "revised": lambda by, c: revise(by, c.fit_up.joint),
    "defaults": lambda by, c: set_plan_defaults(by=by, bite_permille=500),
    "held": lambda by, c: hold(by, c),
    "held another way": lambda by, c: around(by, c),
    "fitted elsewhere": lambda by, c: elsewhere(by, c),
    "placed elsewhere": lambda by, c: placed_elsewhere(by, c),
}


def read_over(by, check):
    from qa.models import Reading

    old = Reading.objects.filter(fit_check=check, kind="gap", station__label="3").get()
    read(check, "3", "gap", "0.55", supersedes=old, reason="misread")


def refit(by, check):
    one = check.fit_up
    make_fit_up(by, one.joint, airframe=one.airframe, part=one.part, reason="refit")


def hold(by, check):
    key = check.fit_up.part_id
    suspects.put_on_hold(by=by, kind="part", key=key, reason="crack seen")


def elsewhere(by, check):
    """The part is fitted once at a joint of another position."""
    one = check.fit_up
    joint = make_joint(by, type=one.joint.type)
    make_fit_up(by, joint, airframe=one.airframe, part=one.part)


def placed_elsewhere(by, check):
    make_placement(by, part=check.fit_up.part)


def around(by, check):
    """The part is fitted at another joint of its position, held another way."""
    one = check.fit_up
    joint = make_joint(by, make_stations(8), type=one.joint.type,
                       position=one.joint.position)  # fmt: skip
    make_fit_up(
        by, joint, airframe=one.airframe, part=one.part,
        held=[{"kind": "cleco", "where": "", "count": 4}],
    )  # fmt: skip


@pytest.mark.parametrize("name", CHANGES)
def test_a_plan_is_overtaken_the_moment_something_it_was_made_from_changed(
    engineer, client_of, name
):
    check, client = tight(engineer), client_of("builder")
    row = take(engineer, check)
    assert overtaking.changes_of(row) == []
    CHANGES[name](engineer, planned(check))
    assert overtaking.changes_of(row) != []
    for where in (
        "/plans/1/", "/", url(check, "trim/"), url(check, "move/"),
        f"/joints/{check.fit_up.joint_id}/on/{check.fit_up.airframe_id}/",
    ):  # fmt: skip
        page = client.get(where).content.decode().lower()
        assert "overtaken" in page and "fp-0001" in page, where
    paper = words_of(client.get(url(check, "plan/work-order.pdf")))
    assert "Overtaken: do not work by this" in paper
    with pytest.raises(Refused, match="overtaken"):
        fit_plans.refuse_overtaken(row)


def test_its_own_cuts_do_not_overtake_a_plan(engineer):
    check = tight(engineer)
    row = take(engineer, check)
    cut(engineer, check, {"3": "0.40"}, plan=row, more=True)
    assert overtaking.changes_of(row) == []


def test_another_plan_replaces_the_one_that_stood_and_the_same_is_one(engineer):
    check = tight(engineer)
    first = take(engineer, check)
    assert take(engineer, check) == first
    second = take(engineer, check, limits=None)
    end = PlanEnd.objects.get()
    assert (end.plan, end.how, end.by_plan) == (first, "replaced", second)
    assert [one.plan for one in StandingPlan.objects.all()] == [second]
    before = list(StandingPlan.objects.values_list("plan", "airframe", "part"))
    StandingPlan.objects.all().delete()
    projections.rebuild()
    assert list(StandingPlan.objects.values_list("plan", "airframe", "part")) == before


def test_a_plan_that_changed_while_it_was_looked_at_is_not_taken(engineer):
    check = tight(engineer)
    _worked, draft = plan_records.draft(planned(check))
    read(a_check(engineer, fit_up=check.fit_up), "3", "gap", "0.60")
    with pytest.raises(Refused, match="changed while"):
        fit_plans.take(by=engineer, plan=draft)
    assert not FitPlan.objects.exists()


def test_the_database_lets_one_plan_stand_for_a_part(engineer):
    check = tight(engineer)
    take(engineer, check)
    second = take(engineer, check, limits=None)
    first = FitPlan.objects.get(number=1)
    with pytest.raises(Exception, match=r"(?i)unique"), transaction.atomic():
        StandingPlan.objects.create(
            plan=first, airframe=second.airframe, part=second.part
        )


def test_the_tablet_is_told_of_the_plan_that_stands(engineer):
    check = tight(engineer)
    assert tablet.check_for_tablet(loaded(check))["plan"] is None
    row = take(engineer, check)
    told = tablet.check_for_tablet(loaded(check))["plan"]
    assert (told["label"], told["digest"]) == (row.label, row.digest)
    assert {one["station"]: one["bite_nm"] for one in told["cuts"]} == {
        "3": mm(0.75),
        "4": mm(0.75),
    }
    assert told["overtaken"] == ""


def loaded(check):
    return planned(check)


@pytest.mark.either_database
def test_a_withdrawn_plan_is_nobodys_to_work_by(engineer, client_of):
    check, client = tight(engineer), client_of("builder")
    take(engineer, check)
    answer = client.post("/plans/1/withdraw/", {"reason": ""})
    assert "required" in answer.content.decode()
    client.post("/plans/1/withdraw/", {"reason": "the door is to be replaced"})
    page = client.get("/plans/1/").content.decode()
    assert "nobody works by it" in page and "the door is to be replaced" in page
    paper = words_of(client.get(url(check, "plan/work-order.pdf")))
    assert "Withdrawn: do not work by this" in paper


# What is done by a plan, each as it is asked of it.
BY_A_PLAN = {
    "release": lambda by, check, plan: trimming.release_cut(
        by=by, plan=plan, part=check.fit_up.part
    ),
    "template": lambda by, check, plan: trimming.record_template(
        by=by, plan=plan, edges=[], paper="a4", issued_at=timezone.now(), data=b"%PDF"
    ),
    "cut": lambda by, check, plan: cut(by, check, {"3": "0.10"}, plan=plan),
    "move": lambda by, check, plan: moves.record_move(
        by=by, checks=[planned(check)], moved=UP_ONE, plan=plan
    ),
    "settings": lambda by, check, plan: settings.record_settings(
        by=by, checks=[planned(check)], made=settings.Settings([], {}), plan=plan
    ),
    "withdrawal": lambda by, check, plan: fit_plans.withdraw(
        by=by, plan=plan, reason="once more"
    ),
}
UP_ONE = Moved("up", [{"name": "up", "amount": "1.0", "unit": "mm"}], {})


@pytest.mark.either_database
@pytest.mark.parametrize("act", BY_A_PLAN)
def test_nothing_is_done_by_a_plan_that_has_ended(engineer, act):
    check = tight(engineer)
    plan = take(engineer, check)
    fit_plans.withdraw(by=engineer, plan=plan, reason="the edge is cracked")
    with pytest.raises(Refused, match=f"{plan.label} is withdrawn"):
        BY_A_PLAN[act](engineer, check, plan)
    assert PlanEnd.objects.count() == 1


@pytest.mark.either_database
def test_an_overtaken_plan_is_not_released(engineer, client_of):
    check = tight(engineer)
    plan = take(engineer, check)
    with by_hand():
        design = check.fit_up.part.design
        design.structural_class = StructuralClass.PRIMARY
        design.save()
    client, at = client_of("engineer"), url(check, "plan/release/")
    assert client.get(at).status_code == 200
    read_at(a_check(engineer, fit_up=check.fit_up), {"3": "0.50"})
    with pytest.raises(Refused, match=f"{plan.label} is overtaken"):
        BY_A_PLAN["release"](engineer, check, plan)
    page = client.get(at, follow=True).content.decode()
    assert f"{plan} is overtaken: nothing can be released by it." in page


@pytest.mark.either_database
def test_plans_on_today_are_as_many_statements_whatever_their_number(
    engineer, client_of
):
    client, counts = client_of("builder"), []
    for _ in range(2):
        for _ in range(2):
            take(engineer, tight(engineer))
        client.get("/")
        with CaptureQueriesContext(connection) as caught:
            page = client.get("/").content.decode()
        counts.append(len(caught))
    assert counts[0] == counts[1] and "FP-0004" in page
