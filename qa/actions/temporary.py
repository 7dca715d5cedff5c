"""Temporary items: put in, taken out, not found, found, released by the inspector."""

from uuid import UUID

from django.utils.translation import gettext as _

from qa.models import HolePattern, Joint, TemporaryPlace
from qa.rules import bays
from shop import roles
from shop.actions.locks import locked
from shop.actions.numbers import next_number
from shop.ledger import Act, Refused, perform
from shop.models import (
    Airframe,
    Person,
    Position,
    TemporaryItem,
    TemporaryKind,
    TemporaryState,
    TemporaryStep,
    TemporaryVerb,
)
from shop.rules import temporary


def put_in(
    *,
    by: Person,
    airframe: Airframe,
    bay: Position,
    kind: str,
    count: int,
    why: str,
    size: str = "",
    place: str = "",
    spots: list[str] = (),
    joint: Joint | None = None,
    pattern: HolePattern | None = None,
    stands_for: str = "",
    owner: str = "",
) -> TemporaryItem:
    """Say that so many of one kind went into a bay, at a joint or into holes of a
    pattern, and why."""
    roles.require(by, "handle temporary items")
    content = {"kind": kind, "count": count, "spots": list(spots)}
    texts = {"size": size, "place": place, "why": why}
    texts |= {"stands_for": stands_for, "owner": owner}
    content |= {name: text.strip() for name, text in texts.items()}
    item = TemporaryItem(airframe=airframe, bay=bay, **content)
    content |= {"airframe": airframe.serial, "bay": bay.pk}
    content |= {"joint": joint and joint.number, "pattern": pattern and pattern.number}
    with perform("temporary_in/1", by=by, said=content) as act:
        locked(airframe)
        _refuse_item(item)
        _refuse_place(item, joint, pattern)
        item.number = next_number(f"temporary:{airframe.pk}")
        item.full_clean(exclude=["entry"])
        act.record(item)
        if joint or pattern:
            act.record(TemporaryPlace(item=item, joint=joint, pattern=pattern))
        _begin(act, item)
        act.result = {"item": item.label}
    return item


def _begin(act: Act, item: TemporaryItem) -> None:
    TemporaryState.objects.create(
        item=item,
        count=item.count,
        inside=item.count,
        spots=item.spots,
        last_entry_id=act.id,
    )


def _refuse_item(item: TemporaryItem) -> None:
    if item.kind not in TemporaryKind.values:
        raise Refused(_("Choose what it is."), field="kind")
    if not 1 <= item.count <= temporary.MOST:
        raise Refused(_("Say how many: 1 or more."), field="count")
    if not item.why:
        raise Refused(_("Say why it is in."), field="why")
    cleco = item.kind == TemporaryKind.CLECO
    if cleco and item.size not in temporary.SIZES:
        raise Refused(_("Clecos are counted by size: choose it."), field="size")
    if item.kind == TemporaryKind.MOCK_UP and not item.stands_for:
        message = _("Say which real part it stands in for.")
        raise Refused(message, field="stands_for")
    if item.kind == TemporaryKind.BORROWED and not item.owner:
        raise Refused(_("Say whose it is."), field="owner")


def _refuse_place(item: TemporaryItem, joint, pattern: HolePattern | None) -> None:
    kind = item.airframe.type_id
    if item.bay.type_id != kind:
        raise Refused(_("That bay is of another type of airframe."), field="bay")
    if joint and joint.type_id != kind:
        raise Refused(_("That joint is of another type of airframe."), field="joint")
    if joint and not bays.is_at(joint, item.bay):
        raise Refused(_("That joint is in another bay."), field="joint")
    if pattern is None:
        if item.spots:
            raise Refused(_("Name the pattern of these holes."), field="spots")
        return
    if pattern.joint and pattern.joint.type_id != kind:
        raise Refused(_("That pattern is of another type of airframe."), field="spots")
    if len(set(item.spots)) != item.count or len(item.spots) != item.count:
        raise Refused(_("One in each hole: choose the holes."), field="spots")
    known = set(pattern.current.holes.values_list("label", flat=True))
    if odd := [spot for spot in item.spots if spot not in known]:
        message = _("The pattern has no hole %(hole)s.")
        raise Refused(message % {"hole": ", ".join(odd)}, field="spots")
    there = TemporaryState.objects.filter(
        item__airframe=item.airframe, item__at__pattern=pattern, inside__gt=0
    )
    full = {spot for spots in there.values_list("spots", flat=True) for spot in spots}
    if taken := [spot for spot in item.spots if spot in full]:
        message = _("There is one in already: %(holes)s.")
        raise Refused(message % {"holes": ", ".join(taken)}, field="spots")


