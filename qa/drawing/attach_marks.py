"""Places that hold a part, with arrows for the ways in which they can be set.

The arrows stand inside of the seam, on a thin line from their place: on the seam itself
they would lie among the stations.
"""

from qa.drawing.scene import Disc, Shape, Text, arrow, line

INWARD, LONG, SHORT = 140.0, 40.0, 9.0
# What points at the eye or away has no arrow in the picture, only its words.
SEEN = 0.35


def build(joint, layout, drawn) -> list[Shape]:
    """Ring, name and arrows of every mark of a joint; values keep away from them."""
    shapes: list[Shape] = []
    size = layout.text * 0.8
    centers = drawn.centers.mean(axis=0)
    for mark in joint.marks:
        x, y = map(float, drawn.frame.points([(mark.x, mark.y)])[0])
        visible = [
            arrow for arrow in mark.arrows if arrow[2] ** 2 + arrow[3] ** 2 >= SEEN**2
        ]
        unseen = [
            f"{arrow[0]}/{arrow[1]}" for arrow in mark.arrows if arrow not in visible
        ]
        at_x, at_y = _inside(x, y, centers) if mark.arrows else (x, y)
        shapes.append(line(x, y, at_x, at_y, "leader"))
        shapes += [Disc(x, y, 7.0, "hole"), Disc(x, y, 2.4, "flow-head")]
        for plus, minus, dx, dy in visible:
            shapes += _both_ways(at_x, at_y, dx, -dy, (plus, minus), size)
        label = f"{mark.name}: {', '.join(unseen)}" if unseen else mark.name
        upright = any(abs(arrow[3]) > 0.5 for arrow in visible)
        down = LONG + size * 2.4 if upright else size * 1.6
        shapes.append(Text(at_x, at_y + down, label, size, "word", "middle"))
        drawn.busy += [(x, y), (at_x, at_y), (at_x, at_y + down)]
    return shapes


def _inside(x: float, y: float, center) -> tuple[float, float]:
    """Towards the middle of the joint."""
    dx, dy = float(center[0]) - x, float(center[1]) - y
    length = (dx * dx + dy * dy) ** 0.5 or 1.0
    far = min(INWARD, 0.6 * length)
    return x + dx / length * far, y + dy / length * far


def _both_ways(x, y, dx, dy, words, size) -> list[Shape]:
    """Two arrows, each with its word at its end."""
    shapes: list[Shape] = []
    for way, word in zip((1, -1), words, strict=True):
        ux, uy = way * dx, way * dy
        shapes += arrow(
            x + ux * SHORT, y + uy * SHORT, x + ux * LONG, y + uy * LONG, "flow"
        )
        anchor = "middle" if abs(ux) < 0.5 else "start" if ux > 0 else "end"
        at_x, at_y = x + ux * (LONG + 6), y + uy * (LONG + 6)
        at_y += size * (0.8 if uy > 0.5 else 0.35 if abs(uy) < 0.5 else 0)
        shapes.append(Text(at_x, at_y, word, size * 0.85, "word", anchor))
    return shapes
