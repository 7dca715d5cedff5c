"""What happened to a part or its surround apart from the fit-ups of a joint itself.

Place and fit are one history: a part taken off, put back or swapped, its surround too,
a hold, a scrapped serial, a fit-up at another joint or on another airframe, a cut of
either elsewhere. Each is a `Touch` of a joint at which the serials were fitted.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from itertools import pairwise

from django.db.models import Q
from django.utils.translation import gettext as _

from qa.models import AppliedMove, FitUp, FitUpReason, Joint, TrimCut
from qa.rules.epochs import how_held
from shop.models import Entry, Hold, PartState, PlacementAct, Suspect
from shop.models.prepared_statements import Prepared, Slots

WORDS = {
    FitUpReason.FIRST: "first fit-up",
    FitUpReason.REFIT: "taken off and refitted",
    FitUpReason.MOVE: "moved",
    FitUpReason.SHIM: "shimmed",
    FitUpReason.SET: "set at its adjusters",
    FitUpReason.TRIM: "trimmed",
    FitUpReason.SWAP: "swapped for another serial",
    FitUpReason.HELD: "held another way",
}
MOVES = (FitUpReason.MOVE, FitUpReason.SHIM, FitUpReason.SET)
# What cannot be placed in order of entries comes last: a scrapped part stays scrapped.
AT_LAST = 2**62
PART, SURROUND = "part", "surround"


@dataclass(frozen=True)
class Touch:
    """`at` is the number of its entry. `off` and `on` name the side that it took out of
    place or put back; `bar` says why no witness can speak across it; `bench`: it was
    taken off, and to nowhere else that is on record."""

    at: int
    entry: Entry | None
    why: str
    off: str = ""
    on: str = ""
    bar: str = ""
    fit_up: FitUp | None = None
    bench: bool = False

    @property
    def when(self) -> datetime | None:
        return self.entry.received_at if self.entry else None


@dataclass(frozen=True)
class _Here:
    """What one joint on one airframe was when something happened."""

    joint: Joint
    airframe_id: int
    fit_up: FitUp
    part_id: int
    surrounds: frozenset[int]

    def side(self, part_id: int) -> str:
        if part_id == self.part_id:
            return PART
        return SURROUND if part_id in self.surrounds else ""

    def is_at(self, joint_id: int, airframe_id: int) -> bool:
        return (joint_id, airframe_id) == (self.joint.pk, self.airframe_id)


@dataclass
class Touches:
    """Rows of everything that may have touched some serials, oldest first."""

    acts: list[PlacementAct] = field(default_factory=list)
    fit_ups: list[FitUp] = field(default_factory=list)
    moved: set[int] = field(default_factory=set)
    cuts: list[TrimCut] = field(default_factory=list)
    doubts: list[tuple] = field(default_factory=list)

    def of(self, joint: Joint, airframe_id: int, own: list[FitUp]) -> list[Touch]:
        """The touches of a joint whose fit-ups are `own`, oldest first; its position
        and surround are those of `joint`."""
        places = [(airframe_id, joint.position_id), (airframe_id, joint.surround_id)]
        keys = {fit_up.part_id for fit_up in own} | {
            fit_up.surround_part_id for fit_up in own
        }
        keys |= {act.part_id for _, _, act in self._index.get(places[1], [])}
        keys.discard(None)  # a surround that is not stated was touched by nothing
        rows = {
            (at, id(row)): (at, event, row)
            for key in [*keys, *places]
            for at, event, row in self._index.get(key, [])
        }
        touches = []
        for key in sorted(rows):
            at, event, row = rows[key]
            mine = next(
                (fit_up for fit_up in reversed(own) if fit_up.entry.pk < at), None
            )
            if mine:
                touch = event(self._here(joint, airframe_id, mine, at), at, row)
                touches += [touch] if touch else []
        return touches

    def at(self, joint_id: int, airframe_id: int) -> list[FitUp]:
        """The fit-ups of a joint itself, oldest first."""
        return self._own.get((joint_id, airframe_id), [])

    @cached_property
    def _own(self) -> dict:
        by_joint = defaultdict(list)
        for fit_up in self.fit_ups:
            by_joint[fit_up.joint_id, fit_up.airframe_id].append(fit_up)
        return by_joint

    @cached_property
    def _index(self) -> dict:
        """Everything that happened, by the serials and by the places it happened to."""
        events = defaultdict(list)
        for act in self.acts:
            event = act.entry.pk, self._placed, act
            events[act.part_id].append(event)
            events[act.airframe_id, act.position_id].append(event)
        parts = {}
        for fit_up in self.fit_ups:
            parts |= {
                fit_up.part_id: fit_up.part,
                fit_up.surround_part_id: fit_up.surround_part,
            }
            for key in {fit_up.part_id, fit_up.surround_part_id} - {None}:
                events[key].append((fit_up.entry.pk, self._fitted, fit_up))
        for cut in self.cuts:
            events[cut.part_id].append((cut.entry.pk, _cut, cut))
        for doubt in self.doubts:
            events[doubt[0]].append((doubt[1].pk, _doubted, doubt))
        for key, part in parts.items():
            if part and part.state == PartState.SCRAPPED:
                events[key].append((AT_LAST, _scrapped, part))
        return events

    def _here(self, joint: Joint, airframe_id: int, mine: FitUp, at: int) -> _Here:
        around = {mine.surround_part_id}
        if mine.surround_part_id is None:
            around |= {
                self.sitting(airframe_id, joint.surround_id, before)
                for before in (mine.entry.pk, at)
            }
        surrounds = frozenset(around - {None})
        return _Here(joint, airframe_id, mine, mine.part_id, surrounds)

    def sitting(self, airframe_id: int, position_id: int, before: int) -> int | None:
        """The key of the serial that sat in a position just before an entry."""
        sits = None
        for at, _told, act in self._index.get((airframe_id, position_id), []):
            if at >= before:
                break
            sits = act.part_id if act.placed else None
        return sits

    def _placed(self, here: _Here, at: int, act: PlacementAct) -> Touch | None:
        side, serial = here.side(act.part_id), act.part.serial
        at_home = act.airframe_id == here.airframe_id and act.position_id == (
            here.joint.surround_id if side == SURROUND else here.joint.position_id
        )
        entry = act.entry
        if side and at_home and act.placed:
            return Touch(at, entry, _("%s was put in place") % serial, on=side)
        if side and at_home:
            why = _("%s was taken off") % serial
            why += f" ({act.note})" if act.note else ""
            return Touch(at, entry, why, off=side, bench=True)
        if side and act.placed:
            words = {"part": serial, "where": act.position.path, "on": act.airframe}
            why = _("%(part)s was put into %(where)s of %(on)s") % words
            return Touch(at, entry, why, off=side)
        return None if side else self._taken(here, at, act)

    def _taken(self, here: _Here, at: int, act: PlacementAct) -> Touch | None:
        """Another serial is put where one of these belongs."""
        if not act.placed or act.airframe_id != here.airframe_id:
            return None
        places = {here.joint.position_id: PART, here.joint.surround_id: SURROUND}
        side = places.get(act.position_id)
        if side is None:
            return None
        if side == SURROUND and not here.surrounds:
            why = _("%s was put in place") % act.part.serial
            return Touch(at, act.entry, why)
        why = _("%s was put in its place") % act.part.serial
        if side == SURROUND:
            why = _("another surround, %s, was put in place") % act.part.serial
        return Touch(at, act.entry, why, off=side, bar=why)

    def _fitted(self, here: _Here, at: int, other: FitUp) -> Touch | None:
        """A fit-up elsewhere of the part, or of its surround."""
        if here.is_at(other.joint_id, other.airframe_id):
            return None
        side = here.side(other.part_id)
        where = {"at": other.joint.number, "n": other.number}
        entry = other.entry
        if other.airframe_id != here.airframe_id:
            side = side or here.side(other.surround_part_id or 0)
            if not side:
                return None
            whose = other.part if side == here.side(other.part_id) else None
            where |= {"part": whose or other.surround_part, "on": other.airframe}
            why = _("%(part)s was fitted on %(on)s at %(at)s (fit-up %(n)s)") % where
            return Touch(at, entry, why, off=side, fit_up=other)
        if not side:
            return None
        if side == PART and other.joint.position_id != here.joint.position_id:
            where["part"] = other.part
            why = _("%(part)s was fitted at %(at)s (fit-up %(n)s)") % where
            bar = self._bar(here, other)
            return Touch(at, entry, why, off=side, bar=bar, fit_up=other)
        rehung = side == PART and how_held(other.held) != how_held(here.fit_up.held)
        if other.reason == FitUpReason.FIRST and side == PART and not rehung:
            return None  # another joint of the part as it hangs, fitted once
        reason = other.reason
        if rehung and reason == FitUpReason.FIRST:
            reason = FitUpReason.HELD
        where["done"] = WORDS[reason]
        sentence = _("the part was %(done)s at %(at)s (fit-up %(n)s)")
        if side == SURROUND:
            sentence = _("the surround was %(done)s at %(at)s (fit-up %(n)s)")
        bar = self._bar(here, other)
        if rehung:
            bar = bar or WORDS[FitUpReason.HELD]
        return Touch(at, entry, sentence % where, bar=bar)

    def _bar(self, here: _Here, other: FitUp) -> str:
        if other.reason in MOVES or other.pk in self.moved:
            return WORDS[FitUpReason.MOVE]
        return WORDS[FitUpReason.HELD] if other.reason == FitUpReason.HELD else ""


def _cut(here: _Here, at: int, cut: TrimCut) -> Touch | None:
    """A cut of the surround at another joint, or of the part as a surround there. What
    is cut as the fitted part opens a fit-up, and is told by that."""
    fit_up = cut.fit_up
    if here.is_at(fit_up.joint_id, fit_up.airframe_id):
        return None
    side = here.side(cut.part_id)
    if not side or cut.part_id == fit_up.part_id:
        return None
    where = {"part": cut.part, "at": fit_up.joint.number, "n": fit_up.number}
    why = _("%(part)s was trimmed at %(at)s (fit-up %(n)s)") % where
    return Touch(at, cut.entry, why)


def _doubted(here: _Here, at: int, row: tuple) -> Touch | None:
    part_id, entry, why = row
    return Touch(at, entry, why) if here.side(part_id) else None


def _scrapped(here: _Here, at: int, part) -> Touch | None:
    side = here.side(part.pk)
    why = _("%s was scrapped") % part.serial
    return Touch(at, None, why, off=side, bar=why) if side else None


HERE = Q(airframe__in=Slots("airframes"))
ACTS = Prepared(
    lambda: (
        PlacementAct.objects.filter(
            Q(part__in=Slots("serials")) | HERE & Q(position__in=Slots("positions"))
        )
        .select_related("entry", "part", "airframe", "position")
        .defer("entry__body")
        .order_by("entry__pk")
    )
)


def _fit_ups():
    """Each by its own index: asked with OR all are read, as hardly one names a
    surround."""
    keys = [
        FitUp.objects.filter(condition).order_by().values("pk")
        for condition in (
            Q(part__in=Slots("serials")),
            Q(surround_part__in=Slots("serials")),
            HERE & Q(joint__in=Slots("joints")),
        )
    ]
    return (
        FitUp.objects.filter(pk__in=keys[0].union(*keys[1:]))
        .select_related("entry", "part", "surround_part", "joint", "airframe")
        .defer("entry__body")
        .order_by("entry__pk")
    )


FIT_UPS = Prepared(_fit_ups)
CUTS = Prepared(
    lambda: (
        TrimCut.objects.filter(part__in=Slots("serials"), depth_nm__gt=0)
        .select_related("entry", "part", "fit_up__joint")
        .defer("entry__body")
        .order_by("pk")
    )
)
LEFT = Prepared(
    lambda: (
        AppliedMove.objects.filter(fit_up__part__in=Slots("serials"))
        .order_by()
        .values_list("fit_up")
    )
)
HOLDS = Prepared(
    lambda: (
        Hold.objects.filter(subject_kind="part", subject_id__in=Slots("serials"))
        .select_related("entry")
        .defer("entry__body")
    )
)
SUSPECTS = Prepared(
    lambda: (
        Suspect.objects.filter(part__in=Slots("serials"))
        .select_related("hold__entry", "part")
        .defer("hold__entry__body")
    )
)


def load(fit_ups: list[FitUp], joints: list[Joint]) -> Touches:
    """Return what touched the serials of some fit-ups, of one airframe or several, in
    six statements."""
    if not fit_ups:
        return Touches()
    serials = {fit_up.part_id for fit_up in fit_ups}
    serials |= {fit_up.surround_part_id for fit_up in fit_ups} - {None}
    airframes = {fit_up.airframe_id for fit_up in fit_ups}
    around = {joint.surround_id for joint in joints}
    positions = around | {joint.position_id for joint in joints}
    here = {"airframes": airframes, "positions": positions}
    touches = Touches(ACTS.rows(serials=serials, **here))
    serials |= {act.part_id for act in touches.acts if act.position_id in around}
    here = {"airframes": airframes, "joints": {joint.pk for joint in joints}}
    touches.fit_ups = FIT_UPS.rows(serials=serials, **here)
    touches.moved = _moved(touches.fit_ups, serials)
    cuts = CUTS.rows(serials=serials)
    # One cut has a row a station: one of them tells of it.
    touches.cuts = list({(c.entry_id, c.part_id): c for c in cuts}.values())
    touches.doubts = _doubts(serials)
    return touches


def _moved(fit_ups: list[FitUp], serials: set[int]) -> set[int]:
    """Keys of the fit-ups that a recorded move or shim led to."""
    left = {key for (key,) in LEFT.rows(serials=serials)}
    by_joint: dict = {}
    for fit_up in fit_ups:
        by_joint.setdefault((fit_up.airframe_id, fit_up.joint_id), []).append(fit_up)
    return {
        after.pk
        for rows in by_joint.values()
        for before, after in pairwise(rows)
        if before.pk in left
    }


def _doubts(serials: set[int]) -> list[tuple]:
    """(part, entry, words) of every hold that touched one of the serials."""
    doubts = {
        (hold.subject_id, hold.pk): (
            hold.subject_id,
            hold.entry,
            _("%(part)s was put on hold: %(why)s")
            % {"part": hold.label.removeprefix("part "), "why": hold.reason},
        )
        for hold in HOLDS.rows(serials=serials)
    }
    for suspect in SUSPECTS.rows(serials=serials):
        values = {
            "part": suspect.part,
            "hold": suspect.hold.label,
            "why": suspect.hold.reason,
        }
        why = _("%(part)s became suspect: %(hold)s, %(why)s") % values
        doubts.setdefault(
            (suspect.part_id, suspect.hold_id),
            (suspect.part_id, suspect.hold.entry, why),
        )
    return list(doubts.values())
