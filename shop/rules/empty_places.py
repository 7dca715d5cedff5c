"""Positions of airframes that are meant to stay empty: somebody said so, nobody took it
back, and no part was placed there after."""

from collections.abc import Iterable

from django.db.models import Max

from shop.models import Airframe, EmptyPlace, PlacementAct


def empty_places(
    airframes: Iterable[Airframe],
) -> dict[Airframe, dict[int, EmptyPlace]]:
    """Of each airframe what is in force, by the key of the position; two statements."""
    places = {airframe: {} for airframe in airframes}
    rows = EmptyPlace.objects.filter(airframe__in=list(places))
    rows = rows.select_related("airframe", "position", "entry__by")
    for row in rows.order_by("entry__pk"):
        places[row.airframe][row.position_id] = row
    positions = [position for own in places.values() for position in own]
    here = {"airframe__in": list(places), "position__in": {*positions}}
    placed = PlacementAct.objects.filter(placed=True, **here).order_by()
    newest = placed.values_list("airframe", "position").annotate(Max("entry__pk"))
    last = {(airframe, position): entry for airframe, position, entry in newest}
    return {
        airframe: {
            position: row
            for position, row in own.items()
            if row.stays and last.get((airframe.pk, position), 0) < row.entry.pk
        }
        for airframe, own in places.items()
    }


def empty_place(airframe: Airframe, position: int) -> EmptyPlace | None:
    """What is in force at one position."""
    return empty_places([airframe])[airframe].get(position)
