"""Bays: a position with what lies below it."""

from qa.models import Joint
from shop.models import Position


def is_at(joint: Joint, bay: Position) -> bool:
    """Whether a side of a joint lies in a bay, or the bay within the fitted part."""
    sides = joint.position, joint.surround
    return any(bay.covers(side.path) for side in sides) or joint.position.covers(
        bay.path
    )
