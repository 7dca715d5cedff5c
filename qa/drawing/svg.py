"""Scene to SVG text: classes and attributes only, since style attributes are refused
by the site's content policy. Ids carry a prefix, so that two drawings fit one page."""

from xml.sax.saxutils import escape, quoteattr

from qa.drawing.scene import Disc, Group, Path, Scene, Shape, Text
from qa.drawing.style import PREFIX, STYLE, color


def render(scene: Scene, *, prefix: str = "map", standalone: bool = False) -> str:
    """The drawing as an SVG element; responsive by its viewBox.

    A drawing with links is a group whose links are named; one without is an image.
    `standalone` adds the looks as attributes for a file that no stylesheet reaches.
    """
    role = "group" if scene.links else "img"
    ident = f"{prefix}-title"
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{PREFIX}scene" role="{role}" '
        f'aria-labelledby={quoteattr(ident)} viewBox="0 0 {n(scene.width)} '
        f'{n(scene.height)}"'
        + (' font-family="sans-serif"' if standalone else "")
        + f"><title id={quoteattr(ident)}>{escape(scene.title)}</title>"
    ]
    for shape in scene.shapes:
        _shape(out, shape, prefix, standalone)
    out.append("</svg>")
    return "".join(out)


def n(value: float) -> str:
    """A coordinate with two decimals at most, never a negative zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _look(name: str, standalone: bool) -> str:
    out = f' class="{PREFIX}{name}"'
    if standalone:
        look = STYLE[name]
        out += f' fill="{color(look.fill) or "none"}"'
        if look.stroke:
            out += f' stroke="{color(look.stroke)}" stroke-width="{n(look.width)}"'
        if look.dash:
            dashes = " ".join(n(d) for d in look.dash)
            out += f' stroke-dasharray="{dashes}"'
        if look.weight != 400:
            out += f' font-weight="{look.weight}"'
    return out


def _path(steps) -> str:
    return "".join(step[0] + " ".join(n(v) for v in step[1:]) for step in steps)


def _shape(out: list[str], shape: Shape, prefix: str, standalone: bool) -> None:
    if isinstance(shape, Path):
        out.append(f'<path{_look(shape.look, standalone)} d="{_path(shape.steps)}"/>')
    elif isinstance(shape, Disc):
        out.append(
            f'<circle{_look(shape.look, standalone)} cx="{n(shape.x)}" '
            f'cy="{n(shape.y)}" r="{n(shape.radius)}"/>'
        )
    elif isinstance(shape, Text):
        anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
        out.append(
            f'<text{_look(shape.look, standalone)} x="{n(shape.x)}" y="{n(shape.y)}" '
            f'font-size="{n(shape.size)}"{anchor}>{escape(shape.words)}</text>'
        )
    else:
        _group(out, shape, prefix, standalone)


def _group(out: list[str], group: Group, prefix: str, standalone: bool) -> None:
    ident = f" id={quoteattr(f'{prefix}-{group.key}')}" if group.key else ""
    if group.href:
        out.append(f"<a{ident} href={quoteattr(group.href)}")
        current = ' aria-current="step"' if group.current else ""
        out.append(f" aria-label={quoteattr(group.name)}{current}>")
        end = "</a>"
    else:
        unseen = ' aria-hidden="true"' if group.hidden else ""
        out.append(f"<g{ident}{unseen}>")
        end = "</g>"
    for shape in group.shapes:
        _shape(out, shape, prefix, standalone)
    out.append(end)
