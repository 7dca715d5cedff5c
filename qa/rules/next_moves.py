"""How far a plan goes next: whether anything is to be done, how much of a move."""

import math

from qa.numeric.plan.result import FITS
from qa.rules.planning import WorkedPlan


def sits_well(worked: WorkedPlan) -> bool:
    """Whether all that was measured conforms before anything is done: of several parts
    planned together, all of them."""
    return worked.shared.sits if worked.shared else sits_alone(worked)


def sits_alone(worked: WorkedPlan) -> bool:
    plan = worked.plan
    fits = [fit for fit in (plan.seat, plan.level) if fit]
    return plan.outcome == FITS and all(fit.conforms_now for fit in fits)


def free_share(worked: WorkedPlan) -> float:
    """How much of the move the part can make once only the next bite is off.

    No gap may close below zero on the way: 1 when all of it goes. The seat is a full
    plan's, so that a part may be in its own way until more is cut. Parts planned
    together all go the same share, so that they stay clear of each other.
    """
    return worked.shared.share if worked.shared else own_share(worked)


def own_share(worked: WorkedPlan) -> float:
    share = 1.0
    for _, _, station in worked.stations():
        if station.gap_now is None or station.trim <= 0:
            continue
        bite = worked.bite(station).bite
        moved = station.gap_after - station.trim + station.build_up - station.gap_now
        if moved < 0 and station.gap_now + bite + moved < 0:
            share = min(share, max(0.0, (station.gap_now + bite) / -moved))
    if share < 1 and worked.plan.settings is not None:
        return 0.0  # settings are whole steps: nobody makes a part of them
    return math.floor(share * 20) / 20 if share < 1 else 1.0
