"""The values of a joint map: which are shown, where they fit, how they look.

Takes the dataclasses of `joint_map`, which imports this module.
"""

import numpy as np

from qa.drawing import labels, symbols
from qa.drawing.outline import flatten
from qa.drawing.scene import Group, Path, Shape, Text, line
from shop.wording.states import VERDICTS


def _wants_value(station, layout, count: int) -> bool:
    mode = layout.values
    if mode == "auto":
        mode = "all" if count <= 32 else "needed"
    if mode == "none" or not (station.gap_text or station.flush_text):
        return False
    bad = VERDICTS[station.state].severity >= VERDICTS["stale"].severity
    return mode == "all" or station.active or bad


def _rows(station, drawn) -> list[tuple[str, str]]:
    """(text, state) of each value there is, gap first; the number leads if the symbol
    is too small to hold it."""
    pairs = (
        (station.gap_text, station.gap_state),
        (station.flush_text, station.flush_state),
    )
    rows = [(value, state) for value, state in pairs if value]
    small = drawn.radius < symbols.READABLE
    return [(f"no. {station.label}", ""), *rows] if small else rows


def values(joint, layout, drawn) -> list[Shape]:
    """The values, gap over flushness, in one layer that screen readers skip."""
    chosen = [
        i
        for i, station in enumerate(joint.stations)
        if _wants_value(station, layout, len(joint.stations))
    ]
    size = layout.text
    wanted = []
    for i in chosen:
        station = joint.stations[i]
        rows = _rows(station, drawn)
        # 0.62 em holds a digit of any common screen font; the sign stands before it.
        width = max(len(value) for value, _ in rows) * 0.62 * size + 1.15 * size
        x, y = map(float, drawn.centers[i])
        nx, ny = map(float, drawn.normals[i])
        reach = symbols.reach(station.state, drawn.radius, station.active)
        height = len(rows) * size * 1.16
        rank = VERDICTS[station.state].severity + (10 if station.active else 0)
        wanted.append(labels.Wanted(x, y, nx, ny, width, height, reach, rank))
    places = labels.place(
        wanted,
        symbol_boxes(joint, drawn),
        _keep_free(drawn),
        (4, 4, drawn.frame.width - 4, drawn.frame.height - layout.strip),
    )
    places = _uncrossed(wanted, places)
    shapes: list[Shape] = []
    for i, w, spot in zip(chosen, wanted, places, strict=True):
        if spot is not None:
            shapes += _value(_rows(joint.stations[i], drawn), w, spot, size)
            drawn.boxes.append(_label_box(w, spot))
    return [Group(tuple(shapes), hidden=True)] if shapes else []


def symbol_boxes(joint, drawn) -> np.ndarray:
    """(n, 4) boxes that the symbols stay within."""
    reach = np.array(
        [symbols.reach(s.state, drawn.radius, s.active) for s in joint.stations]
    )[:, None]
    return np.hstack([drawn.centers - reach, drawn.centers + reach])


def _keep_free(drawn) -> np.ndarray:
    tips = [step[1:3] for path in drawn.hatch for step in path.steps]
    tips += drawn.busy
    return np.vstack([drawn.seam, np.array(tips)]) if tips else drawn.seam


def _label_box(w: labels.Wanted, spot) -> tuple[float, float, float, float]:
    (x, y), (a, b) = spot, (w.width / 2, w.height / 2)
    return (x - a, y - b, x + a, y + b)


def _leader(w: labels.Wanted, spot) -> Path | None:
    """The line from a symbol to the edge of a label that stands far from it."""
    dx, dy = spot[0] - w.x, spot[1] - w.y
    distance = float(np.hypot(dx, dy))
    if distance - w.reach <= w.height / 2 + 26 + w.width / 3:
        return None
    start = w.reach / distance
    end = 1 - min(
        w.width / 2 / abs(dx) if dx else 9.0, w.height / 2 / abs(dy) if dy else 9.0
    )
    return line(
        w.x + dx * start, w.y + dy * start, w.x + dx * end, w.y + dy * end, "leader"
    )


def _uncrossed(wanted, places) -> list:
    """Give up labels whose leader would run through another label."""
    out = list(places)
    for i, (w, spot) in enumerate(zip(wanted, places, strict=True)):
        leader = spot and _leader(w, spot)
        if not leader:
            continue
        points = flatten(leader.steps, 3.0)
        for j, other in enumerate(out):
            if j == i or other is None:
                continue
            x0, y0, x1, y1 = _label_box(wanted[j], other)
            px, py = points[:, 0], points[:, 1]
            if ((px > x0) & (px < x1) & (py > y0) & (py < y1)).any():
                out[i] = None
                break
    return out


def _value(rows, w: labels.Wanted, spot, size: float) -> list[Shape]:
    x, y = spot
    leader = _leader(w, spot)
    shapes: list[Shape] = [leader] if leader else []
    top = y - w.height / 2
    for k, (value, state) in enumerate(rows):
        base = top + (k + 0.84) * size * 1.16
        left = x - w.width / 2
        shapes += symbols.mark(state, left + 0.5 * size, base - 0.34 * size, 0.4 * size)
        shapes.append(Text(left + 1.1 * size, base, value, size, "value"))
    return shapes
