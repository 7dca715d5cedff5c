"""How a part is to be moved or set, in the words of a builder: where, and how far."""

import math
from dataclasses import dataclass, replace

import numpy as np

from qa.models import JointRevision
from qa.numeric.plan.intervals import Intervals
from qa.numeric.plan.motions import OUT_OF_PLANE, Motion, displace
from qa.numeric.plan.result import Move
from qa.queries.plans.raising import attach_places, raising_of
from qa.rules.history import Seam
from qa.rules.planning import WorkedPlan
from qa.wording.lengths import known
from qa.wording.plans import held
from qa.wording.settings import settings_text
from shop.numeric.units import MILLI

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


@dataclass(frozen=True)
class Telling:
    """How a move is told: in a unit, a share of it, its turns in degrees too where they
    are asked for, and what is known of it, None where nothing is."""

    unit: str
    share: float = 1.0
    degrees: bool = False
    known: Intervals | None = None

    def far(self, amount: float, half: float | None) -> str:
        """mm that are gone, whichever way, and half of the interval of all of it; ""
        where nothing is left of it in the digits that are known."""
        if abs(amount) < TELLING_MM:
            return ""
        half = None if half is None else half * self.share
        distance = known(abs(amount), half, self.unit)
        return distance if distance.split()[0].strip("0.") else ""

    def along(self, move: Move, place, direction, against=None) -> float | None:
        return self.known and self.known.along(move, place, direction, against)


def move_words(move: Move, seam: Seam, how: Telling) -> list[str]:
    """A move as things to do, biggest directions first; [] when it stays.

    A turn is told by how far it goes where it goes furthest: nobody sets degrees.
    """
    slides = ", ".join(slide_words(move, seam, how).values())
    words = slides and f"move {slides}", turn_words(move, seam, how)
    return [*filter(None, (*words, out_of_plane_words(move, seam, how)))]


def slide_words(move: Move, seam: Seam, how: Telling) -> dict[str, str]:
    """How far the middle goes in the plane, by the motions of which any is told."""
    slides = {}
    names, center = directions(seam.revision), seam.places.mean(axis=0)
    ways = ("x", move.x_mm, (1.0, 0.0, 0.0)), ("y", move.y_mm, (0.0, 1.0, 0.0))
    for axis, amount, way in ways:
        amount *= how.share
        if far := how.far(amount, how.along(move, center, way)):
            slides[axis] = f"{far} {names[axis][0 if amount > 0 else 1]}"
    return slides


def turn_words(move: Move, seam: Seam, how: Telling) -> str:
    turn, center = math.radians(move.turn_deg * how.share), seam.places.mean(axis=0)
    label, arm = rim(seam)
    end = center + np.array([arm, 0.0, 0.0])
    far = how.far(turn * arm, how.along(move, end, (0.0, 1.0, 0.0), center))
    if not far:
        return ""
    sense = "counter-clockwise" if turn > 0 else "clockwise"
    more = f", {abs(math.degrees(turn)):.3f}°" if how.degrees else ""
    return f"turn {sense} (seen from outside), {far} at station {label}{more}"


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


def named_words(move: Move, seam: Seam, how: Telling) -> dict[str, str]:
    """A move by its own motions, those of which any is told: "swing: 0.85 mm out at
    station 7"."""
    motions = {}
    halves = {move.name: move.half for move in (how.known.moves if how.known else ())}
    for (name, amount), motion in zip(move.amounts, move.motions, strict=True):
        amount, half = amount * how.share, halves.get(name)
        called = held(("free", name)) if motion.free else name
        if not motion.turns:
            if words := how.far(amount, half):
                motions[name] = (
                    f"{called}: {_along(motion.translation, amount, words, seam)}"
                )
            continue
        label, rate = rim_of(motion, seam)
        arm = float(np.linalg.norm(rate))
        far = arm * math.radians(amount)
        half = None if half is None else arm * math.radians(half)
        if words := how.far(far, half):
            where = f"{words} {_mostly(rate / arm, far, seam)}"
            more = f", {amount:+z.3f}°".replace("-", "−") if how.degrees else ""
            motions[name] = f"{called}: {where} at station {label}{more}"
    return motions


