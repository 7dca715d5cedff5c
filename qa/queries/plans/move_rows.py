"""A free move motion by motion, as it is asked for and as it was made: in mm, a turn by
how far it goes at the station that goes furthest."""

import math
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from qa.numeric.plan.motions import Motion
from qa.queries.plans import move_texts
from qa.rules import next_moves
from qa.rules.history import Seam
from qa.rules.planning import WorkedPlan
from qa.wording.lengths import MAP_PLACES, places_known
from qa.wording.plans import held
from shop.numeric.units import MM_PER_IN

MORE = 50  # either way, in the last digit that is told: further hands go to the desk
COARSE = 10  # in that digit


@dataclass(frozen=True)
class MotionRow:
    """One way to move: mm that the plan asks for, amounts (mm or radians) a mm, what +
    and − are called, and the station where a turn is told, "" of a straight motion.
    `half` of the interval of what is asked, mm, None where nothing is known of it."""

    motion: Motion
    amount: float
    per_mm: float
    plus: str
    minus: str
    at: str
    half: float | None

    @property
    def name(self) -> str:
        return self.motion.name

    @property
    def key_words(self) -> tuple[str, str]:
        """What stands on keys for + and −, where there is room for one short word."""
        in_plane = self.motion.free and self.name == "turn"
        return ("↺", "↻") if in_plane else (self.plus, self.minus)

    @property
    def title(self) -> str:
        at = _(", at station %(at)s") % {"at": self.at} if self.at else ""
        words = _("%(motion)s, %(plus)s or %(minus)s") % {
            "motion": held(self.motion.code),
            "plus": self.plus,
            "minus": self.minus,
        }
        return words + at

    def label(self, unit: str) -> str:
        """Of a field for it: what is typed with a plus."""
        words = f"{held(self.motion.code)}, "
        words += unit if self.plus == "+" else f"{self.plus} +, {unit}"
        if self.at:
            words += _(" at station %(at)s") % {"at": self.at}
        return words[:1].upper() + words[1:]

    def places(self, unit: str) -> int:
        """Decimals of the steps in which it is asked for: those that are known, or more
        where nothing would be left of it."""
        known = places_known(self.half, unit, MAP_PLACES)
        most = MAP_PLACES[unit]
        return known if self.steps(unit, known) or not self.steps(unit, most) else most

    def steps(self, unit: str, places: int) -> int:
        return round(self.amount / step_mm(unit, places))

    def words(self, count: int, unit: str, places: int) -> str:
        """So many steps, as done."""
        if not count:
            return _("not moved so")
        where = _(" at station %(at)s") % {"at": self.at} if self.at else ""
        way = self.plus if count > 0 else self.minus
        return f"{abs(count) / 10**places:.{places}f} {unit} {way}{where}"


def step_mm(unit: str, places: int) -> float:
    return (1.0 if unit == "mm" else MM_PER_IN) / 10**places


def motion_rows(worked: WorkedPlan, raw) -> list[MotionRow]:
    """Of every motion of a plan, for amounts (k,) in mm and radians."""
    seam, known = worked.main.state.seam, move_texts.intervals_of(worked)
    halves = {interval.name: interval.half for interval in known.moves} if known else {}
    rows = []
    for motion, amount in zip(worked.plan.move.motions, raw, strict=True):
        at, arm, words = _told(motion, seam)
        half = halves.get(motion.name)
        if half is not None and motion.turns:
            half = arm * math.radians(half)
        rows.append(MotionRow(motion, amount * arm, 1 / arm, *words, at, half))
    return rows


def asked_rows(worked: WorkedPlan, unit: str) -> list[MotionRow]:
    """As far as the plan goes now, of what it is told by; [] where the part stays."""
    raw = move_texts.rounded_raw(worked, unit, next_moves.free_share(worked))
    return motion_rows(worked, raw) if any(raw) else []


def _told(motion: Motion, seam: Seam) -> tuple[str, float, tuple[str, str]]:
    """(station where a turn is told, mm there a unit of it, words of + and −)."""
    at, arm, way = "", 1.0, np.array(motion.translation)
    if motion.turns:
        at, way = move_texts.rim_of(motion, seam)
        arm = float(np.linalg.norm(way))
    if motion.free and motion.name == "turn":
        return at, arm, (_("counter-clockwise"), _("clockwise"))
    way = way / np.linalg.norm(way)
    axis = int(np.abs(way).argmax())
    if not motion.turns and abs(way[axis]) < move_texts.ALONG_FLOW:
        return at, arm, ("+", "−")
    words = move_texts.directions(seam.revision)["xyz"[axis]]
    return at, arm, words if way[axis] > 0 else words[::-1]


def raw_of(worked: WorkedPlan, made: dict[str, tuple[int, str, int]]) -> list[float]:
    """Amounts of the plan's motions, mm and radians, of what was done by name: steps, a
    unit and its decimals; 0 of what is not named."""
    rows = motion_rows(worked, worked.plan.move.raw)
    return [
        steps * step_mm(unit, places) * row.per_mm
        for row in rows
        for steps, unit, places in [made.get(row.name, (0, "mm", 0))]
    ]
