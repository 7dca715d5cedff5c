"""A plan in the words of a builder: where to push, how far, what to do first."""

from django.utils.translation import ngettext

from qa.models import Side
from qa.numeric.plan.result import CUT, FITS
from qa.queries.checks.unconfirmed import found_off
from qa.queries.plans.move_texts import plan_moves, settings_words
from qa.rules.history import Seam
from qa.rules.next_moves import free_share, sits_well
from qa.rules.planning import WorkedPlan
from qa.wording import plans as wording
from qa.wording.lengths import known, no_more
from shop.numeric.units import to_mm


def outcome(worked: WorkedPlan) -> tuple[str, str]:
    """(state to draw, sentence) of what the plan comes to."""
    plan = worked.plan
    if sits_well(worked):
        if not plan.complete:
            return "not_measured", "What was measured conforms as it sits."
        return "conforms", "It conforms as it sits: nothing needs to be done."
    if plan.outcome == FITS:
        if not plan.complete:
            return "not_measured", "Seating it is enough for what was measured."
        return "conforms", "Seating it is enough: nothing needs to be cut."
    if plan.outcome == CUT and not plan.measured:
        return "not_measured", "A pre-trim: what it comes to is not known."
    if plan.outcome == CUT:
        return "not_proven", "It can fit: seat it and take material off as below."
    if plan.trim and not plan.trim.possible:
        return "above", "It cannot be made to fit as allowed. What stays is told below."
    return "above", "The gaps can be had, the step cannot: trimming does not cure it."


def steps(worked: WorkedPlan, unit: str, *, degrees: bool = False) -> list[str]:
    """What to do, in the order of the work."""
    if sits_well(worked):
        return [_nothing_needed(worked, unit)]
    sentences = []
    for joint, side in worked.cut_sides():
        sentences.append(_cut_step(worked, joint, side, unit))
    share = free_share(worked)
    moves = plan_moves(worked, unit, share, degrees=degrees)
    if worked.asked_settings:
        sentences.append(_set_step(worked, unit, share))
    elif moves:
        sentence = "; ".join(moves)
        if share <= 0:
            sentences.append(
                "Leave it where it sits: it would touch before more is cut."
            )
        elif share < 1:
            sentences.append(
                f"{sentence[0].upper()}{sentence[1:]}: {share:.0%} of the way, further "
                "it would touch before more is cut."
            )
        else:
            sentences.append(f"{sentence[0].upper()}{sentence[1:]}.")
    moved = bool(moves or worked.asked_settings) and share > 0
    if after := then(worked):
        return [*(sentences or ["Leave it where it is."]), after]
    if sentences:
        sentences.append(_measure_step(worked, moved=moved))
    return sentences or ["Leave it: it conforms where it sits."]


def _set_step(worked: WorkedPlan, unit: str, share: float) -> str:
    words = settings_words(worked, unit)
    if share >= 1:
        return f"{words[0].upper()}{words[1:]}."
    return (
        f"Leave it as it is set for now: it would touch before more is cut. Once it is "
        f"cut to the full trim, set {words}."
    )


def _nothing_needed(worked: WorkedPlan, unit: str) -> str:
    """It conforms: what would center it in its limits is a wish, not a step."""
    moves = "; ".join(plan_moves(worked, unit))
    if not moves:
        return "Leave it: it conforms where it sits."
    return (
        f"Nothing needs to be done. If wished, to center it in its limits: {moves}; "
        "every station is then measured again."
    )


def _cut_step(worked: WorkedPlan, joint, side: str, unit: str) -> str:
    bites = {
        station.label: worked.bite(station)
        for planned, _, station in worked.stations()
        if planned is joint and station.side == side and worked.bite(station).bite > 0
    }
    fit_up = joint.check.fit_up
    part = fit_up.part if side == Side.PART else fit_up.surround_part
    whose = part.serial if part else fit_up.joint.surround.name
    deepest = max(bites, key=lambda label: bites[label].bite)
    most = no_more(bites[deepest].bite, unit, bites[deepest].half)
    where = run_words(joint.state.seam, bites)
    name = f" ({joint.state.joint.number})" if len(worked.joints) > 1 else ""
    return (
        f"Take the next bite off {whose}{name} at {where}: "
        f"{most} {unit} at most, at {deepest}. Use the template."
    )


def run_words(seam: Seam, labels) -> str:
    """Stations in the order of the seam: "stations 4–7, 11"."""
    rows = [seam.rows[label] for label in seam.rows if label in labels]
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    names = [station.label for station in seam.stations]
    spans = [
        names[run[0]] if len(run) == 1 else f"{names[run[0]]}–{names[run[-1]]}"
        for run in runs
    ]
    return ("station " if len(rows) == 1 else "stations ") + ", ".join(spans)


