"""Lines through stations: smooth where the seam is, broken where it turns a corner.
Arrays are (n, 2) in any unit; nothing here knows which way y points."""

import numpy as np

from qa.drawing.scene import Step

SHORTEST = 0.1  # handle in lengths of its edge, so that no piece ends in a kink
CORNER = np.cos(np.radians(50))  # a seam that turns more than this has a corner


def distinct(points: np.ndarray, closed: bool) -> np.ndarray:
    """The points without those that repeat their predecessor."""
    size = float(np.ptp(points, axis=0).max(initial=0.0)) or 1.0
    keep = [0]
    for i in range(1, len(points)):
        if np.hypot(*(points[i] - points[keep[-1]])) > 1e-6 * size:
            keep.append(i)
    if closed and len(keep) > 1:
        last = np.hypot(*(points[keep[-1]] - points[keep[0]]))
        if last <= 1e-6 * size:
            keep.pop()
    return points[keep]


def smooth(points: np.ndarray, closed: bool) -> tuple[Step, ...]:
    """Path steps of a smooth curve through the points (cubic pieces, handles of a
    third of the edge along the bisector of the two edges that meet)."""
    p = distinct(np.asarray(points, float), closed)
    count = len(p)
    if count < 3:
        return tuple(("L" if i else "M", *map(float, q)) for i, q in enumerate(p))
    edges = np.roll(p, -1, axis=0) - p
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    units = edges / lengths[:, None]
    before = np.roll(units, 1, axis=0)
    sums = before + units
    norms = np.hypot(sums[:, 0], sums[:, 1])
    corner = (np.sum(before * units, axis=1) < CORNER) | (norms < 1e-9)
    if not closed:
        corner[[0, -1]] = True
    tangents = sums / np.where(norms < 1e-9, 1.0, norms)[:, None]
    steps: list[Step] = [("M", *map(float, p[0]))]
    for i in range(count if closed else count - 1):
        j = (i + 1) % count
        leave = units[i] if corner[i] else tangents[i]
        arrive = units[i] if corner[j] else tangents[j]
        a = p[i] + leave * lengths[i] / 3
        b = p[j] - arrive * lengths[i] / 3
        steps.append(("C", *map(float, (*a, *b, *p[j]))))
    if closed:
        steps.append(("Z",))
    return tuple(steps)


def along(points: np.ndarray, towards: np.ndarray, closed: bool) -> tuple[Step, ...]:
    """Path steps of the seam through stations whose unit normals (n, 2) are known.

    It runs square to the normals: straight where both ends say so, as an arc round a
    corner of constant radius. An end whose normal looks along its edge says nothing of
    it, and neither do stations of one place.
    """
    p, n = np.asarray(points, float), np.asarray(towards, float)
    count = len(p)
    ends = [(i, (i + 1) % count) for i in range(count if closed else count - 1)]
    steps: list[Step] = [("M", *map(float, p[0]))]
    for i, j in ends:
        edge = p[j] - p[i]
        length = float(np.hypot(*edge))
        if length < 1e-9:
            continue
        unit = edge / length
        leave, arrive = (_square_to(n[k], unit) for k in (i, j))
        out, back = _handles(leave, unit, arrive)
        a, b = p[i] + leave * out * length, p[j] - arrive * back * length
        steps.append(("C", *map(float, (*a, *b, *p[j]))))
    if closed:
        steps.append(("Z",))
    return tuple(steps)


def _handles(leave, unit, arrive) -> tuple[float, float]:
    """Handles of a cubic piece in lengths of its edge.

    Where the two tangents meet ahead, the handles are those of an arc, 4/3 tan(turn/4)
    radii, in proportion to how far off the meeting point is: the piece stays inside the
    tangents. A third of the edge else.
    """
    alpha = float(np.arctan2(_cross(leave, unit), leave @ unit))
    beta = float(np.arctan2(_cross(unit, arrive), unit @ arrive))
    turn = abs(alpha + beta)
    if alpha * beta < 0 or turn < 1e-6:
        return 1 / 3, 1 / 3
    part = 4 / 3 * np.tan(turn / 4) / np.tan(turn / 2) / np.sin(turn)
    return (
        max(SHORTEST, part * abs(np.sin(beta))),
        max(SHORTEST, part * abs(np.sin(alpha))),
    )


def _cross(a, b) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _square_to(normal: np.ndarray, edge: np.ndarray) -> np.ndarray:
    """The direction square to a normal that goes along an edge; the edge itself where
    the two are nearly parallel."""
    tangent = np.array([-normal[1], normal[0]])
    forward = float(tangent @ edge)
    if abs(forward) < CORNER:
        return edge
    return tangent if forward > 0 else -tangent


def flatten(steps: tuple[Step, ...], pitch: float) -> np.ndarray:
    """Points along the path, no further apart than about `pitch`."""
    out: list[np.ndarray] = []
    here = np.zeros(2)
    for step in steps:
        if step[0] == "M":
            here = np.array(step[1:3])
            out.append(here[None, :])
        elif step[0] == "L":
            end = np.array(step[1:3])
            count = max(1, int(np.ceil(np.hypot(*(end - here)) / pitch)))
            t = np.arange(1, count + 1)[:, None] / count
            out.append(here + t * (end - here))
            here = end
        elif step[0] == "C":
            a, b, end = (np.array(step[k : k + 2]) for k in (1, 3, 5))
            count = max(2, int(np.ceil(np.hypot(*(end - here)) * 1.15 / pitch)))
            t = np.arange(1, count + 1)[:, None] / count
            s = 1 - t
            out.append(s**3 * here + 3 * s * s * t * a + 3 * s * t * t * b + t**3 * end)
            here = end
    return np.vstack(out)


def resample(line: np.ndarray, pitch: float) -> tuple[np.ndarray, np.ndarray]:
    """(points, unit tangents) every `pitch` along a polyline, first point included."""
    edges = np.diff(line, axis=0)
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    keep = lengths > 0
    edges, lengths, starts = edges[keep], lengths[keep], line[:-1][keep]
    if not len(lengths):
        return line[:1], np.array([[1.0, 0.0]])
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    s = np.arange(pitch / 2, along[-1], pitch)
    i = np.clip(np.searchsorted(along, s, side="right") - 1, 0, len(lengths) - 1)
    units = edges / lengths[:, None]
    return starts[i] + units[i] * (s - along[i])[:, None], units[i]


def signed_area(points: np.ndarray) -> float:
    """Positive when walked counter-clockwise (y up)."""
    x, y = points[:, 0], points[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def normals(points: np.ndarray, closed: bool, part_inside: bool = True) -> np.ndarray:
    """Unit normals towards the surround at each point, for drawing only.

    y up. Closed: out of the outline, or into it when the part is outside. Open: on
    the right when walking. Measured directions come from the joint and win over these.
    """
    p = np.asarray(points, float)
    ahead, behind = np.roll(p, -1, axis=0), np.roll(p, 1, axis=0)
    if not closed:
        ahead[-1], behind[0] = p[-1], p[0]
    tangents = ahead - behind
    size = np.hypot(tangents[:, 0], tangents[:, 1])
    tangents = tangents / np.where(size == 0, 1.0, size)[:, None]
    out = np.column_stack([tangents[:, 1], -tangents[:, 0]])
    out[size == 0] = (0.0, 1.0)
    if closed and (signed_area(p) < 0) == part_inside:
        out = -out
    return out
