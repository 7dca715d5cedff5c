"""The way taken at the fuselage, what was set and cut there, and the check after it, as
a tablet says it.

A fitter may be without a network for all of it: the act that says what was done comes
first, and the check names that act, since it cannot know the fit-up that it opens.
"""

import json

from qa.actions import checks, fit_plans, moves, settings, trimming
from qa.actions.settings import Set, Settings
from qa.actions.trimming import Taken
from qa.envelopes import ActContent
from qa.models import Check, FitPlan, FitUp
from qa.queries.plans import move_rows, plan_pages
from qa.rules import bites, overtaking, plan_records, planning, rigs
from qa.rules.moved import Moved
from qa.rules.planning import Wish, WorkedPlan
from shop.ledger import Refused
from shop.models import Entry, Person

MOST_STEPS = 10_000
CHANGED = "The part changed since this check: measure again before the next step."


def _the_check(content: ActContent, related) -> Check:
    return content.row("check", Check.objects.select_related(*related), key="entry_id")


def _check_after(by: Person, content: ActContent, envelope: dict) -> None:
    """A check of the fit-up that a setting or a cut opened, as the check before it: at
    its joint, with its gauge, in its finish."""
    before = _the_check(content, ("fit_up__joint", "instrument"))
    joint = before.fit_up.joint
    done = content.row("after", Entry.objects.all(), key="act")
    opened = json.loads(done.body)["result"].get("fitups", [])
    rows = FitUp.objects.select_related("revision", "joint", "airframe")
    fit_up = rows.filter(entry_id__in=opened, joint=joint).first()
    if fit_up is None:
        raise Refused(f"That opened no fit-up of {joint.number}.", field="after")
    checks.start_check(
        by=by,
        fit_up=fit_up,
        finish=before.finish,
        instrument=before.instrument,
        temperature_mc=content.temperature(),
        note=content.text("note"),
        form="check/3",
        **envelope,
    )


def _set(by: Person, content: ActContent, envelope: dict) -> None:
    _record(by, content, {**envelope, "form": "set/1"}, cut=False)


def _cut(by: Person, content: ActContent, envelope: dict) -> None:
    _record(by, content, {**envelope, "form": "cut/1"}, cut=True)


def _move(by: Person, content: ActContent, envelope: dict) -> None:
    _record(by, content, {**envelope, "form": "move/3"}, cut=False)


def _record(by: Person, content: ActContent, envelope: dict, *, cut: bool) -> None:
    """Settings or a move, and where anything came off the cut that they were made
    with."""
    check, plan = _planned(content)
    worked = plan_records.worked_of(plan) if plan else planning.gathered(check)
    if envelope["form"] == "move/3" and not plan:
        worked = _worked_out(worked)
    items = list(
        map(ActContent, content.items("items", dict, "a list of what was done"))
    )
    named = [item for item in items if item.text("name", 90)]
    by_motion = [item for item in named if item.text("unit", 2)]
    moved = _moved(by_motion, content.flag("moved"), worked)
    made = _settings([item for item in named if item not in by_motion], worked)
    note, more = content.text("note"), content.flag("more")
    checks_cut = [joint.check for joint in worked.joints]
    taken = [_taken(item, checks_cut) for item in items if item.text("side", 8)]
    if cut and any(depth.depth_nm() for depth in taken):
        trimming.record_trim(
            by=by,
            checks=checks_cut,
            taken=_once(taken),
            plan=plan,
            moved=made if _changed(made) else moved,
            note=note,
            reason=note[:200],
            more=more,
            keep_overtaken=True,
            **envelope,
        )
        return
    # What was set or moved is so, whatever became of the plan since.
    plan = plan if plan and plan_records.standing(plan) else None
    common = {"plan": plan, "note": note, "more": cut and more, **envelope}
    common |= {"reason": note, "keep_overtaken": True}
    if moved and not _changed(made):
        moves.record_move(by=by, checks=checks_cut, moved=moved, **common)
    else:
        settings.record_settings(by=by, checks=checks_cut, made=made, **common)


def _take(by: Person, content: ActContent, envelope: dict) -> None:
    """The plan that goes a way, of what was on record when the way was shown: nothing
    is taken where something happened since."""
    check, way = _the_check(content, planning.RELATED), content.text("way", 8)
    shown = content.whole("read_to")
    worked, plan = plan_records.draft(check, Wish(way=way))
    if plan is None:
        raise Refused(worked.problem or CHANGED, code="stale")
    if worked.way != way:
        raise Refused("This way is not offered.", field="way")
    plan.read_to = min(shown, plan.read_to)
    if overtaking.stated_since(plan):
        words = (
            "What plans are made by was stated anew since this was shown. Look again."
        )
        raise Refused(words, code="stale")
    taken = fit_plans.take(by=by, plan=plan, **{**envelope, "form": "take/1"})
    if taken is not plan:
        raise Refused(f"This is {taken}, which stands already.", code="done")


