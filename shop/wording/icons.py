"""States as small pictures for pages: inline SVG, decoration beside the word.

Colors by the classes fill-* and line-* of tokens.css: no inline style is allowed.
"""

from functools import cache

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from shop.wording.shapes import Disc, Line
from shop.wording.states import RECORDS, State

HALF = 12  # half the side of the box
WIDTHS = {"outline": 2, "edge": 2, "tick": 2.5, "sign": 2.5}


def attention() -> SafeString:
    """Something to put right."""
    return svg(RECORDS["attention"])


@cache
def svg(state: State) -> SafeString:
    """The picture of a row of the table; screen readers do not meet it."""
    shape = state.shape
    drawn = "".join(_part(state, part) for part in (*shape.parts, *shape.sign))
    return format_html(
        '<svg class="mark mark-{}" viewBox="-12 -12 24 24" aria-hidden="true"'
        ' focusable="false">{}</svg>',
        state.shape_name,
        mark_safe(drawn),  # noqa: S308 -- numbers and names of our own table
    )


def _part(state: State, shape: Line | Disc) -> str:
    size = HALF * state.shape.scale
    fill, line = _colors(state, shape.role)
    paint = f'class="fill-{fill} line-{line}"'
    if shape.role in WIDTHS:
        paint += f' stroke-width="{WIDTHS[shape.role]}"'
    if shape.role == "outline" and state.dash:
        paint += f' stroke-dasharray="{" ".join(f"{d:g}" for d in state.dash)}"'
    if isinstance(shape, Disc):
        x, radius = _no(shape.x * size), _no(shape.radius * size)
        return f'<circle cx="{x}" cy="0" r="{radius}" {paint}/>'
    points = "L".join(f"{_no(x * size)} {_no(y * size)}" for x, y in shape.points)
    return f'<path d="M{points}{"z" if shape.closed else ""}" {paint}/>'


def _colors(state: State, role: str) -> tuple[str, str]:
    """(fill, line) as names of tokens."""
    return {
        "outline": (state.fill, state.line),
        "half": ("half", "none"),
        "solid": (state.line, "none"),
        "edge": ("none", state.line),
        "tick": ("none", state.line),
        "sign": ("none", state.sign),
    }[role]


def _no(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
