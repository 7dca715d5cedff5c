"""How a part may go as the options say, and what it did as it is told."""

import math
from collections.abc import Sequence

import numpy as np

from qa.numeric.plan.motions import (
    IN_PLANE,
    OUT_OF_PLANE,
    Motion,
    free_motions,
    rigid_move,
    seen,
)
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.result import Move


def motions_about(
    center, rho: float, pulls: Readings, measured: tuple[bool, bool], options
) -> list[Motion]:
    """All six motions about the center of a part, less those that only what was not
    measured could see: nobody asked for them.

    `pulls` are readings that say where it should go; `measured` says whether any gap
    was, and any flushness.
    """
    free = free_motions(
        center,
        options.max_move_mm,
        math.radians(options.max_turn_deg),
        options.max_raise_mm,
        math.radians(options.max_tilt_deg),
    )
    visible = seen(free, rho, pulls.places, pulls.directions)
    kinds = zip((IN_PLANE, OUT_OF_PLANE), measured, strict=True)
    asked = [name for names, there in kinds if there for name in names]
    return [
        motion
        for motion, felt in zip(free, visible, strict=True)
        if felt or motion.name in asked
    ]


def move_of(motions: Sequence[Motion], raw: np.ndarray, center, *, free: bool) -> Move:
    """What these amounts (k,) mm or radians do; turns are told as a free part's."""
    shift, turn = rigid_move(motions, raw, center)
    named = [
        (motion.name, math.degrees(amount) if motion.turns else float(amount))
        for motion, amount in zip(motions, raw, strict=True)
    ]
    names = "tilt_x", "tilt_y", "turn"
    angles = dict(zip(names, np.degrees(turn).tolist(), strict=True))
    if free:
        angles |= {name: amount for name, amount in named if name in angles}
    return Move(
        *shift.tolist(),
        angles["turn"],
        angles["tilt_x"],
        angles["tilt_y"],
        tuple(named),
        tuple(motions),
        tuple(raw.tolist()),
    )
