"""What a tablet sends of settings and cuts done at the fuselage, and what it carries to
do so without a network: each act one fact, and the check after it in its fit-up."""

import io
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from qa.actions import checks, fit_plans
from qa.actions.planning_defaults import set_plan_defaults
from qa.models import (
    AdjusterSetting,
    AppliedMove,
    Check,
    CutDeviation,
    FitPlan,
    FitUp,
    FitUpReason,
    PlanEnd,
    TrimCut,
)
from qa.rules import plan_records
from qa.rules.planning import Wish
from shop.ledger.verify import verify
from shop.models import Entry, StructuralClass
from tests.around import by_hand
from tests.qa.hung import hung_check, read_displaced
from tests.qa.making import read
from tests.qa.planned import (
    a_check,
    cut,
    even,
    planned,
    read_at,
    take,
    without_spread,
)
from tests.qa.test_acts import put
from tests.qa.test_claims import Sender

pytestmark = pytest.mark.django_db
UPPER, LOWER = "upper hinge: aft/fore", "lower hinge: aft/fore"


@pytest.fixture
def engineer(people):
    return people["engineer"]


@pytest.fixture
def builder(client_of):
    return client_of("builder")


def displaced(by, count=12):
    """A finished check of a door that hangs 0.9 mm forward and tilted."""
    check = hung_check(by, count)
    read_displaced(check, (0, -0.0005, 0), (-0.9, 0, 0.2))
    checks.finish_check(by=by, check=check)
    return check


def tight(by, **said):
    """A finished check of a door that is tight at station 3, and its plan."""
    check = a_check(by, **said)
    read_at(check, even(s3="0.90"))
    checks.finish_check(by=by, check=check)
    return check, take(by, check)


def next_of(client, check, unit="mm"):
    answer = client.get(f"/api/checks/{check.entry_id}/next?unit={unit}")
    assert answer.status_code == 200, answer.content
    assert answer.json()["check"] == str(check.entry_id)
    return answer.json()


def done(told, **otherwise):
    """The act that the tablet makes of what it was told: as asked, but for steps of an
    adjuster by its name, of a cut by its station (s3=40)."""
    items = []
    for item in told["items"]:
        name = item.get("name") or f"s{item['station']}"
        items.append({**item, "done": otherwise.get(name, item["asked"])})
    more = {"note": "", "more": False}
    return {"check": told["check"], "plan": told["plan"], "items": items, **more}


def checking(check, after, **more):
    plain = {"check": str(check.entry_id), "after": str(after)}
    return {**plain, "temperature": "21,5", "note": "", **more}


def expected_of(told, said):
    """What the tablet expects at each field of the next check, nm."""
    return {
        (field["station"], field["kind"]): field["before"]["nm"]
        + sum(nm * said["items"][int(row)]["done"] for row, nm in field["by"].items())
        for field in told["again"][0]["fields"]
    }


def words_of(told):
    """By name or station: what each step is called."""
    return {
        item.get("name") or item["station"]: row["words"]
        for item, row in zip(told["items"], told["words"], strict=True)
    }


