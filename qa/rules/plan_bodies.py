"""A plan as the body of its record, and back: form `plan_body/6`.

`plan_body/1` had no adjusters, settings and ways, `plan_body/2` nothing of parts that
were planned together, `plan_body/3` no intervals, `plan_body/4` nothing of what the
readings of an instrument share: what lacks is read as none. Before `plan_body/6` a
motion of a part that goes freely stood by its name as if a shop had given it. Lengths
of stations are whole nanometers; the amounts of a move, shares and probabilities are
the numbers that came out. Reasons are codes with values.
"""

import math
from dataclasses import asdict, fields, replace

from qa.numeric.plan.adjusters import Adjuster, Setting
from qa.numeric.plan.intervals import Interval, Intervals
from qa.numeric.plan.known import Known
from qa.numeric.plan.motions import IN_PLANE, OUT_OF_PLANE, Motion
from qa.numeric.plan.planner import METHOD
from qa.numeric.plan.result import (
    Fit,
    Move,
    Plan,
    PlanOptions,
    SetOnly,
    StationPlan,
    TrimPlan,
)
from qa.rules import ways
from qa.rules.adjusters import Present
from qa.rules.bites import Bite
from qa.rules.gauge_zeros import GaugeZero
from qa.rules.planning import PlannedJoint, Wish, WorkedPlan
from qa.rules.shared_plans import Shared, SharedPart
from qa.rules.ways import WayRow
from shop.numeric.units import to_mm, to_nm

FORM = "plan_body/6"
LENGTHS = (
    "gap_now", "gap_after", "flush_now", "flush_after", "closes_by", "most_trim",
    "trim", "build_up", "unresolved", "next_bite",
)  # fmt: skip
OLDER = ("plan_body/1", "plan_body/2", "plan_body/3", "plan_body/4")
FREE = (*IN_PLANE, *OUT_OF_PLANE)
OF_MOTIONS = ("held", "show", "trifles")  # notes that name motions
PARTS = ("move", "seat", "level", "trim", "set_only")  # of a Plan, each with its fields


def body_of(worked: WorkedPlan) -> dict:
    """What FitPlan keeps of a plan that was worked out."""
    return {
        "form": FORM,
        "method": METHOD,
        "inputs": {
            "defaults": worked.defaults.pk,
            "joints": [_inputs(joint) for joint in worked.joints],
            "left_out": worked.left_out,
            "holding": worked.holding,
            "zeros": [[zero.code, zero.common_nm] for zero in worked.zeros],
            "adjusters": [_plain(asdict(adjuster)) for adjuster in worked.present],
        },
        "wishes": {
            "side": worked.wish.side,
            "limits": worked.wish.limits,
            "freely": worked.wish.freely,
            "way": worked.wish.way,
            "options": _plain(asdict(worked.options)),
        },
        "outcome": {
            **_outcome(worked.plan),
            "least_cut_nm": _nm(worked.least_cut),
            "notes": _plain(worked.notes),
            "way": worked.way,
            "ways": _plain(ways.as_json(worked.ways)),
            "stations": [_station(worked, *station) for station in worked.stations()],
        },
        "together": worked.shared and _together(worked),
    }


def _together(worked: WorkedPlan) -> dict:
    around = [str(neighbor.check.entry_id) for neighbor in worked.around]
    return {**_plain(asdict(worked.shared)), "around": around}


def _inputs(joint: PlannedJoint) -> dict:
    state, check = joint.state, joint.check
    newest = state.joint.current
    return {
        "joint": state.joint.number,
        "revision": str(state.revision.uuid),
        "newest_revision": newest.number if newest else None,
        "fit_up": str(state.fit_up.entry_id),
        "check": str(check.entry_id),
        "finish": check.finish,
        "u_nm": check.u_nm,
        "motions": state.fit_up.motions,
        "readings": [
            [label, kind, str(value.reading.entry_id), value.reading.pk]
            for (label, kind), value in sorted(joint.values.items())
        ],
        "carried": sorted(
            {key[0] for key, value in joint.values.items() if value.carried}
        ),
        "lost_nm": {
            side: [_nm(float(depth)) for depth in depths]
            for side, depths in joint.lost.items()
        },
        "cut_and_moved": [str(epoch.fit_up.entry_id) for epoch in state.epochs],
    }


