"""The nearest point of a polyhedron, by its sides or by its corners."""

from collections.abc import Callable

import numpy as np

FEASIBLE = 1e-9  # how far a row or a bound may be overstepped
ROUNDED = 1e-7  # the same where held aims leave no room at all


def nearest_point(lines, least, most, start) -> np.ndarray:
    """The point z (k,) nearest the origin with least <= lines z <= most.

    `start` fulfills them but for roundings, which are allowed to the answer too. Lines
    with least = most leave a subspace, where the rest is Lawson and Hanson's
    least-distance problem, solved by nonnegative least squares.
    """
    sizes = np.linalg.norm(lines, axis=1)
    real = sizes > 1e-12
    lines = lines[real] / sizes[real, None]
    least, most = least[real] / sizes[real], most[real] / sizes[real]
    at = lines @ start
    least, most = np.minimum(least, at), np.maximum(most, at)
    fixed = most - least <= 4 * FEASIBLE
    free = np.eye(len(start))
    if fixed.any():
        triangle = np.linalg.qr(lines[fixed], mode="r")
        _, weights, axes = np.linalg.svd(triangle, full_matrices=True)
        rank = int((weights > 1e-7 * weights[0]).sum())
        free = axes[rank:].T
    if not free.shape[1]:
        return np.array(start)
    across = lines @ free
    sizes = np.linalg.norm(across, axis=1)
    real = (sizes > 1e-7) & ~fixed
    across, sizes = across[real] / sizes[real, None], sizes[real]
    # In units of the subspace, measured from its point nearest the origin.
    here = free.T @ start
    least = (least - at)[real] / sizes + across @ here
    most = (most - at)[real] / sizes + across @ here
    bounded_low, bounded_high = np.isfinite(least), np.isfinite(most)
    sides = np.vstack([across[bounded_low], -across[bounded_high]])
    nearest = _least_distance(sides, np.r_[least[bounded_low], -most[bounded_high]])
    if (
        sides @ nearest < np.r_[least[bounded_low], -most[bounded_high]] - ROUNDED
    ).any():
        nearest = here  # no room at all: the roundings decided
    return start + free @ (nearest - here)


def _least_distance(sides, limits) -> np.ndarray:
    """The point nearest the origin with sides @ z >= limits (Lawson and Hanson)."""
    from scipy.optimize import nnls

    if not (limits > 0).any():
        return np.zeros(sides.shape[1])
    matrix = np.vstack([sides.T, limits])
    target = np.zeros(len(matrix))
    target[-1] = 1.0
    weights, _ = nnls(matrix, target)
    rest = matrix @ weights - target
    return rest[:-1] / -rest[-1] if rest[-1] else np.zeros(sides.shape[1])


def least_point(lines, least, most, still) -> np.ndarray | None:
    """The point z (k,) nearest the origin with least <= lines z <= most.

    And with still z = 0. None where there is none, but for roundings.
    """
    free = np.eye(lines.shape[1])
    if len(still):
        _, weights, axes = np.linalg.svd(still, full_matrices=True)
        free = axes[int((weights > 1e-9).sum()) :].T
    across = lines @ free
    sizes = np.linalg.norm(across, axis=1)
    real = sizes > 1e-12
    if (least[~real] > ROUNDED).any() or (most[~real] < -ROUNDED).any():
        return None
    across, sizes = across[real] / sizes[real, None], sizes[real]
    least, most = least[real] / sizes, most[real] / sizes
    bounded_low, bounded_high = np.isfinite(least), np.isfinite(most)
    sides = np.vstack([across[bounded_low], -across[bounded_high]])
    limits = np.r_[least[bounded_low], -most[bounded_high]]
    least_at = _least_distance(sides, limits)
    if (sides @ least_at < limits - ROUNDED).any():
        return None
    return free @ least_at


def nearest_of_hull(lowest: Callable, start, rounds: int = 200) -> np.ndarray:
    """The point nearest the origin of a polytope known by its lowest points (Wolfe).

    `lowest(direction)` returns a vertex (k,) that is lowest in that direction.
    """
    corral, shares = [np.asarray(start, dtype=float)], np.array([1.0])
    for _ in range(rounds):
        point = shares @ np.array(corral)
        vertex = lowest(point)
        reach = max(float(v @ v) for v in [*corral, vertex])
        if point @ (point - vertex) <= 1e-12 * max(1.0, reach):
            return point
        if any(np.allclose(vertex, v, rtol=0, atol=FEASIBLE) for v in corral):
            return point
        corral.append(vertex)
        shares = np.r_[shares, 0.0]
        while True:
            wanted = _affine_shares(np.array(corral))
            if (wanted > 1e-12).all():
                shares = wanted
                break
            shrinks = wanted <= 1e-12
            fall = shares[shrinks] - wanted[shrinks]
            step = float((shares[shrinks] / np.maximum(fall, 1e-300)).min(initial=1.0))
            shares = shares + min(1.0, step) * (wanted - shares)
            keep = shares > 1e-12
            corral = [v for v, kept in zip(corral, keep, strict=True) if kept]
            shares = shares[keep] / shares[keep].sum()
    return shares @ np.array(corral)


def _affine_shares(points: np.ndarray) -> np.ndarray:
    """Shares (j,), sum 1, of the point nearest 0 in the plane through points (j, k)."""
    count = len(points)
    system = np.ones((count + 1, count + 1))
    system[0, 0] = 0.0
    system[1:, 1:] = points @ points.T
    return np.linalg.lstsq(system, np.eye(count + 1)[0], rcond=1e-14)[0][1:]
