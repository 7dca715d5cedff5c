"""How a whole part is off: high, twisted or small, from its stations at once.

Fitted by least squares to those that were read. Flushness: 1 + x + y + z, a part that
sits raised and tilted, or 1 + u + v + u v with u and v along the two main directions of
all stations; u v is the saddle that a twisted part makes. Gap: 1 and its directions, a
part that is shrunk and shifted. High and small are the means of what was fitted, over
all stations: where all were read, the means of what was read.
"""

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from shop.numeric.finite import finite

from .remark import Remark

LEAST = 5  # stations: a plane and a saddle have four unknowns
FLAT = 1e-9


class Mode(StrEnum):
    HIGH = "high"  # mean flushness
    TWISTED = "twisted"  # of flushness at the corner where the saddle is most
    SMALL = "small"  # mean gap beyond target: a part that is shrunk all round


class Fitted(NamedTuple):
    """mm, None where it cannot be told, and why."""

    mm: float | None
    why: Remark | None = None


def modes(
    places, directions, gaps: Sequence[float | None], flushes: Sequence[float | None]
) -> dict[Mode, Fitted]:
    """Each mode of one part.

    places and directions of the gaps (n, 3), mm and of unit length; gaps and flushes
    (n,) mm from target, None where a station was not read or has no target.
    """
    finite(places=places, directions=directions)
    for name, values in (("gaps", gaps), ("flushes", flushes)):
        finite(**{name: [value for value in values if value is not None]})
    at, ways = np.asarray(places, float), np.asarray(directions, float)
    sit = at - at.mean(axis=0)
    return {
        Mode.HIGH: _mean(sit / max(1.0, np.abs(sit).max()), flushes),
        Mode.TWISTED: _twist(sit, flushes),
        Mode.SMALL: _mean(ways, gaps),
    }


def _read(values: Sequence[float | None]) -> np.ndarray:
    """The rows that were read."""
    return np.array([k for k, value in enumerate(values) if value is not None], int)


def _too_few(there: np.ndarray, count: int, least: int = 1) -> Remark | None:
    """What half of the stations or less show is not told of the whole part."""
    least = max(least, count // 2 + 1)
    if len(there) >= least:
        return None
    return Remark("few_stations", {"n": len(there), "all": count, "least": least})


def _mean(shape: np.ndarray, values: Sequence[float | None]) -> Fitted:
    """The mean over all stations of a fit of 1 and the columns of a shape."""
    there, count = _read(values), len(values)
    if why := _too_few(there, count):
        return Fitted(None, why)
    read = np.array([values[k] for k in there])
    if len(there) == count:
        return Fitted(float(read.mean()))
    rows = np.column_stack([np.ones(count), shape])
    weights = np.linalg.pinv(rows[there].T, rcond=FLAT) @ rows.mean(axis=0)
    # The mean can be told where it is a sum of the rows that were read, and is worth as
    # much as one reading.
    off = np.abs(rows[there].T @ weights - rows.mean(axis=0)).max()
    if off > FLAT or weights @ weights > 1:
        return Fitted(None, Remark("stations_alike"))
    return Fitted(float(weights @ read))


def _twist(at: np.ndarray, flushes: Sequence[float | None]) -> Fitted:
    there = _read(flushes)
    if why := _too_few(there, len(at), LEAST):
        return Fitted(None, why)
    _, _, axes = np.linalg.svd(at, full_matrices=False)
    # The sign of an axis is chance: the same joint is always seen the same way.
    axes = [
        axis * (1 if axis[np.argmax(np.abs(axis))] > 0 else -1) for axis in axes[:2]
    ]
    u, v = (at @ axis for axis in axes)
    rows = np.column_stack([np.ones(len(at)), u, v, u * v])
    sizes = np.abs(rows).max(axis=0)
    if (sizes < FLAT).any():
        return Fitted(None, Remark("no_saddle"))
    rows = (rows / sizes)[there]
    if np.linalg.matrix_rank(rows) < rows.shape[1]:
        return Fitted(None, Remark("no_saddle"))
    read = np.array([flushes[k] for k in there])
    solution, *_ = np.linalg.lstsq(rows, read, rcond=None)
    return Fitted(float(solution[3]))
