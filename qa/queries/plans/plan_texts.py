"""A plan in the words of a builder: where to push, how far, what to do first."""

import math

import numpy as np

from qa.models import JointRevision, Side
from qa.numeric.plan.motions import Motion, displace
from qa.numeric.plan.result import CUT, FITS, Move
from qa.queries.checks.unconfirmed import found_off
from qa.rules.history import Seam
from qa.rules.next_moves import free_share, sits_well
from qa.rules.planning import WorkedPlan
from qa.rules.station_places import point_mm
from qa.wording import plans as wording
from qa.wording.lengths import mm
from qa.wording.settings import settings_text
from shop.numeric.units import MILLI, to_mm

TELLING_MM = 0.005
ALONG_FLOW = math.cos(math.radians(1))


def directions(revision: JointRevision) -> dict[str, tuple[str, str]]:
    """What + and − along x, y and z of the drawing are called.

    Forward is against the flow where it runs along x; else the drawing's own right.
    """
    along = None
    if revision.flow_mdeg is not None:
        along = math.cos(math.radians(revision.flow_mdeg / MILLI))
    x = ("right", "left")
    if along is not None and abs(along) >= ALONG_FLOW:
        x = ("aft", "forward") if along > 0 else ("forward", "aft")
    return {"x": x, "y": ("up", "down"), "z": ("out", "in")}


def move_words(
    move: Move, seam: Seam, unit: str, share: float = 1.0, *, degrees: bool = False
) -> list[str]:
    """A move as things to do, biggest directions first; [] when it stays.

    A turn is told by how far it goes where it goes furthest: nobody sets degrees, which
    are added where they are asked for.
    """
    told = []
    names = directions(seam.revision)
    for axis, amount in (("x", move.x_mm), ("y", move.y_mm)):
        amount *= share
        if abs(amount) >= TELLING_MM:
            word = names[axis][0 if amount > 0 else 1]
            told.append(f"{mm(abs(amount), unit)} {word}")
    out = [f"move {', '.join(told)}"] if told else []
    turn = math.radians(move.turn_deg * share)
    label, arm = rim(seam)
    if abs(turn) * arm >= TELLING_MM:
        sense = "counter-clockwise" if turn > 0 else "clockwise"
        far = f"{mm(abs(turn) * arm, unit)} at station {label}"
        more = f", {abs(math.degrees(turn)):.3f}°" if degrees else ""
        out.append(f"turn {sense} (seen from outside), {far}{more}")
    level = raise_words(move, seam, unit, share)
    return out + ([level] if level else [])


def rim(seam: Seam) -> tuple[str, float]:
    """The station that a turn in the plane moves furthest, and its distance, mm."""
    arms = np.linalg.norm(seam.places[:, :2] - seam.places[:, :2].mean(axis=0), axis=1)
    row = int(arms.argmax())
    return seam.stations[row].label, float(arms[row])


def rim_of(motion: Motion, seam: Seam) -> tuple[str, np.ndarray]:
    """The station that a motion with a turn moves furthest, and where a small amount of
    it goes there, mm a radian."""
    rates = displace(seam.places, [motion], [0.0])[1][0]
    row = int(np.linalg.norm(rates, axis=1).argmax())
    return seam.stations[row].label, rates[row]


def named_words(
    move: Move, seam: Seam, unit: str, share: float = 1.0, *, degrees: bool = False
) -> list[str]:
    """A move by its own motions: "swing: 0.85 mm out at station 7"."""
    told = []
    for (name, amount), motion in zip(move.amounts, move.motions, strict=True):
        amount *= share
        if not motion.turns:
            if abs(amount) >= TELLING_MM:
                told.append(f"{name}: {_along(motion.translation, amount, seam, unit)}")
            continue
        label, rate = rim_of(motion, seam)
        far = float(np.linalg.norm(rate)) * math.radians(amount)
        if abs(far) >= TELLING_MM:
            unit_rate = rate / np.linalg.norm(rate)
            where = _mostly(unit_rate, far, seam, unit)
            more = f", {amount:+z.3f}°".replace("-", "−") if degrees else ""
            told.append(f"{name}: {where} at station {label}{more}")
    return told


