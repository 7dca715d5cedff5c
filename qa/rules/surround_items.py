"""Open items on the surround of a joint. A shell is the surround of many joints, and
any item on it would keep all of them open: so each joint names them, and only one that
itself names the joint stands in its way."""

import re
from dataclasses import dataclass

from qa.models import Joint, Nonconformance, State
from qa.rules.result_staleness import placements_of
from qa.rules.seats import Sits, all_sits_in, places_of, whole_items
from qa.rules.staleness import JointState
from shop.models import Airframe


@dataclass(frozen=True)
class OnSurround:
    """An open item on what surrounds a joint, and whether it names that joint."""

    item: Nonconformance
    named: bool


def names(item: Nonconformance, joint: Joint) -> bool:
    """Whether an item is of a joint, or says its number in what was typed of it."""
    number = rf"(?<![\w-]){re.escape(joint.number)}(?![\w-])"
    typed = (item.title, item.place, item.found, item.requirement)
    return item.joint_id == joint.pk or any(
        re.search(number, text, re.IGNORECASE) for text in typed
    )


def around(joint: Joint, state: JointState | None) -> set[int]:
    """Keys of the positions whose edges lie opposite the fitted part."""
    stations = state.seam.stations if state else []
    return {joint.surround_id, *(x.surround_id for x in stations)} - {None}


def on_surround(
    joint: Joint,
    state: JointState | None,
    items: list[Nonconformance],
    sits_in: dict[int, list[Sits]],
) -> list[OnSurround]:
    """Of these items: what is open on whatever sits around a joint. No statement."""
    positions = around(joint, state)
    return [
        OnSurround(item, names(item, joint))
        for item in items
        if item.standing.state != State.CLOSED
        and any(x.position_id in positions for x in places_of(sits_in, item))
    ]


def load(
    joint: Joint, airframe: Airframe, state: JointState | None
) -> list[OnSurround]:
    """The same for one joint alone: a constant number of statements, and one for each
    generation of parts."""
    positions = around(joint, state)
    sitting = placements_of([airframe])[airframe]
    sitting = [x for x in sitting if x.position_id in positions]
    sits_in = all_sits_in({airframe: sitting})[airframe]
    rows = Nonconformance.objects.filter(part__in=list(sits_in))
    items = whole_items(rows.exclude(standing__state=State.CLOSED))
    return on_surround(joint, state, items, sits_in)