def _outcome(plan: Plan) -> dict:
    outcome = {
        field.name: getattr(plan, field.name)
        for field in fields(Plan)
        if field.name not in ("stations", "notes", "settings", "known", *PARTS)
    }
    outcome["settings"] = plan.settings and [[s.name, s.steps] for s in plan.settings]
    outcome["intervals"] = _intervals(plan.known)
    for name in PARTS:
        part = getattr(plan, name)
        outcome[name] = None if part is None else _plain(asdict(part))
    return _plain(outcome)


def _intervals(known: Known | None) -> dict | None:
    """How well moves and settings are known; of cuts it stands with their stations."""
    if known is None or known.intervals is None:
        return None
    intervals = asdict(known.intervals)
    del intervals["cuts"]
    return intervals


def _station(
    worked: WorkedPlan, joint: PlannedJoint, row: int, station_plan: StationPlan
) -> dict:
    bite = worked.bite(station_plan)
    body = {
        item.name: getattr(station_plan, item.name)
        for item in fields(StationPlan)
        if item.name not in (*LENGTHS, "reasons")
    }
    lengths = {f"{name}_nm": _nm(getattr(station_plan, name)) for name in LENGTHS}
    return _plain(
        {
            **body,
            **lengths,
            "bite_nm": _nm(bite.bite),
            "trim_asked_nm": _nm(bite.trim),
            "bite_half_nm": _nm(bite.half),
            "trim_half_nm": _nm(bite.trim_half),
            "reasons": worked.reasons[station_plan.joint, station_plan.label],
        }
    )


def _nm(mm: float | None) -> int | None:
    return None if mm is None or not math.isfinite(mm) else to_nm(mm)