def _planned(content: ActContent) -> tuple[Check, FitPlan | None]:
    """The check that was gone by, and its plan where one was taken."""
    check = _the_check(content, planning.RELATED)
    plans = FitPlan.objects.filter(joints__fit_check=check)
    plans = plans.select_related(*plan_records.PLAN)
    return check, content.row("plan", plans, key="entry_id", missing_ok=True)


def _worked_out(worked: WorkedPlan) -> WorkedPlan:
    """The plan that a part was moved by where none was taken: its motions are named in
    what was done."""
    if not worked.live:
        raise Refused(worked.problem or CHANGED, code="stale")
    planning.solved(worked)
    return worked


def _changed(made: Settings) -> bool:
    return any(setting.value_nm != setting.was_nm for setting in made.settings)


def _moved(
    by_motion: list[ActContent], as_asked: bool, worked: WorkedPlan
) -> Moved | None:
    """How far the part was moved, by the motions of the plan; None where it stayed.

    as_asked: as tablets said it before they told what was really done.
    """
    if worked.plan is None or worked.plan.settings is not None:
        return None
    if as_asked and worked.record:
        return plan_pages.moved(worked, "mm")
    names, made = move_rows.rows_by_name(worked), {}
    for item in by_motion:
        name, unit = item.text("name", 90), item.text("unit", 2)
        done, places = item.integer("done"), item.integer("places")
        if name not in names or name in made:
            words = f"The part does not go by {name} in this plan, or twice."
            raise Refused(words, field="items")
        known = unit in bites.PLACES and places in range(bites.PLACES[unit] + 1)
        if done is None or abs(done) > MOST_STEPS or not known:
            raise Refused(f"How far it went by {name} is not said.", field="items")
        made[name] = done, unit, places
    if not any(done for done, _unit, _places in made.values()):
        return None
    return plan_pages.moved(worked, "mm", move_rows.raw_of(worked, made))


def _taken(item: ActContent, checks_cut: list[Check]) -> Taken:
    """What came off at a station, counted in the last digit that it was asked in."""
    act = item.text("check", 36)
    check = next((row for row in checks_cut if str(row.entry_id) == act), None)
    done, unit = item.integer("done"), item.text("unit", 2)
    deep = done is not None and 0 <= done <= MOST_STEPS
    if check is None or not deep or unit not in bites.PLACES:
        words = "What came off is a depth at a check of this plan."
        raise Refused(words, field="items")
    return Taken(
        check=check,
        station=item.text("station", 20),
        side=item.text("side", 8),
        value=bites.depth_text(done, unit),
        unit=unit,
    )


def _once(taken: list[Taken]) -> list[Taken]:
    places = {(depth.check.pk, depth.station, depth.side) for depth in taken}
    if len(places) < len(taken):
        raise Refused("One station is cut twice.", field="items")
    return taken


def _settings(items: list[ActContent], worked: WorkedPlan) -> Settings:
    """What was set, in whole steps from what it was set to when it was asked for, and
    what that should do."""
    present = {
        adjuster.name: adjuster
        for adjuster in rigs.present_at(worked.main.check.fit_up)
    }
    rows, steps = [], dict.fromkeys(present, 0)
    for item in items:
        name = item.text("name", 90)
        if name not in present or name in {row.name for row in rows}:
            raise Refused(f"Nothing called {name} holds this part.", field="items")
        done, was_nm, asked = map(item.integer, ("done", "was_nm", "asked"))
        if None in (done, was_nm) or max(abs(done), abs(asked or 0)) > MOST_STEPS:
            raise Refused(f"How far {name} was set is not said.", field="items")
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
    if not rows:
        return Settings([], {})
    changes = [steps[name] * adjuster.step_nm for name, adjuster in present.items()]
    try:
        made = rigs.made([*present.values()], changes, worked.joints, worked.around)
    except rigs.CannotBeSet as why:
        raise Refused(str(why), field="items") from why
    return Settings(rows, made.changes, made.beside)


FORMS = {
    "take/1": _take,
    "set/1": _set,
    "move/3": _move,
    "cut/1": _cut,
    "check/3": _check_after,
}
