"""Airframe types, airframes, the tree of positions, and what is put where."""

from django.utils.translation import gettext as _

from shop import roles
from shop.actions.locks import hold_row
from shop.ledger import Refused, perform
from shop.models import (
    Airframe,
    AirframeType,
    EmptyPlace,
    Hand,
    Part,
    PartState,
    Person,
    Placement,
    PlacementAct,
    Position,
)
from shop.rules import belonging, cure_states
from shop.rules.empty_places import empty_place
from shop.rules.reasons import ask_why

SEPARATOR = " / "


def define_type(*, by: Person, code: str, name: str) -> AirframeType:
    roles.require(by, "define airframes")
    with perform("airframe_type/1", by=by, said={"code": code, "name": name}) as act:
        kind = AirframeType(code=code, name=name)
        kind.full_clean()
        kind.save()
        act.result = {"type": kind.pk}
    return kind


def add_airframe(
    *, by: Person, type: AirframeType, serial: str, line_number: int, name: str = ""
) -> Airframe:
    roles.require(by, "define airframes")
    content = {"type": type.code, "serial": serial, "line": line_number, "name": name}
    with perform("airframe/1", by=by, said=content) as act:
        airframe = Airframe(
            type=type, serial=serial, line_number=line_number, name=name
        )
        if type.airframes.filter(line_number=line_number).exists():
            message = _("Another airframe of this type has this line number.")
            raise Refused(message, field="line_number")
        airframe.full_clean()
        airframe.save()
        act.result = {"airframe": airframe.pk}
    return airframe


def _path(parent: Position | None, name: str) -> str:
    return f"{parent.path}{SEPARATOR}{name}" if parent else name


def _check_position(position: Position) -> None:
    parent = position.parent
    if parent and parent.type_id != position.type_id:
        raise Refused(_("That position is on another type."), field="parent")
    taken = position.type.positions.exclude(pk=position.pk)
    if taken.filter(code=position.code).exists():
        raise Refused(_("This code is taken on this type."), field="code")
    if len(position.path) > Position._meta.get_field("path").max_length:
        raise Refused(_("The names down to here are too long."), field="name")


def add_position(
    *,
    by: Person,
    type: AirframeType,
    code: str,
    name: str,
    parent: Position | None = None,
    hand: str = Hand.NONE,
    part_number: str = "",
) -> Position:
    roles.require(by, "define airframes")
    content = {
        "type": type.code,
        "code": code,
        "name": name,
        "parent": parent and parent.code,
        "hand": hand,
        "part_number": part_number,
    }
    with perform("position/1", by=by, said=content) as act:
        position = Position(
            type=type,
            parent=parent,
            code=code,
            name=name,
            path=_path(parent, name),
            hand=hand or Hand.NONE,
            part_number=part_number,
        )
        _check_position(position)
        position.full_clean()
        position.save()
        act.result = {"position": position.pk}
    return position


def change_position(
    *,
    by: Person,
    position: Position,
    code: str,
    name: str,
    parent: Position | None = None,
    hand: str | None = None,
    part_number: str | None = None,
) -> Position:
    """Rename or move a position; the paths of all below it follow. A hand and a part
    number that are not given stay."""
    roles.require(by, "define airframes")
    content = {
        "position": position.pk,
        "code": code,
        "name": name,
        "parent": parent and parent.code,
        "hand": hand,
        "part_number": part_number,
    }
    with perform("position_change/1", by=by, said=content):
        rows = position.type.positions.select_for_update(of=("self",), no_key=True)
        tree = {row.pk: row for row in rows}
        position = tree[position.pk]
        above = tree.get(parent.pk) if parent else None
        if parent and above is None:
            raise Refused(_("That position is on another type."), field="parent")
        if position.pk in {row.pk for row in _line(above, tree)}:
            raise Refused(_("A position cannot be part of itself."), field="parent")
        position.code, position.name, position.parent = code, name, above
        position.hand = position.hand if hand is None else hand or Hand.NONE
        if part_number is not None:
            position.part_number = part_number
        position.path = _path(above, name)
        _check_position(position)
        position.full_clean()
        columns = ["code", "name", "parent", "path", "hand", "part_number"]
        position.save(update_fields=columns)
        _follow(position, tree)
    return position


def _line(position: Position | None, tree: dict) -> list[Position]:
    """The position and everything above it."""
    line = []
    while position:
        line.append(position)
        position = tree.get(position.parent_id)
    return line


def _follow(position: Position, tree: dict) -> None:
    for child in [row for row in tree.values() if row.parent_id == position.pk]:
        child.path = _path(position, child.name)
        child.save(update_fields=["path"])
        _follow(child, tree)


def _sits(where: Placement) -> str:
    return f"{where.airframe.serial}, {where.position.path}"


