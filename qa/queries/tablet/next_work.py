"""What a tablet shows after Finish, and walks a fitter through without a network: the
plan that was taken or what could be done, settings and cuts step by step, and what is
to be measured again and should then be read. Words are made here, in one unit."""

from collections.abc import Sequence

from qa.models import Check, FitPlan, Side
from qa.queries.plans import move_texts, plan_texts
from qa.queries.plans.way_pages import ways_of
from qa.rules import cut_allowance, overtaking, plan_records, planning, rigs, staleness
from qa.rules.adjusters import Present
from qa.rules.planning import PlannedJoint, WorkedPlan
from qa.wording.lengths import no_more
from qa.wording.settings import change_words, now_words
from shop.numeric.units import to_mm, to_nm

MOST_STEPS = 60  # either way from what is asked: further hands go to the desk page


def next_work(check: Check, unit: str) -> dict:
    """Return what comes after a finished check (loaded with planning.RELATED); where a
    plan stands nothing is planned anew, and nothing where the part changed since."""
    record = plan_records.newest_of(check)
    if record and plan_records.standing(record):
        worked = plan_records.worked_of(record)
    else:
        record, worked = None, planning.gathered(check)
        if worked.live:
            planning.solved(worked)
    told = {
        "check": str(check.entry_id),
        "unit": unit,
        "plan": record and _record(record, worked),
        "live": worked.live,
        "state": "not_measured",
        "outcome": worked.problem,
        "steps": [],
        "ways": [],
        "notes": [],
        "settings": [],
        "cuts": [],
        "moved": "",
        "again": [],
    }
    if worked.plan and worked.live:
        told |= _planned(worked, unit)
    return told


def _record(record: FitPlan, worked: WorkedPlan) -> dict:
    return {
        "uuid": str(record.entry_id),
        "label": record.label,
        "overtaken": overtaking.in_words(worked.changes),
        "waits": ", ".join(
            part.serial for part, _check, done in worked.to_release() if not done
        ),
    }


def _planned(worked: WorkedPlan, unit: str) -> dict:
    state, outcome = plan_texts.outcome(worked)
    whole = plan_texts.free_share(worked) >= 1
    by_steps = worked.plan.settings is not None
    asked = worked.asked_settings if whole else {}
    moves = [] if by_steps else move_texts.plan_moves(
        worked, unit, plan_texts.free_share(worked)
    )  # fmt: skip
    return {
        "state": state,
        "outcome": outcome,
        "steps": plan_texts.steps(worked, unit),
        "notes": plan_texts.impossible(worked, unit)
        + plan_texts.warnings(worked, unit),
        "ways": _ways(worked, unit),
        "settings": [
            _adjuster(one, asked.get(one.name, 0), unit) for one in worked.present
        ],
        "cuts": _cuts(worked, unit) if worked.record else [],
        "moved": "; ".join(moves),
        "again": _again(worked),
    }


def _ways(worked: WorkedPlan, unit: str) -> list[dict]:
    steps = {one.kind: dict(one.settings) for one in worked.ways}
    return [
        {
            "kind": one.kind,
            "word": one.word,
            "first": one.first,
            "taken": one.taken,
            "same_as": one.same_as,
            "state": one.state,
            "told": _told(one),
            "cuts": bool(one.cut),
            "set": steps[one.kind],
        }
        for one in ways_of(worked, unit)
    ]


def _told(one) -> list[str]:
    """A way in short lines: what is done, what comes of it, what it costs."""
    cut = f"cut at {one.cut}: {one.cut_size}" if one.cut else ""
    chance = f"conforms with {one.probability}" if one.probability else ""
    costs = f"about {one.minutes}" if one.minutes else ""
    again = f"measure again: {one.again}"
    lines = (one.does, cut, ", ".join(x for x in (chance, costs, again) if x))
    return [one for one in lines if one]


def _adjuster(one: Present, asked_nm: int, unit: str) -> dict:
    """One adjuster with the words of every step that hands may take from here."""
    asked = asked_nm // one.step_nm
    low = max(-((one.now_nm - one.min_nm) // one.step_nm), asked - MOST_STEPS)
    high = min((one.max_nm - one.now_nm) // one.step_nm, asked + MOST_STEPS)
    return {
        "name": one.name,
        "title": f"{one.point}, {one.plus} or {one.minus}",
        "now": now_words(one, one.now_nm, unit),
        "was_nm": one.now_nm,
        "asked": asked,
        "low": low,
        "words": [
            change_words(one, steps * one.step_nm, unit)
            for steps in range(low, high + 1)
        ],
    }


def _cuts(worked: WorkedPlan, unit: str) -> list[dict]:
    """What a plan on record still takes off, station by station."""
    left = cut_allowance.remaining_nm(worked.record)
    several = len(worked.joints) > 1
    found = []
    for joint, _row, one in worked.stations():
        nm = left.get((joint.check.pk, one.side, one.label), 0)
        if not nm or one.side not in Side.values:
            continue
        fit_up = joint.check.fit_up
        part = fit_up.part if one.side == Side.PART else fit_up.surround_part
        number = f"{joint.state.joint.number}:" if several else ""
        found.append(
            {
                "check": str(joint.check.entry_id),
                "station": one.label,
                "side": one.side,
                "title": f"station {number}{one.label}, off {part or one.side}",
                "asked": no_more(to_mm(nm), unit, worked.bite(one).half),
            }
        )
    return found


def _again(worked: WorkedPlan) -> list[dict]:
    """Of every joint that is planned together: its check, what to measure first when
    it is only cut, and what one step of each adjuster changes at its stations, nm."""
    effects = _effects(worked.present, worked.joints)
    return [
        {
            "check": str(joint.check.entry_id),
            "label": f"{joint.state.joint.number} {joint.state.joint.name}",
            **_witnesses(worked, number, joint),
            "effects": {
                name: changes[joint.state.fit_up.pk]
                for name, changes in effects.items()
            },
        }
        for number, joint in enumerate(worked.joints)
    ]


def _witnesses(worked: WorkedPlan, number: int, joint: PlannedJoint) -> dict:
    cut = {
        one.label
        for _joint, _row, one in worked.stations()
        if one.joint == number and to_nm(worked.bite(one).bite)
    }
    if not cut:
        return {"first": [], "witnesses": []}
    later = staleness.after_cut(joint.state, cut)
    return {"first": later.to_measure, "witnesses": list(later.proposed)}


def _effects(present: Sequence[Present], joints: list[PlannedJoint]) -> dict[str, dict]:
    """{adjuster: {fit-up key: {station: [gap, flushness]}}} of one step, nm."""
    found = {}
    for row, one in enumerate(present):
        steps = [0] * len(present)
        steps[row] = one.step_nm
        try:
            found[one.name] = rigs.made(present, steps, joints).changes
        except rigs.CannotBeSet:
            return {}
    return found
