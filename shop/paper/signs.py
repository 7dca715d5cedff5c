"""Signs that the font lacks, drawn as shapes. Coordinates in em, y up from the base
line.

On paper a shape is not text: whoever uses a sign for a verdict prints the word as well.
"""

from dataclasses import dataclass

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Sign:
    """One drawn character: its advance, open strokes, filled outlines and circles (x,
    y, radius, filled)."""

    advance: float
    strokes: tuple[Points, ...] = ()
    fills: tuple[Points, ...] = ()
    circles: tuple[tuple[float, float, float, bool], ...] = ()


def _arrow(turn: int) -> Sign:
    """An arrow pointing right, turned `turn` quarter turns counter-clockwise about
    (0.45, 0.33)."""

    def place(x: float, y: float) -> tuple[float, float]:
        u, v = x - 0.45, y - 0.33
        for _ in range(turn):
            u, v = -v, u
        return (0.45 + u, 0.33 + v)

    shaft = (place(0.1, 0.33), place(0.78, 0.33))
    head = (place(0.56, 0.52), place(0.8, 0.33), place(0.56, 0.14))
    return Sign(0.9, strokes=(shaft, head))


SIGNS: dict[str, Sign] = {
    "✓": Sign(0.78, strokes=(((0.1, 0.32), (0.3, 0.08), (0.68, 0.66)),)),
    "✗": Sign(0.72, strokes=(((0.12, 0.06), (0.6, 0.62)), ((0.12, 0.62), (0.6, 0.06)))),
    "▲": Sign(0.82, fills=(((0.06, 0.0), (0.76, 0.0), (0.41, 0.7)),)),
    "▼": Sign(0.82, fills=(((0.06, 0.7), (0.76, 0.7), (0.41, 0.0)),)),
    "⌀": Sign(
        0.84,
        strokes=(((0.12, -0.02), (0.72, 0.72)),),
        circles=((0.42, 0.35, 0.28, False),),
    ),
    "●": Sign(0.72, circles=((0.36, 0.35, 0.28, True),)),
    "◯": Sign(0.82, circles=((0.41, 0.35, 0.33, False),)),
    "■": Sign(0.76, fills=(((0.08, 0.04), (0.68, 0.04), (0.68, 0.64), (0.08, 0.64)),)),
    "□": Sign(
        0.76,
        strokes=(
            ((0.08, 0.04), (0.68, 0.04), (0.68, 0.64), (0.08, 0.64), (0.08, 0.04)),
        ),
    ),
    "◇": Sign(
        0.8,
        strokes=(((0.4, 0.0), (0.74, 0.34), (0.4, 0.68), (0.06, 0.34), (0.4, 0.0)),),
    ),
    "→": _arrow(0),
    "↑": _arrow(1),
    "←": _arrow(2),
    "↓": _arrow(3),
    "⊥": Sign(
        0.74, strokes=(((0.06, 0.04), (0.68, 0.04)), ((0.37, 0.04), (0.37, 0.66)))
    ),
    "∥": Sign(0.56, strokes=(((0.12, 0.0), (0.26, 0.7)), ((0.3, 0.0), (0.44, 0.7)))),
}


def draw(canvas, sign: Sign, x: float, y: float, size: float) -> None:
    """Draw one sign with its base line at (x, y) in the canvas's present fill color
    (used for strokes too)."""
    canvas.saveState()
    canvas.setStrokeColor(canvas._fillColorObj)
    canvas.setLineWidth(0.085 * size)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    for points, closed in [(s, False) for s in sign.strokes] + [
        (f, True) for f in sign.fills
    ]:
        path = canvas.beginPath()
        path.moveTo(x + points[0][0] * size, y + points[0][1] * size)
        for px, py in points[1:]:
            path.lineTo(x + px * size, y + py * size)
        if closed:
            path.close()
        canvas.drawPath(path, stroke=not closed, fill=closed)
    for cx, cy, radius, filled in sign.circles:
        canvas.circle(
            x + cx * size, y + cy * size, radius * size, stroke=not filled, fill=filled
        )
    canvas.restoreState()
