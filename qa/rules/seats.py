"""Where what items tell of sits: a serial itself, or what it was bonded or cut into."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Prefetch

from qa.models import CharacteristicResult, HoleCheck, Nonconformance
from shop.models import Airframe, Placement
from shop.rules.lineage import made_from

# Of more tables in one statement PostgreSQL weighs long how to join them.
ITEM = ("entry", "part", "joint__position", "airframe", "standing")
ITEM += ("fit_check__fit_up", "fit_check__entry")
HOLES_READ = HoleCheck.objects.select_related("entry", "revision")
OF_RESULT = ("entry", "revision__characteristic__bay")
RESULTS_READ = CharacteristicResult.objects.select_related(*OF_RESULT)
ITEM_APART = Prefetch("hole_check", HOLES_READ), Prefetch("result", RESULTS_READ)


@dataclass(frozen=True)
class Sits:
    """The placement by which a serial sits somewhere, and the entry by which what sits
    there was cut off it, None where that is all of it."""

    placement: Placement
    cut: int | None = None

    def may_have(self, item: Nonconformance) -> bool:
        """Whether what was found on the serial may be on what sits there: what was cut
        off before is no part of what was looked at (which may be raised later), and of
        what was cut off after it nobody can tell in which piece it is."""
        seen = (item, item.fit_check, item.hole_check, item.result)
        return self.cut is None or min(x.entry.pk for x in seen if x) < self.cut


def all_sits_in(placements: dict[Airframe, list[Placement]]) -> dict[Airframe, dict]:
    """{airframe: {serial: how it sits there}}, also of what those that sit there were
    bonded or cut from; a statement a generation."""
    sitting = {
        placement.part_id: (airframe, placement)
        for airframe, rows in placements.items()
        for placement in rows
    }
    made = made_from(set(sitting))
    seats = {airframe: defaultdict(list) for airframe in placements}
    for part in {*sitting, *made.sources}:
        for whole, cut in made.of(part):
            if whole in sitting:
                airframe, placement = sitting[whole]
                seats[airframe][part].append(Sits(placement, cut))
    return seats


def places_of(sits_in: dict[int, list[Sits]], item: Nonconformance) -> list[Placement]:
    """Of what sits somewhere: what may have what an item tells of its part."""
    return [
        sits.placement for sits in sits_in.get(item.part_id, []) if sits.may_have(item)
    ]


def whole_items(rows) -> list[Nonconformance]:
    """Items with what is asked of each, in the order of their numbers."""
    rows = rows.select_related(*ITEM).prefetch_related(*ITEM_APART)
    return list(rows.order_by("number", "pk"))
