"""A plan of several parts as commands tell it: as plain values, and as lines."""

from collections.abc import Sequence
from dataclasses import replace

from qa.files.assembly import AssemblyFile
from qa.management.known_output import moves_and_settings
from qa.management.plan_output import (
    amounts,
    as_plain,
    end_lines,
    fit_lines,
    judged,
    judged_amount,
    move_words,
    plain_settings,
    rounded,
    setting_lines,
    table,
    whole_move,
)
from qa.numeric.plan.assembly import AssemblyPlan, PartPlan
from qa.numeric.plan.known import OF_READINGS
from qa.numeric.plan.planner import METHOD
from qa.numeric.plan.result import Fit, TrimPlan
from qa.wording.plans import held_name, plan_notes

SHIFTS = ("x_mm", "y_mm", "z_mm", "turn_deg", "tilt_x_deg", "tilt_y_deg")


def plain_assembly(file: AssemblyFile, plan: AssemblyPlan, options: dict) -> dict:
    """The plan for other programs: what is common, every part, every joint with the
    keys of plan_fit, its moves those of the part against its surround."""
    whole = plan.whole
    return {
        "method": METHOD,
        "rule": options["rule"],
        "outcome": whole.outcome,
        "probability": whole.probability,
        "settled": whole.settled,
        "held": list(map(held_name, whole.held)),
        "judged": judged(whole),
        "seat": _fit(plan.whole.seat),
        "level": _fit(plan.whole.level),
        "trim": _trim(plan.whole.trim),
        "notes": _notes(file, plan),
        "order": [plan.parts[number].name for number in plan.order],
        "parts": [_part(part) for part in plan.parts],
        "joints": [
            _joint(file, plan, number, options) for number in range(len(plan.joints))
        ],
    }


def _fit(fit: Fit | None) -> dict | None:
    return fit and {
        "worst_before": rounded(fit.worst_before),
        "worst_after": rounded(fit.worst_after),
        "conforms": fit.conforms,
    }


def _trim(trim: TrimPlan | None) -> dict | None:
    return trim and {
        "needed": trim.needed,
        "possible": trim.possible,
        "area_mm2": rounded(trim.area_mm2),
        "build_up_mm2": rounded(trim.build_up_mm2),
        "unresolved_mm2": rounded(trim.unresolved_mm2),
    }


def _part(part: PartPlan) -> dict:
    return {
        "name": part.name,
        "fixed": part.fixed,
        **{name: judged_amount(name, getattr(part.move, name)) for name in SHIFTS},
        "motion": amounts(part.move),
        "move": whole_move(part.move),
        "held": list(map(held_name, part.held)),
        **({} if part.settings is None else {"settings": plain_settings(part)}),
        **({} if part.known is None else {"known": moves_and_settings(part.known)}),
    }


def _joint(file: AssemblyFile, plan: AssemblyPlan, number: int, options: dict) -> dict:
    entry = file.joints[number]
    part, surround = plan.parts[entry.part], plan.parts[entry.surround]
    return {
        "joint": entry.joint,
        "readings": entry.readings,
        "part": part.name,
        "surround": surround.name,
        **as_plain(plan.joints[number], options),
        "move": whole_move(part.move),
        "surround_move": whole_move(surround.move),
    }


def _notes(file: AssemblyFile, plan: AssemblyPlan) -> list[str]:
    names: Sequence[str] = [entry.joint for entry in file.joints]
    blank = [
        f"{name}: nothing was measured at all"
        for name, joint in zip(names, plan.joints, strict=True)
        if joint.limited and not joint.measured
    ]
    return [*blank, *plan_notes(plan.whole, lambda joint, at: f"{names[joint]}:{at}")]


def assembly_lines(file: AssemblyFile, plan: AssemblyPlan, half: float) -> list[str]:
    """The plan for people: every part in the order to seat them, every joint, in the
    digits that are known by `half` of an interval, mm."""
    lines = ["Seat the parts in this order:"]
    at_joints = {end for joint in file.joints for end in (joint.part, joint.surround)}
    for number in plan.order:
        part = plan.parts[number]
        words = "fixed" if part.fixed else move_words(part.move, part.known) or "stays"
        if part.settings is not None:
            words = "; ".join(setting_lines(part)) or "leave it as it is set"
        if number not in at_joints:
            words = "at none of these joints: nothing is told of it"
        lines.append(f"  {part.name}: {words}")
    for entry, joint in zip(file.joints, plan.joints, strict=True):
        ends = plan.parts[entry.part].name, plan.parts[entry.surround].name
        lines += ["", f"{entry.joint}: {ends[0]} in {ends[1]}", *fit_lines(joint)]
        lines += ["", *table(joint, half)]
        own = tuple(note for note in joint.notes if note.code in OF_READINGS)
        of_readings = plan_notes(replace(joint, notes=own, stations=()))
        lines += [f"Note: {note}." for note in of_readings]
    return [*lines, "", *end_lines(plan.whole, _notes(file, plan))]
