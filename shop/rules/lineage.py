"""The graph below parts: what each was made of, down to the pulls."""

from collections.abc import Iterable
from dataclasses import dataclass

from shop.models import Lineage, Pull


@dataclass
class Edges:
    """Edges by the key of the part that they lead to, and the pulls that they name."""

    of: dict[int, list[Lineage]]
    pulls: dict[int, Pull]


def edges_of(parts: Iterable[int]) -> Edges:
    """Every edge that leads to the parts, level by level: one statement a level."""
    found: dict[int, list[Lineage]] = {}
    level = set(parts)
    while level:
        rows = Lineage.objects.filter(part__in=level).select_related(
            "source__design", "pull__tool__plug", "pull__laminate__recipe", "entry__by"
        )
        for row in rows.order_by("pk"):
            found.setdefault(row.part_id, []).append(row)
        sources = {x.source_id for rows in found.values() for x in rows} - {None}
        level = sources - set(found) - level
    pulls = {x.pull_id: x.pull for rows in found.values() for x in rows if x.pull_id}
    return Edges(found, pulls)
