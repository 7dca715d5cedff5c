"""What the shop owns and makes, and the ledger of what was done to it."""

from .airframes import (
    Airframe,
    AirframeType,
    Hand,
    Lineage,
    Origin,
    Part,
    PartDesign,
    PartState,
    Placement,
    PlacementAct,
    Position,
    StructuralClass,
)
from .ledger import Counter, Entry, Fact, Incarnation, Seal
from .people import Person, Role, Unit

__all__ = [
    "Airframe",
    "AirframeType",
    "Counter",
    "Entry",
    "Fact",
    "Hand",
    "Incarnation",
    "Lineage",
    "Origin",
    "Part",
    "PartDesign",
    "PartState",
    "Person",
    "Placement",
    "PlacementAct",
    "Position",
    "Role",
    "Seal",
    "StructuralClass",
    "Unit",
]
