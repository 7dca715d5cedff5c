"""The line along a seam: which way it turns, what is out, whether it crosses itself.

Places are (n, 3) in millimeters, in the order of the rows. Pure geometry; what a joint
makes of it is in joint.py, outlines to start from are in layout.py.
"""

import cmath
import math

import numpy as np

from qa.numeric.geometry.smooth_curve import AGAIN, leans

SAME_PLACE_MM = 1e-6  # places are held to the nanometer
SHARPEST_TURN_DEG = 60.0  # what turns more is a corner, unless it is said to be round
SHARPEST_ROUND_DEG = 120.0  # what turns more is one, whatever is said
ROUNDING_DEG = 0.01  # places written to a hundredth of a millimeter turn by so much
CLOSELY_MM = 0.6  # off a line, at most: places typed in whole millimeters
LEANING = 0.1  # cosine to the best plane's normal; less looks along the plane


def edge_directions(places: np.ndarray, closed: bool) -> tuple[np.ndarray, np.ndarray]:
    """Unit directions (n, 3) of the edges that arrive at and leave each place.

    Where there is only one, at the ends of an open seam, it stands for both. So it does
    where two stations share a corner: the first belongs to the side before it, the
    second to the side after it. Rows are NaN where three or more stations share one
    place.
    """
    steps = np.roll(places, -1, axis=0) - places
    lengths = np.linalg.norm(steps, axis=1)
    leaves = np.full(places.shape, np.nan)
    real = lengths > SAME_PLACE_MM
    if not closed:
        real[-1] = False
    leaves[real] = steps[real] / lengths[real, None]
    arrives = np.roll(leaves, 1, axis=0)
    lone_start, lone_end = np.isnan(arrives[:, 0]), np.isnan(leaves[:, 0])
    arrives, leaves = (
        np.where(lone_start[:, None], leaves, arrives),
        np.where(lone_end[:, None], arrives, leaves),
    )
    return arrives, leaves


