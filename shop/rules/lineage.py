"""The graph below parts: what each was made of, down to the pulls."""

from collections.abc import Iterable
from dataclasses import dataclass

from shop.models import Lineage, Origin, Pull


@dataclass
class Edges:
    """Edges by the key of the part that they lead to, and the pulls that they name."""

    of: dict[int, list[Lineage]]
    pulls: dict[int, Pull]


def edges_of(parts: Iterable[int]) -> Edges:
    """Every edge that leads to the parts, level by level: one statement a level."""
    edges: dict[int, list[Lineage]] = {}
    level = set(parts)
    while level:
        rows = Lineage.objects.filter(part__in=level).select_related(
            "source__design", "pull__tool__plug", "pull__laminate__recipe", "entry__by"
        )
        for row in rows.order_by("pk"):
            edges.setdefault(row.part_id, []).append(row)
        sources = {x.source_id for rows in edges.values() for x in rows} - {None}
        level = sources - set(edges) - level
    pulls = {x.pull_id: x.pull for rows in edges.values() for x in rows if x.pull_id}
    return Edges(edges, pulls)


@dataclass(frozen=True)
class Made:
    """What parts were bonded into and cut into: {source: {part: the entry by which it
    was cut off, None where it was bonded}}."""

    into: dict[int, dict[int, int | None]]

    @property
    def sources(self) -> set[int]:
        return set(self.into)

    @property
    def parts(self) -> set[int]:
        return {part for into in self.into.values() for part in into}

    def of(self, part: int) -> list[tuple[int, int | None]]:
        """(part, the entry by which the way to it begins, where that is a cut; None
        where it begins with a bond, whatever was cut off after) for a part itself and
        all that was made of it, by the way on which that came last."""
        cuts: dict[int, int | None] = {}
        waiting: list[tuple[int, int | None]] = [(part, None)]
        while waiting:
            here, cut = waiting.pop()
            known = cuts.get(here, 0)
            if known is None or (cut is not None and cut <= known):
                continue
            cuts[here] = cut
            for whole, entry in self.into.get(here, {}).items():
                waiting.append((whole, entry if here == part else cut))
        return list(cuts.items())


def made_from(parts) -> Made:
    """Above parts: what each was made of, and so on; one statement a generation."""
    return _walk(parts, "part", "source")


def made_into(parts) -> Made:
    """Below parts: what each was made into, and so on; one statement a generation."""
    return _walk(parts, "source", "part")


def _walk(level, near: str, far: str) -> Made:
    """Follow the edges from `near` to `far`; `level` is keys, or a query of them."""
    into: dict[int, dict[int, int | None]] = {}
    met: set[int] = set()
    while level is not None:
        edges = Lineage.objects.filter(source__isnull=False, **{f"{near}__in": level})
        rows = edges.values_list("source", "part", "kind", "entry__pk", far)
        reached = set()
        for source, part, kind, entry, end in rows:
            cut = entry if kind == Origin.CUT else None
            into.setdefault(source, {})[part] = cut
            reached.add(end)
        level = (reached - met) or None
        met |= reached
    return Made(into)
