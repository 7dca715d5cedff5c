"""How deep an edge was cut along its seam: straight between the places recorded."""

from collections.abc import Sequence

import numpy as np

from shop.numeric.finite import finite

# Depths are whole nanometers where they are stated; in between they are rounded.
LEAST = 0.5


def depth_along(
    cuts: Sequence[tuple[float, float]], at, length: float, closed: bool
) -> np.ndarray:
    """Depths (n,) at positions `at` (n,) from (position, depth) pairs, all in mm.

    A closed seam runs on from the last place to the first; beyond the ends of an open
    one the line stays level. 0 everywhere when nothing was cut.
    """
    at = np.asarray(at, dtype=float)
    finite(cuts=list(cuts), at=at, length=length)
    if not cuts:
        return np.zeros(len(at))
    places, depths = np.array(sorted(cuts), dtype=float).T
    return np.interp(at, places, depths, period=length if closed else None)


def lines_beyond(
    taken: Sequence[Sequence[tuple[float, float]]],
    allowed: Sequence[tuple[float, float]],
    length: float,
    closed: bool,
) -> list[tuple[float, float, float]]:
    """Where cuts together go deeper than a line allows: (position, taken, allowed).

    `taken` are lines of cuts and `allowed` is one, each as (position, depth) pairs in
    whole units, all along one seam. Both are straight between their places, so what
    holds at every place of any of them holds in between.
    """
    places = sorted({at for line in (*taken, allowed) for at, _ in line})
    if not places:
        return []
    deep = sum(depth_along(line, places, length, closed) for line in taken)
    most = depth_along(allowed, places, length, closed)
    return [
        (at, float(gone), float(may))
        for at, gone, may in zip(places, deep, most, strict=True)
        if gone > may + LEAST
    ]


def positions_on(places, seam, along, length: float, closed: bool) -> np.ndarray:
    """Where points (n, 3) lie along a seam: (n,) mm of the nearest point of it.

    `seam` (m, 3) are its stations in order and `along` (m,) their positions, mm.
    """
    finite(places=places, seam=seam, along=along, length=length)
    seam, along = np.asarray(seam, float), np.asarray(along, float)
    ends = np.vstack([seam[1:], seam[:1]]) if closed else seam[1:]
    starts = seam if closed else seam[:-1]
    steps = ends - starts
    sizes = np.maximum((steps**2).sum(axis=1), 1e-12)
    positions = []
    for place in np.asarray(places, float):
        share = np.clip(((place - starts) * steps).sum(axis=1) / sizes, 0, 1)
        gone = np.linalg.norm(starts + share[:, None] * steps - place, axis=1)
        edge = int(np.argmin(gone))
        size = float(np.sqrt(sizes[edge]))
        at = along[: len(starts)][edge] + share[edge] * size
        positions.append(at % length if closed else at)
    return np.array(positions)


def run_outs(depths: Sequence[float], closed: bool) -> list[int]:
    """Rows to record of depths (n,) at stations: those cut, and where each run ends."""
    finite(depths=depths)
    count = len(depths)
    kept = []
    for row, depth in enumerate(depths):
        beside = [row - 1, row + 1]
        if closed:
            beside = [k % count for k in beside]
        if depth > 0 or any(0 <= k < count and depths[k] > 0 for k in beside):
            kept.append(row)
    return kept
