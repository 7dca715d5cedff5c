"""What earlier airframes needed at a joint, and what may be cut before it is read.

The second airframe starts from the first: what each earlier one was moved, set, shimmed
and cut by, place by place. A pre-trim takes what every earlier part lost, its least. A
part from before its mold was corrected says nothing of one from after it.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from qa.models import (
    AppliedMove,
    Check,
    CorrectionEnd,
    CorrectionEnding,
    FitPlan,
    FitUp,
    Joint,
    ShimStack,
    Side,
    Station,
    TrimCut,
)
from qa.numeric.plan.reasons import recorded
from qa.numeric.plan.result import CUT, Move, Plan, Reason, StationPlan, TrimPlan
from qa.rules import plan_records, planning, requirements
from qa.rules.bites import Bite, told_bite
from qa.rules.history import Seam
from qa.rules.planning import WorkedPlan
from shop.models import Airframe, Lineage, Origin, Part
from shop.numeric.units import to_mm


@dataclass
class Earlier:
    """One earlier airframe: the part that was fitted there last, and what it needed.
    `cut_mm` by side, (n,) along the joint as it is now."""

    airframe: Airframe
    part: Part
    fit_ups: list[FitUp]
    checks: list[Check] = field(default_factory=list)
    moves: list[AppliedMove] = field(default_factory=list)
    stacks: list[ShimStack] = field(default_factory=list)
    cut_mm: dict[str, list[float]] = field(default_factory=dict)
    # It came from another state of its mold than the part at hand.
    before_correction: bool = False

    @property
    def began(self) -> datetime:
        return self.fit_ups[0].entry.received_at

    @property
    def measuring(self) -> timedelta:
        """Between start and finish of its checks, those that are finished."""
        spans = [
            check.state.finished_at - check.state.started_at
            for check in self.checks
            if check.state.finished_at
        ]
        return sum(spans, timedelta())

    @property
    def remarks(self) -> list[str]:
        notes = [one.note for one in (*self.fit_ups, *self.checks)]
        return [note for note in dict.fromkeys(notes) if note]


def earlier(joint: Joint, airframe: Airframe, part: Part | None) -> list[Earlier]:
    """The airframes of lower line numbers at which a part was fitted here, in order of
    their lines: nine statements at most. joint with its current revision."""
    rows = FitUp.objects.filter(
        joint=joint,
        airframe__type=joint.type_id,
        airframe__line_number__lt=airframe.line_number,
    ).select_related("airframe", "part", "entry")
    by_frame: dict[int, list[FitUp]] = {}
    for fit_up in rows.order_by("airframe__line_number", "number"):
        by_frame.setdefault(fit_up.airframe_id, []).append(fit_up)
    if not by_frame:
        return []
    places = []
    for own in by_frame.values():
        last = own[-1].part
        mine = [fit_up for fit_up in own if fit_up.part_id == last.pk]
        places.append(Earlier(mine[0].airframe, last, mine))
    keys = {fit_up.pk: place for place in places for fit_up in place.fit_ups}
    checks = Check.objects.filter(fit_up__in=keys, state__void=False)
    for check in checks.select_related("state").order_by("number"):
        keys[check.fit_up_id].checks.append(check)
    for move in AppliedMove.objects.filter(fit_up__in=keys).order_by("pk"):
        keys[move.fit_up_id].moves.append(move)
    for stack in ShimStack.objects.filter(fit_up__in=keys).order_by("pk"):
        keys[stack.fit_up_id].stacks.append(stack)
    _add_cuts(joint, places)
    _mark_molds(joint, places, part)
    return places


def _add_cuts(joint: Joint, places: list[Earlier]) -> None:
    parts = {place.part.pk: place for place in places}
    cuts = TrimCut.objects.filter(part__in=parts, fit_up__joint=joint, side=Side.PART)
    cuts = list(cuts.select_related("fit_up__revision", "part").order_by("pk"))
    revisions = {cut.fit_up.revision_id: cut.fit_up.revision for cut in cuts}
    revisions[joint.current_id] = joint.current
    seams = {key: Seam(revision, []) for key, revision in revisions.items()}
    for station in Station.objects.filter(revision__in=seams).order_by("order"):
        station.revision = revisions[station.revision_id]
        seams[station.revision_id].stations.append(station)
    now = seams[joint.current_id]
    for place in places:
        place.cut_mm[Side.PART] = [0.0] * len(now.stations)
    lines: dict[tuple, list] = {}
    for cut in cuts:
        key = cut.part_id, cut.entry_id, cut.fit_up.revision_id
        lines.setdefault(key, []).append((to_mm(cut.s_nm), to_mm(cut.depth_nm)))
    for (part, _, revision), spots in lines.items():
        total = parts[part].cut_mm[Side.PART]
        depths = now.depths(spots, seams[revision])
        parts[part].cut_mm[Side.PART] = [
            a + float(b) for a, b in zip(total, depths, strict=True)
        ]


def _mark_molds(joint: Joint, places: list[Earlier], part: Part | None) -> None:
    """Say of each earlier part whether its mold was corrected between it and `part`."""
    keys = {place.part.pk for place in places} | ({part.pk} if part else set())
    edges = Lineage.objects.filter(part__in=keys, kind=Origin.PULLED)
    pulls = {edge.part_id: edge.pull for edge in edges.select_related("pull")}
    own = pulls.get(part.pk) if part else None
    if own is None:
        return
    done = CorrectionEnd.objects.filter(
        correction__tool=own.tool_id,
        correction__revision__joint=joint,
        how=CorrectionEnding.DONE,
        last_pull__lt=own.number,
    )
    last = max(done.values_list("last_pull", flat=True), default=0)
    for place in places:
        theirs = pulls.get(place.part.pk)
        same = theirs is not None and theirs.tool_id == own.tool_id
        place.before_correction = bool(same and theirs.number <= last)


def least_lost(joint: Joint, stations, found: list[Earlier]) -> list[float]:
    """The least that every earlier part lost at each station, mm (n,); what may not be
    cut is 0."""
    counted = [one for one in found if one.checks and not one.before_correction]
    if not counted:
        return [0.0] * len(stations)
    depths = []
    for row, station in enumerate(stations):
        least = min(one.cut_mm[Side.PART][row] for one in counted)
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
    worked.joints = worked.joints[:1]
    stations = worked.main.state.seam.stations
    least = worked.least_cut
    depths = [
        depth if depth >= least else 0.0
        for depth in least_lost(joint, stations, before)
    ]
    if not any(depths):
        return None
    counted = [one for one in before if one.checks and not one.before_correction]
    _fill(worked, depths, [one.airframe.serial for one in counted])
    return worked, plan_records.draft_of(worked, read_to)


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
        (0, one.label): Bite(told_bite(one.trim), one.trim) for one in stations
    }
    worked.reasons = dict.fromkeys(worked.bites, [])
    worked.notes = [recorded(note, worked.name) for note in worked.plan.notes]
