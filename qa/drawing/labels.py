"""Where the values stand: beside their station, on nothing else.

Every station tries places on both sides of the seam, at several distances and slides.
Greedy sweeps take the cheapest; a label that still lies on something is left out, since
a value that cannot be read is worse than one that stands in the table only.
"""

from dataclasses import dataclass

import numpy as np

DISTANCES = (3.0, 12.0, 26.0, 46.0, 70.0)
SLIDES = (0.0, 9.0, -9.0, 20.0, -20.0, 34.0, -34.0, 52.0, -52.0)
SWEEPS = 5
HARD = 1e3


@dataclass(frozen=True)
class Wanted:
    """A label of `width` x `height` for the symbol at (x, y), which stays within
    `reach` of it; (nx, ny) is the normal of the seam; a higher `rank` is placed first
    and given up last. All in scene units."""

    x: float
    y: float
    nx: float
    ny: float
    width: float
    height: float
    reach: float
    rank: int = 0


def place(
    wanted: list[Wanted],
    symbols: np.ndarray,
    seam: np.ndarray,
    frame: tuple[float, float, float, float],
) -> list[tuple[float, float] | None]:
    """Centers of the labels, None where there is no free place.

    `symbols` (m, 4) are boxes left, top, right, bottom; `seam` (k, 2) points along all
    lines to be kept free; `frame` the box to stay in.
    """
    if not wanted:
        return []
    centers, cost = _candidates(wanted)
    half = np.array([[w.width / 2, w.height / 2] for w in wanted])
    blocked = _blocked(centers, half, symbols, seam, frame)
    cost = cost + HARD * blocked
    order = sorted(range(len(wanted)), key=lambda i: (-wanted[i].rank, i))
    chosen = np.full(len(wanted), -1)
    for _ in range(SWEEPS):
        before = chosen.copy()
        for i in order:
            others = [j for j in order if j != i and chosen[j] >= 0]
            total = cost[i].copy()
            if others:
                at = centers[others, chosen[others]]
                total += HARD * _overlaps(centers[i], half[i], at, half[others])
            chosen[i] = int(np.argmin(total))
        if (chosen == before).all():
            break
    return _free(centers, half, chosen, blocked, order)


def _candidates(wanted: list[Wanted]) -> tuple[np.ndarray, np.ndarray]:
    """(n, c, 2) centers and (n, c) how little they are liked."""
    side, distance, slide = (
        grid.ravel()
        for grid in np.meshgrid((1.0, -1.0), DISTANCES, SLIDES, indexing="ij")
    )
    at = np.array([(w.x, w.y) for w in wanted])
    normal = np.array([(w.nx, w.ny) for w in wanted])
    along = np.column_stack([-normal[:, 1], normal[:, 0]])
    half = np.array([(w.width / 2, w.height / 2) for w in wanted])
    # How far a label's own box reaches towards its station.
    support = (np.abs(normal) * half).sum(axis=1) + [w.reach for w in wanted]
    out = side * (support[:, None] + distance)
    centers = (
        at[:, None] + normal[:, None] * out[..., None] + along[:, None] * slide[:, None]
    )
    liking = distance + 0.6 * np.abs(slide) + np.where(side > 0, 0.0, 8.0)
    return centers, np.tile(liking, (len(wanted), 1))


def _blocked(centers, half, symbols, seam, frame) -> np.ndarray:
    """(n, c) how many fixed things each candidate lies on."""
    low = centers - half[:, None, :]
    high = centers + half[:, None, :]
    left, top, right, bottom = frame
    out = (low < (left, top)).any(axis=2) | (high > (right, bottom)).any(axis=2)
    out = out.astype(float)
    for x0, y0, x1, y1 in symbols:
        out += (
            (low[..., 0] < x1)
            & (high[..., 0] > x0)
            & (low[..., 1] < y1)
            & (high[..., 1] > y0)
        )
    if len(seam):
        for i in range(len(centers)):
            px, py = seam[:, 0], seam[:, 1]
            inside = (
                (px > low[i, :, 0, None])
                & (px < high[i, :, 0, None])
                & (py > low[i, :, 1, None])
                & (py < high[i, :, 1, None])
            )
            out[i] += inside.any(axis=1)
    return out


def _overlaps(spots, half, others, their_half) -> np.ndarray:
    """(c,) how many of the other labels each spot lies on."""
    distance = np.abs(spots[:, None, :] - others[None, :, :])
    return (distance < half + their_half).all(axis=2).sum(axis=1)


def _free(centers, half, chosen, blocked, order) -> list[tuple[float, float] | None]:
    """Keep labels by rank; leave out what lies on something already kept."""
    kept: list[int] = []
    out: list[tuple[float, float] | None] = [None] * len(chosen)
    for i in order:
        spot = centers[i, chosen[i]]
        if blocked[i, chosen[i]]:
            continue
        if kept:
            at = centers[kept, chosen[kept]]
            if _overlaps(spot[None, :], half[i], at, half[kept])[0]:
                continue
        kept.append(i)
        out[i] = (float(spot[0]), float(spot[1]))
    return out


def spread(points: np.ndarray, normal: np.ndarray, least: float) -> np.ndarray:
    """Move symbols apart until no two are nearer than `least` (as far as 80 rounds go).

    Two stations at one corner have the same place; they part along the difference of
    their normals, so that each goes to its own side.
    """
    p = np.array(points, float)
    for _ in range(80):
        apart = np.hypot(*(p[:, None] - p).transpose(2, 0, 1))
        close = np.argwhere(np.triu(apart < least - 1e-9, 1))
        if not len(close):
            break
        for i, j in close:
            gap = p[j] - p[i]
            distance = float(np.hypot(*gap))
            if distance >= least:
                continue
            if distance < 1e-6:
                gap = normal[j] - normal[i]
                if np.hypot(*gap) < 1e-6:
                    gap = np.array([-normal[i][1], normal[i][0]])
            push = gap / np.hypot(*gap) * (least - distance) / 2
            p[i] -= push
            p[j] += push
    return p
