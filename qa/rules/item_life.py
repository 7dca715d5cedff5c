"""The life of a nonconformance: which act is whose, and where it leads.

MOVES is the table that DEVELOPERS.md prints and tests/qa/test_item_life.py tries whole.
"""

from dataclasses import dataclass

from django.db.models import Max

from qa.models import (
    AppliedMove,
    Disposition,
    Nonconformance,
    NonconformanceState,
    NonconformanceStep,
    ShimStack,
    State,
    TrimCut,
)
from shop import roles
from shop.models import Part, PartState, StructuralClass
from shop.rules import scrapping
from shop.rules.reach import reach

Verb = NonconformanceStep.Verb
# The states of the table. What is used as it is waits for no work.
AS_IS = "used as is"
PLACES = (*State.values[:3], AS_IS, *State.values[3:])
UNDECIDED = (State.FOUND, State.CONTAINED)
NOT_CLOSED = tuple(place for place in PLACES if place != State.CLOSED)
DESIGN_AUTHORITY = (Disposition.USE_AS_IS, Disposition.REPAIR)
ENGINEERS = "Use as is and repair are the engineer's to decide."
SAME = ""


@dataclass(frozen=True)
class Move:
    """An act: from which states, whose right it is, where it leads ("": stays)."""

    come_from: tuple[str, ...]
    right: str
    to: str = SAME


MOVES: dict[str, Move] = {
    Verb.CONTAIN: Move(UNDECIDED, "contain nonconformances", State.CONTAINED),
    Verb.DISPOSE: Move(UNDECIDED, "dispose nonconformances", State.DISPOSITIONED),
    Verb.WORK: Move((State.DISPOSITIONED,), "work on nonconformances", State.WORKED),
    Verb.VERIFY: Move((State.WORKED, AS_IS), "close nonconformances", State.VERIFIED),
    Verb.CLOSE: Move((State.VERIFIED,), "close nonconformances", State.CLOSED),
    Verb.EXPLAIN: Move(NOT_CLOSED, "explain nonconformances"),
    Verb.ASSIGN: Move(NOT_CLOSED, "hand on nonconformances"),
    Verb.REMARK: Move(PLACES, "comment"),
    Verb.REOPEN: Move(
        tuple(place for place in PLACES if place not in UNDECIDED),
        "close nonconformances",
        State.FOUND,
    ),
}


def place_of(standing: NonconformanceState) -> str:
    """Where an item stands in the table."""
    decided = standing.state == State.DISPOSITIONED
    if decided and standing.disposition == Disposition.USE_AS_IS:
        return AS_IS
    return standing.state


def undecided(standing: NonconformanceState) -> bool:
    return standing.state in UNDECIDED


def offered(standing: NonconformanceState) -> list[str]:
    """The acts that are possible now, what moves it on first."""
    here = place_of(standing)
    return [verb for verb, move in MOVES.items() if here in move.come_from]


def moved_on_by(standing: NonconformanceState) -> str:
    """Who can move it on, in words; "" where it is closed."""
    moves_on = (Verb.DISPOSE, Verb.WORK, Verb.VERIFY, Verb.CLOSE)
    for verb in offered(standing):
        if verb in moves_on:
            return roles.who_may(MOVES[verb].right)
    return ""


def dispositions_of(person) -> list[Disposition]:
    """What this person may decide: the design authority's are the engineer's."""
    engineer = person.role == "engineer"
    return [
        disposition
        for disposition in Disposition
        if engineer or disposition not in DESIGN_AUTHORITY
    ]


def engineers_only(person) -> dict[Disposition, str]:
    """Why this person does not decide some things, of whatever item."""
    theirs = dispositions_of(person)
    return {way: ENGINEERS for way in Disposition if way not in theirs}


def decidable(item: Nonconformance, person) -> list[Disposition]:
    """The same of one item."""
    barred = not_decidable(item, person)
    return [disposition for disposition in Disposition if disposition not in barred]