def _check_place(airframe, position, part, reason) -> dict[str, str]:
    """Refuse what cannot be, ask about what is unusual; return what was asked."""
    if position.type_id != airframe.type_id:
        message = _("%(position)s is not on airframes of type %(type)s.")
        values = {"position": position.path, "type": airframe.type.code}
        raise Refused(message % values, field="position")
    if part.state == PartState.SCRAPPED:
        raise Refused(_("Scrapped: it can never be placed again."), field="part")
    if part.design.is_coupon:
        raise Refused(_("A test coupon is never placed."), field="part")
    open_placements = Placement.objects.filter(removed_at=None).select_related(
        "airframe", "position", "part"
    )
    if now := open_placements.filter(part=part).first():
        message = _("It sits in %(place)s. Take it out there first.")
        raise Refused(message % {"place": _sits(now)}, field="part")
    if now := open_placements.filter(airframe=airframe, position=position).first():
        message = _("%(serial)s sits here. Take it out first.")
        raise Refused(message % {"serial": now.part.serial}, field="position")
    known = belonging.belonging([position])[position.pk]
    belonging.refuse_other_hand(part, position, known)
    questions = {
        **belonging.another_design(part, position, known),
        **belonging.before_its_parent(airframe, position),
    }
    if part.state == PartState.SUSPECT:
        message = _("This part is suspect. Say why it may be fitted all the same.")
        questions["suspect"] = message
    ask_why([*questions.values(), *cure_states.warnings_of(part)], reason)
    return questions


def place_part(
    *,
    by: Person,
    airframe: Airframe,
    position: Position,
    part: Part,
    note: str = "",
    reason: str = "",
) -> Placement:
    """Put a part into a position. Refused when either is taken, the part scrapped or of
    the other hand; a part of another number, or one placed before the thing it sits in,
    asks for a reason."""
    roles.require(by, "place parts")
    content = {
        "airframe": airframe.serial,
        "position": position.code,
        "part": part.serial,
        "note": note,
        "reason": reason,
    }
    with perform("place/1", by=by, said=content) as act:
        lock = Part.objects.select_related("design").select_for_update(
            of=("self",), no_key=True
        )
        part = lock.get(pk=part.pk)
        hold_row(Airframe, airframe.pk)
        questions = _check_place(airframe, position, part, reason)
        act.record(
            PlacementAct(
                part=part,
                airframe=airframe,
                position=position,
                placed=True,
                note=reason or note,
                questions=",".join(questions),
            )
        )
        return Placement.objects.create(
            part=part,
            airframe=airframe,
            position=position,
            placed_by_entry_id=act.id,
            placed_at=act.now,
        )


def remove_part(*, by: Person, placement: Placement, reason: str) -> Placement:
    """Take a part out of where it sits; who and why are kept."""
    roles.require(by, "place parts")
    content = {"placement": placement.pk, "reason": reason}
    with perform("remove/1", by=by, said=content) as act:
        if not reason.strip():
            raise Refused(_("Say why it comes out."), field="reason")
        # The part is locked first, as when placing: one order of locks everywhere.
        hold_row(Part, placement.part_id)
        placement = hold_row(Placement, placement.pk)
        if placement.removed_at:
            raise Refused(_("It was taken out already."), code="conflict")
        act.record(
            PlacementAct(
                part_id=placement.part_id,
                airframe_id=placement.airframe_id,
                position_id=placement.position_id,
                placed=False,
                note=reason,
            )
        )
        placement.removed_at = max(act.now, placement.placed_at)
        placement.removed_by_entry_id = act.id
        placement.save(update_fields=["removed_at", "removed_by_entry"])
    return placement


def leave_empty(
    *, by: Person, airframe: Airframe, position: Position, stays: bool, reason: str
) -> EmptyPlace:
    """Say that a position is meant to stay empty, or take that back (`stays` False)."""
    roles.require(by, "leave places empty")
    content = {"airframe": airframe.serial, "position": position.path}
    content |= {"stays": stays, "reason": reason}
    with perform("empty_place/1", by=by, said=content) as act:
        if not reason.strip():
            raise Refused(_("Say why."), field="reason")
        if position.type_id != airframe.type_id:
            raise Refused(_("This is no position of this airframe."))
        # Held as when a part is placed: of both at once the second sees the first.
        airframe = hold_row(Airframe, airframe.pk)
        sits = {"airframe": airframe, "position": position, "removed_at": None}
        if stays and Placement.objects.filter(**sits).exists():
            raise Refused(_("A part sits here: take it out first."), code="conflict")
        if stays == bool(empty_place(airframe, position.pk)):
            already, nobody = _("That is said already."), _("Nobody says that now.")
            raise Refused(already if stays else nobody, code="done")
        where = {"airframe": airframe, "position": position}
        row = act.record(EmptyPlace(**where, stays=stays, reason=reason.strip()))
        act.result = {"position": position.path, "stays": stays}
    return row
