"""What belongs in a position, and what speaks against a part there.

What the shop stated about the position decides: its hand and its part number. Where it
stated nothing, the designs that sat there before without a question tell. What is
physically impossible is refused; what is only unusual is asked about, and the reason is
kept on the fact (`questions` are the codes of what was asked).
"""

from collections import defaultdict
from dataclasses import dataclass, field

from django.utils.translation import gettext as _

from shop.ledger import Refused
from shop.models import Airframe, Hand, Part, Placement, PlacementAct, Position

DESIGN, BEFORE, SURROUND = "design", "before", "surround"
HANDED = (Hand.LEFT, Hand.RIGHT)


@dataclass
class Belonging:
    """The part numbers and the hand that belong in a position, as far as known."""

    numbers: set[str] = field(default_factory=set)
    hands: set[str] = field(default_factory=set)

    @property
    def hand(self) -> str:
        """Left or right where all that is known agrees, else ""."""
        (hand, *more) = self.hands or {""}
        return hand if hand in HANDED and not more else ""


def belonging(positions: list[Position]) -> dict[int, Belonging]:
    """Return by position what belongs there, in one statement."""
    sat = defaultdict(set)
    acts = PlacementAct.objects.filter(
        position__in=positions, placed=True, questions=""
    ).values_list("position_id", "part__design__number", "part__design__hand")
    for key, number, hand in acts.distinct():
        sat[key].add((number, hand))
    return {position.pk: _known(position, sat[position.pk]) for position in positions}


def _known(position: Position, sat: set) -> Belonging:
    numbers = {position.part_number} - {""} or {number for number, _hand in sat}
    hands = {position.hand} & set(HANDED) or {hand for _number, hand in sat}
    return Belonging(numbers, hands)


def refuse_other_hand(part: Part, position: Position, known: Belonging) -> None:
    """Refuse a part of the other hand: it cannot sit there."""
    hand = part.design.hand
    if hand not in HANDED or known.hand in ("", hand):
        return
    values = {
        "part": part.serial,
        "hand": Hand(hand).label,
        "where": position.path,
        "other": Hand(known.hand).label,
    }
    message = _(
        "%(part)s is a %(hand)s-hand part, and %(where)s takes %(other)s-hand ones. If "
        "that is wrong, change the hand of the position."
    )
    raise Refused(message % values, field="part")


def another_design(part: Part, position: Position, known: Belonging) -> dict[str, str]:
    """The question {code: words} about a part of another number; {} when it belongs."""
    if not known.numbers or part.design.number in known.numbers:
        return {}
    values = {
        "part": part.serial,
        "design": part.design.number,
        "where": position.path,
        "numbers": ", ".join(sorted(known.numbers)),
    }
    words = _("%(part)s is %(design)s; %(numbers)s belongs in %(where)s.")
    return {DESIGN: words % values}


def before_its_parent(airframe: Airframe, position: Position) -> dict[str, str]:
    """The question about a place whose own place is still empty."""
    parent = position.parent
    if (
        parent is None
        or Placement.objects.filter(
            airframe=airframe, position=parent, removed_at=None
        ).exists()
    ):
        return {}
    values = {"where": position.name, "parent": parent.path, "on": airframe.serial}
    words = _("%(where)s sits in %(parent)s, which is empty on %(on)s.")
    return {BEFORE: words % values}
