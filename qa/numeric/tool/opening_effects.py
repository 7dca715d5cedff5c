"""What the openings do, as it is told: by name, and of those that hang together."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from qa.numeric.tool.characteristics import Characteristics
from qa.numeric.tool.least_squares import Seating, Why, linked_sets
from qa.numeric.tool.openings import OpeningValue, bounded
from qa.numeric.tool.scatter import PooledFit, pooled_fit


@dataclass(frozen=True)
class OpeningTold:
    """An opening by name: how every station differs there from the mean of all."""

    name: str
    gap: tuple[OpeningValue, ...]
    flush: tuple[OpeningValue, ...]

    @property
    def by_kind(self) -> list[dict[str, OpeningValue]]:
        """Both kinds of every station."""
        both = zip(self.gap, self.flush, strict=True)
        return [{"gap": gap, "flush": flush} for gap, flush in both]


@dataclass(frozen=True)
class OpeningEffects:
    """What the openings do, where parts that were tried in several link them. `factor`
    is that of all their bounds together, None without any; `scatter` is how the same
    part differs from one opening to another, (mm, degrees of freedom) by "gap" and
    "flush" or "both", as far as it is seen. `linked` names those of which it is told
    where that is not all: each is then less the mean of these."""

    each: tuple[OpeningTold, ...] = ()
    factor: float | None = None
    scatter: dict[str, tuple[float, int]] = field(default_factory=dict)
    linked: tuple[str, ...] = ()


def opening_effects(
    asked: Characteristics,
    seatings: Sequence[Seating],
    fit: PooledFit,
    names: tuple[str, ...],
    sd_mm: float | None,
) -> OpeningEffects:
    """fit: of all these seatings, in openings of these names."""
    some = _some_openings(asked, seatings, names, sd_mm)
    return some or _openings(fit, names)


def linked_openings(tried: Iterable[tuple[str, str]]) -> list[list[str]]:
    """The openings that hang together by parts tried in several, from (part, opening)
    of every seating: what most parts were tried in comes first."""
    by_part: dict[str, set[str]] = {}
    openings: dict[str, set[str]] = {}
    for part, opening in tried:
        by_part.setdefault(part, set()).add(opening)
        openings.setdefault(opening, set()).add(part)
    groups = [
        [opening for opening in openings if opening in group]
        for group in linked_sets(by_part.values())
    ]
    order = list(openings)
    groups.sort(key=lambda group: order.index(group[0]))
    return sorted(
        groups, key=lambda group: -len(set().union(*(openings[o] for o in group)))
    )


def _some_openings(
    asked: Characteristics,
    seatings: Sequence[Seating],
    names: tuple[str, ...],
    sd_mm: float | None,
) -> OpeningEffects | None:
    """What those openings do that hang together, where not all do; None else."""
    groups = linked_openings((s.part, names[s.opening]) for s in seatings)
    several = [group for group in groups if len(group) > 1]
    if len(groups) < 2 or not several:
        return None
    linked = several[0]
    own = [
        replace(seating, opening=linked.index(names[seating.opening]))
        for seating in seatings
        if names[seating.opening] in linked
    ]
    fit = pooled_fit(asked, own, len(linked), sd_mm)
    report = _openings(fit, tuple(linked))
    if not report.each:
        return None
    nothing = (OpeningValue(why=Why.OPENING),) * (asked.count // 2)
    by_name = {opening.name: opening for opening in report.each}
    each = (by_name.get(name, OpeningTold(name, nothing, nothing)) for name in names)
    return replace(report, each=tuple(each), linked=tuple(linked))


def _openings(fit: PooledFit, names: tuple[str, ...]) -> OpeningEffects:
    """The openings in order of appearance; what is untold has the tool's reason."""
    if not fit.openings:
        return OpeningEffects()
    by_row, factor = bounded(fit.openings)
    count = len(fit.why) // 2
    each = []
    for number, name in enumerate(names):
        values = [
            by_row[row][number] if row in by_row else OpeningValue(why=why)
            for row, why in enumerate(fit.why)
        ]
        each.append(OpeningTold(name, tuple(values[:count]), tuple(values[count:])))
    seen = {
        block.name: (block.openings.new_mm, block.openings.degrees)
        for block in fit.openings
        if block.openings.degrees
    }
    return OpeningEffects(tuple(each), factor, seen)
