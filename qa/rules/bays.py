"""Bays: a position with what lies below it."""

from qa.models import Joint
from shop.models import Position


def covers(bay: Position, path: str) -> bool:
    """Whether a path is that of a bay, or of what lies below it."""
    return path == bay.path or path.startswith(f"{bay.path} / ")


def is_at(joint: Joint, bay: Position) -> bool:
    """Whether a side of a joint lies in a bay, or the bay within the fitted part."""
    sides = joint.position, joint.surround
    return any(covers(bay, side.path) for side in sides) or covers(
        joint.position, bay.path
    )
