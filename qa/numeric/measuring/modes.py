"""How a whole part is off: high, twisted or small, from all of its stations at once.

Fitted by least squares to flushness, 1 + u + v + u v with u and v along the two main
directions of the stations; u v is the saddle that a twisted part makes.
"""

from collections.abc import Sequence
from enum import StrEnum

import numpy as np

from shop.numeric.finite import finite

LEAST = 5  # stations: a plane and a saddle have four unknowns
FLAT = 1e-9


class Mode(StrEnum):
    HIGH = "high"  # mean flushness
    TWISTED = "twisted"  # of flushness at the corner where the saddle is most
    SMALL = "small"  # mean gap beyond target: a part that is shrunk all round


def modes(
    places, gaps: Sequence[float | None], flushes: Sequence[float | None]
) -> dict[Mode, float | None]:
    """Each mode of one part, in mm, None where a station was not read or cannot tell.

    places (n, 3) mm; gaps and flushes (n,) mm from target.
    """
    finite(places=places)
    for name, values in (("gaps", gaps), ("flushes", flushes)):
        finite(**{name: [value for value in values if value is not None]})
    whole_gaps = bool(len(gaps)) and None not in gaps
    whole = bool(len(flushes)) and None not in flushes
    return {
        Mode.HIGH: float(np.mean(flushes)) if whole else None,
        Mode.TWISTED: _twist(places, flushes) if whole else None,
        Mode.SMALL: float(np.mean(gaps)) if whole_gaps else None,
    }


def _twist(places, flushes) -> float | None:
    at = np.asarray(places, float)
    if len(at) < LEAST:
        return None
    at = at - at.mean(axis=0)
    _, _, axes = np.linalg.svd(at, full_matrices=False)
    # The sign of an axis is chance: the same joint is always seen the same way.
    axes = [
        axis * (1 if axis[np.argmax(np.abs(axis))] > 0 else -1) for axis in axes[:2]
    ]
    u, v = (at @ axis for axis in axes)
    saddle = u * v
    rows = np.column_stack([np.ones(len(at)), u, v, saddle])
    sizes = np.abs(rows).max(axis=0)
    if (sizes < FLAT).any() or np.linalg.matrix_rank(rows / sizes) < rows.shape[1]:
        return None
    found, *_ = np.linalg.lstsq(rows / sizes, np.asarray(flushes, float), rcond=None)
    return float(found[3])
