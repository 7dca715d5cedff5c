"""A free move piece by piece, as it is asked for and as it was made: in mm, a turn in
the plane by how far it goes at the station that goes furthest, what goes out of the
plane by the places that are raised and lowered, as the plan says it."""

import math
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from qa.numeric.plan.motions import OUT_OF_PLANE, Motion
from qa.queries.plans import move_texts
from qa.queries.plans.raising import Raising, raising_of
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
    """One way to move, or one place that is raised and lowered: mm that are asked,
    amounts of all motions (k,), mm or radians, that 1 mm of it makes, what + and − are
    called, and the station where a turn is told, "" of a straight motion. `half` of the
    interval of what is asked, mm, None where nothing is known of it."""

    name: str
    words: str
    amount: float
    raws: tuple[float, ...]
    plus: str
    minus: str
    at: str = ""
    half: float | None = None
    raised: bool = False
    in_plane: bool = False

    @property
    def key_words(self) -> tuple[str, str]:
        """What stands on keys for + and −, where there is room for one short word."""
        return ("↺", "↻") if self.in_plane else (self.plus, self.minus)

    @property
    def title(self) -> str:
        at = _(", at station %(at)s") % {"at": self.at} if self.at else ""
        words = _("%(motion)s, %(plus)s or %(minus)s") % {
            "motion": self.words,
            "plus": self.plus,
            "minus": self.minus,
        }
        return words + at

    def label(self, unit: str) -> str:
        """Of a field for it: what is typed with a plus."""
        words = f"{self.words}, "
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

    def typed(self, unit: str) -> str:
        """What is asked, as it would be typed: in the digits that are known."""
        places = self.places(unit)
        return f"{self.steps(unit, places) / 10**places:.{places}f}"

    def done_words(self, count: int, unit: str, places: int) -> str:
        """So many steps, as done: as a plan says them."""
        if not count:
            return _("left as it is") if self.raised else _("not moved so")
        way = self.plus if count > 0 else self.minus
        amount = f"{abs(count) / 10**places:.{places}f} {unit}"
        values = {"way": way, "amount": amount, "place": self.words, "at": self.at}
        if self.raised:
            return _("%(way)s %(amount)s at %(place)s") % values
        if self.at:
            return _("%(amount)s %(way)s at station %(at)s") % values
        return _("%(amount)s %(way)s") % values


def step_mm(unit: str, places: int) -> float:
    return (1.0 if unit == "mm" else MM_PER_IN) / 10**places


def motion_rows(worked: WorkedPlan, raw) -> list[MotionRow]:
    """Of a plan's motions, for amounts (k,) in mm and radians: each in the plane; the
    places that are told out of it, or each motion where no places do."""
    move, seam = worked.plan.move, worked.main.state.seam
    raising = raising_of(move, seam) if worked.options.motions is None else None
    by_place = OUT_OF_PLANE if raising else ()
    rows = [row for row in _each_motion(worked, raw) if row.name not in by_place]
    return rows + (_places(worked, raising, raw) if raising else [])


def _each_motion(worked: WorkedPlan, raw) -> list[MotionRow]:
    seam, known = worked.main.state.seam, move_texts.intervals_of(worked)
    halves = {interval.name: interval.half for interval in known.moves} if known else {}
    rows, motions = [], worked.plan.move.motions
    for k, (motion, amount) in enumerate(zip(motions, raw, strict=True)):
        at, arm, (plus, minus) = _told(motion, seam)
        half = halves.get(motion.name)
        if half is not None and motion.turns:
            half = arm * math.radians(half)
        rows.append(
            MotionRow(
                motion.name,
                held(motion.code),
                amount * arm,
                tuple(1 / arm if k == own else 0.0 for own in range(len(motions))),
                plus,
                minus,
                at,
                half,
                in_plane=motion.free and motion.name == "turn",
            )
        )
    return rows


def _places(worked: WorkedPlan, raising: Raising, raw) -> list[MotionRow]:
    known, move = move_texts.intervals_of(worked), worked.plan.move
    rises = raising.rates @ np.array(raw)
    return [
        MotionRow(
            f"at {name}",
            name,
            float(rise),
            tuple(map(float, raws)),
            _("raise"),
            _("lower"),
            half=known and known.along(move, place, (0.0, 0.0, 1.0), None),
            raised=True,
        )
        for (name, place), rise, raws in zip(
            raising.places, rises, raising.raws.T, strict=True
        )
    ]


def raw_with(rows: list[MotionRow], amounts) -> list[float]:
    """Amounts of a plan's motions, mm and radians, that so many mm of each row make."""
    raws = np.array([row.raws for row in rows])
    return (np.array(amounts, dtype=float) @ raws).tolist()


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


def rows_by_name(worked: WorkedPlan) -> dict[str, MotionRow]:
    """Every row that what was done may name: of each motion too, as some are told by
    places only since their tablets said so."""
    raw = worked.plan.move.raw
    rows = _each_motion(worked, raw) + motion_rows(worked, raw)
    return {row.name: row for row in rows}


def raw_of(worked: WorkedPlan, made: dict[str, tuple[int, str, int]]) -> list[float]:
    """Amounts of the plan's motions, mm and radians, of what was done by name: steps, a
    unit and its decimals; 0 of what is not named."""
    rows = rows_by_name(worked)
    return raw_with(
        [rows[name] for name in made],
        [steps * step_mm(unit, places) for steps, unit, places in made.values()],
    )
