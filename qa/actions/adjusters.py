"""How a part is held: what holds it is stated anew as a whole."""

import math
from dataclasses import asdict, dataclass

from django.utils.translation import gettext as _

from qa.models import (
    Adjuster,
    AttachKind,
    AttachPoint,
    Holding,
    HoldingDirection,
    StepKind,
)
from qa.rules import adjusters as rules
from shop import roles
from shop.actions.locks import hold_row
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Position
from shop.numeric.units import E9

MOST_STEPS = 400
# What cannot be set: a pin says where the part is.
FIXED = (AttachKind.PIN,)


@dataclass(frozen=True)
class DirectionDraft:
    """Two words for one direction; any vector, its length does not matter."""

    plus: str
    minus: str
    vector: tuple[float, float, float]


@dataclass(frozen=True)
class AdjusterDraft:
    """One direction of a point; lengths in nm. `direction` is its place in the list."""

    point: str
    direction: int
    min_nm: int
    max_nm: int
    step_nm: int
    step_kind: str = StepKind.LENGTH
    turn_e3: int | None = None
    set_u_nm: int = 0


@dataclass(frozen=True)
class PointDraft:
    name: str
    kind: str
    place_nm: tuple[int, int, int]


@dataclass(frozen=True)
class HoldingDraft:
    """Everything that is stated about what holds a part."""

    directions: tuple[DirectionDraft, ...]
    points: tuple[PointDraft, ...]
    adjusters: tuple[AdjusterDraft, ...]
    note: str = ""


def define_holding(
    *, by, position: Position, draft: HoldingDraft, based_on: int | None = None
) -> Holding:
    """State how the part in a position is held, from here on.

    based_on: the number of the statement that was corrected; refused when another was
    made since. Settings that were made stay: they are kept by name.
    """
    roles.require(by, "define joints")
    units = _check(draft)
    with perform("holding/1", by=by, said=_content(position, draft)) as act:
        hold_row(Position, position.pk)
        newest = rules.holding_of(position)
        if based_on is not None and (newest.number if newest else 0) != based_on:
            raise Refused(
                _("Somebody stated this anew in the meantime: look at it first."),
                code="stale",
            )
        holding = Holding(
            position=position,
            number=next_number(f"holding:{position.pk}"),
            note=draft.note,
        )
        act.record(holding)
        _record(act, holding, draft, units)
        act.result = {"holding": str(holding.entry_id)}
    return holding


def _record(act, holding: Holding, draft: HoldingDraft, units) -> None:
    directions = [
        act.record(
            HoldingDirection(
                holding=holding,
                order=order,
                plus=direction.plus,
                minus=direction.minus,
                x_e9=unit[0],
                y_e9=unit[1],
                z_e9=unit[2],
            )
        )
        for order, (direction, unit) in enumerate(
            zip(draft.directions, units, strict=True)
        )
    ]
    points = {}
    for order, point in enumerate(draft.points):
        x, y, z = point.place_nm
        row = AttachPoint(
            holding=holding,
            order=order,
            name=point.name,
            kind=point.kind,
            x_nm=x,
            y_nm=y,
            z_nm=z,
        )
        points[point.name] = act.record(row)
    for order, adjuster in enumerate(draft.adjusters):
        act.record(
            Adjuster(
                point=points[adjuster.point],
                direction=directions[adjuster.direction],
                order=order,
                min_nm=adjuster.min_nm,
                max_nm=adjuster.max_nm,
                step_nm=adjuster.step_nm,
                step_kind=adjuster.step_kind,
                turn_e3=adjuster.turn_e3,
                set_u_nm=adjuster.set_u_nm,
            )
        )


def _check(draft: HoldingDraft) -> list[tuple[int, int, int]]:
    """Refuse what hands could not do; return the unit vectors in 1e-9."""
    kinds = {point.name: point.kind for point in draft.points}
    if len(kinds) != len(draft.points) or "" in kinds:
        raise Refused(_("Each place needs a name of its own."), field="points")
    if not draft.points:
        raise Refused(_("Name at least one place that holds the part."), field="points")
    words = [
        word
        for direction in draft.directions
        for word in (direction.plus, direction.minus)
    ]
    if len(set(words)) != len(words) or "" in words:
        raise Refused(
            _("Each direction needs two words, all of them different."),
            field="directions",
        )
    taken = set()
    for row, adjuster in enumerate(draft.adjusters):
        field = f"adjusters_{row}"
        if adjuster.point not in kinds:
            raise Refused(_("No place above has this name."), field=field)
        if kinds[adjuster.point] in FIXED:
            raise Refused(_("A locating pin cannot be set."), field=field)
        if (adjuster.point, adjuster.direction) in taken:
            raise Refused(
                _("%(point)s has this direction twice.") % {"point": adjuster.point},
                field=field,
            )
        taken.add((adjuster.point, adjuster.direction))
        if adjuster.min_nm > adjuster.max_nm:
            raise Refused(_("The range begins above its end."), field=field)
        if adjuster.step_nm <= 0:
            raise Refused(_("A step is more than 0."), field=field)
        if (adjuster.max_nm - adjuster.min_nm) // adjuster.step_nm > MOST_STEPS:
            raise Refused(
                _("That range has more than %(most)s steps: nobody sets so finely.")
                % {"most": MOST_STEPS},
                field=field,
            )
    return [_unit(direction) for direction in draft.directions]


def _unit(direction: DirectionDraft) -> tuple[int, int, int]:
    length = math.sqrt(sum(part * part for part in direction.vector))
    if not math.isfinite(length) or length < 1e-9:
        raise Refused(
            _("%(plus)s: a direction has a length.") % {"plus": direction.plus},
            field="directions",
        )
    x, y, z = (round(part / length * E9) for part in direction.vector)
    return x, y, z


def _content(position: Position, draft: HoldingDraft) -> dict:
    content = asdict(draft)
    for direction in content["directions"]:
        direction["vector"] = [f"{part:.9g}" for part in direction["vector"]]
    return {"position": position.path, "type": str(position.type), **content}