def right_hand_normals(
    places: np.ndarray,
    faces: np.ndarray,
    closed: bool,
    corners: np.ndarray | None = None,
    rounds: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Unit normals (n, 3) to the right when walking the rows; turns (n,) in degrees.

    Seen from outside (against the face direction), the right of an edge is direction x
    face. A normal is that of a smooth curve through the places (smooth_curve.py); the
    turns are those of the polygon. Where `corners` (n,) says so, or it turns by more
    than 60 degrees and `rounds` (n,) does not say that it is round, the curve breaks,
    and the normal is the bisector of those of the two edges. NaN where there is none:
    the seam doubles back, runs along the face direction, or three stations share the
    place.
    """
    arrives, leaves = edge_directions(places, closed)
    first, second = _unit(np.cross(arrives, faces)), _unit(np.cross(leaves, faces))
    across = np.einsum("ij,ij->i", np.cross(first, second), faces)
    turns = np.arctan2(across, np.einsum("ij,ij->i", first, second))
    ahead, behind = np.roll(places, -1, axis=0), np.roll(places, 1, axis=0)
    steps = np.linalg.norm(ahead - places, axis=1)
    steps[steps <= SAME_PLACE_MM] = 0.0
    if not closed:
        steps[-1] = 0.0
    smooth = np.minimum(steps, np.roll(steps, 1)) > 0
    smooth &= np.abs(turns) <= np.radians(sharpest(rounds))
    if corners is not None:
        smooth &= ~corners
    apart = np.linalg.norm(ahead - behind, axis=1)
    alone = smooth & (np.abs(turns) > np.radians(sharpest()))
    lean = leans(turns, steps, apart, smooth, alone)[:, None]
    normals = np.cos(lean) * first + np.sin(lean) * np.cross(faces, first)
    bisectors = _unit(first + second)
    return np.where(np.isfinite(bisectors), normals, np.nan), np.degrees(np.abs(turns))


def sharpest(rounds: np.ndarray | None = None):
    """How far, degrees, a seam may turn at a place that is no corner."""
    rounded = False if rounds is None else rounds
    return np.where(rounded, SHARPEST_ROUND_DEG, SHARPEST_TURN_DEG) + ROUNDING_DEG


def breaks(
    places: np.ndarray,
    turns: np.ndarray,
    closed: bool,
    corners: np.ndarray,
    rounds: np.ndarray,
) -> np.ndarray:
    """Whether the edge breaks at each place (n,): `corners` says so, two share it, or
    it turns there by more than a curve does."""
    double = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
    double = double <= SAME_PLACE_MM
    if not closed:
        double[-1] = False
    return corners | double | np.roll(double, 1) | ~(turns <= sharpest(rounds))


def plainly_round(places: np.ndarray, faces: np.ndarray, closed: bool) -> np.ndarray:
    """Whether each place (n,) of a seam in the plane lies on a round between two sides
    that are straight by three places each: off where they meet, and so that an arc from
    one side to the other goes through it and through none of those."""
    count, plain = len(places), np.zeros(len(places), dtype=bool)
    flat = np.ptp(places[:, 2]) <= SAME_PLACE_MM and not faces[:, :2].any()
    at = places[:, 0] + 1j * places[:, 1]
    rows = range(count) if closed else range(3, count - 3)
    for row in rows if flat and count >= 7 else ():
        before, after = (
            [complex(at[(row + way * k) % count] - at[row]) for k in (3, 2, 1)]
            for way in (-1, 1)
        )
        plain[row] = _on_an_arc(before, after)
    return plain


def _on_an_arc(before: list[complex], after: list[complex]) -> bool:
    """Whether 0 lies on an arc between two sides, each by three places, the nearest
    last."""
    (near, along, off), (end, back, end_off) = map(_side, (before, after))
    off = max(off, end_off)  # of the middle place of three
    turn = cmath.phase(-back / along) if along and back else 0.0
    half = abs(turn) / 2
    if off > CLOSELY_MM or not SHARPEST_TURN_DEG < math.degrees(abs(turn)) < 150:
        return False
    across = (along.conjugate() * back).imag
    reach = ((end - near).conjugate() * back).imag / across
    behind = ((end - near).conjugate() * along).imag / across
    corner = near + along * reach
    lever = 1 + 2 * max(reach / abs(near - before[0]), behind / abs(end - after[0]))
    if min(reach, behind) < 0 or abs(corner) <= 3 * lever * max(CLOSELY_MM, 4 * off):
        return False
    # Its middle is at corner + radius * toward; it goes through 0.
    slope = math.tan(half)
    toward = along * complex(-slope, math.copysign(1.0, turn))
    ahead = -(corner.conjugate() * toward).real
    root = ahead**2 - (slope * abs(corner)) ** 2  # below 0 beyond a side
    aside = (near * along.conjugate()).imag, -(end * back.conjugate()).imag
    if ahead <= 0 or max(math.copysign(1.0, turn) * way for way in aside) > off + 0.05:
        return False
    length = (ahead + math.sqrt(max(root, 0.0))) / slope
    return length <= min(reach, behind) + max(CLOSELY_MM, 4 * off)


def _side(places: list[complex]):
    """(its last place, which way it goes, how far the middle one is off it)."""
    far, middle, near = places
    along = near - far
    along = along / abs(along) if abs(along) > SAME_PLACE_MM else 0j
    return near, along, abs(((middle - far) * along.conjugate()).imag)


def untold(
    turns: np.ndarray, closed: bool, broken: np.ndarray, rounds: np.ndarray
) -> np.ndarray:
    """Whether each place (n,) is all there is of a round, and nothing tells how it lies
    in it: on one side fewer than two places stand before the next such round, or up to
    one that turns by more than a side does, and where the edge ends or is `broken`.
    (Between two places a right angle may be hidden: one of them turns by 30 at least,
    or the other by more than 60.)"""
    alone = rounds & ~broken & (turns > sharpest())
    wide = {"mode": "wrap"} if closed else {"constant_values": True}
    again = alone | broken | (np.radians(turns) > AGAIN)
    first, second = (np.pad(some, 2, **wide) for some in (again, alone))
    short = first[1:-3] | first[3:-1] | second[:-4] | second[4:]
    return alone & short


def turning_sense(places: np.ndarray, faces: np.ndarray) -> int:
    """+1 when a closed outline runs counter-clockwise seen from outside, -1 clockwise.

    0 when that has no answer: it encloses no area, or its face directions look all
    ways, as they do round a cowl. One that goes round a body and back turns by a whole
    turn within the surface (its geodesic curvature, Gauss and Bonnet), whichever way
    most of its faces look.
    """
    if (faces @ faces.mean(axis=0) <= 0).any():
        turned = _turned_in_surface(places, faces)
        if abs(turned) > np.pi:
            return 1 if turned > 0 else -1
    about = places - places.mean(axis=0)
    area = np.cross(about, np.roll(about, -1, axis=0)).sum(axis=0) / 2
    size = np.linalg.norm(area)
    spread = float((about**2).sum())
    face = faces.mean(axis=0)
    if size <= 1e-9 * spread or np.linalg.norm(face) < 0.1:
        return 0
    leaning = float(area @ face) / (size * float(np.linalg.norm(face)))
    return 0 if abs(leaning) < 0.1 else (1 if leaning > 0 else -1)


def _turned_in_surface(places: np.ndarray, faces: np.ndarray) -> float:
    """By how much a closed outline turns in all about its faces, radians, left +."""
    steps = np.roll(places, -1, axis=0) - places
    real = np.linalg.norm(steps, axis=1) > SAME_PLACE_MM
    leaves, about = steps[real], faces[real]
    arrives = np.roll(leaves, 1, axis=0)
    left = np.einsum("ij,ij->i", np.cross(arrives, leaves), about)
    lean = np.einsum("ij,ij->i", arrives, about) * np.einsum("ij,ij->i", leaves, about)
    ahead = np.einsum("ij,ij->i", arrives, leaves) - lean
    return float(np.arctan2(left, ahead).sum())


def crossing_edges(
    places: np.ndarray, closed: bool, faces: np.ndarray | None = None
) -> tuple[int, int] | None:
    """The first two edges (numbers of their first rows) that cross or touch, or None.

    Judged in the plane of the outline, or in the best plane of the places where every
    face looks to the same side of it: only there do edges cross that are seen to. One
    that goes round a body (a panel wrapped on a cylinder) is not judged. Neighboring
    edges may share their station but not run back over each other.
    """
    if not _open_to_sight(places, faces):
        return None
    flat = in_plane(places)
    count = len(flat) if closed else len(flat) - 1
    starts, ends = flat[:count], np.roll(flat, -1, axis=0)[:count]
    real = np.flatnonzero(np.linalg.norm(ends - starts, axis=1) > SAME_PLACE_MM)
    if len(real) < 2:
        return None
    doubled = _doubling_back(starts[real], ends[real], closed)
    pairs = [(int(real[i]), int(real[j])) for i, j in doubled]
    left = np.minimum(starts[:, 0], ends[:, 0])
    right = np.maximum(starts[:, 0], ends[:, 0])
    order = real[np.argsort(left[real], kind="stable")]
    ranks = {int(edge): k for k, edge in enumerate(real)}
    rank = np.array([ranks.get(i, -1) for i in range(count)])
    for k, edge in enumerate(order[:-1]):
        last = np.searchsorted(left[order], right[edge], side="right")
        others = order[k + 1 : last]
        apart = np.abs(rank[others] - rank[edge])
        beside = (apart == 1) | (closed & (apart == len(real) - 1))
        others = others[~beside]
        hit = others[_meet(starts[edge], ends[edge], starts[others], ends[others])]
        pairs += [(min(int(edge), int(o)), max(int(edge), int(o))) for o in hit]
    return min(pairs) if pairs else None


def _open_to_sight(places: np.ndarray, faces: np.ndarray | None) -> bool:
    """Whether what seems to cross in the best plane of the places does cross."""
    about = places - places.mean(axis=0)
    axis = np.linalg.svd(about, full_matrices=False)[2][-1]
    if faces is None or np.ptp(about @ axis) <= SAME_PLACE_MM:
        return True
    leaning = faces @ axis
    return bool((leaning > LEANING).all() or (leaning < -LEANING).all())


def in_plane(places: np.ndarray) -> np.ndarray:
    """Places (n, 2) in the plane of the outline: x and y when z does not change."""
    if np.ptp(places[:, 2]) <= SAME_PLACE_MM:
        return places[:, :2]
    about = places - places.mean(axis=0)
    axes = np.linalg.svd(about, full_matrices=False)[2]
    return about @ axes[:2].T


def distances_along(places: np.ndarray, closed: bool) -> tuple[np.ndarray, float]:
    """Straight distance (n,) along the seam from the first row; its whole length."""
    steps = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    return along[:-1], float(along[-1] if closed else along[-2])


def length_weights(places: np.ndarray, closed: bool) -> np.ndarray:
    """Half the straight distance (n,) to each neighbor row; one only at an open end."""
    steps = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
    if not closed:
        steps[-1] = 0.0
    return (steps + np.roll(steps, 1)) / 2


def _unit(vectors: np.ndarray) -> np.ndarray:
    lengths = np.linalg.norm(vectors, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(lengths[:, None] > 1e-9, vectors / lengths[:, None], np.nan)


def _doubling_back(
    starts: np.ndarray, ends: np.ndarray, closed: bool
) -> list[tuple[int, int]]:
    """Neighboring edges that run back over each other."""
    steps = (ends - starts) / np.linalg.norm(ends - starts, axis=1)[:, None]
    following = np.roll(steps, -1, axis=0)
    back = np.einsum("ij,ij->i", steps, following) < -1 + 1e-9
    if not closed:
        back[-1] = False
    count = len(steps)
    return [tuple(sorted((int(i), (int(i) + 1) % count))) for i in np.flatnonzero(back)]


def _meet(
    a: np.ndarray, b: np.ndarray, starts: np.ndarray, ends: np.ndarray
) -> np.ndarray:
    """Whether segment a-b has a point in common with each segment starts-ends."""

    def side(p, q, r):
        return (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (
            q[..., 1] - p[..., 1]
        ) * (r[..., 0] - p[..., 0])

    sides = (
        side(a, b, starts),
        side(a, b, ends),
        side(starts, ends, a),
        side(starts, ends, b),
    )
    apart = (sides[0] * sides[1] > 0) | (sides[2] * sides[3] > 0)
    low, high = np.minimum(a, b), np.maximum(a, b)
    boxes = (np.maximum(starts, ends) >= low).all(axis=1) & (
        np.minimum(starts, ends) <= high
    ).all(axis=1)
    return boxes & ~apart
