"""Left and right: a design and its mirror, what was pulled and what it weighs."""

from dataclasses import dataclass

from shop.models import Lineage, Part, PartDesign, Stage, Tool, Weighing
from shop.numeric.units import MG_PER_G

LAST = 40
COLUMNS = (Stage.UNTRIMMED, Stage.TRIMMED, Stage.FINISHED)


@dataclass(frozen=True)
class SidePart:
    part: Part
    pull: str
    weights: dict[str, Weighing]

    @property
    def stages(self) -> list[Weighing | None]:
        """The newest weight of each stage that a table has a column for."""
        return [self.weights.get(stage) for stage in COLUMNS]


@dataclass(frozen=True)
class Side:
    design: PartDesign
    tools: list[Tool]
    parts: list[SidePart]
    mean_g: float | None


@dataclass(frozen=True)
class HandsPage:
    left: Side
    right: Side
    difference_g: float | None


def both_hands(design: PartDesign) -> HandsPage:
    """Both hands side by side: a constant number of statements."""
    pair = sorted((design, design.mirror), key=lambda half: half.hand)
    left, right = (_side(hand) for hand in pair)
    both = None not in (left.mean_g, right.mean_g)
    return HandsPage(left, right, left.mean_g - right.mean_g if both else None)


def _side(design: PartDesign) -> Side:
    parts = list(design.parts.order_by("-pk")[:LAST])
    keys = [part.pk for part in parts]
    edges = Lineage.objects.filter(part__in=keys, pull__isnull=False)
    pulls = {
        edge.part_id: str(edge.pull) for edge in edges.select_related("pull__tool")
    }
    weights: dict[int, dict[str, Weighing]] = {}
    for row in Weighing.objects.filter(part__in=keys).order_by("weighed_on", "pk"):
        weights.setdefault(row.part_id, {})[row.stage] = row
    rows = [
        SidePart(part, pulls.get(part.pk, ""), weights.get(part.pk, {}))
        for part in parts
    ]
    trimmed = [
        row.weights["trimmed"].mass_mg
        for row in rows
        if "trimmed" in row.weights and not row.weights["trimmed"].estimate
    ]
    mean = sum(trimmed) / len(trimmed) / MG_PER_G if trimmed else None
    return Side(design, list(design.tools.all()), rows, mean)
