"""What a tablet sends of settings and cuts done at the fuselage, and what it carries to
do so without a network: each act one fact, and the check after it in its fit-up."""

import json
import uuid

import pytest

from qa.actions import checks, fit_plans
from qa.models import AdjusterSetting, Check, FitUp, FitUpReason, PlanEnd, TrimCut
from qa.rules import plan_records
from shop.ledger.verify import verify
from shop.models import Entry, StructuralClass
from tests.around import by_hand
from tests.qa.hung import hung_check, read_displaced
from tests.qa.making import read
from tests.qa.planned import a_check, even, planned, read_at, take
from tests.qa.test_acts import put
from tests.qa.test_claims import Sender

pytestmark = pytest.mark.django_db
UPPER, LOWER, LATCH = "upper hinge: aft/fore", "lower hinge: aft/fore", "latch: out/in"


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
    return answer.json()


def setting(told, **steps):
    """The act that the tablet makes of what it was told: by name, else as asked."""
    return {
        "check": told["check"],
        "plan": told["plan"] and told["plan"]["uuid"],
        "note": "",
        "settings": [
            {
                "name": one["name"],
                "steps": steps.get(one["name"], one["asked"]),
                "was_nm": one["was_nm"],
                "asked": one["asked"],
            }
            for one in told["settings"]
        ],
    }


def cutting(told, **depths):
    """The same of cuts; by station, else as asked."""
    cuts = [
        {
            "check": one["check"],
            "station": one["station"],
            "side": one["side"],
            "value": depths.get(f"s{one['station']}", one["asked"]),
            "unit": told["unit"],
        }
        for one in told["cuts"]
    ]
    plan = told["plan"] and told["plan"]["uuid"]
    more = {"settings": [], "moved": False, "more": False, "note": "", "reason": ""}
    return {"check": told["check"], "plan": plan, "cuts": cuts, **more}


def checking(told, after, **more):
    plain = {"finish": "bare", "instrument": None, "temperature": "", "note": ""}
    plain["in_acceptance_condition"] = False
    return {"check": told["check"], "after": str(after), **plain, **more}


