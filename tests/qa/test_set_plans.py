"""A plan in settings: what hands set is what is planned, told, kept, and done."""

import io
import json
from dataclasses import replace

import pytest
from pypdf import PdfReader

from qa.actions import checks
from qa.actions.settings import Set, Settings, record_settings
from qa.demo import holding
from qa.models import (
    AdjusterSetting,
    AppliedMove,
    FitPlan,
    FitUp,
    FitUpReason,
    PlanEnd,
)
from qa.queries.plans import plan_pages as plans
from qa.queries.plans.done_by_plan import done_by
from qa.queries.today import today
from qa.rules import adjusters, plan_records, planning
from shop.ledger import Refused
from shop.ledger.verify import verify
from tests.qa.hung import hung_check, read_displaced, turned
from tests.qa.making import make_check, make_fit_up, read
from tests.qa.planned import a_joint, planned, take, without_spread
from tests.qa.test_setting_pages import typed

pytestmark = pytest.mark.django_db


@pytest.fixture
def engineer(people):
    return people["engineer"]


def url(check, more="plan/"):
    return f"/fit-checks/{check.entry_id}/{more}"


def aft(by, **more):
    """A door that hangs 0.6 too far fore, and its latch 0.4 too far out."""
    check = hung_check(by)
    read_displaced(check, (0, -0.4 / 800, 0), (-0.9, 0, 0.2), **more)
    return check


def view_of(check, unit="mm", **wish):
    return plans.view_of(
        planning.work_out(planned(check), planning.Wish(**wish) if wish else None), unit
    )


@pytest.mark.either_database
def test_a_hung_door_is_planned_in_whole_steps_of_its_hinges(engineer):
    view = view_of(aft(engineer))
    asked = view.worked.asked_settings
    steps = {one.name: one.step_nm for one in view.worked.present}
    assert asked and all(nm % steps[name] == 0 for name, nm in asked.items())
    (words,) = view.moves
    assert words.startswith("upper hinge: 0.") and " mm aft" in words
    assert "; lower hinge: 0." in words and "latch: " in words and " mm in" in words
    assert view.steps[0] == words[0].upper() + words[1:] + "."
    assert not any("°" in one for one in view.steps)
    assert view.worked.plan.outcome == "fits"


def test_what_is_expected_is_of_the_rounded_settings_by_an_exact_rotation(engineer):
    """Bolts turned as told in a simulated door, its motion found by bisection on the
    adjusters' own definition, with the rotation of the test."""
    check = aft(engineer)
    view = view_of(check)
    worked = view.worked
    move = worked.plan.move
    angles = [dict(move.amounts).get(n, 0.0) for n in ("tilt_x", "tilt_y", "turn")]
    about = move.motions[0].origin
    radians = [a / 57.29577951308232 for a in angles]
    shift = [dict(move.amounts)[axis] for axis in "xyz"]
    for one in worked.present:
        q = [nm / 1e6 for nm in one.place_nm]
        to = turned(q, about, radians, shift)
        went = sum(
            (b - a) * d / 1e9 for a, b, d in zip(q, to, one.direction_e9, strict=True)
        )
        assert went == pytest.approx(
            worked.asked_settings.get(one.name, 0) / 1e6, abs=0.021
        )
    stations = {one.label: one for one in check.fit_up.revision.stations.all()}
    for one in worked.plan.stations:
        row = stations[one.label]
        p = [row.x_nm / 1e6, row.y_nm / 1e6, row.z_nm / 1e6]
        to = turned(p, about, radians, shift)
        n = [row.gap_x_e9 / 1e9, row.gap_y_e9 / 1e9, row.gap_z_e9 / 1e9]
        closes = sum((b - a) * d for a, b, d in zip(p, to, n, strict=True))
        assert one.gap_after == pytest.approx(one.gap_now - closes, abs=1e-3)
        assert one.flush_after == pytest.approx(one.flush_now + to[2] - p[2], abs=1e-3)


@pytest.mark.either_database
def test_how_well_a_step_is_set_joins_the_probability(engineer, monkeypatch):
    check = aft(engineer)
    sure = view_of(check).worked.plan.probability
    monkeypatch.setitem(holding.SET_U, "length", 300_000)
    holding.state({"emil": engineer}, check.fit_up.joint, "hinged")
    assert view_of(check).worked.plan.probability < sure


