"""Temporary items, piece by piece: which act moves a piece from where to where.

MOVES is the table that DEVELOPERS.md prints and tests/qa/test_temporary.py tries whole.
"""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from shop.models import (
    Person,
    TemporaryItem,
    TemporaryKind,
    TemporaryState,
    TemporaryVerb,
)

# Where a piece is: columns of TemporaryState. A hole is drilled and then filled.
PIECES = ("inside", "missing", "out", "released")
# Sizes of spring clecos, by the drill they are named for.
SIZES = ("3/32 in", "1/8 in", "5/32 in", "3/16 in", "1/4 in")
SIZES += ("2.5 mm", "3 mm", "3.3 mm", "4 mm", "5 mm", "6 mm")
MOST = 10_000


@dataclass(frozen=True)
class Move:
    """An act on pieces: from where (the first that has some), whose right, to where."""

    come_from: tuple[str, ...]
    right: str
    to: str


MOVES: dict[str, Move] = {
    TemporaryVerb.TAKE_OUT: Move(("inside",), "handle temporary items", "out"),
    TemporaryVerb.MISS: Move(("inside",), "handle temporary items", "missing"),
    TemporaryVerb.FIND: Move(("missing", "released"), "handle temporary items", "out"),
    TemporaryVerb.RELEASE: Move(("missing",), "release temporary items", "released"),
}


def can_move(kind: str, state: TemporaryState, verb: str) -> int:
    """How many pieces an act can move now; a hole cannot be lost."""
    if kind == TemporaryKind.HOLE and verb != TemporaryVerb.TAKE_OUT:
        return 0
    return sum(getattr(state, place) for place in MOVES[verb].come_from)


def possible(kind: str, state: TemporaryState) -> list[str]:
    return [verb for verb in MOVES if can_move(kind, state, verb)]


def refusal(item: TemporaryItem, verb: str, person: Person) -> str:
    """Why this person does not do an act that the table allows; "" where they may."""
    if verb != TemporaryVerb.RELEASE:
        return ""
    missed = item.steps.filter(verb=TemporaryVerb.MISS, entry__by=person)
    if item.entry.by_id == person.pk or missed.exists():
        return _("You put it in or missed it: another inspector releases it.")
    return ""


def move(state: TemporaryState, verb: str, count: int, spots: list[str]) -> None:
    """Move pieces in a state that has them; used by the acts and by who rebuilds."""
    left = count
    for place in MOVES[verb].come_from:
        moved = min(left, getattr(state, place))
        setattr(state, place, getattr(state, place) - moved)
        left -= moved
    to = MOVES[verb].to
    setattr(state, to, getattr(state, to) + count)
    state.spots = [spot for spot in state.spots if spot not in spots]


def state_key(kind: str, state: TemporaryState) -> str:
    """The row of shop.wording.states that tells an item whole, the worst first."""
    hole = kind == TemporaryKind.HOLE
    if state.missing:
        return "missing"
    if state.inside:
        return "hole_open" if hole else "inside"
    if state.released:
        return "let_go"
    return "hole_filled" if hole else "taken_out"
