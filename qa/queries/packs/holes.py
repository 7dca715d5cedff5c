"""Holes of a pack: the newest check of each pattern on each of its serials."""

from dataclasses import dataclass

from qa.models import HoleCheck
from qa.queries import holes
from qa.queries.issue import local
from qa.queries.packs.joints import Characteristic
from qa.queries.packs.scope import Scope
from shop.wording import states


@dataclass(frozen=True)
class PackHoles:
    """One check of one pattern on one serial, every hole of it."""

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
                "check": one.label,
                "pattern": one.pattern,
                "revision": one.revision,
                "source_of_limits": one.source,
                "serial_number": one.serial,
                "by": one.by,
                "notes": list(one.notes),
            }
            for one in self.checks
        ]

    @property
    def told(self) -> dict[str, str]:
        return {line.number: line.told for one in self.checks for line in one.lines}


def section(scope: Scope) -> Holes:
    rows = HoleCheck.objects.filter(part__in=scope.parts)
    newest = {}
    related = (*holes.RELATED, "revision__pattern__current")
    for check in rows.select_related(*related).order_by("number"):
        newest[check.revision.pattern_id, check.part_id] = check
    order = sorted(newest.values(), key=lambda x: (x.part.serial, x.number))
    return Holes(tuple(_check(one, scope) for one in order))


def _check(check: HoleCheck, scope: Scope) -> PackHoles:
    view = holes.hole_view(check, scope.unit)
    pattern = check.revision.pattern
    return PackHoles(
        label=check.label,
        pattern=str(pattern),
        revision=str(check.revision.number),
        source=check.revision.source or "not stated",
        serial=check.part.serial,
        by=f"{check.entry.author}, {local(check.entry.received_at)}",
        unit=scope.unit,
        lines=tuple(_line(scope, check, row) for row in view.rows),
        notes=tuple(f"{word}: {told}" for word, told in view.fits) + tuple(view.short),
    )


def _line(scope: Scope, check: HoleCheck, row: holes.HoleRow) -> Characteristic:
    state, now = row.verdict or "not_measured", check.revision.pattern.current
    at = f"at {row.measured}" if row.measured else ""
    size = f", hole {row.found_size}" if row.found_size else ""
    told = f"{row.position} of {row.allowed}{size}" if row.position else ""
    faults = row.faults
    if row.measured and not row.verdict:
        at, faults = f"{at}; its size was not measured", ""
    if told and now and now.pk != check.revision_id:
        at = f"was {told}; revision {now.number} is required now"
        state, told = "stale", ""
    wanted = f"zone {row.zone} at {row.nominal}"
    wanted += f", hole {row.size}" if row.size else ""
    number = f"{check.part.serial}/{check.revision.pattern.number}.{row.label}"
    item = ""
    if state == "does_not_conform":
        at_joint = check.revision.pattern.joint_id
        item = scope.raised(number, row.label, part=check.part_id, joint=at_joint)
    return Characteristic(
        number=number,
        location=row.label,
        designator="position and size" if row.size else "position",
        requirement=wanted,
        result=told,
        state=state,
        verdict=states.verdict_word(state),
        tooling=check.instrument.code if check.instrument else check.method,
        nonconformance=item,
        comment="; ".join(filter(None, (at, faults))),
    )