def _plain(value):
    """Tuples as lists, and what is not finite as text: JSON has no word for it."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if hasattr(value, "item"):  # a number of numpy
        return _plain(value.item())
    return value


# --------------------------------------------------------------------- back


def plan_from(body: dict) -> Plan:
    """The numbers of a record, as they came out. Its notes are not kept."""
    outcome = dict(body["outcome"])
    stations = tuple(_station_from(station) for station in outcome["stations"])
    move = _move(outcome["move"])
    if _unmarked(body):
        of_free = tuple(replace(m, free=m.name in FREE) for m in move.motions)
        move = replace(move, motions=of_free)
    trim = outcome["trim"]
    return _made(
        Plan,
        {
            **outcome,
            "move": move,
            "seat": _fit(outcome["seat"]),
            "level": _fit(outcome["level"]),
            "trim": trim and _made(TrimPlan, {**trim, "move": _move(trim["move"])}),
            "held": tuple(map(_tupled, _motions(body, outcome["held"]))),
            "settings": _settings(body),
            "set_only": _set_only(outcome.get("set_only")),
            "stations": stations,
            "notes": (),
            "known": _known(outcome.get("intervals")),
        },
    )


def notes_from(body: dict) -> list:
    """The notes of a record: codes with values."""
    return [
        [code, {**values, "names": _motions(body, values["names"])}]
        if code in OF_MOTIONS
        else [code, values]
        for code, values in body["outcome"]["notes"]
    ]


def _unmarked(body: dict) -> bool:
    """Whether a part goes freely by motions that are not marked so."""
    older = body["form"] in (*OLDER, "plan_body/5")
    return older and not body["wishes"]["options"].get("motions")


def _motions(body: dict, codes: list) -> list:
    """What motions are called, those of a part that goes freely by their codes."""
    if not _unmarked(body):
        return codes
    return [["free", code] if code in FREE else code for code in codes]


def _known(body: dict | None) -> Known | None:
    """What is kept of what was known: the intervals, the rest is in the notes."""
    if body is None:
        return None
    kept = {name: _tupled(value) for name, value in body.items()}
    for name in ("moves", "settings"):
        kept[name] = tuple(_made(Interval, interval) for interval in kept[name])
    return Known(None, (), (), Intervals(**kept))


def _settings(body: dict) -> tuple[Setting, ...] | None:
    settings = body["outcome"].get("settings")
    by_name = {
        adjuster.name: adjuster for adjuster in options_from(body).adjusters or ()
    }
    return settings and tuple(Setting(by_name[name], steps) for name, steps in settings)


def _set_only(body: dict | None) -> SetOnly | None:
    return body and _made(SetOnly, {name: _tupled(v) for name, v in body.items()})


def present_from(body: dict) -> list[Present]:
    """What held the part when it was planned, and what it was set to."""
    return [
        _made(Present, {name: _tupled(value) for name, value in adjuster.items()})
        for adjuster in body["inputs"].get("adjusters", ())
    ]


def asked_changes(body: dict) -> list[tuple[Present, int]]:
    """Every adjuster that held the part, with the change that is asked for, nm."""
    steps = dict(body["outcome"].get("settings") or ())
    return [(o, steps.get(o.name, 0) * o.step_nm) for o in present_from(body)]


def ways_from(body: dict) -> list[WayRow]:
    """What could have been done instead."""
    return [
        _made(WayRow, {name: _tupled(value) for name, value in way.items()})
        for way in body["outcome"].get("ways", ())
    ]


def shared_from(body: dict) -> Shared | None:
    """What is kept of the parts that a plan was worked out together with."""
    shared = body.get("together")
    if not shared:
        return None
    parts = tuple(
        _made(SharedPart, {name: _tupled(value) for name, value in part.items()})
        for part in shared["parts"]
    )
    return _made(
        Shared, {**shared, "parts": parts, "touches": _tupled(shared["touches"])}
    )


def before_intervals(body: dict) -> bool:
    """Whether a record is of a form that kept none: of parts planned together none were
    drawn at first."""
    if "intervals" not in body["outcome"]:
        return True
    return bool(body.get("together")) and body["form"] in OLDER


def zeros_from(body: dict) -> list[GaugeZero]:
    """What readings were made with, and what they share; [] where it was not kept."""
    zeros = body["inputs"].get("zeros", ())
    return [GaugeZero(None, code, common_nm) for code, common_nm in zeros]


def around_from(body: dict) -> list[str]:
    """The checks of the joints at which the part of a plan is the surround."""
    return (body.get("together") or {}).get("around", [])


def wish_from(body: dict) -> Wish:
    wishes = body["wishes"]
    way = wishes.get("way")
    return Wish(wishes["side"], wishes["limits"], bool(wishes.get("freely")), way)


def _tupled(value):
    return tuple(map(_tupled, value)) if isinstance(value, list) else value


def bites_from(body: dict) -> dict[tuple[int, str], Bite]:
    return {
        (station["joint"], station["label"]): Bite(
            to_mm(station["bite_nm"]),
            to_mm(station["trim_asked_nm"]),
            half=_mm(station.get("bite_half_nm")),
            trim_half=_mm(station.get("trim_half_nm")),
        )
        for station in body["outcome"]["stations"]
    }


def _mm(nm: int | None) -> float | None:
    return None if nm is None else to_mm(nm)


def reasons_from(body: dict) -> dict[tuple[int, str], list]:
    return {
        (station["joint"], station["label"]): station["reasons"]
        for station in body["outcome"]["stations"]
    }


def options_from(body: dict) -> PlanOptions:
    options = dict(body["wishes"]["options"])
    motions = options.get("motions")
    options["motions"] = motions and tuple(_motion(motion) for motion in motions)
    by = options.get("adjusters")
    options["adjusters"] = by and tuple(
        _made(Adjuster, {name: _tupled(value) for name, value in adjuster.items()})
        for adjuster in by
    )
    return _made(PlanOptions, {k: _number(v) for k, v in options.items()})


def _made(kind, body: dict):
    """A dataclass of what is known of it; a field that came later is None."""
    return kind(**{field.name: body.get(field.name) for field in fields(kind)})


def _number(value):
    return float(value) if value in ("inf", "-inf") else value


def _motion(body: dict) -> Motion:
    body = {
        key: tuple(value) if isinstance(value, list) else _number(value)
        for key, value in body.items()
    }
    return _made(Motion, body)


def _move(body: dict) -> Move:
    return _made(
        Move,
        {
            **body,
            "amounts": tuple((name, amount) for name, amount in body["amounts"]),
            "motions": tuple(_motion(motion) for motion in body["motions"]),
            "raw": tuple(body["raw"]),
        },
    )


def _fit(body: dict | None) -> Fit | None:
    return body and _made(Fit, {**body, "move": _move(body["move"])})


def _station_from(body: dict) -> StationPlan:
    lengths = {name: _mm(body[f"{name}_nm"]) for name in LENGTHS}
    if lengths["most_trim"] is None:
        lengths["most_trim"] = math.inf
    return _made(StationPlan, {**body, **lengths, "reasons": ()})