def _mostly(axis, amount: float, seam: Seam, unit: str) -> str:
    """A short move by the word for the direction that it mostly goes."""
    names = directions(seam.revision)
    number = int(np.abs(axis).argmax())
    word = names["xyz"[number]][0 if axis[number] * amount > 0 else 1]
    return f"{mm(abs(amount), unit)} {word}"


def _along(axis, amount: float, seam: Seam, unit: str) -> str:
    """A straight move, by the word for its direction where it has one."""
    names = directions(seam.revision)
    for name, part in zip("xyz", axis, strict=True):
        if abs(part) >= ALONG_FLOW:
            word = names[name][0 if part * amount > 0 else 1]
            return f"{mm(abs(amount), unit)} {word}"
    sign = "+" if amount > 0 else "−"
    return f"{sign}{mm(abs(amount), unit)}"


def attach_places(seam: Seam) -> list[tuple[str, tuple[float, float, float]]]:
    """Where the part can be raised: the joint's attach points, else the stations that
    lie furthest each way."""
    height = float(seam.places[:, 2].mean())
    points = seam.revision.attach_points or []
    if points:
        return [(one["name"], (*point_mm(one), height)) for one in points]
    rows = []
    for axis, last in ((0, True), (1, True), (0, False), (1, False)):
        values = seam.places[:, axis]
        rows.append(int(values.argmax() if last else values.argmin()))
    return [
        (f"station {seam.stations[row].label}", tuple(map(float, seam.places[row])))
        for row in dict.fromkeys(rows)
    ]


def raise_words(move: Move, seam: Seam, unit: str, share: float = 1.0) -> str:
    """Raise and tilt as mm at named places: what shims and hinges must do."""
    places = attach_places(seam)
    rises = move.raise_at([place for _, place in places])
    if max(map(abs, rises)) * abs(share) < TELLING_MM:
        return ""
    told = []
    for (name, _), rise in zip(places, rises, strict=True):
        rise *= share
        if abs(rise) < TELLING_MM:
            told.append(f"leave {name}")
        else:
            word = "raise" if rise > 0 else "lower"
            told.append(f"{word} {mm(abs(float(rise)), unit)} at {name}")
    return ", ".join(told)


def plan_moves(
    worked: WorkedPlan, unit: str, share: float = 1.0, *, degrees: bool = False
) -> list[str]:
    """The plan's move, or a share of it, as things to do; settings are made whole or
    not at all."""
    if worked.plan.settings is not None:
        words = settings_text(worked.set_changes, unit) if share >= 1 else ""
        return [words] if words else []
    return made_words(worked, worked.plan.move, unit, share, degrees=degrees)


def made_words(
    worked: WorkedPlan,
    move: Move,
    unit: str,
    share: float = 1.0,
    *,
    degrees: bool = False,
) -> list[str]:
    """A move as things to do: by its own motions where the part is not free."""
    seam = worked.main.state.seam
    if worked.options.motions is not None:
        level = raise_words(move, seam, unit, share)
        return named_words(move, seam, unit, share, degrees=degrees) + (
            [f"that is: {level}"] if level else []
        )
    return move_words(move, seam, unit, share, degrees=degrees)


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
    told = []
    for joint, side in worked.cut_sides():
        told.append(_cut_step(worked, joint, side, unit))
    share = free_share(worked)
    moves = plan_moves(worked, unit, share, degrees=degrees)
    if worked.asked_settings:
        told.append(_set_step(worked, unit, share))
    elif moves:
        sentence = "; ".join(moves)
        if share <= 0:
            told.append("Leave it where it sits: it would touch before more is cut.")
        elif share < 1:
            told.append(
                f"{sentence[0].upper()}{sentence[1:]}: {share:.0%} of the way, further "
                "it would touch before more is cut."
            )
        else:
            told.append(f"{sentence[0].upper()}{sentence[1:]}.")
    moved = bool(moves or worked.asked_settings) and share > 0
    if worked.shared:
        return [*(told or ["Leave it where it is."]), _then(worked)]
    if told:
        told.append(_measure_step(worked, moved=moved))
    return told or ["Leave it: it conforms where it sits."]


