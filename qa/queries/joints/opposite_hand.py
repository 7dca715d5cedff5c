"""The other hand of a position, a name and a number: what can be told for sure."""

import re

from qa.models import Joint
from shop.models import Hand, PartDesign, Position

OPPOSITE = {Hand.LEFT: Hand.RIGHT, Hand.RIGHT: Hand.LEFT}
_WORDS = (("left", "right"), ("port", "starboard"), ("lh", "rh"), ("l", "r"))
_OTHER = {a: b for pair in _WORDS for a, b in (pair, pair[::-1])}
_FIRST = {first for first, _second in _WORDS}
# A word or letter of its own: DOOR-L, Door left; not the l of "seal".
_HAND = re.compile(
    r"(?<![A-Za-z0-9])(" + "|".join(_OTHER) + r")(?![A-Za-z0-9])", re.IGNORECASE
)


def exchanged(text: str) -> str | None:
    """The text with left and right exchanged; None when it names no hand, or both."""
    hands = {word.lower() in _FIRST for word in _HAND.findall(text)}
    return _HAND.sub(_exchange, text) if len(hands) == 1 else None


def _exchange(match: re.Match) -> str:
    word, other = match[0], _OTHER[match[0].lower()]
    if word.isupper():
        return other.upper()
    return other.capitalize() if word[0].isupper() else other


def names_a_hand(position: Position) -> bool:
    words = f"{position.code} {position.path}"
    return position.hand in OPPOSITE or bool(_HAND.search(words))


def position_of_other_hand(position: Position) -> Position | None:
    """The one position on the type that is this one on the other side.

    By its code, else by its path, else by the part number of the mirrored design; None
    where none is found, several are, or a stated hand speaks against it.
    """
    rows = Position.objects.filter(type_id=position.type_id).exclude(pk=position.pk)
    hand = OPPOSITE.get(position.hand)
    rows = rows.filter(hand__in=(hand, Hand.NONE)) if hand else rows
    for field in ("code", "path"):
        if other := exchanged(getattr(position, field)):
            positions = list(rows.filter(**{field: other})[:2])
            if len(positions) == 1:
                return positions[0]
    designs = PartDesign.objects.filter(number=position.part_number)
    numbers = set(designs.exclude(mirror=None).values_list("mirror__number", flat=True))
    if hand and position.part_number and len(numbers) == 1:
        positions = list(rows.filter(hand=hand, part_number=numbers.pop())[:2])
        return positions[0] if len(positions) == 1 else None
    return None


def surround_of_other_hand(position: Position) -> Position | None:
    """As above; what is of neither hand, a fuselage, surrounds both."""
    if not names_a_hand(position):
        return position
    return position_of_other_hand(position)


def number_of_other_hand(joint: Joint) -> str:
    """The number with its hand exchanged, else the next; "" where that is taken."""
    taken = set(
        Joint.objects.filter(type_id=joint.type_id).values_list("number", flat=True)
    )
    other = exchanged(joint.number)
    if other:
        return "" if other in taken else other
    digits = re.fullmatch(r"(.*?)([0-9]{1,9})", joint.number)
    if digits is None or _HAND.search(joint.number):
        return ""
    stem, number = digits[1], digits[2]
    following = range(int(number) + 1, int(number) + len(taken) + 2)
    free = (f"{stem}{count:0{len(number)}d}" for count in following)
    return next(number for number in free if number not in taken)


def start_of_other_hand(joint: Joint) -> dict:
    """What the form of the joint of the other hand starts with; "" where unsure."""
    position = position_of_other_hand(joint.position)
    surround = surround_of_other_hand(joint.surround)
    return {
        "position": position.pk if position else "",
        "surround": surround.pk if surround else "",
        "number": number_of_other_hand(joint),
        "name": exchanged(joint.name) or "",
    }


def turn_surrounds(rows: list[dict], stations) -> None:
    """Name the surrounds of single stations by the other hand. One that is not found is
    named all the same, so that the form complains instead of taking another."""
    known = {
        station.surround.code: station.surround
        for station in stations
        if station.surround_id
    }
    turned: dict = {}
    for code, position in known.items():
        other = surround_of_other_hand(position)
        turned[code] = other.code if other else exchanged(code) or f"{code}?"
    for row in rows:
        if row.get("surround"):
            row["surround"] = turned[row["surround"]]
