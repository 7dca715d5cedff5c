"""The holes of a pattern on an airframe, and the clecos that are in them now."""

from dataclasses import dataclass

from django.db.models import Q

from qa.drawing import plate, svg
from qa.drawing.plate import Plate, PlateHole
from qa.models import HolePattern
from shop.models import Airframe, Placement, Position, TemporaryItem, TemporaryKind
from shop.numeric.units import to_mm


@dataclass(frozen=True)
class HoleNow:
    """A hole and what is in it: "" where it is free."""

    label: str
    holds: str
    item: int | None


@dataclass(frozen=True)
class SizeCount:
    """Clecos of one size at a pattern, in pieces."""

    size: str
    put_in: int
    inside: int
    missing: int
    out: int
    released: int


@dataclass(frozen=True)
class HolesNow:
    airframe: Airframe
    pattern: HolePattern
    bay: Position | None
    holes: list[HoleNow]
    sizes: list[SizeCount]
    plate: str


def bay_of(airframe: Airframe, pattern: HolePattern) -> Position | None:
    """The bay in which a pattern lies: where its joint's part, or a part of the designs
    that it goes through, sits."""
    if pattern.joint:
        return pattern.joint.position
    designs = [key for key in (pattern.design_id, pattern.mate_id) if key]
    there = Placement.objects.filter(
        airframe=airframe, removed_at=None, part__design__in=designs
    )
    placement = there.select_related("position").order_by("position__path").first()
    return placement.position if placement else None


def holes_now(airframe: Airframe, pattern: HolePattern) -> HolesNow:
    """What is in each hole now, and the count by size: in three statements or four."""
    rows = TemporaryItem.objects.filter(airframe=airframe, at__pattern=pattern)
    items = list(rows.select_related("state").order_by("pk"))
    full = {spot: item for item in items for spot in item.state.spots}
    rows = list(pattern.current.holes.all())
    holes = [_hole(hole.label, full.get(hole.label)) for hole in rows]
    drawn = [
        PlateHole(
            hole.label,
            to_mm(row.x_nm),
            to_mm(row.y_nm),
            text=full[hole.label].size if hole.item else "",
            href=f"#id_spots_{number}",
            name=f"{hole.label} {hole.holds}",
            full=bool(hole.item),
        )
        for number, (hole, row) in enumerate(zip(holes, rows, strict=True))
    ]
    return HolesNow(
        airframe,
        pattern,
        bay_of(airframe, pattern),
        holes,
        _sizes(items),
        svg.render(plate.build(Plate(str(pattern), tuple(drawn))), prefix="plate"),
    )


def _hole(label: str, item: TemporaryItem | None) -> HoleNow:
    return HoleNow(label, item.what, item.pk) if item else HoleNow(label, "", None)


def _sizes(items: list[TemporaryItem]) -> list[SizeCount]:
    sizes = []
    for size in sorted(
        {item.size for item in items if item.kind == TemporaryKind.CLECO}
    ):
        states = [item.state for item in items if item.size == size]
        sums = (
            sum(getattr(state, name) for state in states)
            for name in ("count", "inside", "missing", "out", "released")
        )
        sizes.append(SizeCount(size, *sums))
    return sizes


def patterns_of(airframe: Airframe) -> list[HolePattern]:
    """The patterns that this airframe has: of its joints, and of designs that sit on
    it."""
    designs = Placement.objects.filter(airframe=airframe, removed_at=None)
    keys = designs.values_list("part__design", flat=True)
    rows = HolePattern.objects.exclude(current=None).filter(
        Q(joint__type=airframe.type_id)
        | Q(joint=None, design__in=keys)
        | Q(joint=None, mate__in=keys)
    )
    return list(rows.order_by("number"))