@pytest.mark.either_database
def test_a_plan_on_record_keeps_its_settings_and_their_words(engineer, client_of):
    check = aft(engineer)
    drawn = view_of(check)
    row = take(engineer, check, None)
    body = json.loads(row.body)
    assert body["form"] == "plan_body/6" and body["inputs"]["holding"] == 1
    again = plans.view_of(plan_records.worked_of(FitPlan.objects.get(pk=row.pk)), "mm")
    assert (again.steps, again.moves) == (drawn.steps, drawn.moves)
    assert again.worked.plan.settings == drawn.worked.plan.settings
    assert again.worked.plan.set_only == drawn.worked.plan.set_only
    page = client_of("visitor").get(f"/plans/{row.number}/").content.decode()
    assert drawn.steps[0] in page and "°" not in page.replace("°C", "")
    answer = client_of("builder").get(url(check, "plan/work-order.pdf"))
    pages = PdfReader(io.BytesIO(answer.content)).pages
    words = " ".join(" ".join(one.extract_text().split()) for one in pages)
    assert "upper hinge: 0." in words.lower() and "°" not in words
    (listed,) = [
        one for one in today(engineer).waiting if one.title == "Plans to work by"
    ]
    assert "upper hinge: 0." in listed.items[0].note


def test_from_the_plan_to_the_settings_the_plan_is_done(engineer, client_of):
    check = aft(engineer)
    client = client_of("builder")
    went = client.post(url(check, "plan/take/"), {"then": "set"})
    assert went.url == url(check, "set/")
    page = client.get(went.url)
    form, plan = page.context["form"], FitPlan.objects.get()
    said = {name: form[name].value() or "" for name in form.fields}
    assert client.post(went.url, said).status_code == 302
    view = plans.view_of(plan_records.worked_of(plan), "mm")
    made = {one.name: one.change_nm for one in AdjusterSetting.objects.all()}
    assert made == view.worked.asked_settings
    assert all(one.asked_nm == one.change_nm for one in AdjusterSetting.objects.all())
    assert PlanEnd.objects.get().how == "done"
    assert FitUp.objects.latest("number").reason == FitUpReason.SET
    assert not verify().faults


@pytest.mark.either_database
def test_a_setting_by_an_overtaken_plan_asks_for_a_reason(engineer, client_of):
    check = aft(engineer)
    plan = take(engineer, check, None)
    read(make_check(engineer, check.fit_up), "3", "gap", "1.00")
    client, where = client_of("builder"), url(check, "set/")
    form = client.get(where).context["form"]
    said = {name: form[name].value() or "" for name in form.fields}
    ahead = client.post(where, {**said, "do": "see"})
    assert ahead.context["seen"] and not ahead.context["form"].errors
    page = client.post(where, {**said, "note": "by the old sheet"})
    words = "The plan is overtaken: say why it was set by it."
    assert page.context["form"].errors == {"reason": [words]}
    assert "by the old sheet" in page.content.decode()
    made = Settings([Set("latch: out/in", -200_000)], {})
    with pytest.raises(
        Refused, match="measured again at 3. Say why .* set by it"
    ) as no:
        record_settings(by=engineer, checks=[planned(check)], made=made, plan=plan)
    assert (no.value.field, no.value.code) == ("reason", "reason")
    assert not AdjusterSetting.objects.exists()
    told = {**said, "reason": "set before it was read"}
    assert client.post(where, told).status_code == 302
    assert AppliedMove.objects.get().reason == "set before it was read"
    assert "“set before it was read”" in client.get("/plans/1/").content.decode()
    assert not verify().faults


def test_set_otherwise_is_kept_beside_what_was_asked(engineer, client_of):
    check = aft(engineer)
    plan = take(engineer, check, None)
    asked = plan_records.worked_of(plan).asked_settings
    said = typed(check, **{"latch: out/in": "0.2 minus"}) | {"note": "it binds"}
    client_of("builder").post(url(check, "set/"), said)
    row = AdjusterSetting.objects.get()
    assert row.change_nm == -200_000 and row.asked_nm not in (None, row.change_nm)
    (done,) = done_by(plan_records.worked_of(plan), "mm")
    for name, wanted in asked.items():
        (words,) = [
            words for words in done.words if words.startswith(name.split(":")[0])
        ]
        done_words = "0.2 mm in" if name.startswith("latch") else "stays"
        amount = f"{abs(wanted) / 1e6:g} mm"
        assert f": {done_words}, where {amount} " in words
    page = client_of("builder").get(f"/plans/{plan.number}/").content.decode()
    assert "Done by it" in page and "“it binds”" in page


@pytest.mark.either_database
def test_what_is_cut_and_set_at_once_is_recorded_at_once(engineer, client_of):
    check = aft(engineer, s2=-1.9, s3=-1.9)
    row = take(engineer, check, None)
    view = plans.view_of(plan_records.worked_of(row), "mm")
    assert view.cuts and view.worked.asked_settings and view.share == 1
    client = client_of("builder")
    page = client.get(url(check, "trim/")).content.decode()
    assert "was set as asked: " in page
    said = {"as_asked": "on", "moved": "yes", "unit": "mm"}
    assert client.post(url(check, "trim/"), said).status_code == 302
    made = {one.name: one.change_nm for one in AdjusterSetting.objects.all()}
    assert made == view.worked.asked_settings
    assert not verify().faults
    (done,) = done_by(plan_records.worked_of(row), "mm")
    assert len(done.words) == 1 + len(made)
    assert done.words[-1].startswith(f"off {check.fit_up.part} at 2, 3: ")
    assert not any("was asked" in words for words in done.words)


