"""What holds a part now, what it is set to, and how such parts are usually held."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Max

from qa.models import Adjuster, AdjusterSetting, AttachKind, Holding, StepKind
from shop.models import Airframe, Position


@dataclass(frozen=True)
class Present:
    """An adjuster on an airframe: what it can do and what it is set to. nm, 1e-9."""

    name: str
    point: str
    kind: str
    plus: str
    minus: str
    place_nm: tuple[int, int, int]
    direction_e9: tuple[int, int, int]
    min_nm: int
    max_nm: int
    step_nm: int
    step_kind: str
    turn_e3: int | None
    set_u_nm: int
    now_nm: int


def holding_of(position: Position) -> Holding | None:
    """What was stated last about how the part in a position is held."""
    return Holding.objects.filter(position=position).order_by("-number").first()


def present(airframe: Airframe, position: Position) -> list[Present]:
    """What can be set at a part on an airframe, and what it is set to: 0 where nobody
    set it yet. Three statements."""
    holding = holding_of(position)
    if holding is None:
        return []
    rows = Adjuster.objects.filter(point__holding=holding).select_related(
        "point", "direction"
    )
    newest = (
        AdjusterSetting.objects.filter(airframe=airframe, position=position)
        .values("name")
        .annotate(last=Max("id"))
        .values("last")
    )
    now = dict(
        AdjusterSetting.objects.filter(pk__in=newest).values_list("name", "value_nm")
    )
    return [_present(row, now.get(row.name, 0)) for row in rows]


def _present(row: Adjuster, now_nm: int) -> Present:
    point, direction = row.point, row.direction
    return Present(
        name=row.name,
        point=point.name,
        kind=point.kind,
        plus=direction.plus,
        minus=direction.minus,
        place_nm=(point.x_nm, point.y_nm, point.z_nm),
        direction_e9=(direction.x_e9, direction.y_e9, direction.z_e9),
        min_nm=row.min_nm,
        max_nm=row.max_nm,
        step_nm=row.step_nm,
        step_kind=row.step_kind,
        turn_e3=row.turn_e3,
        set_u_nm=row.set_u_nm,
        now_nm=now_nm,
    )


@dataclass(frozen=True)
class TypicalPoint:
    name: str
    kind: str
    place_mm: tuple[float, float, float]


@dataclass(frozen=True)
class TypicalAdjuster:
    """A row to start with; `word` names its direction, lengths mm."""

    point: str
    word: str
    far_mm: float
    back_mm: float
    step_mm: float
    step_kind: str = StepKind.LENGTH


@dataclass(frozen=True)
class Typical:
    """How such a part is usually held; common practice, no source."""

    points: tuple[TypicalPoint, ...]
    adjusters: tuple[TypicalAdjuster, ...]


def _edges(places: Iterable) -> tuple[float, float, float, float, float]:
    rows = list(places)
    xs, ys = [p[0] for p in rows], [p[1] for p in rows]
    return min(xs), max(xs), min(ys), max(ys), sum(p[2] for p in rows) / len(rows)


def _hinged(places, front_is_left: bool) -> Typical:
    left, right, low, high, z = _edges(places)
    hinge, latch = (left, right) if front_is_left else (right, left)
    at = {0.25: low + (high - low) / 4, 0.75: high - (high - low) / 4}
    points = (
        TypicalPoint("upper hinge", AttachKind.HINGE, (hinge, at[0.75], z)),
        TypicalPoint("lower hinge", AttachKind.HINGE, (hinge, at[0.25], z)),
        TypicalPoint("latch", AttachKind.LATCH, (latch, (low + high) / 2, z)),
    )
    rows = [
        TypicalAdjuster(point, word, 2, 2, 0.1)
        for point in ("upper hinge", "lower hinge")
        for word in ("aft", "up")
    ]
    rows += [
        TypicalAdjuster(point, "out", 2, 2, 0.5, StepKind.SHIM)
        for point in ("upper hinge", "lower hinge")
    ]
    rows.append(TypicalAdjuster("latch", "out", 2, 2, 0.1))
    return Typical(points, tuple(rows))


def _corners(places, front_is_left: bool) -> Typical:
    left, right, low, high, z = _edges(places)
    front, rear = (left, right) if front_is_left else (right, left)
    corners = {
        "upper front": (front, high, z),
        "upper rear": (rear, high, z),
        "lower rear": (rear, low, z),
        "lower front": (front, low, z),
    }
    points = [TypicalPoint(k, AttachKind.CLECOS, v) for k, v in corners.items()]
    rows = [
        TypicalAdjuster("upper front", "aft", 1.5, 1.5, 0.1),
        TypicalAdjuster("upper front", "up", 1.5, 1.5, 0.1),
        TypicalAdjuster("upper rear", "up", 1.5, 1.5, 0.1),
    ]
    rows += [TypicalAdjuster(name, "out", 1, 1, 0.25, "shim") for name in corners]
    return Typical(tuple(points), tuple(rows))


def _cowl(places, front_is_left: bool) -> Typical:
    left, right, low, high, z = _edges(places)
    row = right if front_is_left else left
    front = left if front_is_left else right
    points = [
        TypicalPoint(f"fastener {k + 1}", AttachKind.SLOT, (row, y, z))
        for k, y in enumerate(low + (high - low) * part for part in (0.1, 0.5, 0.9))
    ]
    points.append(
        TypicalPoint("nose pin", AttachKind.PIN, (front, (low + high) / 2, z))
    )
    rows = [TypicalAdjuster(point.name, "aft", 1.5, 1.5, 0.1) for point in points[:3]]
    rows.append(TypicalAdjuster("fastener 2", "up", 1, 1, 0.1))
    rows += [
        TypicalAdjuster(f"fastener {k}", "out", 1, 1, 0.25, "shim") for k in (1, 3)
    ]
    return Typical(tuple(points), tuple(rows))


def _canopy(places, front_is_left: bool) -> Typical:
    left, right, low, high, z = _edges(places)
    front, rear = (left, right) if front_is_left else (right, left)
    middle = (low + high) / 2
    points = (
        TypicalPoint("front roller, port", AttachKind.ROD, (front, low, z)),
        TypicalPoint("front roller, starboard", AttachKind.ROD, (front, high, z)),
        TypicalPoint("rail end", AttachKind.SLOT, (rear, middle, z)),
        TypicalPoint("rail pad", AttachKind.SHIMS, ((front + rear) / 2, middle, z)),
        TypicalPoint("rear latch", AttachKind.STRIKER, (rear, middle, z)),
    )
    rows = [
        TypicalAdjuster(point.name, "out", 2, 2, 0.2, StepKind.TURN)
        for point in points[:2]
    ]
    rows += [
        TypicalAdjuster("rail end", "aft", 3, 3, 0.1),
        TypicalAdjuster("rail end", "up", 1, 1, 0.1),
        TypicalAdjuster("rail pad", "out", 2, 2, 0.25, StepKind.SHIM),
        TypicalAdjuster("rear latch", "out", 2, 2, 0.1),
    ]
    return Typical(points, tuple(rows))


TYPICAL = {
    "hinged": _hinged,
    "corners": _corners,
    "cowl": _cowl,
    "canopy": _canopy,
}