def _mostly(axis, amount: float, seam: Seam) -> str:
    """The word for the direction that a short move mostly goes."""
    names = directions(seam.revision)
    number = int(np.abs(axis).argmax())
    return names["xyz"[number]][0 if axis[number] * amount > 0 else 1]


def _along(axis, amount: float, words: str, seam: Seam) -> str:
    """A straight move, by the word for its direction where it has one."""
    names = directions(seam.revision)
    for name, part in zip("xyz", axis, strict=True):
        if abs(part) >= ALONG_FLOW:
            return f"{words} {names[name][0 if part * amount > 0 else 1]}"
    return f"{'+' if amount > 0 else '−'}{words}"


def raise_words(move: Move, seam: Seam, how: Telling) -> str:
    """Raise and tilt as mm at named places: what shims and hinges must do."""
    raising = raising_of(move, seam)
    if raising:
        places, rises = raising.places, raising.rates @ np.array(move.raw)
    else:
        places = attach_places(seam)
        rises = move.raise_at([place for _, place in places])
    phrases, rests = [], True
    for (name, place), rise in zip(places, rises, strict=True):
        half = how.along(move, place, (0.0, 0.0, 1.0))
        if far := how.far(how.share * float(rise), half):
            phrases.append(f"{'raise' if rise > 0 else 'lower'} {far} at {name}")
            rests = False
        else:
            phrases.append(f"leave {name}")
    return "" if rests else ", ".join(phrases)


def out_of_plane_words(move: Move, seam: Seam, how: Telling) -> str:
    """A free move out of the plane: by places, else by its motions."""
    if raising_of(move, seam):
        return raise_words(move, seam, how)
    motions = named_words(move, seam, how)
    return "; ".join(motions[name] for name in OUT_OF_PLANE if name in motions)


def plan_moves(
    worked: WorkedPlan, unit: str, share: float = 1.0, *, degrees: bool = False
) -> list[str]:
    """The plan's move, or a share of it, as things to do; settings are made whole or
    not at all."""
    if worked.plan.settings is not None:
        words = settings_words(worked, unit) if share >= 1 else ""
        return [words] if words else []
    how = Telling(unit, share, degrees, intervals_of(worked))
    return made_words(worked, worked.plan.move, how)


def intervals_of(worked: WorkedPlan) -> Intervals | None:
    """How well the plan is known; None where nothing is, or it was not kept."""
    return worked.plan.known.intervals if worked.plan.known else None


def settings_words(worked: WorkedPlan, unit: str) -> str:
    intervals = intervals_of(worked)
    halves = {
        setting.name: setting.half
        for setting in (intervals.settings if intervals else ())
    }
    return settings_text(worked.set_changes, unit, halves)


def made_words(worked: WorkedPlan, move: Move, how: Telling) -> list[str]:
    """A move as things to do: by its own motions where the part is not free. Where no
    digit of any of it is known, it is told as it was worked out."""
    return _made_words(worked, move, how) or _made_words(
        worked, move, replace(how, known=None)
    )


def _made_words(worked: WorkedPlan, move: Move, how: Telling) -> list[str]:
    seam = worked.main.state.seam
    if worked.options.motions is not None:
        level = raise_words(move, seam, how)
        own = [*named_words(move, seam, how).values()]
        return own + ([f"that is: {level}"] if level else [])
    return move_words(move, seam, how)


def rounded_raw(worked: WorkedPlan, unit: str, share: float) -> list[float]:
    """Amounts of the plan's motions (k,), mm and radians, as far as the plan goes now:
    of those that it is told by. What nobody is told, nobody does."""
    move, how = worked.plan.move, Telling(unit, share, known=intervals_of(worked))
    names = _told_names(worked, move, how)
    names = names or _told_names(worked, move, replace(how, known=None))
    return [
        share * amount if motion.name in names else 0.0
        for motion, amount in zip(move.motions, move.raw, strict=True)
    ]


def _told_names(worked: WorkedPlan, move: Move, how: Telling) -> set[str]:
    seam = worked.main.state.seam
    if worked.options.motions is not None:
        return {*named_words(move, seam, how)}
    turned = {"turn"} if turn_words(move, seam, how) else set()
    raised = {*OUT_OF_PLANE} if out_of_plane_words(move, seam, how) else set()
    return {*slide_words(move, seam, how), *turned, *raised}
