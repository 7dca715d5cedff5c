"""Holes of a pack: what stands of each pattern on each of its serials."""

from dataclasses import dataclass
from functools import partial

from qa.models import HoleCheck, Nonconformance
from qa.queries import holes
from qa.queries.issue import local
from qa.queries.packs.joints import Characteristic
from qa.queries.packs.scope import Scope
from qa.rules.holes import newest_readings
from shop.wording import states


@dataclass(frozen=True)
class PackHoles:
    """One pattern on one serial, every hole of it, by the checks in which what stands
    of it was read."""

    label: str
    pattern: str
    revision: str
    source: str
    serial: str
    by: str
    unit: str
    lines: tuple[Characteristic, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Holes:
    key = "holes"
    checks: tuple[PackHoles, ...]

    @property
    def data(self) -> list:
        return [
            {
                "check": check.label,
                "pattern": check.pattern,
                "revision": check.revision,
                "source_of_limits": check.source,
                "serial_number": check.serial,
                "by": check.by,
                "notes": list(check.notes),
            }
            for check in self.checks
        ]


def section(scope: Scope) -> Holes:
    """Of each pattern on each serial the newest reading of every hole, as a close-out
    asks for it; of an older revision only where the present one was never read."""
    rows = HoleCheck.objects.filter(part__in=scope.parts)
    related = (*holes.RELATED, "revision__pattern__current")
    checks = list(rows.select_related(*related).order_by("number"))
    newest: dict[tuple, HoleCheck] = {}
    for check in checks:
        of = check.revision.pattern_id, check.part_id
        if not (of in newest and _present(newest[of]) and not _present(check)):
            newest[of] = check
    read = newest_readings(checks)
    order = sorted(newest.values(), key=lambda x: (x.part.serial, x.number))
    return Holes(tuple(_check(check, read, scope) for check in order))


def _present(check: HoleCheck) -> bool:
    return check.revision_id == check.revision.pattern.current_id


def _check(check: HoleCheck, read, scope: Scope) -> PackHoles:
    standing = {
        hole: result
        for (part, hole), result in read.items()
        if part == check.part_id and result.hole_check.revision_id == check.revision_id
    }
    view = holes.hole_view(check, scope.unit, standing=standing)
    pattern = check.revision.pattern
    of = {reading.hole.label: reading.hole_check for reading in standing.values()}
    sizes = {
        reading.hole.label: reading.sized.hole_check
        for reading in standing.values()
        if reading.sized
    }
    decided = scope.gathered.records.left_holes
    left = {
        reading.hole.label: decided[reading.pk]
        for reading in standing.values()
        if reading.pk in decided
    }
    others = sorted({x.number: x for x in of.values()}.items())
    return PackHoles(
        label=", ".join(x.label for _number, x in others) or check.label,
        pattern=str(pattern),
        revision=str(check.revision.number),
        source=check.revision.source or "not stated",
        serial=check.part.serial,
        by="; ".join(_by(x) for _number, x in others) or _by(check),
        unit=scope.unit,
        lines=tuple(
            _line(scope, of.get(row.label, check), row, left.get(row.label), sizes)
            for row in view.rows
        ),
        notes=tuple(f"{word}: {value}" for word, value in view.fits)
        + tuple(view.short),
    )


def _by(check: HoleCheck) -> str:
    return f"{check.entry.author}, {local(check.entry.received_at)}"


def _is_of(check: HoleCheck, label: str, item: Nonconformance) -> bool:
    """Whether an item is of this hole: of the same pattern and serial."""
    return (
        item.hole_check is not None
        and item.hole_check.revision.pattern_id == check.revision.pattern_id
        and item.part_id == check.part_id
        and label in item.holes
    )


def _line(
    scope: Scope,
    check: HoleCheck,
    row: holes.HoleRow,
    left: Nonconformance | None,
    sizes: dict[str, HoleCheck],
) -> Characteristic:
    state, now = row.verdict or "not_measured", check.revision.pattern.current
    at = f"at {row.measured}" if row.measured else ""
    size = f", hole {row.found_size}" if row.found_size else ""
    result = f"{row.position} of {row.allowed}{size}" if row.position else ""
    faults = row.faults
    if row.measured and not row.verdict:
        at, faults = f"{at}; its size was not measured", ""
    if result and now and now.pk != check.revision_id:
        at = f"was {result}; revision {now.number} is required now"
        state, result = "stale", ""
    wanted = f"zone {row.zone} at {row.nominal}"
    wanted += f", hole {row.size}" if row.size else ""
    read_in = check.label if row.measured else ""
    if row.label in sizes:
        read_in += f", its size in {sizes[row.label].label}"
    number = f"{check.part.serial}/{check.revision.pattern.number}.{row.label}"
    item = ""
    if state == "does_not_conform":
        at_joint = check.revision.pattern.joint_id
        of = partial(_is_of, check, row.label)
        item = scope.raised(number, of, part=check.part_id, joint=at_joint)
        item = scope.stays(number, left) if left else item
    return Characteristic(
        number=number,
        location=row.label,
        designator="position and size" if row.size else "position",
        requirement=wanted,
        result=result,
        state=state,
        verdict=states.verdict_word(state),
        tooling=check.instrument.code if check.instrument else check.method,
        nonconformance=item,
        comment="; ".join(filter(None, (at, faults, read_in))),
    )
