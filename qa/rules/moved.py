"""A move that was made, as acts keep it."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from qa.models import Check
from qa.rules.station_places import places_of
from shop.numeric.units import to_nm

Changes = dict[str, list[int]]  # {station: [gap nm, flushness nm]}


@dataclass(frozen=True)
class Moved:
    """A move that was made, in words and amounts, and what it should change.

    changes: {fit-up key: {station: [gap nm, flushness nm]}}. beside: (check, the same)
    of joints at which the part that was moved is the surround.
    """

    words: str
    amounts: list[dict]
    changes: dict[int, Changes]
    beside: tuple[tuple[Check, Changes], ...] = ()


def rows_around(around, here: int):
    """Yield (places (n, 3) mm, rows) of each joint at which the part in a position is
    the surround: the rows that lie against it."""
    for joint in around:
        state = joint.state
        own, stations = state.joint.surround_id, state.seam.stations
        rows = [
            n
            for n, station in enumerate(stations)
            if (station.surround_id or own) == here
        ]
        yield places_of(stations)[0], rows


def changes_at(
    joint, displaced: Callable[[np.ndarray], np.ndarray], position_id: int | None = None
) -> Changes:
    """What a displacement of places (n, 3) mm does at the stations of a joint: of its
    part, or of the surround in a position, at the stations that lie against it."""
    state = joint.state
    places, gaps, faces = places_of(state.seam.stations)
    shift, own = displaced(places), state.joint.surround_id
    if position_id is not None:
        shift = -shift
    return {
        station.label: [
            -to_nm(float(shift[row] @ gaps[row])),
            to_nm(float(shift[row] @ faces[row])),
        ]
        for row, station in enumerate(state.seam.stations)
        if position_id in (None, station.surround_id or own)
    }
