"""Does an outline cross itself? Against every pair of edges in exact arithmetic."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from qa.numeric.geometry import outline

POINT = st.tuples(st.integers(-4, 4), st.integers(-4, 4))


def side(p, q, r):
    return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])


def on(p, q, r):
    """Whether r, known to be in line with p and q, lies between them."""
    return min(p[0], q[0]) <= r[0] <= max(p[0], q[0]) and min(p[1], q[1]) <= r[
        1
    ] <= max(p[1], q[1])


def meet(a, b, c, d):
    """Whether two segments have a point in common, by the textbook's cases."""
    ends = [(a, b, c), (a, b, d), (c, d, a), (c, d, b)]
    s = [side(*three) for three in ends]
    if s[0] * s[1] < 0 and s[2] * s[3] < 0:
        return True
    return any(v == 0 and on(*three) for v, three in zip(s, ends, strict=True))


def crossing_by_hand(points, closed):
    """Drop repeated places, then try every pair of edges."""
    kept = [p for k, p in enumerate(points) if k == 0 or p != points[k - 1]]
    if closed and len(kept) > 1 and kept[0] == kept[-1]:
        kept.pop()
    count = len(kept)
    edges = [(kept[k], kept[(k + 1) % count]) for k in range(count - (not closed))]
    if count < 2 or len(edges) < 2:
        return False
    for i in range(len(edges)):
        for j in range(i + 1, len(edges)):
            (a, b), (c, d) = edges[i], edges[j]
            beside = [p for p in (a, b) if p in (c, d)]
            if j == i + 1 or (closed and (j - i) == len(edges) - 1):
                shared = b if j == i + 1 else a
                p = a if shared == b else b
                q = d if shared == c else c
                back = (p[0] - shared[0]) * (q[0] - shared[0]) + (p[1] - shared[1]) * (
                    q[1] - shared[1]
                )
                if (side(shared, p, q) == 0 and back > 0) or len(beside) == 2:
                    return True
            elif meet(a, b, c, d):
                return True
    return False


@given(points=st.lists(POINT, min_size=3, max_size=9), closed=st.booleans())
def test_crossings_are_found_as_every_pair_of_edges_tells(points, closed):
    places = np.array([(x, y, 0.0) for x, y in points], dtype=float)
    found = outline.crossing_edges(places, closed)
    assert (found is not None) == crossing_by_hand(points, closed)


def test_the_turning_sense_is_that_of_the_enclosed_area():
    up = np.tile([0.0, 0.0, 1.0], (4, 1))
    square = np.array([(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], dtype=float)
    assert outline.turning_sense(square, up) == 1
    assert outline.turning_sense(square[::-1], up) == -1
    assert outline.turning_sense(square, -up) == -1
    assert outline.turning_sense(square + [1e5, -1e5, 0], up) == 1
    assert outline.turning_sense(square * [1, 0, 0], up) == 0


def test_distances_along_a_seam_add_up():
    places = np.array([(0, 0, 0), (3, 4, 0), (3, 4, 12)], dtype=float)
    along, whole = outline.distances_along(places, closed=False)
    assert (along.tolist(), whole) == ([0, 5, 17], 17)
    assert outline.distances_along(places, closed=True)[1] == 17 + 13