def not_decidable(item: Nonconformance, person) -> dict[Disposition, str]:
    """Why this person does not decide something of an item, by what that is: what names
    no serial, or sits on an airframe, is not scrapped, and what was scrapped stays
    so."""
    if scrapped(item):
        others = [way for way in Disposition if way != Disposition.SCRAP]
        return dict.fromkeys(others, f"{item.part} was scrapped, for good.")
    barred = engineers_only(person)
    if why := not_scrapped(item):
        barred[Disposition.SCRAP] = why
    return barred


def not_scrapped(item: Nonconformance) -> str:
    """Why the serial of an item is not scrapped; "" where it can be."""
    if item.part is None:
        return f"{item.label} names no serial that could be scrapped."
    if scrapping.refusal(item.part):
        return f"{item.part} sits on an airframe: take it off first, then scrap it."
    return ""


def refusal(item: Nonconformance, standing, verb: str, person) -> str:
    """Why this person does not do it now, whatever is said with it; "" where nothing
    on record is against it. The page and the act ask the same."""
    if verb == Verb.CLOSE and not standing.cause:
        return "State the cause before it is closed."
    if verb == Verb.VERIFY and standing.disposition == Disposition.USE_AS_IS:
        if standing.disposed_by_id == person.pk:
            return "You decided to use it as it is: somebody else verifies the item."
    elif verb == Verb.VERIFY and person.pk in doers(item):
        return "You did the work: somebody else verifies it."
    return ""


def serials(item: Nonconformance) -> list[Part]:
    """The part it was found on, and both sides of the fit-up where it was measured."""
    parts = [item.part]
    if item.fit_check_id:
        parts += [item.fit_check.fit_up.part, item.fit_check.fit_up.surround_part]
    return list(dict.fromkeys(name for name in parts if name))


def structural_class(item: Nonconformance) -> str:
    """The class of the structure it was found on: the more severe of the part and of
    what it was fitted against; "" where neither is named."""
    classes = {serial.design.structural_class for serial in serials(item)}
    return next((value for value in StructuralClass.values if value in classes), "")


def needs_concession(item: Nonconformance) -> bool:
    """Primary structure, or nobody knows that it is not."""
    return structural_class(item) in ("", StructuralClass.PRIMARY)


def scrapped(item: Nonconformance) -> bool:
    return bool(item.part and item.part.state == PartState.SCRAPPED)


def doers(item: Nonconformance) -> set[int]:
    """Keys of who did the work since it was found: who said so, and who cut, moved,
    set or shimmed the part or its surround."""
    steps = item.steps.filter(verb=Verb.WORK).values_list("entry__by", flat=True)
    people = set(steps)
    parts = [serial.pk for serial in serials(item)]
    since = {"entry__pk__gt": item.entry.pk}
    for rows in (
        TrimCut.objects.filter(part__in=parts, **since),
        AppliedMove.objects.filter(fit_up__part__in=parts, **since),
        ShimStack.objects.filter(part__in=parts, **since),
    ):
        people |= set(rows.order_by().values_list("entry__by", flat=True).distinct())
    return people - {None}


def by_doers(item: Nonconformance, facts) -> str:
    """Names of those who did the work and also recorded some of these facts."""
    people = doers(item)
    mine = (fact.entry for fact in facts if fact.entry.by_id in people)
    return ", ".join(dict.fromkeys(entry.by.name for entry in mine))


def last_worked(item: Nonconformance) -> int:
    """The key of the entry that said last that the work was done; 0 before any."""
    steps = item.steps.filter(verb=Verb.WORK)
    return steps.aggregate(last=Max("entry__pk"))["last"] or 0


# What something can have come from: things with a name, not those who did it.
ORIGINS = (
    *("part", "pull", "cure", "laminate", "lot", "coat", "tool"),
    *("step", "milling", "machine"),
)


def origins(item: Nonconformance) -> dict[str, set[int]]:
    """Keys by kind of what the serials of an item came from, what is nearest first."""
    sources: dict[str, set[int]] = {kind: set() for kind in ORIGINS}
    for part in serials(item):
        above = reach("part", part.pk, down=False)
        for kind in ORIGINS:
            sources[kind] |= above[kind]
        sources["part"].add(part.pk)
    return {kind: keys for kind, keys in sources.items() if keys}