@pytest.mark.either_database
def test_a_holding_stated_anew_overtakes_a_plan_by_it(engineer, client_of):
    check = aft(engineer)
    row = take(engineer, check, None)
    assert not plan_records.worked_of(row).changes
    holding.state({"emil": engineer}, check.fit_up.joint, "hinged")
    (change,) = plan_records.worked_of(row).changes
    assert change.words == "how the part is held was stated anew"
    page = client_of("builder").get(url(check, "set/")).content.decode()
    words = " ".join(page.split())
    assert f"{row} is overtaken: {change.words}. Do nothing more by it" in words


@pytest.mark.either_database
def test_freely_is_planned_when_it_is_asked_for_and_only_then(engineer, client_of):
    check = aft(engineer)
    assert view_of(check, freely=True).moves[0].startswith("move ")
    client = client_of("engineer")
    page = client.get(url(check) + "?max_move=1")
    assert "What holds it says how far it goes" in page.content.decode()
    page = client.get(url(check) + "?max_move=1&freely=on")
    assert page.context["view"].moves[0].startswith("move ")
    row = take(engineer, check, {"max_move_mm": 2.0})
    assert plan_records.worked_of(row).wish.limits == {"max_move_mm": 2.0}


@pytest.mark.either_database
def test_motions_said_for_a_fit_up_go_before_what_holds_the_part(engineer):
    joint = a_joint(engineer, 12)
    holding.state({"emil": engineer}, joint, "hinged")
    slide = {"name": "slide", "translation": [1, 0, 0], "min": -2, "max": 2}
    check = make_check(engineer, make_fit_up(engineer, joint, motions=[slide]))
    read_displaced(check, shift=(-0.9, 0, 0))
    (words,) = map(without_spread, view_of(check).moves)
    assert words == "slide: 0.90 mm right"


@pytest.mark.either_database
@pytest.mark.parametrize(
    ("unit", "end"), [("mm", "0.30 mm"), ("in", "0.0118 in")], ids=["mm", "in"]
)
def test_a_latch_at_the_end_of_its_range_is_said_on_page_paper_and_tablet(
    engineer, client_of, monkeypatch, unit, end
):
    usual = adjusters.TYPICAL["hinged"]

    def short(places, front_is_left):
        found = usual(places, front_is_left)
        rows = tuple(
            replace(row, back_mm=0.3) if row.point == "latch" else row
            for row in found.adjusters
        )
        return replace(found, adjusters=rows)

    monkeypatch.setitem(adjusters.TYPICAL, "hinged", short)
    check = aft(engineer)
    checks.finish_check(by=engineer, check=check)
    words = f"further would do better: latch: out/in (−{end} is its least)"
    (told,) = [note for note in view_of(check, unit).warnings if "further" in note]
    assert told == f"At the end of its range, and {words}."
    plan = take(engineer, check, None)
    notes = json.loads(plan.body)["outcome"]["notes"]
    (kept,) = [note for note in notes if "ends" in note[1]]
    assert kept == ["settings_end", {"ends": [["latch: out/in", -300_000, -1]]}]
    builder = client_of("builder")
    page = builder.get(url(check, f"plan/?unit={unit}")).content.decode()
    paper = builder.get(url(check, f"plan/work-order.pdf?unit={unit}"))
    (sheet,) = PdfReader(io.BytesIO(paper.content)).pages
    printed = " ".join(sheet.extract_text().split())
    tablet = builder.get(f"/api/checks/{check.entry_id}/next?unit={unit}").json()
    for text in (page, printed, tablet["html"]):
        assert words in text


@pytest.mark.either_database
def test_a_present_setting_outside_of_a_range_stated_since_is_said(
    engineer, client_of, monkeypatch
):
    check = aft(engineer)
    said = {"upper hinge: aft/fore": "0.9 plus", "lower hinge: aft/fore": "0.9 plus"}
    client_of("builder").post(url(check, "set/"), typed(check, **said))
    usual = adjusters.TYPICAL["hinged"]

    def narrow(places, front_is_left):
        found = usual(places, front_is_left)
        rows = tuple(replace(one, far_mm=0.5) for one in found.adjusters)
        return replace(found, adjusters=rows)

    monkeypatch.setitem(adjusters.TYPICAL, "hinged", narrow)
    holding.state({"emil": engineer}, check.fit_up.joint, "hinged")
    again = make_check(engineer, FitUp.objects.latest("number"))
    read_displaced(again, shift=(-0.9, 0, 0))
    view = view_of(again)
    assert view.worked.plan is None
    assert "upper hinge: aft/fore" in view.outcome and "not within" in view.outcome
