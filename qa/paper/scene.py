"""Scene to a reportlab canvas: the same shapes in the same looks, on paper."""

from qa.drawing import symbols
from qa.drawing.scene import Disc, Group, Path, Scene, Shape, Text
from qa.drawing.style import STYLE, color
from shop.paper import text as words
from shop.paper.fonts import BOLD, REGULAR, SEMIBOLD

FONTS = {400: REGULAR, 600: SEMIBOLD, 700: BOLD}
ALIGN = {"start": "left", "middle": "center", "end": "right"}


def draw(canvas, scene: Scene, x: float, y: float, width: float) -> float:
    """Draw with the upper left corner at (x, y), `width` points wide; return height."""
    scale = width / scene.width
    canvas.saveState()
    canvas.setLineJoin(1)
    for shape in scene.shapes:
        _shape(canvas, shape, x, y, scale)
    canvas.restoreState()
    return scene.height * scale


def _shape(canvas, shape: Shape, x: float, y: float, scale: float) -> None:
    if isinstance(shape, Group):
        for inner in shape.shapes:
            _shape(canvas, inner, x, y, scale)
    elif isinstance(shape, Text):
        look = STYLE[shape.look]
        words.write(
            canvas,
            x + shape.x * scale,
            y - shape.y * scale,
            shape.words,
            font=FONTS[look.weight],
            size=shape.size * scale,
            align=ALIGN[shape.anchor],
            color=color(look.fill),
        )
    else:
        fill, stroke = _paint(canvas, shape.look, scale)
        if not (fill or stroke):
            return
        if isinstance(shape, Disc):
            center = (x + shape.x * scale, y - shape.y * scale)
            canvas.circle(*center, shape.radius * scale, stroke=stroke, fill=fill)
        else:
            canvas.drawPath(_path(canvas, shape, x, y, scale), stroke=stroke, fill=fill)


def _paint(canvas, name: str, scale: float) -> tuple[int, int]:
    look = STYLE[name]
    fill, stroke = color(look.fill), color(look.stroke)
    if fill:
        canvas.setFillColor(words.paint(fill))
    if stroke:
        canvas.setStrokeColor(words.paint(stroke))
        canvas.setLineWidth(look.width * scale)
        canvas.setDash([d * scale for d in look.dash])
    return int(fill is not None), int(stroke is not None)


def _path(canvas, shape: Path, x: float, y: float, scale: float):
    path = canvas.beginPath()
    for step in shape.steps:
        values = [
            (x + v * scale) if i % 2 == 0 else (y - v * scale)
            for i, v in enumerate(step[1:])
        ]
        {
            "M": path.moveTo,
            "L": path.lineTo,
            "C": path.curveTo,
            "Z": path.close,
        }[step[0]](*values)
    return path


def mark(canvas, state: str, x: float, y: float, radius: float) -> None:
    """The small sign of a state about (x, y), for a table; nothing for no limits."""
    # Drawn once a file, referred to from each row.
    name = f"mark-{state}-{radius:g}"
    if not canvas.hasForm(name):
        edge = 3 * radius
        canvas.beginForm(name, -edge, -edge, edge, edge)
        for shape in symbols.mark(state, 0, 0, 10):
            _shape(canvas, shape, 0, 0, radius / 10)
        canvas.endForm()
    canvas._code.append(f"q 1 0 0 1 {x:.3f} {y:.3f} cm")
    canvas.doForm(name)
    canvas._code.append("Q")
