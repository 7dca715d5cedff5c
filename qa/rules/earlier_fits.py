"""What earlier airframes needed at a joint, and what may be cut before it is read.

The second airframe starts from the first: what each earlier one was moved, set, shimmed
and cut by, place by place. A pre-trim takes what every earlier part lost, its least. A
part from before its mold was corrected says nothing of one from after it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

from django.db.models import F

from qa.models import (
    AppliedMove,
    Check,
    CorrectionEnd,
    CorrectionEnding,
    FitPlan,
    FitUp,
    FitUpReason,
    Joint,
    ShimStack,
    Side,
    Station,
    TrimCut,
)
from qa.numeric.plan.reasons import recorded
from qa.numeric.plan.result import CUT, Move, Plan, Reason, StationPlan, TrimPlan
from qa.rules import plan_records, planning, requirements
from qa.rules.bites import Bite, rounded_bite
from qa.rules.history import Seam
from qa.rules.planning import WorkedPlan
from shop.models import Airframe, Lineage, Origin, Part, Pull
from shop.numeric.units import to_mm

CUT_COLUMNS = (
    *("fit_up", "fit_up__joint", "fit_up__airframe", "fit_up__revision"),
    *("part", "side", "entry", "s_nm", "depth_nm"),
)
WORKED = (FitUpReason.SET, FitUpReason.MOVE, FitUpReason.SHIM, FitUpReason.TRIM)


class EarlierFitUp(NamedTuple):
    """What is asked of a fit-up by all that come later, and no more: thousands are
    read at once."""

    pk: int
    joint: int
    airframe: int
    part: int
    surround_part: int | None
    reason: str
    note: str
    received_at: datetime


class EarlierCheck(NamedTuple):
    fit_up: int
    note: str
    started_at: datetime
    finished_at: datetime | None


@dataclass
class Earlier:
    """One earlier airframe: the part that was fitted there last, and what it needed.
    `cut_mm` by side, (n,) along the joint as it is now."""

    airframe: Airframe
    part: Part
    fit_ups: list[EarlierFitUp]
    checks: list[EarlierCheck] = field(default_factory=list)
    moves: list[AppliedMove] = field(default_factory=list)
    stacks: list[ShimStack] = field(default_factory=list)
    cut_mm: dict[str, list[float]] = field(default_factory=dict)
    # It came from another state of its mold than the part at hand.
    before_correction: bool = False

    @property
    def began(self) -> datetime:
        return self.fit_ups[0].received_at

    @property
    def measuring(self) -> timedelta:
        """Between start and finish of its checks, those that are finished."""
        spans = [
            check.finished_at - check.started_at
            for check in self.checks
            if check.finished_at
        ]
        return sum(spans, timedelta())

    @property
    def lasted(self) -> timedelta:
        """From its first fit-up to the end of its last finished check."""
        ends = [check.finished_at for check in self.checks if check.finished_at]
        return max(ends, default=self.began) - self.began

    @property
    def rounds(self) -> list[timedelta]:
        """How long each round of setting, shimming or cutting took, pauses and all:
        from the end of the checks of a fit-up to the record of what was done, which
        opened the next. Nobody records hours of work at a fit."""
        ended: dict[int, datetime] = {}
        for check in self.checks:
            if end := check.finished_at:
                at = check.fit_up
                ended[at] = max(end, ended.get(at, end))
        return [
            after.received_at - ended[before.pk]
            for before, after in pairwise(self.fit_ups)
            if after.reason in WORKED
            and before.pk in ended
            and after.received_at > ended[before.pk]
        ]

    @property
    def remarks(self) -> list[str]:
        notes = [record.note for record in (*self.fit_ups, *self.checks)]
        return [note for note in dict.fromkeys(notes) if note]


@dataclass
class Fitted:
    """What was fitted at some joints: by joint in order of lines, how many fit-ups each
    airframe had there, and what tells states of a mold apart."""

    by_joint: dict[int, list[Earlier]] = field(default_factory=dict)
    counts: dict[tuple[int, int], int] = field(default_factory=dict)
    seams: dict[int, Seam] = field(default_factory=dict)
    pulls: dict[int, Pull] = field(default_factory=dict)
    # Last pulls before a correction of a tool (by tool and joint) was done.
    corrected: dict[tuple[int, int], list[int]] = field(default_factory=dict)

    def before(
        self, joint: Joint, airframe: Airframe, part: int | None
    ) -> list[Earlier]:
        """Those of lower line numbers, marked by the state of the mold of a part."""
        lower = [
            fit
            for fit in self.by_joint.get(joint.pk, ())
            if fit.airframe.line_number < airframe.line_number
        ]
        own = self.pulls.get(part)
        if own is None:
            return lower
        dates = self.corrected.get((own.tool_id, joint.pk), ())
        last = max((pull for pull in dates if pull < own.number), default=0)
        return [
            replace(fit, before_correction=self._is_of(fit, own, last)) for fit in lower
        ]

    def _is_of(self, fit: Earlier, own: Pull, last: int) -> bool:
        theirs = self.pulls.get(fit.part.pk)
        same = theirs is not None and theirs.tool_id == own.tool_id
        return bool(same and theirs.number <= last)


def fitted(
    joints: Iterable[Joint],
    parts: Iterable[int] = (),
    stations: dict[int, list[Station]] | None = None,
) -> Fitted:
    """Ten statements at most, whatever the number of joints. parts: keys of parts at
    hand; joints with their current revision; stations of these by its key, in order,
    where they are loaded."""
    joints = {joint.pk: joint for joint in joints}
    fits = Fitted()
    frames: dict[tuple[int, int], list[EarlierFitUp]] = {}
    for row in _fit_ups(joints):
        frames.setdefault((row.joint, row.airframe), []).append(row)
    airframes = Airframe.objects.in_bulk({airframe for _joint, airframe in frames})
    serials = Part.objects.in_bulk({own[-1].part for own in frames.values()})
    keys = {}
    for (joint, airframe), own in frames.items():
        last = own[-1].part
        mine = [fit for fit in own if fit.part == last]
        place = Earlier(airframes[airframe], serials[last], mine)
        fits.by_joint.setdefault(joint, []).append(place)
        fits.counts[joint, airframe] = len(own)
        keys |= {fit_up.pk: place for fit_up in mine}
    checks = Check.objects.filter(fit_up__in=keys, state__void=False)
    columns = ("fit_up", "note", "state__started_at", "state__finished_at")
    for row in checks.order_by("number").values_list(*columns):
        keys[row[0]].checks.append(EarlierCheck(*row))
    for move in AppliedMove.objects.filter(fit_up__in=keys).order_by("pk"):
        keys[move.fit_up_id].moves.append(move)
    for stack in ShimStack.objects.filter(fit_up__in=keys).order_by("pk"):
        keys[stack.fit_up_id].stacks.append(stack)
    _add_cuts(joints, fits, stations or {})
    _add_molds(fits, {place.part.pk for place in keys.values()} | set(parts))
    return fits


def _fit_ups(joints: Iterable[int]) -> Iterator[EarlierFitUp]:
    rows = FitUp.objects.filter(joint__in=joints, airframe__type=F("joint__type"))
    columns = ("joint", "airframe", "part", "surround_part", "reason", "note")
    rows = rows.order_by("joint", "airframe__line_number", "number")
    for row in rows.values_list("pk", *columns, "entry__received_at"):
        yield EarlierFitUp(*row)


def earlier(joint: Joint, airframe: Airframe, part: Part | None) -> list[Earlier]:
    """The airframes of lower line numbers at which a part was fitted here, in order of
    their lines: ten statements at most. joint with its current revision."""
    key = part and part.pk
    return fitted([joint], {key} - {None}).before(joint, airframe, key)


def _add_cuts(joints: dict[int, Joint], fitted: Fitted, stations: dict) -> None:
    every = [(joint, fit) for joint, own in fitted.by_joint.items() for fit in own]
    # One part may have been fitted here on several airframes.
    cut = {serial for _joint, fit in every for serial in _cut_of(fit)}
    cuts = TrimCut.objects.filter(part__in=cut, fit_up__joint__in=joints)
    cuts = list(cuts.order_by("pk").values_list(*CUT_COLUMNS, named=True))
    revisions = {joint.current_id: joint.current for joint in joints.values()}
    for joint in joints.values():
        joint.current.joint = joint
    _add_seams(fitted, revisions, {cut.fit_up__revision for cut in cuts}, stations)
    owners: dict[tuple[int, int, str], list[Earlier]] = {}
    for joint, fit in every:
        now = fitted.seams[joints[joint].current_id]
        fit.cut_mm = {side: [0.0] * len(now.stations) for side in Side.values}
        for serial, side in _cut_of(fit).items():
            owners.setdefault((joint, serial, side), []).append(fit)
    lines: dict[tuple, list] = {}
    for cut in cuts:
        of = (cut.fit_up, cut.fit_up__joint, cut.fit_up__airframe, cut.fit_up__revision)
        key = of, cut.part, cut.side, cut.entry
        lines.setdefault(key, []).append((to_mm(cut.s_nm), to_mm(cut.depth_nm)))
    for ((fit_up, joint, airframe, of), serial, side, _entry), spots in lines.items():
        now = fitted.seams[joints[joint].current_id]
        depths = now.depths(spots, fitted.seams[of])
        for fit in owners.get((joint, serial, side), ()):
            # What it loses on another airframe later is not needed here.
            came_with = fit_up < fit.fit_ups[0].pk
            if came_with or airframe == fit.airframe.pk:
                total = fit.cut_mm[side]
                fit.cut_mm[side] = [
                    a + float(b) for a, b in zip(total, depths, strict=True)
                ]


def _add_seams(fitted: Fitted, revisions: dict, cut: set[int], stations: dict) -> None:
    """The seams of the current revisions, and of those along which was cut."""
    for key, own in stations.items():
        for station in own if key in revisions else ():
            station.revision = revisions[key]
    seams = {
        key: Seam(revision, stations.get(key, []))
        for key, revision in revisions.items()
    }
    wanted = (cut | set(revisions)) - set(stations)
    rows = Station.objects.filter(revision__in=wanted).select_related("revision")
    for station in rows.order_by("order"):
        key = station.revision_id
        station.revision = revisions.setdefault(key, station.revision)
        seam = seams.setdefault(key, Seam(station.revision, []))
        seam.stations.append(station)
    fitted.seams = seams


def _cut_of(fit: Earlier) -> dict[int, str]:
    """The serials whose edges meet there, with their sides: its part, and what was its
    surround last."""
    around = [fit_up.surround_part for fit_up in fit.fit_ups]
    named = [serial for serial in around if serial][-1:]
    return {fit.part.pk: Side.PART} | dict.fromkeys(named, Side.SURROUND)


def _add_molds(fitted: Fitted, parts: set[int]) -> None:
    edges = Lineage.objects.filter(part__in=parts, kind=Origin.PULLED)
    fitted.pulls = {edge.part_id: edge.pull for edge in edges.select_related("pull")}
    done = CorrectionEnd.objects.filter(
        correction__tool__in={pull.tool_id for pull in fitted.pulls.values()},
        correction__revision__joint__in=fitted.by_joint,
        how=CorrectionEnding.DONE,
    )
    columns = ("correction__tool", "correction__revision__joint", "last_pull")
    for tool, joint, last in done.values_list(*columns):
        fitted.corrected.setdefault((tool, joint), []).append(last)


def least_lost(joint: Joint, stations, fits: list[Earlier]) -> list[float]:
    """The least that every earlier part lost at each station, mm (n,); what may not be
    cut is 0."""
    counted = [fit for fit in fits if fit.checks and not fit.before_correction]
    if not counted:
        return [0.0] * len(stations)
    depths = []
    for row, station in enumerate(stations):
        least = min(fit.cut_mm[Side.PART][row] for fit in counted)
        side = requirements.side_to_cut(station, None)
        most = requirements.left_to_cut_mm(station, Side.PART, {}, row)
        if side != Side.PART:
            least = 0.0
        depths.append(least if most is None else min(least, most))
    return depths


def pre_trim(check: Check) -> tuple[WorkedPlan, FitPlan] | None:
    """A plan that cuts what every earlier part lost, before anything is read; None
    where there is none to take. check: loaded with planning.RELATED."""
    fit_up = check.fit_up
    if fit_up.joint.current_id != fit_up.revision_id:
        return None
    read_to = plan_records.last_entry()
    joint = fit_up.joint
    joint.current = fit_up.revision
    before = earlier(joint, fit_up.airframe, fit_up.part)
    if not before:
        return None
    worked = planning.gathered(check)
    if not may_pre_trim(worked):
        return None
    worked.joints, worked.zeros = worked.joints[:1], []
    stations = worked.main.state.seam.stations
    least = worked.least_cut
    depths = [
        depth if depth >= least else 0.0
        for depth in least_lost(joint, stations, before)
    ]
    if not any(depths):
        return None
    counted = [fit for fit in before if fit.checks and not fit.before_correction]
    _fill(worked, depths, [fit.airframe.serial for fit in counted])
    return worked, plan_records.draft_of(worked, read_to)


def is_pre_trim(plan: FitPlan) -> bool:
    """Whether a plan on record was taken before anything was read."""
    notes = plan.content["outcome"]["notes"]
    return any(code == "pre_trim" for code, _values in notes)


def may_pre_trim(worked: WorkedPlan) -> bool:
    """Whether nothing was read or cut of this part here yet."""
    main = worked.main
    lost = any(float(depth) > 0 for depth in main.lost.get(Side.PART, ()))
    return worked.live and not main.values and not lost


def _fill(worked: WorkedPlan, depths: list[float], names: list[str]) -> None:
    """Write the plan: cuts as told, and nothing is known of what they come to."""
    main = worked.main
    motions = requirements.motions_of(worked.check.fit_up)
    worked.options = requirements.plan_options(worked.defaults, worked.check, motions)
    limited = main.check.wanted
    none = (None,) * 8
    stations = tuple(
        StationPlan(
            0,
            station.label,
            *none,
            closes_by=0.0,
            side=requirements.side_to_cut(station, None),
            most_trim=depth,
            trim=depth,
            build_up=0.0,
            unresolved=0.0,
            next_bite=depth,
        )
        for station, depth in zip(main.state.seam.stations, depths, strict=True)
    )
    move = Move()
    worked.plan = Plan(
        outcome=CUT,
        move=move,
        seat=None,
        level=None,
        trim=TrimPlan(move, needed=True, possible=True),
        held=(),
        probability=None,
        stations=stations,
        notes=(Reason("pre_trim", {"names": tuple(names)}),),
        settled=True,
        limited=limited,
        measured=0,
    )
    worked.bites = {
        (0, station.label): Bite(rounded_bite(station.trim), station.trim)
        for station in stations
    }
    worked.reasons = dict.fromkeys(worked.bites, [])
    worked.notes = [recorded(note, worked.name) for note in worked.plan.notes]