def test_after_finish_the_ways_and_every_step_are_told_in_the_unit_of_the_reader(
    engineer, builder
):
    check = displaced(engineer)
    told = next_of(builder, check)
    first = told["ways"][0]
    assert (first["kind"], first["first"], told["plan"]) == ("set", True, None)
    assert told["steps"][0].startswith("Upper hinge: 0.9 mm aft; lower hinge: 0.9 mm")
    by_name = {one["name"]: one for one in told["settings"]}
    assert first["set"] == {n: o["asked"] for n, o in by_name.items() if o["asked"]}
    upper = by_name[UPPER]
    assert (upper["asked"], upper["low"], len(upper["words"])) == (9, -20, 41)
    assert upper["words"][9 + 20] == "0.9 mm aft"
    assert upper["words"][20] == "stays"
    assert "one 0.5 mm shim" in by_name["upper hinge: out/in"]["words"][5]
    inches = next_of(builder, check, "in")
    by_name = {one["name"]: one for one in inches["settings"]}
    assert by_name[UPPER]["words"][29] == "0.03543 in aft"
    # Asked again while nothing was recorded: nothing is planned, nothing sent.
    address = f"/api/checks/{check.entry_id}/next?unit=mm"
    tag = builder.get(address)["ETag"]
    again = builder.get(address, headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")


def test_one_step_of_each_adjuster_adds_up_to_what_the_settings_do(engineer, builder):
    check = displaced(engineer)
    told = next_of(builder, check)
    put(builder, setting(told), form="set/1")
    again = a_check(engineer, fit_up=FitUp.objects.latest("number"))
    beside = builder.get(f"/api/checks/{again.entry_id}").json()["beside"]
    before = {(o["station"], o["kind"]): o["before"]["nm"] for o in beside}
    effects = told["again"][0]["effects"]
    for one in beside:
        side = ("gap", "flush").index(one["kind"])
        expected = before[one["station"], one["kind"]] + sum(
            each["asked"] * effects[each["name"]][one["station"]][side]
            for each in told["settings"]
        )
        assert one["expected_nm"] == pytest.approx(expected, abs=6_000)


def test_what_was_set_otherwise_is_one_fact_however_often_it_comes(engineer, builder):
    check = displaced(engineer)
    told, act = next_of(builder, check), uuid.uuid4()
    said = setting(told, **{UPPER: 8})
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
    other = put(builder, setting(told), form="set/1", act=act)
    assert other.status_code == 422
    assert other.json()["error"]["code"] == "reused"
    # The same work said anew: it was done already, and is not done twice.
    stale = put(builder, said, form="set/1")
    assert (stale.status_code, stale.json()["error"]["code"]) == (409, "stale")
    assert AdjusterSetting.objects.count() == len(made)
    assert not verify().faults


def test_the_check_after_settings_is_of_the_fit_up_that_they_opened(engineer, builder):
    check = displaced(engineer)
    told, act, after = next_of(builder, check), uuid.uuid4(), uuid.uuid4()
    early = put(builder, checking(told, act), form="check/3")
    assert early.json()["error"]["code"] == "unknown"
    put(builder, setting(told), form="set/1", act=act)
    instrument = str(check.instrument.uuid) if check.instrument else None
    said = checking(told, act, instrument=instrument, temperature="21,5")
    for status in (201, 200):
        answer = put(builder, said, form="check/3", act=after)
        assert answer.status_code == status, answer.content
    again = Check.objects.get(entry_id=after)
    assert again.fit_up == FitUp.objects.latest("number")
    assert again.temperature_mc == 21_500
    assert again.fit_up.held == check.fit_up.held
    # What was done is told where the first check is looked at, and is not asked again.
    now = next_of(builder, check)
    assert (now["live"], now["ways"], now["settings"]) == (False, [], [])
    other = displaced(engineer)
    no = put(builder, checking({"check": str(other.entry_id)}, act), form="check/3")
    assert no.json()["error"]["field"] == "after"


def test_settings_by_a_plan_end_it_and_stand_where_it_was_withdrawn_meanwhile(
    engineer, builder
):
    check = displaced(engineer)
    plan = take(engineer, check, None)
    told = next_of(builder, check)
    assert told["plan"]["label"] == plan.label and not told["plan"]["overtaken"]
    put(builder, setting(told), form="set/1")
    assert PlanEnd.objects.get(plan=plan).how == "done"
    assert {one.plan for one in AdjusterSetting.objects.all()} == {plan}
    check = displaced(engineer)
    plan = take(engineer, check, None)
    told = next_of(builder, check)
    fit_plans.withdraw(by=engineer, plan=plan, reason="another way")
    assert put(builder, setting(told), form="set/1").status_code == 201
    assert AdjusterSetting.objects.latest("pk").plan is None


def test_settings_are_refused_in_words_where_they_cannot_be(engineer, builder):
    check = displaced(engineer)
    told = next_of(builder, check)
    upper = told["settings"][0]

    def refused(**more):
        said = setting(told)
        said["settings"][0] |= more
        answer = put(builder, said, form="set/1")
        assert answer.status_code in (409, 422), answer.content
        return answer.json()["error"]["message"]

    assert "It can be set from" in refused(steps=21)
    assert "set in the meantime" in refused(was_nm=upper["was_nm"] + 100_000, steps=8)
    assert "Nothing called x" in refused(name="x")
    twice = setting(told)
    twice["settings"].append(twice["settings"][0])
    no = put(builder, twice, form="set/1").json()["error"]
    assert no["field"] == "settings"
    assert "is not said" in refused(steps=None)
    assert "is not said" in refused(steps=10**9)
    nothing = setting(told, **{one["name"]: 0 for one in told["settings"]})
    no = put(builder, nothing, form="set/1").json()["error"]["message"]
    assert "nothing to record" in no
    assert not AdjusterSetting.objects.exists()


@pytest.mark.parametrize("form", ["set/1", "cut/1"])
def test_who_may_not_cut_parts_records_neither(engineer, client_of, form):
    check = displaced(engineer)
    told = next_of(client_of("visitor"), check)
    said = setting(told) if form == "set/1" else cutting(told)
    answer = put(client_of("inspector"), said, form=form, by="inspector")
    assert answer.status_code == 403
    assert FitUp.objects.count() == 1


def test_a_cut_otherwise_than_asked_is_one_fact_and_opens_the_next_fit_up(
    engineer, builder
):
    check, plan = tight(engineer)
    told, act = next_of(builder, check), uuid.uuid4()
    (one,) = told["cuts"]
    assert (one["station"], one["asked"]) == ("3", "0.45")
    witnesses = told["again"][0]["witnesses"]
    assert len(witnesses) == 3 and "3" not in witnesses
    assert told["again"][0]["first"][:4] == [*witnesses, "3"]
    said = cutting(told, s3="0.40")
    for status in (201, 200):
        assert put(builder, said, form="cut/1", act=act).status_code == status
    cut = TrimCut.objects.get(depth_nm__gt=0)
    assert (cut.depth_nm, cut.planned_nm, cut.plan) == (400_000, 450_000, plan)
    put(builder, checking(told, act), form="check/3", act=(after := uuid.uuid4()))
    shown = builder.get(f"/api/checks/{after}").json()
    assert shown["first"] == told["again"][0]["first"]
    here = [o for o in shown["beside"] if (o["station"], o["kind"]) == ("3", "gap")]
    assert here[0]["expected_nm"] == 1_300_000
    assert not verify().faults


def test_deeper_than_asked_wants_a_reason_and_an_ended_plan_cuts_nothing(
    engineer, builder
):
    check, plan = tight(engineer)
    told = next_of(builder, check)
    deep = cutting(told, s3="0.80")
    no = put(builder, deep, form="cut/1").json()["error"]
    assert (no["field"], no["code"]) == ("reason", "reason")
    other = {**deep, "cuts": [{**deep["cuts"][0], "check": str(uuid.uuid4())}]}
    assert put(builder, other, form="cut/1").json()["error"]["field"] == "cuts"
    twice = {**deep, "cuts": deep["cuts"] * 2}
    assert "twice" in put(builder, twice, form="cut/1").json()["error"]["message"]
    assert (
        put(builder, {**deep, "reason": "it slipped"}, form="cut/1").status_code == 201
    )
    assert plan_records.newest_of(planned(check)).end.how == "done"
    late = put(builder, cutting(told), form="cut/1").json()["error"]
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
    told = tablet.client.get(
        f"/api/checks/{check.entry_id}/next", headers=tablet.headers
    ).json()
    assert told["plan"]["waits"] == check.fit_up.part.serial
    said = {**cutting(told), "reason": "I say so"}
    no = tablet.put("cut/1", "engineer", said)
    assert (no.status_code, no.json()["error"]["code"]) == (422, "unreleased")
    assert not TrimCut.objects.exists()
    assert not Entry.objects.filter(form="cut/1").exists()


def test_a_station_read_again_overtakes_the_plan_and_nothing_is_asked_by_it(
    engineer, builder
):
    check, plan = tight(engineer)
    again = a_check(engineer, fit_up=check.fit_up)
    read(again, "3", "gap", "1.00")
    told = next_of(builder, check)
    assert told["plan"]["label"] == plan.label
    assert "measured again at 3" in told["plan"]["overtaken"]
    assert (told["live"], told["cuts"], told["steps"]) == (False, [], [])
    assert json.dumps(told)
