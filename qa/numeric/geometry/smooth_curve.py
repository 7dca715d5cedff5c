"""Which way a smooth curve runs at places that it is known by.

The places are corners of a polygon; at each the polygon turns, and the curve parts that
turn between the edge that arrives and the one that leaves. All arrays are (n,) in the
order of the places and run round from the last to the first; an edge that is not there
has length 0. Lengths in mm, angles in radians, left positive.
"""

import numpy as np

STRAIGHT = np.radians(0.002)  # places written to a micrometer turn by so much
AGAIN = np.radians(30)  # a side beside a round ends in a place that turns by more
SURENESS = 8  # how fast a side that bends a little is no longer taken for straight


def leans(turns, steps, apart, smooth, alone) -> np.ndarray:
    """How far the curve lies to the left of the edge that arrives at each place.

    `turns` of the polygon, `steps` to the next place, `apart` from the place before to
    the one after, `smooth` where the curve goes on; elsewhere half the turn; `alone`
    where one place is all there is of a round between sides that bend less. A place
    with one edge only, an end or one of two in a corner, leans from that edge as the
    curve at its other end does: along one arc. Exact on circles and on straight sides.
    """
    size = np.maximum(np.abs(turns), STRAIGHT)
    with np.errstate(invalid="ignore", divide="ignore"):
        bends = np.where(smooth, 2 * np.sin(size) / apart, np.nan)
    share = _bent(bends, steps)
    share = _line_and_arc(share, size, bends, steps, smooth)
    for row in np.flatnonzero(alone):
        _round_between_sides(row, share, (turns, steps, apart), smooth, alone)
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
        exact = np.clip((back * root - far_back) / size, 0.0, 1.0)
        bent = np.fmin(
            np.roll(seen, 2) / np.roll(bends, 1), np.roll(seen, -2) / np.roll(bends, -1)
        )
    sure = np.clip(1 - np.nan_to_num(bent, nan=1.0), 0.0, 1.0) ** SURENESS
    known = smooth & np.roll(smooth, 1) & np.roll(smooth, -1)
    return np.where(known, share + sure * (exact - share), share)


def _round_between_sides(row: int, share, known, smooth, alone) -> None:
    """Set the shares of a place that is alone in its round, and of the two beside it.

    Each side bends all along as its own places say where they are three or more, else
    not at all; on top of that the curve is as in _line_and_arc.
    """
    turns, steps, apart = known
    count, sign = len(turns), np.sign(turns[row])
    sides = []
    for way in (-1, 1):
        near, far, further = ((row + way * k) % count for k in (1, 2, 3))
        if not smooth[near] or abs(turns[near]) > AGAIN or alone[far]:
            return
        chord, on = (steps[row], steps[near]) if way > 0 else (steps[near], steps[far])
        bends = smooth[far] and abs(turns[far]) <= AGAIN / 2 and not alone[further]
        bend = 2 * np.sin(sign * turns[far]) / apart[far] if bends else 0.0
        lean = sign * turns[near] - bend * on / 2
        sides.append((chord, bend * chord / 2, max(lean - bend * chord / 2, 0.0)))
        part = np.clip(lean / max(sign * turns[near], STRAIGHT), 0.0, 1.0)
        share[near] = part if way > 0 else 1 - part
    (back_chord, bow, lean), (ahead_chord, other_bow, other_lean) = sides
    back, ahead = np.sqrt(2 * lean * back_chord), np.sqrt(2 * other_lean * ahead_chord)
    if back + ahead > 0:
        size = abs(turns[row])
        root = (size - bow - other_bow + lean + other_lean) / (back + ahead)
        share[row] = np.clip((back * root - lean + bow) / size, 0.0, 1.0)
