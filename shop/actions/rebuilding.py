"""Placements made again from the acts that put parts in and took them out."""

from shop.ledger import writing
from shop.models import Placement, PlacementAct


def rebuild() -> dict[str, int]:
    """Make the projection of placements again; return how many rows it has."""
    with writing():
        Placement.objects.all().delete()
        rows, there = [], {}
        acts = PlacementAct.objects.select_related("entry").order_by("entry__pk", "pk")
        for act in acts:
            place = (act.part_id, act.airframe_id, act.position_id)
            if act.placed:
                there[place] = Placement(
                    part_id=act.part_id,
                    airframe_id=act.airframe_id,
                    position_id=act.position_id,
                    placed_by_entry_id=act.entry_id,
                    placed_at=act.entry.received_at,
                )
                rows.append(there[place])
            else:
                row = there.pop(place)
                row.removed_by_entry_id = act.entry_id
                row.removed_at = act.entry.received_at
        Placement.objects.bulk_create(rows)
    return {"placements": len(rows)}
