"""How a part is held, for its page: what was stated, drawn on each of its joints."""

from dataclasses import dataclass, replace

import numpy as np

from qa.drawing.joint_map import AttachMark, JointMap
from qa.drawing.projection import view_from_outside
from qa.models import Holding, Joint, JointRevision, StepKind
from qa.queries.joints import drawings
from qa.rules import adjusters as rules
from qa.rules.station_places import places_of
from shop.models import Position
from shop.numeric.units import E9, format_length, to_mm


@dataclass(frozen=True)
class AdjusterRow:
    """What one adjuster can do, as texts."""

    point: str
    kind: str
    words: str
    range: str
    step: str
    set_u: str


@dataclass(frozen=True)
class HoldingView:
    position: Position
    holding: Holding | None
    adjusters: list[AdjusterRow]
    maps: list[tuple[Joint, JointMap]]
    joints: list[Joint]
    history: list[Holding]


def holding_view(position: Position, unit: str) -> HoldingView:
    """Everything about how a part is held; a constant number of statements a joint."""
    holding = rules.holding_of(position)
    joints = list(
        Joint.objects.filter(position=position, current__isnull=False)
        .select_related("current", "position", "surround", "type")
        .order_by("number")
    )
    points = (
        list(holding.points.prefetch_related("adjusters__direction"))
        if (holding)
        else []
    )
    rows = [_row(point, adjuster, unit) for point in points for adjuster in _of(point)]
    history = Holding.objects.filter(position=position).select_related("entry__by")
    return HoldingView(
        position=position,
        holding=holding,
        adjusters=rows,
        maps=[(joint, _map(joint, points)) for joint in joints],
        joints=joints,
        history=list(history.order_by("-number")),
    )


def _of(point) -> list:
    """The adjusters of a point, or None alone where nothing can be set there."""
    return list(point.adjusters.all()) or [None]


def _row(point, adjuster, unit: str) -> AdjusterRow:
    if adjuster is None:
        return AdjusterRow(point.name, point.get_kind_display(), "", "", "", "")

    def text(nm: int) -> str:
        return f"{format_length(nm, unit)} {unit}"

    direction = adjuster.direction
    return AdjusterRow(
        point=point.name,
        kind=str(point.get_kind_display()),
        words=f"{direction.plus} / {direction.minus}",
        range=f"{text(adjuster.max_nm)} {direction.plus}, "
        f"{text(-adjuster.min_nm)} {direction.minus}",
        step=_step(adjuster, text(adjuster.step_nm)),
        set_u=text(adjuster.set_u_nm) if adjuster.set_u_nm else "",
    )


def _step(adjuster, amount: str) -> str:
    if adjuster.step_kind == StepKind.LENGTH:
        return amount
    return f"{amount}, {adjuster.get_step_kind_display()}"


def _map(joint: Joint, points) -> JointMap:
    revision: JointRevision = joint.current
    revision.joint = joint
    stations = list(revision.stations.all())
    drawn = drawings.map_of(revision, stations, bare=True)
    return replace(drawn, attach=(), marks=marks_of(stations, points))


def marks_of(stations, points) -> tuple[AttachMark, ...]:
    """The places that hold the part with the words of their directions, as seen."""
    if not points:
        return ()
    at, _gap, face = places_of(stations)
    view = view_from_outside(at, face)
    marks = []
    for point in points:
        place = to_mm(np.array([[point.x_nm, point.y_nm, point.z_nm]]))
        x, y = (float(part) for part in view.points(place)[0])
        arrows = []
        for adjuster in point.adjusters.all():
            way = adjuster.direction
            vector = np.array([[way.x_e9, way.y_e9, way.z_e9]]) / E9
            dx, dy = (float(part) for part in view.directions(vector)[0])
            arrows.append((way.plus, way.minus, dx, dy))
        marks.append(AttachMark(point.name, x, y, tuple(arrows)))
    return tuple(marks)
