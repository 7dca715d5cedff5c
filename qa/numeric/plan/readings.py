"""Readings at their places: what the planning of a fit needs to know of each.

A reading x moves to x + direction . D when its place moves by D: minus the gap
direction for a gap, the face direction for flushness and for the clearance to a land
beneath the part. Where several bodies move, D is that of the part less that of its
surround.
"""

from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.verdict.deviation import Scales
from shop.numeric.units import NM_PER_MM

FIELDS = ("rows", "gap", "values", "places", "directions", "weights", "floor", "sides")


@dataclass(frozen=True)
class Readings:
    """m readings: values (m,) mm, places and directions (m, 3), weights (m,) mm.

    `rows` (m,) are the numbers of their stations, `gap` (m,) says which are gaps, and
    no reading may be brought below its `floor` (m,): 0 for gaps and clearances, -inf
    for flushness. `sides` (m, b) say how a reading follows each body that moves: 1 that
    of its part, -1 that of its surround, 0 any other.
    """

    rows: np.ndarray
    gap: np.ndarray
    values: np.ndarray
    places: np.ndarray
    directions: np.ndarray
    weights: np.ndarray
    floor: np.ndarray
    sides: np.ndarray
    scales: Scales

    def __len__(self) -> int:
        return len(self.values)

    def take(self, rows) -> "Readings":
        """Some of the readings."""
        parts = (getattr(self, name)[rows] for name in FIELDS)
        return Readings(*parts, self.scales.take(rows))

    def with_values(self, values: np.ndarray) -> "Readings":
        """The same places and limits, other values (m,) mm."""
        return replace(self, values=values)

    def deviation(self, values: np.ndarray) -> np.ndarray:
        return self.scales.deviation(values)

    def conform(self, values: np.ndarray) -> np.ndarray:
        """Whether values (m,) mm conform, in whole nanometers as readings do."""
        return self.scales.conform(values)

    def all_right(self, values: np.ndarray) -> bool:
        """Whether all conform and none ends below its floor, in whole nanometers."""
        clear = np.rint(values * NM_PER_MM) >= self.floor * NM_PER_MM
        return bool((self.conform(values) & clear).all())

    def moved(self, freedom, step) -> tuple[np.ndarray, np.ndarray]:
        """Readings (m,) after the exact movement `step`, and their rates (m, k)."""
        along, slopes = freedom.lines(self.places, self.directions, self.sides, step)
        return self.values + along, slopes


def together(*parts: Readings) -> Readings:
    """Several sets of readings as one."""

    def all_of(things, name):
        return np.concatenate([getattr(thing, name) for thing in things])

    names = ("low", "high", "aim", "below", "above")
    scales = Scales(*(all_of([part.scales for part in parts], n) for n in names))
    return Readings(*(all_of(parts, name) for name in FIELDS), scales)
