"""What adjusters leave open, hold or cannot do: codes with values."""

import numpy as np

from qa.numeric.plan.adjusters import Rig
from qa.numeric.plan.motions import UNSEEN, described
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.result import Reason

NOT_PROVEN = Reason("settings_unproven", {})
FAIR = Reason("settings_fair", {})


def still(rig: Rig, readings: Readings) -> tuple[tuple, tuple]:
    """(held, seen): ways to move that no adjuster sets.

    `held` are those that no reading sees either, `seen` those that readings would.
    """
    if not len(rig.unset):
        return (), ()
    rates = rig.rates(readings.places, readings.directions, np.zeros(6))
    triangle = np.linalg.qr(rates @ rig.unset.T, mode="r")
    _, sizes, axes = np.linalg.svd(triangle, full_matrices=True)
    sizes = np.r_[sizes, np.zeros(len(axes) - len(sizes))]
    felt = sizes >= UNSEEN * np.sqrt(max(1, len(rates)))
    return tuple(tuple(_named(rig, axes[which] @ rig.unset)) for which in (~felt, felt))


def _named(rig: Rig, axes: np.ndarray):
    """Directions of motion (j, 6), orthonormal: the plain ones by code."""
    inside = np.linalg.norm(axes, axis=0) > 1 - 1e-9
    for k in np.flatnonzero(inside):
        yield rig.motions[k].code
    rest = axes * ~inside
    _, sizes, others = np.linalg.svd(rest, full_matrices=False)
    for axis in others[sizes > 0.5]:
        sign = 1.0 if axis[np.argmax(np.abs(axis))] > 0 else -1.0
        yield described(rig.motions, sign * axis / rig.unit)


def about(rig: Rig, blind, seen, options) -> list[Reason]:
    """Remarks on the adjusters themselves, before anything is planned."""
    count = rig.basis.shape[1]
    remarks = []
    if seen:
        remarks.append(Reason("settings_few", {"count": count}))
    if blind.any():
        names = [rig.adjusters[k].name for k in np.flatnonzero(blind)]
        remarks.append(Reason("settings_unseen", {"names": names}))
    if rig.overdetermined:
        values = {"adjusters": rig.count, "count": count, "mm": options.slack_mm}
        remarks.append(Reason("settings_rigid", values))
    return remarks


def trifles(names, u_mm: float) -> Reason:
    return Reason("settings_trifling", {"names": list(names), "mm": u_mm})
