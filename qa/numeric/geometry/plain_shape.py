"""Which plain shape stations lie on: a rectangle with equal rounds, or an ellipse.

A few stations hardly tell which way a curve runs, and one that stands on a small round
looks like a corner. Where one plain shape goes through all of twelve or more, it is
that shape: its directions are theirs. A corner that is sharp, or hardly round for how
closely they lie on it, is no round. (Sharp corners between sides that bow alike look
the same by few stations that lie alike on all: they are to be marked.) Places (n, 2)
are mm in the plane of a closed outline.
"""

import math

import numpy as np

FEWEST = 12  # stations; a shape is fixed by five or six numbers
CLOSELY_MM = 0.6  # off the shape, at most: places typed in whole millimeters
VERY_CLOSELY_MM = 0.006  # places typed in hundredths: there is none closer
PLAINLY = 50  # times as large as that a round must be to be told
ROUND_MM = 2.5  # a smaller one is not told from a corner
# From a station to the next there is one round at most, or the end of an ellipse.
ROUND, END = math.cos(math.radians(100)), math.cos(math.radians(160))
STARTS = (0.05, 0.2, 0.35, 0.5)  # radius, of the shorter side
MOST_ROUNDS = 40
SETTLED_MM = 1e-9
NUDGE, STIFFEST = 1e-7, 1e7


def outward(places: np.ndarray) -> np.ndarray | None:
    """Unit normals (n, 2), outward, of the plain shape through places; None where there
    is none."""
    if len(places) < FEWEST:
        return None
    middle = (places.min(axis=0) + places.max(axis=0)) / 2
    size = float(np.ptp(places, axis=0).max())
    for fit, most in (
        (_ellipse((places - middle) / size, size), END),
        (_rectangle(places), ROUND),
    ):
        if fit is not None:
            # A side or an end that no station stands on may lie anywhere.
            _, normals = fit
            ahead = np.einsum("ij,ij->i", normals, np.roll(normals, -1, axis=0))
            return normals if ahead.min() > most else None
    return None


def _ellipse(at: np.ndarray, size: float):
    """(greatest distance in mm, normals) of the ellipse nearest to places `at`, in
    lengths of `size` mm about a point inside of it; None where that is too far."""
    x, y = at.T
    rows = np.column_stack([x * x, x * y, y * y, x, y])
    a, b, c, d, e = np.linalg.lstsq(rows, np.ones(len(at)), rcond=None)[0]
    if 4 * a * c - b * b <= 1e-9:
        return None
    slopes = np.column_stack([2 * a * x + b * y + d, b * x + 2 * c * y + e])
    lengths = np.linalg.norm(slopes, axis=1)
    if lengths.min() <= 0:
        return None
    off = size * float(np.abs((rows @ [a, b, c, d, e] - 1) / lengths).max())
    axes = np.linalg.eigvalsh([[a, b / 2], [b / 2, c]])
    center = np.linalg.solve([[2 * a, b], [b, 2 * c]], [-d, -e])
    level = 1 - (np.array([a, c, b, d, e]) @ _powers(center))
    if axes[0] <= 0 or level <= 0:
        return None
    sharpest = size * math.sqrt(level * axes[0]) / axes[1]
    return _close_enough(off, sharpest, slopes / lengths[:, None])


def _powers(at) -> np.ndarray:
    x, y = at
    return np.array([x * x, y * y, x * y, x, y])


def _close_enough(off: float, radius: float, normals):
    """(off, normals) where places lie as close as the least radius of a shape asks."""
    close = off <= min(CLOSELY_MM, radius / PLAINLY)
    return (off, normals) if close and radius >= ROUND_MM else None


def _rectangle(places: np.ndarray):
    """The same of the rectangle with equal rounds, by the squares of distances."""
    edges = np.roll(places, -1, axis=0) - places
    edges = edges[:, 0] + 1j * edges[:, 1]
    turn = float(np.angle((edges**4 / np.abs(edges) ** 2).sum())) / 4
    turned = _turned(places, turn)
    low, high = turned.min(axis=0), turned.max(axis=0)
    half, middle = (high - low) / 2, _turned((low + high)[None] / 2, -turn)[0]
    fits = []
    for share in STARTS:
        start = np.r_[middle, turn, half, 2 * share * half.min()]
        at = _nearest(places, start)
        off = float(np.abs(_distances(places, at[None])).max())
        fits.append((off, at))
        if off < VERY_CLOSELY_MM:
            break
    off, at = min(fits, key=lambda fit: fit[0])
    corners = _beyond(places, at[None])[0]
    signs = np.where(_turned(places - at[:2], at[2]) < 0, -1.0, 1.0)
    on_round = (corners > 0).all(axis=1, keepdims=True)
    side = corners == corners.max(axis=1, keepdims=True)
    ways = np.where(on_round, corners, side) * signs
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    return _close_enough(off, float(at[5]), _turned(ways, -at[2]))


def _turned(places, angle: float) -> np.ndarray:
    """Places (n, 2) seen from a frame that is turned by an angle to the left."""
    sine, cosine = math.sin(angle), math.cos(angle)
    return places @ np.array([[cosine, -sine], [sine, cosine]])


def _nearest(places, at) -> np.ndarray:
    """Middle (2), turn, half sizes (2) and radius of the rectangle with the least
    squares of distances, by Levenberg's and Marquardt's way from `at`."""
    size = float(at[3:5].max())
    unit = np.array([1.0, 1.0, 1.0 / size, 1.0, 1.0, 1.0])
    damping, off = 0.01, _distances(places, at[None])[0]
    for _ in range(MOST_ROUNDS):
        nudge = NUDGE * size
        beside = _distances(places, at + np.diag(nudge * unit))
        slopes = (beside - off).T / nudge
        square = slopes.T @ slopes + damping * len(places) / 6 * np.eye(6)
        step = np.linalg.solve(square, -slopes.T @ off)
        there = at + step * unit
        there[5] = np.clip(there[5], 0.0, there[3:5].min())
        then = _distances(places, there[None])[0]
        if then @ then > off @ off:
            damping *= 10
            if damping > STIFFEST:
                break
            continue
        moved = np.abs((there - at) / unit).max()
        at, off, damping = there, then, damping / 10
        if moved < SETTLED_MM:
            break
    return at


def _beyond(places, shapes) -> np.ndarray:
    """How far (j, n, 2) places lie beyond where the sides of each of j shapes end."""
    about = places[None] - shapes[:, None, :2]
    sine, cosine = np.sin(shapes[:, 2, None]), np.cos(shapes[:, 2, None])
    along = about[..., 0] * cosine + about[..., 1] * sine
    across = about[..., 1] * cosine - about[..., 0] * sine
    ends = shapes[:, None, 3:5] - shapes[:, None, 5:]
    return np.abs(np.stack([along, across], axis=-1)) - ends


def _distances(places, shapes) -> np.ndarray:
    """Signed distances (j, n) of places from each of j shapes, outside positive."""
    beyond = _beyond(places, shapes)
    outside = np.linalg.norm(np.maximum(beyond, 0), axis=-1)
    inside = np.minimum(beyond.max(axis=-1), 0)
    return outside + inside - shapes[:, 5, None]