def before(worked: WorkedPlan) -> str:
    """Which parts of several come before this one and are not done yet; "" for none."""
    if not worked.record:
        return ""
    earlier = [
        f"{sister.part.serial} ({sister})"
        for sister in worked.sisters
        if sister.number < worked.record.number and not hasattr(sister, "end")
    ]
    if not earlier:
        return ""
    return ngettext(
        "First %(parts)s, which is not done yet: this is number %(order)s.",
        "First %(parts)s, which are not done yet: this is number %(order)s.",
        len(earlier),
    ) % {"parts": ", ".join(earlier), "order": worked.shared.order}


def then(worked: WorkedPlan) -> str:
    """What comes after a part of several: the next, or measuring all of them; "" of a
    part alone."""
    shared = worked.shared
    if not shared or shared.count < 2:
        return ""
    if shared.order < shared.count:
        return f"Then go on with {shared.parts[shared.order].serial}."
    joints = ", ".join(name for part in shared.parts for name in part.joints)
    every = "both" if shared.both else f"all {shared.count}"
    return (
        f"When {every} parts are done, measure {joints} again: a re-check "
        "of one overtakes what is still to do at the others."
    )


def touch_words(worked: WorkedPlan, unit: str) -> str:
    """Where a part runs into others until they have gone too, "" where it does not."""
    touches = worked.shared.touches if worked.shared else ()
    if not touches:
        return ""
    name, deep = max(touches, key=lambda touch: touch[1])
    later = [part.serial for part in worked.shared.parts[worked.shared.order :]]
    return (
        f"until {', '.join(later)} has gone too, {name} would go "
        f"{known(to_mm(deep), None, unit)} into it: loosen both, and move them together"
    )


def _measure_step(worked: WorkedPlan, *, moved: bool) -> str:
    seam = worked.main.state.seam
    cut = [
        station.label
        for joint, _, station in worked.stations()
        if joint is worked.main and worked.bite(station).bite > 0
    ]
    if not worked.plan.measured:
        return "Then measure every station."
    if moved or not cut:
        # Also with a cut beside it: no witness speaks across a move.
        return "Measure every station again: a move makes all of them stale."
    return (
        f"Measure again: three witness stations that were not cut first, then "
        f"{run_words(seam, cut)}."
    )


def impossible(worked: WorkedPlan, unit: str) -> list[str]:
    """What stays wrong, where and why."""
    several = len(worked.joints) > 1
    lines = []
    for joint, _, station in worked.stations():
        reasons = reason_words(worked, station, unit, but=wording.OF_THE_CUT)
        if reasons:
            number = f"{joint.state.joint.number}:" if several else ""
            lines.append(f"station {number}{station.label}: {reasons}")
    return lines


def reason_words(worked, station, unit: str, but=()) -> str:
    """Why a station stays wrong, or its cut is another than the plan's own."""
    return wording.reasons(worked.reasons[station.joint, station.label], unit, but)


def _found_off(worked: WorkedPlan) -> list[str]:
    """The gauges of what it was made from that were found off since."""
    values = (joint.state.now.values.values() for joint in worked.joints)
    checks = [value.check for values_of in values for value in values_of]
    return [sentence.rstrip(".") for sentence in found_off(checks)]


DOUBTS = ("again", "between_beyond", "settings_end", "pre_trim")


def doubts(worked: WorkedPlan, unit: str) -> list[str]:
    """What to look at before it is cut: for a paper that has no room for all notes."""
    sentences = [
        wording.note(*note, unit) for note in worked.notes if note[0] in DOUBTS
    ]
    sentences += _found_off(worked)
    return [f"{sentence[0].upper()}{sentence[1:]}." for sentence in sentences]


def warnings(worked: WorkedPlan, unit: str) -> list[str]:
    """What a builder should know beside the numbers."""
    sentences = [wording.note(*note, unit) for note in worked.notes]
    sentences += _found_off(worked)
    sentences += [f"{name}: it is not in this plan" for name in worked.left_out]
    sentences += filter(None, [touch_words(worked, unit)])
    rule = worked.main.state.revision.rule
    if any(joint.state.revision.rule != rule for joint in worked.joints):
        sentences.append(
            "the joints are judged by different rules; this plan uses the first"
        )
    return [f"{sentence[0].upper()}{sentence[1:]}." for sentence in sentences]
