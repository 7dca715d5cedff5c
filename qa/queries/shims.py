"""Shims for a part that was checked: what lies there, what would level it best."""

from dataclasses import dataclass, field

from qa.models import Check, Kind, ShimStack, ShimStock
from qa.numeric.geometry.joint import JointError
from qa.numeric.shims.stacks import AttachPoint, ShimError, ShimPlan
from qa.numeric.verdict.acceptance import NarrowLimits, nearest_nm
from qa.numeric.verdict.deviation import drawn_in, scales
from qa.queries import drawings
from qa.queries.drawings import point_mm
from qa.rules import history, requirements, staleness
from qa.rules.staleness import JointState
from qa.wording import lengths
from qa.wording import shims as wording

MOST = 3


@dataclass(frozen=True)
class PointRow:
    """An attach point: the stack there now and the one that is proposed, as texts."""

    name: str
    now: str
    now_nm: int
    stack: str
    height: str


@dataclass
class ShimView:
    """What the page shows. `problem` says why nothing is proposed."""

    check: Check
    live: bool
    unit: str
    most: int
    state: JointState
    stock: list[ShimStock]
    points: list[PointRow] = field(default_factory=list)
    fetch: list[tuple[str, int]] = field(default_factory=list)
    plan: ShimPlan | None = None
    problem: str = ""
    expected: list[tuple[str, str, str]] = field(default_factory=list)

    @property
    def conforms(self) -> bool:
        return bool(self.plan and self.plan.conforms)

    @property
    def judged(self) -> str:
        """On which stacks the part was taken to rest."""
        return wording.judged(self.plan) if self.plan else ""


def present_stacks(check: Check) -> dict[str, ShimStack]:
    """The newest stack at each point of this part at this joint."""
    fit_up = check.fit_up
    rows = ShimStack.objects.filter(
        part=fit_up.part_id, fit_up__joint=fit_up.joint_id
    ).order_by("id")
    return {row.point: row for row in rows}


def shim_view(check: Check, unit: str, most: int = MOST) -> ShimView:
    """Return the best stacks for a check (loaded with planning.RELATED)."""
    fit_up = check.fit_up
    rows = history.load(fit_up.airframe, [fit_up.joint])
    state = staleness.states(rows)[fit_up.joint_id]
    live = any(one.pk == check.pk for one in state.now.checks)
    if not live:
        state = staleness.states(rows, until=check.entry.pk)[fit_up.joint_id]
    check.fit_up.revision = state.revision
    stock = list(ShimStock.objects.filter(in_use=True))
    view = ShimView(check, live, unit, most, state, stock)
    _solve(view, present_stacks(check))
    return view


def attach_points(view: ShimView, present: dict[str, ShimStack]) -> list[AttachPoint]:
    return [
        AttachPoint(
            str(one["name"]),
            point_mm(one),
            present[one["name"]].total_nm / 1e6 if one["name"] in present else 0.0,
        )
        for one in view.state.revision.attach_points or []
    ]


def _solve(view: ShimView, present: dict[str, ShimStack]) -> None:
    # The planner brings scipy: pages that plan nothing must not wait for it.
    from qa.numeric.shims.stacks import plan_shims  # noqa: PLC0415

    points = attach_points(view, present)
    view.points = [_point(view, one, None) for one in points]
    if not points:
        view.problem = "This joint states no attach points: revise it and add them."
        return
    if not view.stock:
        view.problem = "The shop has no shims on record: add the thicknesses it keeps."
        return
    try:
        seen = _flushness(view)
        plan = plan_shims(
            *seen,
            points,
            [one.thickness_nm / 1e6 for one in view.stock],
            view.most,
        )
    except (ShimError, NarrowLimits, JointError) as why:
        view.problem = f"{why}."
        return
    view.plan = plan
    view.points = [
        _point(view, one, stack) for one, stack in zip(points, plan.stacks, strict=True)
    ]
    view.fetch = [
        (lengths.length(round(thick * 1e6), view.unit), count)
        for thick, count in plan.to_fetch.items()
    ]
    view.problem = wording.why_not(plan)
    view.expected = _expected(view, plan)


def _rows(view: ShimView) -> list[int]:
    """Stations with a flushness that stands and a limit."""
    seam = view.state.seam
    found = []
    for row, station in enumerate(seam.stations):
        value = view.state.now.values.get((station.label, Kind.FLUSH))
        wanted = requirements.requirement(station, Kind.FLUSH, view.check.finish)
        if value and not wanted.empty:
            found.append(row)
    return found


def _flushness(view: ShimView):
    """(places, faces, flushness, scales) of the stations that were measured."""
    seam, check = view.state.seam, view.check
    revision = view.state.revision
    geometry = requirements.joint_to_plan(
        revision, seam.stations, finish=check.finish, lost_mm={}
    )
    u_mm = check.u_nm / 1e6 if check.u_nm else None
    every = scales(
        [
            drawn_in(one.flush, u_mm, revision.rule, revision.edition)
            for one in geometry.stations
        ]
    )
    rows = _rows(view)
    flush = [
        view.state.now.values[seam.stations[row].label, Kind.FLUSH].reading.value_nm
        / 1e6
        for row in rows
    ]
    return geometry.places[rows], geometry.faces[rows], flush, every.take(rows)


def _point(view: ShimView, point: AttachPoint, stack) -> PointRow:
    def text(mm):
        return lengths.on_map(round(mm * 1e6), view.unit)

    made_of = ""
    if stack:
        made_of = " + ".join(plain(round(one * 1e6), view.unit) for one in stack.shims)
    return PointRow(
        name=point.label,
        now=text(point.shim_now_mm),
        now_nm=round(point.shim_now_mm * 1e6),
        stack=made_of or ("0" if stack else ""),
        height=text(stack.shim_mm) if stack else "",
    )


def plain(nm: int, unit: str) -> str:
    """A thickness as it is typed: no zeros behind, no unit."""
    per = 1e6 if unit == "mm" else 25.4e6
    return f"{nm / per:.6f}".rstrip("0").rstrip(".")


def _expected(view: ShimView, plan: ShimPlan) -> list[tuple[str, str, str]]:
    seam = view.state.seam
    told = []
    for row, rise in zip(_rows(view), plan.rise_mm, strict=True):
        label = seam.stations[row].label
        now = view.state.now.values[label, Kind.FLUSH].reading.value_nm
        after = now + nearest_nm(rise)
        texts = (lengths.on_map(nm, view.unit, signed=True) for nm in (now, after))
        told.append((label, *texts))
    return told


def changes(view: ShimView, stacks: dict[str, list[int]]) -> dict[str, list[int]]:
    """What stacks should change at each station: {label: [gap nm, flushness nm]}.

    The part rests on three of the stacks as when it is pressed in their middle.
    """
    from qa.numeric.shims.stacks import settled_on  # noqa: PLC0415

    points = attach_points(view, present_stacks(view.check))
    heights = [sum(stacks.get(one.label, [])) / 1e6 for one in points]
    places, gaps, faces = drawings.places(view.state.seam.stations)
    opens, rises = (
        (settled := settled_on(places, along, points, heights)).rise_mm[settled.middle]
        for along in (-gaps, faces)
    )
    return {
        station.label: [nearest_nm(opens[row]), nearest_nm(rises[row])]
        for row, station in enumerate(view.state.seam.stations)
    }
