"""What a tablet shows after Finish, and walks a fitter through without a network: the
plan that was taken or what could be done, settings and cuts step by step, and what is
to be measured again and should then be read. Words are made here, in one unit."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _

from qa.models import Check, FitPlan, Kind, Side
from qa.queries.plans import move_rows, plan_pages, plan_texts
from qa.queries.plans.move_rows import MotionRow
from qa.queries.plans.way_pages import WayView, ways_of
from qa.queries.tablet.hints import value_of
from qa.rules import (
    bites,
    cut_allowance,
    next_moves,
    overtaking,
    plan_records,
    planning,
    rigs,
    staleness,
)
from qa.rules.adjusters import Present
from qa.rules.moved import changes_at
from qa.rules.planning import PlannedJoint, WorkedPlan
from qa.wording.settings import change_words, now_words
from shop.numeric.units import parse_typed

KEY_WORD = 7  # letters that go on a key: "forward"
MOST_STEPS = 60  # either way from what is asked: further hands go to the desk page
DEEPER = 50  # in the last digit that a cut is told in
# What a copy of a check on a tablet is to begin with, when the check after it begins.
NEW_CHECK = {
    "label": "new, not sent yet",
    "state": "open",
    "readings": [],
    "photos": [],
    "since": "",
    "plan": None,
    "proposal": None,
    "nonconformances": None,
}


@dataclass(frozen=True)
class Row:
    """One thing to set or to cut. `item` is what an act says of it, in steps, with what
    was done; `words` say every step from `low` on; `keys` are [(word, steps)]."""

    item: dict
    title: str
    now: str
    low: int
    words: list[str]
    keys: list[tuple[str, int]]

    @property
    def long_keys(self) -> bool:
        """Whether a word of the shop is too long for keys in their usual letters."""
        words = [word for text, _steps in self.keys for word in text.split()]
        return max(map(len, words)) > KEY_WORD


@dataclass(frozen=True)
class NextWork:
    """What comes after a finished check. `check` is the one asked of: a plan of several
    joints may have been taken from that of another. Where it is not `live` the
    part changed since, or the plan was overtaken; `again` is of every joint planned,
    `read_to` the last entry on record when it was worked out. `overtaken`: the plan
    that was, and why, also where this is what could be done in its place."""

    check: Check
    worked: WorkedPlan
    unit: str
    state: str = ""
    outcome: str = ""
    steps: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    ways: list[WayView] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    again: list[dict] = field(default_factory=list)
    read_to: int = 0
    overtaken: str = ""

    @property
    def plan(self) -> FitPlan | None:
        return self.worked.record

    @property
    def live(self) -> bool:
        return self.worked.live

    @property
    def waits(self) -> str:
        """Serials whose cut the engineer has not released yet."""
        to_release = self.worked.to_release() if self.plan else []
        return ", ".join(part.serial for part, _check, done in to_release if not done)

    @property
    def before(self) -> str:
        """What comes before it, of a part that was planned with others."""
        return plan_texts.before(self.worked)

    @property
    def then(self) -> str:
        """What comes before measuring, of a part that was planned with others."""
        return plan_texts.then(self.worked) if self.plan else ""

    @property
    def asked(self) -> bool:
        """Whether the plan on record asks for anything that can be gone through."""
        return bool(self.plan) and any(row.item["asked"] for row in self.rows)

    @property
    def goes(self) -> list[str]:
        """Ways that can be gone through without a plan on record: any way of what holds
        the part, of a part that goes freely the one that was worked out."""
        if self.plan or not self.rows:
            return []
        ways = [way.kind for way in self.worked.ways]
        return ways if self.worked.present else [self.worked.way]

    @property
    def cuts(self) -> bool:
        return any("side" in row.item for row in self.rows)

    def as_json(self) -> dict:
        """All but the words that a page is made of, as JSON."""
        ways = {way.kind: dict(way.settings) for way in self.worked.ways}
        if not self.worked.present and self.worked.way:
            named = [row.item for row in self.rows if "name" in row.item]
            ways[self.worked.way] = {item["name"]: item["asked"] for item in named}
        return {
            "check": str(self.check.entry_id),
            "plan": self.plan and str(self.plan.entry_id),
            "form": "cut/1"
            if self.cuts
            else "set/1"
            if self.worked.present
            else "move/3",
            "items": [row.item for row in self.rows],
            "words": [{"low": row.low, "words": row.words} for row in self.rows],
            "ways": ways,
            "read_to": self.read_to,
            "again": self.again,
        }


def next_work(check: Check, unit: str) -> NextWork:
    """Return what comes after a check (loaded with planning.RELATED); where a plan
    stands nothing is planned anew, and nothing where the part changed since."""
    read_to = plan_records.last_entry()
    worked, overtaken = _worked(check)
    if worked.plan is None or not worked.live:
        return NextWork(
            check,
            worked,
            unit,
            outcome=worked.problem,
            read_to=read_to,
            overtaken=overtaken,
        )
    share = next_moves.free_share(worked)
    state, outcome = plan_texts.outcome(worked)
    asked = worked.asked_settings if share >= 1 else {}
    rows = [
        _adjuster(adjuster, asked.get(adjuster.name, 0), unit)
        for adjuster in worked.present
    ]
    motions = []
    if worked.plan.settings is None:
        motions = move_rows.asked_rows(worked, unit)
    rows += [_motion(motion, unit) for motion in motions] + _cuts(worked, unit)
    effects = _effects(worked.present, worked.joints)
    effects += _effects_of_motions(worked, motions, unit)
    return NextWork(
        check,
        worked,
        unit,
        state,
        outcome,
        plan_texts.steps(worked, unit),
        plan_texts.impossible(worked, unit) + plan_texts.warnings(worked, unit),
        ways_of(worked, unit),
        rows,
        _again(worked, rows, effects),
        read_to,
        overtaken,
    )


def _worked(check: Check) -> tuple[WorkedPlan, str]:
    """(the plan that stands or what could be done, which plan was overtaken and why).

    An overtaken plan gives way to what could be done where what was read still stands;
    not one of several parts, which are planned together again at the desk.
    """
    record = plan_records.newest_of(check)
    kept = record and plan_records.standing(record)
    worked = plan_records.worked_of(record) if kept else planning.gathered(check)
    if worked.changes:
        why = overtaking.in_words(worked.changes)
        overtaken = _("%(plan)s is overtaken: %(why)s.") % {"plan": record, "why": why}
        anew = planning.gathered(check)
        if not worked.sisters and anew.live:
            planning.solved(anew)
        return (anew if anew.plan else worked), overtaken
    if not kept and worked.live:
        planning.solved(worked)
    return worked, ""


def _adjuster(adjuster: Present, asked_nm: int, unit: str) -> Row:
    """One adjuster with the words of every step that hands may take from here."""
    step = adjuster.step_nm
    asked = asked_nm // step
    low = max(-((adjuster.now_nm - adjuster.min_nm) // step), asked - MOST_STEPS)
    high = min((adjuster.max_nm - adjuster.now_nm) // step, asked + MOST_STEPS)
    return Row(
        item={"name": adjuster.name, "was_nm": adjuster.now_nm, "asked": asked},
        title=f"{adjuster.point}, {adjuster.plus} or {adjuster.minus}",
        now=now_words(adjuster, adjuster.now_nm, unit),
        low=low,
        words=[change_words(adjuster, n * step, unit) for n in range(low, high + 1)],
        keys=[(adjuster.minus, -1), (adjuster.plus, 1)],
    )


def _motion(row: MotionRow, unit: str) -> Row:
    """One way to move with the words of every step that hands may take from here."""
    places = row.places(unit)
    asked, coarse = row.steps(unit, places), move_rows.COARSE
    low, high = min(0, asked) - move_rows.MORE, max(0, asked) + move_rows.MORE
    plus, minus = row.key_words
    signs = (minus, -coarse), (minus, -1), (plus, 1), (plus, coarse)
    return Row(
        item={"name": row.name, "unit": unit, "places": places, "asked": asked},
        title=row.title,
        now="",
        low=low,
        words=[row.done_words(count, unit, places) for count in range(low, high + 1)],
        keys=[(f"{abs(n) / 10**places:.{places}f} {way}", n) for way, n in signs],
    )


def _cuts(worked: WorkedPlan, unit: str) -> list[Row]:
    """What a plan on record still takes off, station by station."""
    if not worked.record:
        return []
    left = cut_allowance.remaining_nm(worked.record)
    return [
        _cut(worked, joint, station, nm // _digit_nm(unit), unit)
        for joint, _row, station in worked.stations()
        if station.side in Side.values
        and (nm := left.get((joint.check.pk, station.side, station.label), 0))
    ]


def _cut(worked, joint: PlannedJoint, station, asked: int, unit: str) -> Row:
    fit_up = joint.check.fit_up
    part = fit_up.part if station.side == Side.PART else fit_up.surround_part
    several = len(worked.joints) > 1
    name = f"{joint.state.joint.number}:{station.label}" if several else station.label
    coarse = 10 if unit == "mm" else 5
    return Row(
        item={
            "check": str(joint.check.entry_id),
            "station": station.label,
            "side": station.side,
            "unit": unit,
            "asked": asked,
        },
        title=f"station {name}, off {part or station.side}",
        now="",
        low=0,
        words=[
            f"{bites.depth_text(count, unit)} {unit}"
            for count in range(asked + DEEPER + 1)
        ],
        keys=[
            (f"{'−' if count < 0 else '+'}{bites.depth_text(abs(count), unit)}", count)
            for count in (-coarse, -1, 1, coarse)
        ],
    )


def _digit_nm(unit: str) -> int:
    """The last digit that a cut is told in, nm."""
    return parse_typed(bites.depth_text(1, unit), unit)


def _again(worked: WorkedPlan, rows: list[Row], effects: list[dict]) -> list[dict]:
    """Of every joint that is planned together: its check, what to measure first when
    it is only cut, and what one step of each row changes at each of its fields, nm."""
    places = []
    for number, joint in enumerate(worked.joints):
        cut = {
            station.label
            for _joint, _row, station in worked.stations()
            if station.joint == number and worked.bite(station).bite > 0
        }
        later = staleness.after_cut(joint.state, cut) if cut else None
        places.append(
            {
                "check": str(joint.check.entry_id),
                "label": f"{joint.state.joint.number} {joint.state.joint.name}",
                "first": later.to_measure if later else [],
                "fields": _fields(joint, later, effects, rows),
                "copy": NEW_CHECK,
            }
        )
    return places


def _fields(joint: PlannedJoint, later, effects, rows: list[Row]) -> list[dict]:
    """What stands beside each field of the next check: the value before, whether it is
    a witness where nothing is set or moved, by row what a step changes here."""
    witnesses, fit_up = later.proposed if later else (), joint.state.fit_up.pk
    fields = []
    for label in joint.state.seam.rows:
        for side, kind in enumerate(Kind.values):
            value = joint.values.get((label, kind))
            if value is None:
                continue
            by = {
                number: changes[fit_up][label][side]
                for number, changes in enumerate(effects)
            }
            if kind == Kind.GAP:
                by |= _cut_here(joint, label, rows)
            fields.append(
                {
                    "station": label,
                    "kind": kind,
                    "before": value_of(value),
                    "witness": label in witnesses,
                    "by": {row: nm for row, nm in by.items() if nm},
                }
            )
    return fields


def _cut_here(joint: PlannedJoint, label: str, rows: list[Row]) -> dict[int, int]:
    check = str(joint.check.entry_id)
    return {
        number: _digit_nm(row.item["unit"])
        for number, row in enumerate(rows)
        if (row.item.get("check"), row.item.get("station")) == (check, label)
    }


def _effects(present: Sequence[Present], joints: list[PlannedJoint]) -> list[dict]:
    """Of one step of each adjuster: {fit-up key: {station: [gap, flushness]}}, nm."""
    effects = []
    for row, adjuster in enumerate(present):
        steps = [0] * len(present)
        steps[row] = adjuster.step_nm
        effects.append(rigs.made(present, steps, joints).changes)
    return effects


def _effects_of_motions(worked: WorkedPlan, rows: list[MotionRow], unit: str) -> list:
    """The same of one step of each motion, as far as it is asked: turns bend."""
    effects = []
    for row in rows:
        places = row.places(unit)
        steps = row.steps(unit, places) or 1
        amount = steps * move_rows.step_mm(unit, places)
        move = plan_pages.made_move(worked, move_rows.raw_with([row], [amount]))
        effects.append(
            {
                joint.state.fit_up.pk: {
                    label: [round(nm / steps) for nm in pair]
                    for label, pair in changes_at(joint, move.displacement).items()
                }
                for joint in worked.joints
            }
        )
    return effects
