"""What settings do to a part: from what holds it on record to the exact rotation.

Rows hold whole nanometers, the numbers mm.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.models import Check, FitUp
from qa.numeric.plan import adjusters as numeric
from qa.numeric.plan.adjusters import AdjusterError, Rig
from qa.rules import adjusters
from qa.rules.adjusters import Present
from qa.rules.moved import Changes, changes_at, rows_around
from qa.rules.station_places import places_of
from shop.numeric.units import E9, to_mm, to_nm


class CannotBeSet(ValueError):
    """What holds the part, or what it is asked to do, cannot be; says why."""


@dataclass(frozen=True)
class Made:
    """What changes of settings should do: {fit-up key: {station: [gap nm, flushness
    nm]}}; `apart_nm` is how far a rigid part stays off what they ask, at most; `beside`
    as of Moved."""

    changes: dict[int, Changes]
    apart_nm: int
    beside: tuple[tuple[Check, Changes], ...] = ()


def present_at(fit_up: FitUp) -> list[Present]:
    """What can be set at the part of a fit-up, and what it is set to now."""
    return adjusters.present(fit_up.airframe, fit_up.joint.position)


def numeric_of(present: Sequence[Present]) -> tuple[numeric.Adjuster, ...]:
    """The same for the numbers. Raises CannotBeSet."""
    adjusters = []
    for adjuster in present:
        try:
            adjusters.append(
                numeric.Adjuster(
                    name=adjuster.name,
                    place=tuple(to_mm(nm) for nm in adjuster.place_nm),
                    direction=tuple(part / E9 for part in adjuster.direction_e9),
                    low=to_mm(adjuster.min_nm),
                    high=to_mm(adjuster.max_nm),
                    step=to_mm(adjuster.step_nm),
                    now=to_mm(adjuster.now_nm),
                    set_u=to_mm(adjuster.set_u_nm) or None,
                )
            )
        except AdjusterError as why:
            raise CannotBeSet(f"{adjuster.name}: {why}") from why
    return tuple(adjusters)


def made(
    present: Sequence[Present],
    changes_nm: Sequence[int],
    joints: Sequence,
    around: Sequence = (),
) -> Made:
    """What changes, one for each adjuster, should do at every station of the joints
    that are planned together (planning.PlannedJoint), and of those at which the part is
    the surround."""
    here = joints[0].state.joint.position_id
    every = [places_of(joint.state.seam.stations)[0] for joint in joints]
    every += [places[rows] for places, rows in rows_around(around, here)]
    every = np.vstack(every)
    rho = math.sqrt(((every - every.mean(axis=0)) ** 2).sum(axis=1).mean())
    try:
        rig = Rig(numeric_of(present), rho)
    except AdjusterError as why:
        raise CannotBeSet(str(why)) from why
    changes_mm = [to_mm(nm) for nm in changes_nm]
    apart = rig.displaced(changes_mm, every)[1]
    if not math.isfinite(apart):
        raise CannotBeSet("no turn of less than 45 degrees makes these settings")

    def displaced(places):
        return rig.displaced(changes_mm, places)[0]

    return Made(
        {joint.state.fit_up.pk: changes_at(joint, displaced) for joint in joints},
        to_nm(apart),
        tuple(
            (neighbor.check, changes_at(neighbor, displaced, here))
            for neighbor in around
        ),
    )
