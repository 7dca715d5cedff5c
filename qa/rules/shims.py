"""Shims for a part that was checked: from the records to the stacks that level it."""

from dataclasses import dataclass, field

from qa.models import Check, Kind, ShimStack, ShimStock
from qa.numeric.geometry.joint import JointError
from qa.numeric.shims.stacks import (
    AttachPoint,
    ShimError,
    ShimPlan,
    plan_shims,
    settled_on,
)
from qa.numeric.verdict.acceptance import NarrowLimits, nearest_nm
from qa.numeric.verdict.deviation import drawn_in, scales
from qa.rules import history, requirements, staleness
from qa.rules.staleness import JointState
from qa.rules.station_places import places_of, point_mm
from shop.numeric.units import to_mm

NO_POINTS = "This joint states no attach points: revise it and add them."
NO_STOCK = "The shop has no shims on record: add the thicknesses it keeps."


@dataclass
class ShimBasis:
    """What shims are planned from, and `plan`; `problem` says why there is none."""

    check: Check
    live: bool
    state: JointState
    stock: list[ShimStock]
    points: list[AttachPoint]
    plan: ShimPlan | None = None
    problem: str = ""
    # Rows of the stations with a flushness that stands and a limit.
    rows: list[int] = field(default_factory=list)


def work_out(check: Check, most: int) -> ShimBasis:
    """Plan stacks of at most so many shims for a check (loaded with
    planning.RELATED); an older one is planned by what stood then."""
    fit_up = check.fit_up
    rows = history.load(fit_up.airframe, [fit_up.joint])
    state = staleness.states(rows)[fit_up.joint_id]
    live = any(other.pk == check.pk for other in state.now.checks)
    if not live:
        state = staleness.states(rows, until=check.entry.pk)[fit_up.joint_id]
    check.fit_up.revision = state.revision
    stock = list(ShimStock.objects.filter(in_use=True))
    basis = ShimBasis(check, live, state, stock, attach_points(check, state))
    basis.rows = _measured(basis)
    basis.problem = _solve(basis, most)
    return basis


def present_stacks(check: Check) -> dict[str, ShimStack]:
    """The newest stack at each point of this part at this joint."""
    fit_up = check.fit_up
    rows = ShimStack.objects.filter(
        part=fit_up.part_id, fit_up__joint=fit_up.joint_id
    ).order_by("id")
    return {row.point: row for row in rows}


def attach_points(check: Check, state: JointState) -> list[AttachPoint]:
    """What holds the part, with the stack that is there now."""
    present = present_stacks(check)
    return [
        AttachPoint(
            str(point["name"]),
            point_mm(point),
            to_mm(present[point["name"]].total_nm) if point["name"] in present else 0.0,
        )
        for point in state.revision.attach_points or []
    ]


def _solve(basis: ShimBasis, most: int) -> str:
    """Put the plan in; return why there is none, "" when there is."""
    if not basis.points:
        return NO_POINTS
    if not basis.stock:
        return NO_STOCK
    try:
        seen = _flushness(basis)
        thick = [to_mm(sheet.thickness_nm) for sheet in basis.stock]
        basis.plan = plan_shims(*seen, basis.points, thick, most)
    except (ShimError, NarrowLimits, JointError) as why:
        return f"{why}."
    return ""


def _measured(basis: ShimBasis) -> list[int]:
    measured = []
    for row, station in enumerate(basis.state.seam.stations):
        value = basis.state.now.values.get((station.label, Kind.FLUSH))
        wanted = requirements.requirement(station, Kind.FLUSH, basis.check.finish)
        if value and not wanted.empty:
            measured.append(row)
    return measured


def flush_nm(basis: ShimBasis, row: int) -> int:
    """The flushness that stands at one of the rows."""
    label = basis.state.seam.stations[row].label
    return basis.state.now.values[label, Kind.FLUSH].reading.value_nm


def _flushness(basis: ShimBasis):
    """(places, faces, flushness, scales) of the stations that were measured."""
    check, revision, rows = basis.check, basis.state.revision, basis.rows
    geometry = requirements.joint_to_plan(
        revision, basis.state.seam.stations, finish=check.finish, lost_mm={}
    )
    u_mm = to_mm(check.u_nm) if check.u_nm else None
    every = scales(
        [
            drawn_in(station.flush, u_mm, revision.rule, revision.edition)
            for station in geometry.stations
        ]
    )
    flush = [to_mm(flush_nm(basis, row)) for row in rows]
    return geometry.places[rows], geometry.faces[rows], flush, every.take(rows)


def changes(basis: ShimBasis, stacks: dict[str, list[int]]) -> dict[str, list[int]]:
    """What stacks should change at each station: {label: [gap nm, flushness nm]}.

    The part rests on three of the stacks as when it is pressed in their middle.
    """
    heights = [to_mm(sum(stacks.get(point.label, []))) for point in basis.points]
    stations = basis.state.seam.stations
    at, gaps, faces = places_of(stations)
    opens, rises = (
        (settled := settled_on(at, along, basis.points, heights)).rise_mm[
            settled.middle
        ]
        for along in (-gaps, faces)
    )
    return {
        station.label: [nearest_nm(opens[row]), nearest_nm(rises[row])]
        for row, station in enumerate(stations)
    }