def step(
    *,
    by: Person,
    item: TemporaryItem,
    verb: str,
    count: int,
    based_on: UUID,
    spots: list[str] = (),
    note: str = "",
) -> TemporaryStep:
    """Take out, miss, find or release pieces of an item; what stands in named holes is
    named (`spots`). Other pieces have no names: refused where somebody moved one since
    the act it is based on, for it may be the same one."""
    roles.require(by, "handle temporary items")
    if verb not in temporary.MOVES:
        raise Refused(_("There is no such act."))
    roles.require(by, temporary.MOVES[verb].right)
    content = {"item": item.label, "airframe": item.airframe.serial, "verb": verb}
    content |= {"count": count, "spots": list(spots), "note": note}
    content["based_on"] = str(based_on)
    with perform(f"temporary_{verb}/1", by=by, said=content) as act:
        state = locked(TemporaryState(pk=item.pk))
        if not spots and state.last_entry_id != based_on:
            message = _("Somebody moved some of these meanwhile. Look at it first.")
            raise Refused(message, code="stale")
        made = _step(act, item, state, verb, count, list(spots), note)
        act.result = {"inside": state.inside, "missing": state.missing}
    return made


def take_out_of_holes(
    *,
    by: Person,
    airframe: Airframe,
    pattern: HolePattern,
    spots: list[str],
    note: str = "",
) -> list[TemporaryStep]:
    """Take out what stands in these holes, of whatever size: all of them or none."""
    roles.require(by, "handle temporary items")
    content = {"airframe": airframe.serial, "pattern": pattern.number}
    content |= {"spots": list(spots), "note": note}
    with perform("temporary_out_of_holes/1", by=by, said=content) as act:
        if not spots:
            raise Refused(_("Choose the holes."), field="spots")
        lock = TemporaryState.objects.select_for_update(of=("self",), no_key=True)
        states = list(
            lock.filter(item__airframe=airframe, item__at__pattern=pattern)
            .filter(inside__gt=0)
            .select_related("item")
            .order_by("pk")
        )
        left = set(spots)
        made = []
        for state in states:
            mine = [spot for spot in state.spots if spot in left]
            if mine:
                left -= set(mine)
                verb = TemporaryVerb.TAKE_OUT
                made.append(_step(act, state.item, state, verb, len(mine), mine, note))
        if left:
            message = _("Nothing is in there now: %(holes)s.")
            holes = ", ".join(spot for spot in spots if spot in left)
            raise Refused(message % {"holes": holes}, field="spots", code="stale")
    return made


def _step(
    act: Act,
    item: TemporaryItem,
    state: TemporaryState,
    verb: str,
    count: int,
    spots: list[str],
    note: str,
) -> TemporaryStep:
    """Move pieces of an item whose state is held; refused where they are not there."""
    there = temporary.can_move(item.kind, state, verb)
    if count < 1 or count > there:
        message = _("%(there)s of these can be: say how many of them.")
        if not there:
            message = _("That was done already: it is as the page says now.")
        raise Refused(message % {"there": there}, field="count", code="stale")
    leaves = "inside" in temporary.MOVES[verb].come_from
    if leaves and state.spots:
        if count == state.inside and not spots:
            spots = list(state.spots)
        named = set(spots)
        if not len(named) == len(spots) == count or named - set(state.spots):
            raise Refused(_("Choose as many holes that it is in."), field="spots")
    elif spots:
        raise Refused(_("It is in no named hole."), field="spots")
    if verb == TemporaryVerb.RELEASE:
        _refuse_release(act.by, item, note)
    made = TemporaryStep(item=item, verb=verb, count=count, spots=spots, note=note)
    made.note = note.strip()
    made.full_clean(exclude=["entry"])
    act.record(made)
    temporary.move(state, verb, count, spots)
    state.last_entry_id = act.id
    state.save()
    return made


def _refuse_release(by: Person, item: TemporaryItem, note: str) -> None:
    if not note.strip():
        raise Refused(_("Say why it may be closed without it."), field="note")
    if why := temporary.refusal(item, TemporaryVerb.RELEASE, by):
        raise Refused(why)
