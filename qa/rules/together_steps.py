"""From one plan of several parts to a plan for each, and the order in which to do them.

Each goes as far as all may go with the next bites. What the parts that are done by then
run into, until the rest has gone too, is told; the order is one that does so least.
"""

from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

from qa.models import Kind
from qa.numeric.plan.known import doubts
from qa.numeric.plan.result import Plan, Reason
from qa.rules import next_moves
from qa.rules.planning import PlannedJoint, WorkedPlan, measured_at, tell_stations
from qa.rules.shared_plans import Shared, SharedPart
from qa.rules.station_places import places_of
from shop.numeric.units import NM_PER_UM, to_mm, to_nm

MOST_ORDERED = 4  # parts: more are done in the order of the numbers
TOLD = ("again", "between_beyond")


def share_out(
    together, worked: dict[int, WorkedPlan], joints: list[PlannedJoint], keys: list[int]
) -> None:
    """Give every part of `found` (assembling.Together) its own plan; `keys` are the
    positions of the bodies."""
    plan = together.plan
    for key, part in worked.items():
        own, shared = plan.own[keys.index(key)]
        part.plan = _with_doubts(shared, part, [plan.joints[joint] for joint in own])
        tell_stations(part)
    sits = all(next_moves.sits_alone(part) for part in worked.values())
    share = min(next_moves.own_share(part) for part in worked.values())
    seams = [_seam(joint, worked, share) for joint in joints]
    usual = [keys[body] for body in plan.order if keys[body] in worked]
    order = _order(usual, seams)
    parts = tuple(
        SharedPart(
            together.members[key].serial,
            together.hows[key],
            tuple(joint.state.joint.number for joint in worked[key].joints)
            if key in worked
            else (),
        )
        for key in [*order, *(key for key in together.hows if key not in worked)]
    )
    for place, key in enumerate(order, 1):
        part = worked[key]
        part.shared = Shared(
            parts=parts,
            order=place,
            sits=sits,
            share=share,
            outcome=plan.whole.outcome,
            complete=plan.whole.complete and not together.left_out,
            probability=plan.whole.probability,
            touches=tuple(_touches(seams, order[:place]).items()),
        )
        part.around = [
            joint
            for joint, seam in zip(joints, seams, strict=True)
            if key in seam.opposite
        ]
    together.parts = [worked[key] for key in order]


def _with_doubts(own: Plan, worked: WorkedPlan, alone: list[Plan]) -> Plan:
    """A plan with what is doubtful of its readings, joint by joint: how the sides of
    one lie against each other says nothing of another."""
    notes = list(own.notes)
    for number, (planned, plan) in enumerate(zip(worked.joints, alone, strict=True)):
        doubtful = doubts(measured_at(planned, None), worked.options, plan)
        notes += [_renumbered(note, number) for note in doubtful if note.code in TOLD]
    return replace(own, notes=tuple(notes))


def _renumbered(note: Reason, joint: int) -> Reason:
    values = dict(note.values)
    if "station" in values:
        values["station"] = joint, values["station"][1]
    if "stations" in values:
        values["stations"] = tuple((joint, label) for _, label in values["stations"])
    return replace(note, values=values)


@dataclass(frozen=True)
class _Seam:
    """A joint on the way: gaps as measured (nan where not), with the bites, and by how
    much they close (n,) mm when its part has gone, and each surround."""

    names: list[str]
    part: int
    opposite: dict[int, np.ndarray]
    now: np.ndarray
    cut: np.ndarray
    closes: np.ndarray


def _seam(joint: PlannedJoint, worked: dict[int, WorkedPlan], share: float) -> _Seam:
    state = joint.state
    places, gaps, _faces = places_of(state.seam.stations)
    read = [joint.value_nm(station.label, Kind.GAP) for station in state.seam.stations]
    part = state.joint.position_id
    own = worked[part]

    def closes(key: int) -> np.ndarray:
        moved = share * worked[key].plan.move.displacement(places)
        return np.einsum("ij,ij->i", moved, gaps)

    opposite = {}
    for row, station in enumerate(state.seam.stations):
        key = station.surround_id or state.joint.surround_id
        if key in worked:
            opposite.setdefault(key, np.zeros(len(read)))[row] = -closes(key)[row]
    here = [station for at, _, station in own.stations() if at is joint]
    cut = {station.label: own.bite(station).bite for station in here}
    return _Seam(
        [f"{state.joint.number}:{station.label}" for station in state.seam.stations],
        part,
        opposite,
        np.array([np.nan if nm is None else to_mm(nm) for nm in read]),
        np.array([cut.get(station.label, 0.0) for station in state.seam.stations]),
        closes(part),
    )


def _touches(seams: list[_Seam], done: list[int]) -> dict[str, int]:
    """Where parts that are done run into what is not, by how much, nm."""
    touches = {}
    for seam in seams:
        gap = seam.now.copy()
        if seam.part in done:
            gap += seam.cut - seam.closes
        for key, closes in seam.opposite.items():
            if key in done:
                gap -= closes
        for row in np.flatnonzero(gap < np.minimum(seam.now, 0.0)):
            if (deep := to_nm(-float(gap[row]))) > NM_PER_UM:
                touches[seam.names[row]] = deep
    return touches


def _order(usual: list[int], seams: list[_Seam]) -> list[int]:
    """The order in which parts run least into each other; then each after what it is
    fitted into; then as the numbers have it."""
    if len(usual) > MOST_ORDERED:
        return usual

    def unwished(order) -> tuple:
        deep = [
            max(_touches(seams, order[:n]).values(), default=0)
            for n in range(1, len(order) + 1)
        ]
        place = {key: n for n, key in enumerate(order)}
        before = sum(
            place[seam.part] < place[key] for seam in seams for key in seam.opposite
        )
        return sum(deep), before, [usual.index(key) for key in order]

    return list(min(permutations(usual), key=unwished))
