"""Motions that the readings hardly see, and the stations that would show them.

A direction of motion is hardly seen where one mm of it at the rim changes the readings
by less than `HARDLY` (root mean square): it is then known ten times worse than they
are, and the plan may go far along it for nothing.
"""

import math
from dataclasses import dataclass

import numpy as np

from qa.numeric.plan.joint_arrays import JointArrays
from qa.numeric.plan.motions import described, freedom
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.result import Move

HARDLY = 0.1
SHOWS = 0.3  # mm per mm at the rim: what a reading must show to be worth taking
MOST_PROPOSED = 2


@dataclass(frozen=True)
class HardlySeen:
    """A motion, by its code or as `motions.described` says, and (joint, label) of
    stations not measured for a kind yet that would show it best: none where none would.

    `u` is the standard uncertainty of the motion at the rim in mm, None where nothing
    is known of the readings'.
    """

    name: object
    u: float | None
    kind: str
    stations: tuple[tuple[int, str], ...]


def hardly_seen(
    arrays: JointArrays, readings: Readings, move: Move, u_mm: float | None
) -> tuple[HardlySeen, ...]:
    """What `readings` hardly see of the motions that a move could be made of."""
    limited = readings.take(readings.scales.limited)
    free = freedom(move.motions, arrays.rho, limited.places, limited.directions)
    live = np.flatnonzero(free.low < free.high)
    if not len(live):
        return ()
    still = np.zeros(len(free.motions))
    slopes = limited.moved(free, still)[1][:, live]
    triangle = np.linalg.qr(slopes, mode="r")
    _, sizes, axes = np.linalg.svd(triangle, full_matrices=True)
    sizes = np.r_[sizes, np.zeros(len(axes) - len(sizes))]
    shown = []
    for size, axis in zip(sizes, axes, strict=True):
        if size < HARDLY * math.sqrt(len(slopes)):
            way = np.zeros(len(free.motions))
            way[live] = axis if axis[np.argmax(np.abs(axis))] > 0 else -axis
            known = u_mm / size if u_mm is not None and size > 1e-9 else None
            shown.append(_shown(arrays, free, way, known))
    return tuple(shown)


def _shown(arrays, free, way, u) -> HardlySeen:
    plain = np.flatnonzero(np.abs(way) > 1 - 1e-9)
    name = free.motions[plain[0]].code if len(plain) else None
    name = name or described(free.motions, way / free.unit)
    best = max(
        (_candidates(arrays, free, way, kind) for kind in ("gap", "flush")),
        key=lambda group: group[1][0] if len(group[1]) else 0.0,
    )
    kind, shown, rows = best
    rows = rows[shown >= SHOWS][:MOST_PROPOSED]
    places = tuple((arrays.joint_of[k], arrays.stations[k].label) for k in rows)
    return HardlySeen(name, u, kind, places)


def _candidates(arrays, free, way, kind):
    """(kind, how much of the motion each shows, best first, its row) not measured."""
    every = arrays.wanted(kind)
    shown = np.abs(every.moved(free, np.zeros(len(way)))[1] @ way)
    order = np.argsort(-shown, kind="stable")
    return kind, shown[order], every.rows[order]
