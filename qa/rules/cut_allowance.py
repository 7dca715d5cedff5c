"""How deep an edge may be cut by a plan, and where a cut goes beyond it.

By position along the edge of one serial, one joint and one side; never by the names of
stations, so that neither another check, another fit-up nor another revision of the
joint lets more come off than was planned or released.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.models import (
    CutRelease,
    FitPlan,
    FitUp,
    JointRevision,
    PlannedCut,
    StandingPlan,
    TrimCut,
)
from qa.numeric.geometry import cut_line, outline
from shop.models import Part, StructuralClass
from shop.numeric.units import NM_PER_MM, to_mm

Line = list[tuple[float, float]]  # (position, depth) in nm


@dataclass(frozen=True)
class Beyond:
    """One place where all that is taken off by a plan is deeper than it allows, nm."""

    part: Part
    side: str
    fit_up: FitUp
    s_nm: int
    cut_nm: int
    allowed_nm: int


def needs_release(part: Part) -> bool:
    return part.design.structural_class == StructuralClass.PRIMARY


def is_released(plan: FitPlan | None, part: Part, overtaken: bool) -> bool:
    """Whether a release of this serial is in force: its plan stands and nothing that it
    was made from changed, and it was not withdrawn."""
    if plan is None or overtaken:
        return False
    if not StandingPlan.objects.filter(plan=plan).exists():
        return False
    return CutRelease.objects.filter(
        plan=plan, part=part, withdrawal__isnull=True
    ).exists()


def beyond(
    plan: FitPlan | None, cuts: Sequence[TrimCut], overtaken: bool
) -> list[Beyond]:
    """Where these cuts, not recorded yet, with those recorded since the plan was made,
    go deeper than it allows. Nothing is allowed of primary structure that is not
    released, and nothing without a plan or by one that is overtaken."""
    groups = defaultdict(list)
    for cut in cuts:
        groups[cut.part_id, cut.side, cut.fit_up.joint_id].append(cut)
    deeper = []
    for (_part, side, joint), rows in groups.items():
        part, fit_up = rows[0].part, rows[0].fit_up
        allowed = []
        free = not overtaken and not needs_release(part)
        if free or is_released(plan, part, overtaken):
            allowed = planned_line(plan, part, side, joint)
        before = cuts_since(plan, part, side, joint)
        seam = _seam(fit_up.revision)
        lines = _lines([*before, *rows], fit_up.revision, seam)
        here = _lines(allowed, fit_up.revision, seam)
        for at, cut, may in cut_line.lines_beyond(
            lines, here[0] if here else [], seam[2], fit_up.revision.closed
        ):
            # What was beyond before is told by its own deviation.
            new = _lines(rows, fit_up.revision, seam)[0]
            deep = cut_line.depth_along(new, [at], seam[2], fit_up.revision.closed)
            if deep[0] > cut_line.LEAST:
                deeper.append(
                    Beyond(part, side, fit_up, round(at), round(cut), int(may))
                )
    return deeper


def planned_line(plan, part: Part, side: str, joint: int) -> list[PlannedCut]:
    if plan is None:
        return []
    rows = PlannedCut.objects.filter(
        plan=plan, part=part, side=side, fit_up__joint=joint
    )
    return list(rows.select_related("fit_up__revision").order_by("s_nm"))


def cuts_since(plan, part: Part, side: str, joint: int) -> list[TrimCut]:
    """What came off this edge since a plan was made: on any airframe, by any check."""
    if plan is None:
        return []
    rows = TrimCut.objects.filter(
        part=part, side=side, fit_up__joint=joint, entry__pk__gt=plan.read_to
    )
    return list(rows.select_related("fit_up__revision").order_by("id"))


def remaining_nm(plan: FitPlan) -> dict[tuple[int, str, str], int]:
    """What a plan still allows at each of its places, by (check, side, station), nm."""
    groups = defaultdict(list)
    rows = plan.cuts.select_related("fit_up__revision", "part").order_by("s_nm")
    for row in rows:
        groups[row.part_id, row.side, row.fit_up.joint_id].append(row)
    remaining = {}
    for (_part, side, joint), cuts in groups.items():
        first = cuts[0]
        before = cuts_since(plan, first.part, side, joint) if first.part else []
        gone = np.zeros(len(cuts))
        if before:
            revision = first.fit_up.revision
            seam = _seam(revision)
            at = [row.s_nm for row in cuts]
            for line in _lines(before, revision, seam):
                gone += cut_line.depth_along(line, at, seam[2], revision.closed)
        for row, deep in zip(cuts, gone, strict=True):
            left = max(0, row.bite_nm - round(float(deep)))
            remaining[row.fit_check_id, side, row.station] = left
    return remaining


def cut_rows(revision: JointRevision, depths: Sequence[int]) -> list[tuple[int, int]]:
    """(row of the station, position in nm) to record of a cut: where something comes
    off, and where that runs out."""
    stations, along, _length = _seam(revision)
    rows = cut_line.run_outs(depths, revision.closed)
    return [(row, round(along[row])) for row in rows]


def _seam(revision: JointRevision):
    """(places (n, 3) nm, positions nm, length nm) of a revision's stations."""
    stations = list(revision.stations.all())
    places = np.array([[s.x_nm, s.y_nm, s.z_nm] for s in stations], dtype=float)
    along, length = outline.distances_along(to_mm(places), revision.closed)
    return places, [float(at) * NM_PER_MM for at in along], float(length) * NM_PER_MM


def _lines(rows, revision: JointRevision, seam) -> list[Line]:
    """Cuts as lines along one seam: one line for each act and revision that made it."""
    groups = defaultdict(list)
    for row in rows:
        groups[row.entry_id, row.fit_up.revision_id].append(row)
    lines = []
    for (_act, of), cuts in groups.items():
        line = [
            (row.s_nm, row.bite_nm if isinstance(row, PlannedCut) else row.depth_nm)
            for row in cuts
        ]
        if of != revision.pk:
            line = _moved(line, cuts[0].fit_up.revision, revision, seam)
        lines.append(line)
    return lines


def _moved(line: Line, old: JointRevision, new: JointRevision, seam) -> Line:
    """A line along the seam of one revision, along that of another."""
    places, along, length = _seam(old)
    at = [place for place, _ in line]
    ends, where = places, list(along)
    if old.closed:
        ends, where = np.vstack([places, places[:1]]), [*along, length]
    points = np.column_stack([np.interp(at, where, ends[:, k]) for k in range(3)])
    onto, positions, whole = seam
    moved = cut_line.positions_on(points, onto, positions, whole, new.closed)
    return [
        (float(place), depth) for place, (_, depth) in zip(moved, line, strict=True)
    ]