@pytest.mark.either_database
def test_after_finish_the_ways_and_every_step_are_told_in_the_unit_of_the_reader(
    engineer, builder
):
    check = displaced(engineer)
    told = next_of(builder, check)
    assert (told["plan"], told["form"]) == (None, "set/1")
    page = told["html"]
    assert "upper hinge: 0.9 mm aft; lower hinge: 0.9 mm aft; latch: 0.4 mm in" in page
    assert page.index("set it") < page.index("set and trim")
    asked = {item["name"]: item["asked"] for item in told["items"]}
    assert told["ways"]["set"] == {n: steps for n, steps in asked.items() if steps}
    words = words_of(told)
    upper = told["words"][list(asked).index(UPPER)]
    assert (asked[UPPER], upper["low"], len(upper["words"])) == (9, -20, 41)
    assert (upper["words"][29], upper["words"][20]) == ("0.9 mm aft", "stays")
    assert "one 0.5 mm shim" in words["upper hinge: out/in"][5]
    inches = next_of(builder, check, "in")
    assert words_of(inches)[UPPER][29] == "0.03543 in aft"
    # Asked again while nothing was recorded: nothing is planned, nothing sent.
    address = f"/api/checks/{check.entry_id}/next?unit=mm"
    tag = builder.get(address)["ETag"]
    again = builder.get(address, headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")


@pytest.mark.either_database
def test_it_takes_as_many_statements_for_twelve_stations_as_for_six(engineer, builder):
    counts = []
    for stations in (6, 6, 12):
        check = displaced(engineer, stations)
        with CaptureQueriesContext(connection) as asked:
            next_of(builder, check)
        counts.append(len(asked))
    assert counts[1] == counts[2]


@pytest.mark.either_database
def test_a_way_is_taken_once_as_it_was_shown_and_not_after_anything_changed(
    engineer, builder
):
    check = displaced(engineer)
    told = next_of(builder, check)
    assert 'data-do="take"' in told["html"]
    said = {"check": told["check"], "way": "set", "read_to": told["read_to"]}
    strange = put(builder, {**said, "way": "paint"}, form="take/1")
    assert (strange.status_code, strange.json()["error"]["field"]) == (422, "way")
    act = uuid.uuid4()
    first = put(builder, said, form="take/1", act=act)
    assert (first.status_code, first.json()["result"]) == (201, {"plan": "FP-0001"})
    again = put(builder, said, form="take/1", act=act)
    assert (again.status_code, again.json()) == (200, first.json())
    plan = FitPlan.objects.get()
    assert (plan.entry.form, str(plan.entry.act)) == ("take/1", str(act))
    assert plan_records.standing(plan) and plan.content["outcome"]["way"] == "set"
    there = next_of(builder, check)
    assert there["plan"] == str(plan.entry_id) and 'data-do="take"' not in there["html"]
    twice = put(builder, said, form="take/1")
    assert twice.json()["error"]["code"] == "done"
    # Nothing is taken of what changed since it was shown.
    set_plan_defaults(by=engineer, bite_permille=700)
    late = put(builder, {**said, "way": "both"}, form="take/1")
    assert (late.status_code, late.json()["error"]["code"]) == (409, "stale")
    assert FitPlan.objects.count() == 1 and not verify().faults


def test_a_check_that_is_not_finished_has_nothing_next(engineer, builder):
    check = hung_check(engineer)
    answer = builder.get(f"/api/checks/{check.entry_id}/next")
    assert (answer.status_code, answer.json()["error"]["code"]) == (422, "refused")


@pytest.mark.either_database
def test_steps_of_adjusters_add_up_to_what_the_server_expects_of_them(
    engineer, builder
):
    check = displaced(engineer)
    told = next_of(builder, check)
    said = done(told, **{UPPER: 8})
    put(builder, said, form="set/1")
    again = a_check(engineer, fit_up=FitUp.objects.latest("number"))
    beside = builder.get(f"/api/checks/{again.entry_id}").json()["beside"]
    here = expected_of(told, said)
    assert len(beside) == len(here) == 24
    for field in beside:
        expected = here[field["station"], field["kind"]]
        # Half of the last digit that is told, and what the turn bends.
        assert field["expected_nm"] == pytest.approx(expected, abs=6_000)


@pytest.mark.either_database
def test_a_move_beside_a_cut_is_expected_where_the_server_expects_it(engineer, builder):
    check = a_check(engineer)
    read_displaced(check, (0, -0.0005, 0), (-0.9, -0.5, 0.2), s3=-1.9)
    checks.finish_check(by=engineer, check=check)
    take(engineer, check)
    told = next_of(builder, check)
    assert told["form"] == "cut/1"
    moved = {item.get("name") for item in told["items"] if item["asked"]}
    assert {"at station 1", "at station 3", None} == moved
    said = done(told)
    assert put(builder, said, form="cut/1").status_code == 201
    again = a_check(engineer, fit_up=FitUp.objects.latest("number"))
    beside = builder.get(f"/api/checks/{again.entry_id}").json()["beside"]
    here = expected_of(told, said)
    assert len({tuple(field["by"]) for field in told["again"][0]["fields"]}) > 2
    for field in beside:
        expected = here[field["station"], field["kind"]]
        assert field["expected_nm"] == pytest.approx(expected, abs=6_000)


RODS = {
    "unit": "mm", "points_count": "2", "adjusters_count": "2",
    "plus_0": "aft", "minus_0": "fore", "x_0": "1",
    "name_0": "upper rod", "kind_0": "hinge", "at_x_0": "-400", "at_y_0": "200",
    "name_1": "lower rod", "kind_1": "hinge", "at_x_1": "-400", "at_y_1": "-200",
    **{f"{name}_{row}": value for row in (0, 1) for name, value in (
        ("of", ("upper rod", "lower rod")[row]), ("word", "aft"), ("far", "2.5"),
        ("back", "2.5"), ("step", "0.3125"), ("by", "turn"),
    )},
}  # fmt: skip


def test_quarter_turns_of_a_rod_end_go_by_its_pitch_from_the_page_to_the_re_check(
    engineer, builder, client_of
):
    """A pitch of 1.25 mm: a quarter turn is 0.3125 mm, and 0.9375 mm are three."""
    check = a_check(engineer)
    position = check.fit_up.joint.position
    form = client_of("engineer").post(f"/positions/{position.pk}/held/state/", RODS)
    assert form.status_code == 302, form.context["form"].errors
    read_displaced(check, shift=(-0.9375, 0, 0))
    checks.finish_check(by=engineer, check=check)
    words = "three quarters of a turn, 0.9375 mm aft"
    page = builder.get(f"/fit-checks/{check.entry_id}/plan/").content.decode()
    assert page.count("three quarters of a turn, 0.9375 mm") >= 2
    plan = take(engineer, check, None)
    paper = builder.get(f"/fit-checks/{check.entry_id}/plan/work-order.pdf")
    printed = words_on(paper)
    assert f"pper rod: {words}; lower rod: {words}" in without_spread(printed)
    told = next_of(builder, check)
    assert [item["asked"] for item in told["items"]] == [3, 3]
    name = told["items"][0]["name"]
    assert words_of(told)[name][3 - told["words"][0]["low"]] == words
    said = done(told, **{item["name"]: 2 for item in told["items"]})
    assert put(builder, said, form="set/1").status_code == 201
    made = AdjusterSetting.objects.get(name=name)
    assert (made.change_nm, made.asked_nm) == (625_000, 937_500)
    assert PlanEnd.objects.get(plan=plan).how == "done"
    # Half a turn was done, a quarter is left to do.
    again = a_check(engineer, fit_up=FitUp.objects.latest("number"))
    beside = builder.get(f"/api/checks/{again.entry_id}").json()["beside"]
    here = expected_of(told, said)
    for field in beside:
        expected = here[field["station"], field["kind"]]
        assert field["expected_nm"] == pytest.approx(expected, abs=6_000)
    read_displaced(again, shift=(-0.3125, 0, 0))
    checks.finish_check(by=engineer, check=again)
    left = next_of(builder, again)
    assert "half a turn, 0.625 mm aft" in left["html"]
    set_page = builder.get(f"/fit-checks/{again.entry_id}/set/").content.decode()
    assert "half a turn, 0.625 mm aft" in set_page
    assert not verify().faults


@pytest.mark.either_database
@pytest.mark.parametrize(("word", "smaller"), [("forward", 0), ("steuerbord", 4)])
def test_words_of_a_shop_that_are_longer_than_a_key_stand_on_it_in_smaller_letters(
    engineer, builder, client_of, word, smaller
):
    check = a_check(engineer)
    position = check.fit_up.joint.position
    said = {**RODS, **{key: word for key, value in RODS.items() if value == "aft"}}
    form = client_of("engineer").post(f"/positions/{position.pk}/held/state/", said)
    assert form.status_code == 302, form.context["form"].errors
    read_displaced(check, shift=(-0.9375, 0, 0))
    checks.finish_check(by=engineer, check=check)
    html = next_of(builder, check)["html"]
    assert html.count('class="key long"') == smaller
    assert html.count(word) >= 2


def words_on(answer) -> str:
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


def astray(by):
    """A finished check of a free door 1.2 mm aft and 0.6 mm low, turned a little."""
    check = a_check(by)
    read_displaced(check, (0, 0, 0.001), (1.2, -0.6, 0))
    checks.finish_check(by=by, check=check)
    return check


@pytest.mark.parametrize("taken", [True, False])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_free_part_is_moved_as_asked_and_otherwise_and_that_is_recorded_once(
    engineer, builder, unit, taken
):
    check = astray(engineer)
    plan = take(engineer, check, None) if taken else None
    told = next_of(builder, check, unit)
    assert (told["form"], told["plan"]) == ("move/3", plan and str(plan.entry_id))
    page = told["html"]
    assert 'data-do="walk"' in page and "turning in the plane" in page
    asked = {item["name"]: item["asked"] for item in told["items"]}
    mm_a_step = {"mm": 0.01, "in": 0.0254}[unit]
    assert asked["x"] * mm_a_step == pytest.approx(-1.2, abs=0.03)
    assert asked["y"] * mm_a_step == pytest.approx(0.6, abs=0.03)
    if not taken:
        assert told["ways"]["set"] == asked
    words = words_of(told)["x"]
    low = told["words"][[*asked].index("x")]["low"]
    far = abs(asked["x"]) * {"mm": 0.01, "in": 0.001}[unit]
    places = {"mm": 2, "in": 3}[unit]
    assert words[asked["x"] - low] == f"{far:.{places}f} {unit} left"
    assert (words[-low], words[1 - low].split()[-1]) == ("not moved so", "right")

    said, act = done(told, x=asked["x"] + 5), uuid.uuid4()
    for status in (201, 200):
        answer = put(builder, said, form="move/3", act=act)
        assert answer.status_code == status, answer.content
    (move,) = AppliedMove.objects.all()
    amounts = {one["name"]: float(one["amount"]) for one in move.amounts}
    assert amounts["x"] == pytest.approx((asked["x"] + 5) * mm_a_step, abs=1e-4)
    assert (move.plan, move.kind) == (plan, "move")
    assert not plan or PlanEnd.objects.get(plan=plan).how == "done"
    again = a_check(engineer, fit_up=FitUp.objects.latest("number"))
    assert again.fit_up.reason == FitUpReason.MOVE
    beside = builder.get(f"/api/checks/{again.entry_id}").json()["beside"]
    here = expected_of(told, said)
    for field in beside:
        expected = here[field["station"], field["kind"]]
        assert field["expected_nm"] == pytest.approx(expected, abs=6_000)
    late = put(builder, said, form="move/3").json()["error"]
    assert late["code"] in ("stale", "done")
    assert AppliedMove.objects.count() == 1 and not verify().faults


def tilted(by):
    """A finished check of a free door that stands proud, tilted both ways, its plan."""
    check = a_check(by)
    read_displaced(check, (0.0012, -0.0009, 0), (0, 0, 0.6))
    checks.finish_check(by=by, check=check)
    return check, take(by, check, None)


@pytest.mark.either_database
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_what_is_raised_and_lowered_is_said_alike_in_the_plan_and_row_by_row(
    engineer, builder, unit
):
    check, _plan = tilted(engineer)
    told = next_of(builder, check, unit)
    steps = without_spread(" ".join(told["html"].split()))
    asked = {
        item["name"]: row["words"][item["asked"] - row["low"]]
        for item, row in zip(told["items"], told["words"], strict=True)
        if item["asked"]
    }
    assert len(asked) == 3 and all(name.startswith("at station ") for name in asked)
    for words in asked.values():
        way, amount, rest = words.split(" ", 2)
        spelled = rf"(?i){way} {amount}\d? {re.escape(rest)}"  # inches have four digits
        assert re.search(spelled, steps), (words, steps)
    # What is done as asked raises these stations by so much, and turns nothing else.
    assert put(builder, done(told), form="move/3").status_code == 201
    move = AppliedMove.objects.get()
    for words in asked.values():
        way, amount, _unit, _at, _station, label = words.split()
        mm_told = float(amount) * {"mm": 1, "in": 25.4}[unit]
        flush = move.changes[label][1] / 1e6 * (1 if way == "raise" else -1)
        assert flush == pytest.approx(mm_told, abs=0.001), words
    amounts = {one["name"]: float(one["amount"]) for one in move.amounts}
    assert not any(amounts[name] for name in ("x", "y", "turn"))
    assert amounts["tilt_x"] and amounts["tilt_y"]


def test_a_tablet_of_before_still_says_how_far_each_motion_went(engineer, builder):
    check, _plan = tilted(engineer)
    told = next_of(builder, check)
    items = [
        {"name": "z", "unit": "mm", "places": 2, "asked": -60, "done": -55},
        {"name": "tilt_x", "unit": "mm", "places": 2, "asked": -30, "done": 0},
    ]
    assert (
        put(builder, {**done(told), "items": items}, form="move/3").status_code == 201
    )
    amounts = {
        one["name"]: float(one["amount"]) for one in AppliedMove.objects.get().amounts
    }
    assert amounts.pop("z") == pytest.approx(-0.55)
    assert not any(amounts.values())


@pytest.mark.either_database
def test_a_move_that_cannot_be_is_refused_and_one_that_was_none_too(engineer, builder):
    check = astray(engineer)
    take(engineer, check, None)
    told = next_of(builder, check)

    def refused(**more):
        said = done(told)
        said["items"][0] |= more
        answer = put(builder, said, form="move/3")
        assert answer.status_code == 422, answer.content
        return answer.json()["error"]["field"]

    for more in ({"name": "swing"}, {"unit": "ft"}, {"places": 7}, {"done": 10_001}):
        assert refused(**more) == "items", more
    assert refused(**{"name": told["items"][1]["name"]}) == "items"
    still = done(told, **dict.fromkeys([item["name"] for item in told["items"]], 0))
    assert put(builder, still, form="move/3").status_code == 422
    assert not AppliedMove.objects.exists()


@pytest.mark.either_database
def test_a_hung_part_that_is_only_cut_is_recorded_with_what_was_not_set(
    engineer, builder
):
    check = hung_check(engineer, 6)
    read_displaced(check, s3=-1.4)
    checks.finish_check(by=engineer, check=check)
    _worked, plan = plan_records.draft(planned(check), Wish(way="trim"))
    fit_plans.take(by=engineer, plan=plan)
    told = next_of(builder, check)
    assert {item.get("name") for item in told["items"]} > {None, UPPER}
    answer = put(builder, done(told), form="cut/1")
    assert answer.status_code == 201, answer.content
    assert TrimCut.objects.filter(depth_nm__gt=0).count() == 1


@pytest.mark.either_database
def test_a_tablet_of_before_still_says_that_the_part_was_moved_as_asked(
    engineer, builder
):
    check = a_check(engineer)
    read_displaced(check, (0, -0.0005, 0), (-0.9, -0.5, 0.2), s3=-1.9)
    checks.finish_check(by=engineer, check=check)
    take(engineer, check)
    told = next_of(builder, check)
    items = [item for item in done(told)["items"] if "side" in item]
    said = {**done(told), "items": items, "moved": True}
    assert put(builder, said, form="cut/1").status_code == 201
    assert AppliedMove.objects.get().amounts


@pytest.mark.either_database
def test_what_was_set_otherwise_is_one_fact_however_often_it_comes(engineer, builder):
    check = displaced(engineer)
    told, act = next_of(builder, check), uuid.uuid4()
    said = done(told, **{UPPER: 8})
    first = put(builder, said, form="set/1", act=act)
    assert first.status_code == 201, first.content
    made = {one.name: one for one in AdjusterSetting.objects.all()}
    assert (made[UPPER].change_nm, made[UPPER].asked_nm) == (800_000, 900_000)
    assert (made[LOWER].change_nm, made[LOWER].asked_nm) == (900_000, 900_000)
    assert "upper hinge: out/in" not in made
    opened = FitUp.objects.latest("number")
    assert (opened.number, opened.reason) == (2, FitUpReason.SET)
    again = put(builder, said, form="set/1", act=act)
    assert (again.status_code, again.json()) == (200, first.json())
    other = put(builder, done(told), form="set/1", act=act)
    assert (other.status_code, other.json()["error"]["code"]) == (422, "reused")
    # The same work said anew: it was done already, and is not done twice.
    stale = put(builder, said, form="set/1")
    assert (stale.status_code, stale.json()["error"]["code"]) == (409, "stale")
    assert AdjusterSetting.objects.count() == len(made)
    assert not verify().faults


@pytest.mark.either_database
def test_the_check_after_settings_is_of_the_fit_up_that_they_opened(engineer, builder):
    check = displaced(engineer)
    told, act, after = next_of(builder, check), uuid.uuid4(), uuid.uuid4()
    early = put(builder, checking(check, act), form="check/3")
    assert early.json()["error"]["code"] == "unknown"
    put(builder, done(told), form="set/1", act=act)
    for status in (201, 200):
        answer = put(builder, checking(check, act), form="check/3", act=after)
        assert answer.status_code == status, answer.content
    again = Check.objects.get(entry_id=after)
    assert again.fit_up == FitUp.objects.latest("number")
    assert (again.temperature_mc, again.finish) == (21_500, check.finish)
    assert again.instrument == check.instrument
    assert again.fit_up.held == check.fit_up.held
    other = put(builder, checking(check, act, note="x"), form="check/3", act=after)
    assert other.json()["error"]["code"] == "reused"
    # What was done is not asked again.
    now = next_of(builder, check)
    assert (now["items"], now["again"]) == ([], [])
    assert "Measure again before the next step" in " ".join(now["html"].split())
    strange = put(builder, checking(displaced(engineer), act), form="check/3")
    assert strange.json()["error"]["field"] == "after"


@pytest.mark.either_database
def test_settings_by_a_plan_end_it_and_stand_where_it_was_withdrawn_meanwhile(
    engineer, builder
):
    check = displaced(engineer)
    plan = take(engineer, check, None)
    told = next_of(builder, check)
    assert told["plan"] == str(plan.entry_id) and plan.label in told["html"]
    put(builder, done(told), form="set/1")
    assert PlanEnd.objects.get(plan=plan).how == "done"
    assert {one.plan for one in AdjusterSetting.objects.all()} == {plan}
    check = displaced(engineer)
    plan = take(engineer, check, None)
    told = next_of(builder, check)
    fit_plans.withdraw(by=engineer, plan=plan, reason="another way")
    assert put(builder, done(told), form="set/1").status_code == 201
    assert AdjusterSetting.objects.latest("pk").plan is None


def test_a_plan_that_more_is_to_be_cut_by_is_not_done_by_its_settings(
    engineer, builder
):
    check = hung_check(engineer)
    read_displaced(check, shift=(-0.9, 0, 0), s4=-1.6, s5=-1.6)
    checks.finish_check(by=engineer, check=check)
    plan = take(engineer, check, None)
    told = next_of(builder, check)
    assert told["form"] == "cut/1"
    # Set as asked, and nothing cut yet.
    said = done(told, **{f"s{n}": 0 for n in range(1, 13)}) | {"more": True}
    answer = put(builder, said, form="cut/1")
    assert answer.status_code == 201, answer.content
    assert {one.plan for one in AdjusterSetting.objects.all()} == {plan}
    assert not TrimCut.objects.exists()
    assert not PlanEnd.objects.filter(plan=plan).exists()


@pytest.mark.either_database
def test_settings_are_refused_in_words_where_they_cannot_be(engineer, builder):
    told = next_of(builder, displaced(engineer))

    def refused(said=None, **more):
        said = said or done(told)
        said["items"][0] |= more
        answer = put(builder, said, form="set/1")
        assert answer.status_code in (409, 422), answer.content
        return answer.json()["error"]["message"]

    assert "It can be set from" in refused(done=21)
    assert "set in the meantime" in refused(was_nm=100_000, done=8)
    assert "Nothing called x" in refused(name="x")
    twice = done(told)
    twice["items"].append(twice["items"][0])
    assert "Nothing called" in refused(twice)
    assert "is not said" in refused(done=None)
    assert "is not said" in refused(done=10**9)
    nothing = done(told, **{item["name"]: 0 for item in told["items"]})
    assert "nothing to record" in refused(nothing)
    assert not AdjusterSetting.objects.exists()


@pytest.mark.either_database
@pytest.mark.parametrize("form", ["set/1", "cut/1"])
def test_who_may_not_cut_parts_records_neither(engineer, client_of, form):
    check, _plan = tight(engineer)
    told = next_of(client_of("visitor"), check)
    answer = put(client_of("inspector"), done(told), form=form, by="inspector")
    assert answer.status_code == 403
    assert FitUp.objects.count() == 1


@pytest.mark.either_database
def test_a_cut_otherwise_than_asked_is_one_fact_and_opens_the_next_fit_up(
    engineer, builder
):
    check, plan = tight(engineer)
    told, act = next_of(builder, check), uuid.uuid4()
    (item,) = told["items"]
    assert (item["station"], item["asked"], told["form"]) == ("3", 45, "cut/1")
    assert words_of(told)["3"][45] == "0.45 mm"
    fields = told["again"][0]["fields"]
    witnesses = {field["station"] for field in fields if field["witness"]}
    assert len(witnesses) == 3 and "3" not in witnesses
    first = told["again"][0]["first"]
    assert set(first[:3]) == witnesses and first[3] == "3"
    said = done(told, s3=40)
    assert expected_of(told, said)["3", "gap"] == 1_300_000
    for status in (201, 200):
        assert put(builder, said, form="cut/1", act=act).status_code == status
    cut = TrimCut.objects.get(depth_nm__gt=0)
    assert (cut.depth_nm, cut.planned_nm, cut.plan) == (400_000, 450_000, plan)
    put(builder, checking(check, act), form="check/3", act=(after := uuid.uuid4()))
    shown = builder.get(f"/api/checks/{after}").json()
    assert shown["first"] == first
    here = [o for o in shown["beside"] if (o["station"], o["kind"]) == ("3", "gap")]
    assert here[0]["expected_nm"] == 1_300_000
    assert not verify().faults


def test_a_cut_asked_in_inches_is_recorded_in_them(engineer, builder):
    check, _plan = tight(engineer)
    told = next_of(builder, check, "in")
    assert words_of(told)["3"][told["items"][0]["asked"]] == "0.017 in"
    assert put(builder, done(told), form="cut/1").status_code == 201
    cut = TrimCut.objects.get(depth_nm__gt=0)
    assert (cut.depth_nm, cut.value, cut.unit) == (431_800, "0.017", "in")


@pytest.mark.either_database
def test_deeper_than_asked_wants_a_reason_and_an_ended_plan_cuts_nothing(
    engineer, builder
):
    check, _plan = tight(engineer)
    told = next_of(builder, check)
    deep = done(told, s3=80)
    no = put(builder, deep, form="cut/1").json()["error"]
    assert (no["field"], no["code"]) == ("reason", "reason")
    for odd in ({"check": str(uuid.uuid4())}, {"done": -1}, {"unit": "ft"}):
        other = {**deep, "items": [{**deep["items"][0], **odd}]}
        assert put(builder, other, form="cut/1").json()["error"]["field"] == "items"
    twice = {**deep, "items": deep["items"] * 2}
    assert "twice" in put(builder, twice, form="cut/1").json()["error"]["message"]
    assert put(builder, {**deep, "note": "slipped"}, form="cut/1").status_code == 201
    assert plan_records.newest_of(planned(check)).end.how == "done"
    late = put(builder, done(told), form="cut/1").json()["error"]
    assert late["code"] == "stale"


def test_a_claimed_engineer_cuts_no_primary_structure_beyond_its_release(
    people, engineer
):
    check, _plan = tight(engineer)
    with by_hand():
        design = check.fit_up.part.design
        design.structural_class = StructuralClass.PRIMARY
        design.save()
    tablet = Sender(people)
    address = f"/api/checks/{check.entry_id}/next"
    told = tablet.client.get(address, headers=tablet.headers).json()
    words = " ".join(told["html"].split())
    assert f"{check.fit_up.part.serial} is primary structure" in words
    assert "Go through it" not in words
    no = tablet.put("cut/1", "engineer", {**done(told), "note": "I say so"})
    assert (no.status_code, no.json()["error"]["code"]) == (422, "unreleased")
    assert not TrimCut.objects.exists()
    assert not Entry.objects.filter(form="cut/1").exists()


@pytest.mark.either_database
def test_a_station_read_again_overtakes_the_plan_and_what_could_be_done_now_is_told(
    engineer, builder, people
):
    check, plan = tight(engineer)
    again = a_check(engineer, fit_up=check.fit_up)
    read(again, "3", "gap", "1.00")
    told = next_of(builder, check)
    words = " ".join(told["html"].split())
    number = check.fit_up.joint.number
    assert f"{plan} is overtaken: {number}: measured again at 3" in words
    assert "Do nothing more by it: this could be done now." in words
    assert told["plan"] is None and not any("side" in row for row in told["items"])
    way = {"check": told["check"], "way": "both", "read_to": told["read_to"]}
    answer = Sender(people).put("take/1", "builder", way)
    assert answer.status_code == 201, answer.json()
    assert PlanEnd.objects.get().plan == plan
    told = next_of(builder, check)
    assert told["plan"] and "overtaken" not in told["html"]


@pytest.mark.either_database
def test_a_cut_sent_after_its_plan_was_overtaken_is_kept_and_the_record_says_so(
    engineer, builder
):
    check, plan = tight(engineer)
    told = next_of(builder, check)
    read(a_check(engineer, fit_up=check.fit_up), "3", "gap", "1.00")
    deeper = put(builder, done(told, s3=80), form="cut/1").json()["error"]
    assert deeper["code"] == "reason", "deeper than it asked is not as it asked"
    assert put(builder, done(told), form="cut/1").status_code == 201
    row = CutDeviation.objects.get()
    assert (row.plan, row.cut_nm, row.allowed_nm) == (plan, 450_000, 0)
    assert row.reason == (
        f"{plan.label} was overtaken when this came in; no reason was given."
    )
    assert row.reason in builder.get(f"/plans/{plan.number}/").content.decode()
    assert not verify().faults


@pytest.mark.either_database
def test_a_cut_sent_with_a_note_gives_it_as_the_reason_of_its_overtaken_plan(
    engineer, builder
):
    check, _plan = tight(engineer)
    told = next_of(builder, check)
    read(a_check(engineer, fit_up=check.fit_up), "3", "gap", "1.00")
    said = {**done(told), "note": "cut before it was read"}
    assert put(builder, said, form="cut/1").status_code == 201
    assert CutDeviation.objects.get().reason == "cut before it was read"


@pytest.mark.either_database
@pytest.mark.parametrize("note", ["", "done before it was read"])
@pytest.mark.parametrize("form", ["set/1", "move/3"])
def test_what_was_set_or_moved_by_an_overtaken_plan_is_kept_with_its_reason(
    engineer, builder, form, note
):
    check = displaced(engineer) if form == "set/1" else astray(engineer)
    plan = take(engineer, check, None)
    told = next_of(builder, check)
    assert told["form"] == form
    read(a_check(engineer, fit_up=check.fit_up), "3", "gap", "1.00")
    assert put(builder, {**done(told), "note": note}, form=form).status_code == 201
    move = AppliedMove.objects.get()
    none_given = f"{plan.label} was overtaken when this came in; no reason was given."
    assert (move.plan, move.reason) == (plan, note or none_given)
    assert move.reason in builder.get(f"/plans/{plan.number}/").content.decode()
    assert not verify().faults


def test_where_the_readings_are_stale_an_overtaken_plan_only_says_to_measure(
    engineer, builder
):
    check, plan = tight(engineer)
    cut(engineer, check, {"5": "0.40"})
    told = next_of(builder, check)
    words = " ".join(told["html"].split())
    assert f"{plan} is overtaken" in words and told["items"] == []
    assert "measure what is stale, and plan again at the desk" in words
    assert "this could be done now" not in words and "Take this plan" not in words
