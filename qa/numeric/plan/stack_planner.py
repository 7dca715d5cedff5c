"""Shims alone: so few settings that all of them are tried."""

import numpy as np

from qa.numeric.plan.branching import CHUNK, Best, first_of
from qa.numeric.plan.lattice import Lattice
from qa.numeric.plan.set_planner import SetPlanner


class StackPlanner(SetPlanner):
    """A SetPlanner of which only shims are changed."""

    def _searched(self, lattice: Lattice, before: Best | None) -> Best | None:
        return every_setting(lattice)


def every_setting(lattice: Lattice) -> Best | None:
    """The same where settings are few: each is tried, nothing is searched."""
    low, high = lattice.low, lattice.high
    steps = low + np.indices(high - low + 1).reshape(len(low), -1).T
    allowed = np.concatenate(
        [
            lattice.tried(steps[first : first + CHUNK])[1]
            for first in range(0, len(steps), CHUNK)
        ]
    )
    if not allowed[(steps == 0).all(axis=1)].any():
        return None
    steps, aims = first_of(lattice, steps[allowed])
    by_name = dict(zip(lattice.names, aims.tolist(), strict=True))
    return Best(steps, by_name, True, len(allowed))
