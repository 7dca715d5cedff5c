"""What was set and cut at the fuselage, and the check after it, as a tablet says it.

A fitter may be without a network for all of it: the act that says what was done comes
first, and the check names that act, since it cannot know the fit-up that it opens.
"""

import json

from qa.actions import checks, settings, trimming
from qa.actions.settings import Set, Settings
from qa.actions.trimming import Taken
from qa.envelopes import Said
from qa.models import Check, FitPlan, FitUp, Instrument
from qa.queries.plans import plan_pages
from qa.rules import plan_records, planning, rigs
from qa.rules.planning import WorkedPlan
from shop.ledger import Refused
from shop.models import Entry, Person

SETTINGS = "a list of what was set"
MOST_STEPS = 10_000


def _the_check(said: Said, related) -> Check:
    return said.row("check", Check.objects.select_related(*related), key="entry_id")


def _check_after(by: Person, said: Said, envelope: dict) -> None:
    """A check of the fit-up that a setting or a cut opened, at the joint of a check
    before it: the tablet could not know that fit-up yet."""
    joint = _the_check(said, ("fit_up__joint",)).fit_up.joint
    done = said.row("after", Entry.objects.all(), key="act")
    opened = json.loads(done.body)["result"].get("fitups", [])
    rows = FitUp.objects.select_related("revision", "joint", "airframe")
    fit_up = rows.filter(entry_id__in=opened, joint=joint).first()
    if fit_up is None:
        raise Refused(f"That opened no fit-up of {joint.number}.", field="after")
    gauges = Instrument.objects.all()
    checks.start_check(
        by=by,
        fit_up=fit_up,
        finish=said.text("finish", 8),
        instrument=said.row("instrument", gauges, key="uuid", missing_ok=True),
        temperature_mc=said.temperature(),
        in_acceptance_condition=said.flag("in_acceptance_condition"),
        note=said.text("note"),
        form="check/3",
        **envelope,
    )


def _set(by: Person, said: Said, envelope: dict) -> None:
    check, plan = _planned(said)
    # What was set is so, whatever became of the plan since.
    plan = plan if plan and plan_records.standing(plan) else None
    worked = plan_records.worked_of(plan) if plan else planning.gathered(check)
    settings.record_settings(
        by=by,
        checks=[one.check for one in worked.joints],
        made=_settings(said, worked),
        plan=plan,
        note=said.text("note"),
        form="set/1",
        **envelope,
    )


def _cut(by: Person, said: Said, envelope: dict) -> None:
    check, plan = _planned(said)
    worked = plan_records.worked_of(plan) if plan else planning.gathered(check)
    found = {str(one.check.entry_id): one.check for one in worked.joints}
    taken = [
        _taken(Said(one), found)
        for one in said.items("cuts", dict, "a list of what came off")
    ]
    places = [(one.check, one.station, one.side) for one in taken]
    if len(set(places)) < len(places):
        raise Refused("One station is cut twice.", field="cuts")
    moved = None
    if said.flag("moved") and plan and worked.plan.settings is None:
        moved = plan_pages.moved(worked, "mm")
    if said.items("settings", dict, SETTINGS):
        made = _settings(said, worked)
        if any(one.value_nm != one.was_nm for one in made.settings):
            moved = made
    trimming.record_trim(
        by=by,
        checks=list(found.values()),
        taken=taken,
        plan=plan,
        moved=moved,
        note=said.text("note"),
        reason=said.text("reason", 200),
        more=said.flag("more"),
        form="cut/1",
        **envelope,
    )


def _planned(said: Said) -> tuple[Check, FitPlan | None]:
    """The check that was gone by, and its plan where one was taken."""
    check = _the_check(said, planning.RELATED)
    plans = FitPlan.objects.filter(joints__fit_check=check)
    plans = plans.select_related(*plan_records.PLAN)
    return check, said.row("plan", plans, key="entry_id", missing_ok=True)


def _taken(one: Said, checks_by_act: dict[str, Check]) -> Taken:
    check = checks_by_act.get(one.text("check", 36))
    if check is None:
        raise Refused("That check is not of this plan.", field="cuts")
    return Taken(
        check=check,
        station=one.text("station", 20),
        side=one.text("side", 8),
        value=one.text("value", 24),
        unit=one.text("unit", 2),
    )


def _settings(said: Said, worked: WorkedPlan) -> Settings:
    """What was set, in whole steps from what it was set to when it was asked for, and
    what that should do."""
    present = {one.name: one for one in rigs.present_at(worked.main.check.fit_up)}
    rows, steps = [], dict.fromkeys(present, 0)
    for one in map(Said, said.items("settings", dict, SETTINGS)):
        name = one.text("name", 90)
        if name not in present or name in {row.name for row in rows}:
            raise Refused(f"Nothing called {name} holds this part.", field="settings")
        done, was_nm, asked = map(one.integer, ("steps", "was_nm", "asked"))
        if None in (done, was_nm) or max(abs(done), abs(asked or 0)) > MOST_STEPS:
            raise Refused(f"How far {name} was set is not said.", field="settings")
        step = present[name].step_nm
        steps[name] = done
        rows.append(
            Set(
                name=name,
                value_nm=was_nm + done * step,
                unit="",
                asked_nm=None if asked is None else asked * step,
                was_nm=was_nm,
            )
        )
    changes = [steps[name] * one.step_nm for name, one in present.items()]
    try:
        made = rigs.made([*present.values()], changes, worked.joints)
    except rigs.CannotBeSet as why:
        raise Refused(str(why), field="settings") from why
    return Settings(rows, made.changes)


FORMS = {"set/1": _set, "cut/1": _cut, "check/3": _check_after}
