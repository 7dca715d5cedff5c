"""Places that hold a part, with arrows for the ways in which they can be set."""

from qa.drawing.scene import Disc, Shape, Text, arrow

LONG, SHORT = 46.0, 12.0
# What points at the eye or away has no arrow in the picture, only its words.
SEEN = 0.35


def build(joint, layout, drawn) -> list[Shape]:
    """Ring, name and arrows of every mark of a joint; values keep away from them."""
    shapes: list[Shape] = []
    size, middle = layout.text * 0.8, drawn.frame.width / 2
    for mark in joint.marks:
        x, y = map(float, drawn.frame.points([(mark.x, mark.y)])[0])
        left = x > middle
        shapes += [Disc(x, y, 7.0, "hole"), Disc(x, y, 2.4, "flow-head")]
        unseen = []
        for plus, minus, dx, dy in mark.arrows:
            if dx * dx + dy * dy < SEEN * SEEN:
                unseen.append(f"{plus}/{minus}")
                continue
            shapes += _both_ways(x, y, dx, -dy, (plus, minus), size)
            drawn.busy.append((x + dx * LONG, y - dy * LONG))
            drawn.busy.append((x - dx * LONG, y + dy * LONG))
        anchor, start = ("end", x - 14) if left else ("start", x + 14)
        words = f"{mark.name}: {', '.join(unseen)}" if unseen else mark.name
        shapes.append(Text(start, y + LONG + size * 1.5, words, size, "word", anchor))
        drawn.busy.append((x, y))
    return shapes


def _both_ways(x, y, dx, dy, words, size) -> list[Shape]:
    """Two arrows, each with its word at its end."""
    shapes: list[Shape] = []
    for way, word in zip((1, -1), words, strict=True):
        ux, uy = way * dx, way * dy
        shapes += arrow(
            x + ux * SHORT, y + uy * SHORT, x + ux * LONG, y + uy * LONG, "flow"
        )
        anchor = "middle" if abs(ux) < 0.5 else "start" if ux > 0 else "end"
        at_y = y + uy * (LONG + 6) + (size * 0.35 if abs(uy) < 0.5 else 0)
        if uy > 0.5:
            at_y += size * 0.8
        shapes.append(
            Text(x + ux * (LONG + 6), at_y, word, size * 0.85, "word", anchor)
        )
    return shapes