def _set_step(worked: WorkedPlan, unit: str, share: float) -> str:
    words = settings_text(worked.set_changes, unit)
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
        one.label: worked.bite(one).bite
        for planned, _, one in worked.stations()
        if planned is joint and one.side == side and worked.bite(one).bite > 0
    }
    fit_up = joint.check.fit_up
    part = fit_up.part if side == Side.PART else fit_up.surround_part
    whose = part.serial if part else fit_up.joint.surround.name
    deepest = max(bites, key=bites.get)
    where = run_words(joint.state.seam, bites)
    name = f" ({joint.state.joint.number})" if len(worked.joints) > 1 else ""
    return (
        f"Take the next bite off {whose}{name} at {where}: "
        f"{mm(bites[deepest], unit)} at most, at {deepest}. Use the template."
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
    told = [
        names[run[0]] if len(run) == 1 else f"{names[run[0]]}–{names[run[-1]]}"
        for run in runs
    ]
    return ("station " if len(rows) == 1 else "stations ") + ", ".join(told)


def _then(worked: WorkedPlan) -> str:
    """What comes after a part of several: the next, or measuring all of them."""
    shared = worked.shared
    if shared.order < shared.count:
        return f"Then go on with {shared.parts[shared.order].serial}."
    joints = ", ".join(name for one in shared.parts for name in one.joints)
    return (
        f"When all {shared.count} parts are done, measure {joints} again: a re-check "
        "of one overtakes what is still to do at the others."
    )


def touch_words(worked: WorkedPlan, unit: str) -> str:
    """Where a part runs into others until they have gone too, "" where it does not."""
    touches = worked.shared.touches if worked.shared else ()
    if not touches:
        return ""
    name, deep = max(touches, key=lambda one: one[1])
    later = [one.serial for one in worked.shared.parts[worked.shared.order :]]
    return (
        f"until {', '.join(one for one in later)} has gone too, {name} would go "
        f"{mm(to_mm(deep), unit)} into it: loosen both, and move them together"
    )


def _measure_step(worked: WorkedPlan, *, moved: bool) -> str:
    seam = worked.main.state.seam
    cut = [
        one.label
        for joint, _, one in worked.stations()
        if joint is worked.main and worked.bite(one).bite > 0
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
    found = []
    for joint, _, one in worked.stations():
        told = reason_words(worked, one, unit, but=wording.OF_THE_CUT)
        if told:
            number = f"{joint.state.joint.number}:" if several else ""
            found.append(f"station {number}{one.label}: {told}")
    return found


def reason_words(worked, one, unit: str, but=()) -> str:
    """Why a station stays wrong, or its cut is another than the plan's own."""
    return wording.reasons(worked.reasons[one.joint, one.label], unit, but)


def _found_off(worked: WorkedPlan) -> list[str]:
    """The gauges of what it was made from that were found off since."""
    values = (one.state.now.values.values() for one in worked.joints)
    checks = [value.check for found in values for value in found]
    return [one.rstrip(".") for one in found_off(checks)]


DOUBTS = ("again", "between_beyond")


def doubts(worked: WorkedPlan, unit: str) -> list[str]:
    """What to look at before it is cut: for a paper that has no room for all notes."""
    told = [wording.note(*note, unit) for note in worked.notes if note[0] in DOUBTS]
    told += _found_off(worked)
    return [f"{one[0].upper()}{one[1:]}." for one in told]


def warnings(worked: WorkedPlan, unit: str) -> list[str]:
    """What a builder should know beside the numbers."""
    told = [wording.note(*note, unit) for note in worked.notes]
    told += _found_off(worked)
    told += [f"{one}: it is not in this plan" for one in worked.left_out]
    told += filter(None, [touch_words(worked, unit)])
    rule = worked.main.state.revision.rule
    if any(one.state.revision.rule != rule for one in worked.joints):
        told.append(
            "the joints are judged by different rules; this plan uses the first"
        )
    return [f"{one[0].upper()}{one[1:]}." for one in told]
