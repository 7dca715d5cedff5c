"""Which way a smooth curve runs at places that it is known by.

The places are corners of a polygon; at each the polygon turns, and the curve parts that
turn between the edge that arrives and the one that leaves. All arrays are (n,) in the
order of the places and run round from the last to the first; an edge that is not there
has length 0. Lengths in mm, angles in radians, left positive.
"""

import numpy as np

STRAIGHT = np.radians(0.002)  # places written to a micrometer turn by so much
SURENESS = 8  # how fast a side that bends a little is no longer taken for straight


def leans(turns, steps, apart, smooth) -> np.ndarray:
    """How far the curve lies to the left of the edge that arrives at each place.

    `turns` of the polygon, `steps` to the next place, `apart` from the place before to
    the one after, `smooth` where the curve goes on; elsewhere half the turn. A place
    with one edge only, an end or one of two in a corner, leans from that edge as the
    curve at its other end does: along one arc. Exact on circles and on straight sides.
    """
    size = np.maximum(np.abs(turns), STRAIGHT)
    with np.errstate(invalid="ignore", divide="ignore"):
        bends = np.where(smooth, 2 * np.sin(size) / apart, np.nan)
    share = _bent(bends, steps)
    share = _line_and_arc(share, size, bends, steps, smooth)
    own = np.where(smooth, share, 0.5) * turns
    begins = np.where(np.roll(smooth, -1), -np.roll(own, -1), 0.0)
    ends = np.where(np.roll(smooth, 1), np.roll(turns - own, 1), 0.0)
    lone_start = (steps > 0) & (np.roll(steps, 1) == 0)
    lone_end = (steps == 0) & (np.roll(steps, 1) > 0)
    return np.where(lone_start, begins, np.where(lone_end, ends, own))


def _bent(bends, steps) -> np.ndarray:
    """The share of the edge that arrives: turns part as the curve bends along edges.

    `bends` are curvatures, each of the circle through a place and its neighbors. An
    edge bends like an arc whose curvature is the geometric mean of those at its ends.
    """
    ahead = np.roll(bends, -1)
    bends, ahead = (
        np.where(np.isnan(bends), ahead, bends),
        np.where(np.isnan(ahead), bends, ahead),
    )
    half = np.nan_to_num(np.sqrt(bends * ahead)) * steps / 2
    leaving = np.arcsin(np.minimum(half, 1.0))
    arriving = np.roll(leaving, 1)
    whole = arriving + leaving
    return np.where(whole > 0, arriving / np.where(whole > 0, whole, 1.0), 0.5)


def _line_and_arc(share, size, bends, steps, smooth) -> np.ndarray:
    """Shares beside a straight side: it runs on straight and then bends in an arc.

    A line and an arc of curvature k along an edge of length c, leaning by a and b from
    it, have b = sqrt(2 a k c) - a (small angles; a circle too, where a = b). Of the
    edges on both sides the far leans are known, and k makes the near ones up to the
    turn.
    """
    far_back = np.roll((1 - share) * size, 1)
    far_ahead = np.roll(share * size, -1)
    back = np.sqrt(2 * far_back * np.roll(steps, 1))
    ahead = np.sqrt(2 * far_ahead * steps)
    seen = bends * (1 - STRAIGHT / size)  # 0 where it is straight
    with np.errstate(invalid="ignore", divide="ignore"):
        root = (size + far_back + far_ahead) / (back + ahead)
        found = np.clip((back * root - far_back) / size, 0.0, 1.0)
        bent = np.fmin(
            np.roll(seen, 2) / np.roll(bends, 1), np.roll(seen, -2) / np.roll(bends, -1)
        )
    sure = np.clip(1 - np.nan_to_num(bent, nan=1.0), 0.0, 1.0) ** SURENESS
    known = smooth & np.roll(smooth, 1) & np.roll(smooth, -1)
    return np.where(known, share + sure * (found - share), share)
