"""The looks of drawings: CSS classes for the screen and colors for paper.

Widths are in scene units. Colors are named tokens with a light and a dark value;
paper always uses the light one. States are told by shape first (shop/wording).
"""

from dataclasses import dataclass

from shop.wording import states

# token: (light, dark), the same values as the site's own tokens. The one accent, "now",
# means "here, do this next": the active station and what is to be cut. Red and blue
# were measured against color vision deficiencies (smallest CIEDE2000 between the fills
# of states 21.6); the dark ones are lighter tints with dark numbers on them.
TOKENS: dict[str, tuple[str, str]] = {
    "paper": ("#ffffff", "#0f1317"),
    "ink": ("#000000", "#f5f7f2"),
    "faint": ("#8b8b84", "#7c8893"),
    "wash": ("#f1f1ec", "#1c232a"),
    "half": ("#c9c9c2", "#454b53"),
    "above": ("#b3261e", "#ff9a8f"),
    "below": ("#1f4e9e", "#8fb8ff"),
    "on-above": ("#ffffff", "#000000"),
    "on-below": ("#ffffff", "#000000"),
    "now": ("#ffd21f", "#e8bc0f"),
    "on-now": ("#000000", "#000000"),
}


@dataclass(frozen=True)
class Look:
    """Paint of one class: token names for fill, stroke; stroke width; dash; weight."""

    fill: str | None = None
    stroke: str | None = None
    width: float = 0.0
    dash: tuple[float, ...] = ()
    weight: int = 400


def _of(row: states.State) -> Look:
    """The outline of a state, from the one table of states."""
    return Look(row.fill, row.line, width=1.4, dash=row.dash)


STYLE: dict[str, Look] = {
    # the drawing itself
    "seam": Look(stroke="ink", width=1.6),
    "seam-was": Look(stroke="faint", width=1.2, dash=(6, 4)),
    "part": Look(fill="wash"),
    "hatch": Look(stroke="faint", width=0.7),
    "tick": Look(stroke="ink", width=1.0),
    "leader": Look(stroke="ink", width=0.6),
    "axis": Look(stroke="ink", width=0.8),
    "grid": Look(stroke="faint", width=0.4, dash=(1.5, 3)),
    "flow": Look(stroke="ink", width=1.4),
    "flow-head": Look(fill="ink"),
    # states: their shapes, and the number on them
    **{key: _of(row) for key, row in states.VERDICTS.items() if key},
    "half": Look(fill="half"),
    "edge": Look(stroke="ink", width=1.0),
    "now": Look(fill="now", stroke="ink", width=2.0),
    "flag": Look(fill="paper", stroke="ink", width=0.9),
    "mark": Look(stroke="ink", width=1.8),
    "n": Look(fill="ink", weight=700),
    "n-above": Look(fill="on-above", weight=700),
    "n-below": Look(fill="on-below", weight=700),
    # words
    "value": Look(fill="ink", weight=600),
    "word": Look(fill="ink"),
    "title": Look(fill="ink", weight=700),
    # profile
    "band": Look(fill="wash"),
    "limit": Look(stroke="ink", width=1.2),
    "drawn-in": Look(stroke="ink", width=0.9, dash=(5, 3.5)),
    "bar": Look(stroke="ink", width=1.0),
    "trace": Look(stroke="faint", width=0.8),
    # plan
    "move": Look(stroke="ink", width=2.2),
    "move-head": Look(fill="ink"),
    "cut-area": Look(fill="now"),
    "cut": Look(stroke="on-now", width=0.9),
    "cut-line": Look(stroke="ink", width=1.8),
    "bite-line": Look(stroke="ink", width=1.3, dash=(6, 4)),
    "build": Look(stroke="ink", width=1.4, dash=(2, 2)),
    # holes
    "zone": Look(stroke="ink", width=1.2),
    "hole": Look(stroke="ink", width=0.8),
    "nominal": Look(stroke="faint", width=0.8),
    "hit": Look(fill="none"),
}

# Text and the ground it may stand on: a test works out the contrast of each.
TEXT_ON: tuple[tuple[str, str], ...] = (
    ("ink", "paper"),
    ("ink", "wash"),
    ("ink", "half"),
    ("on-above", "above"),
    ("on-below", "below"),
    ("on-now", "now"),
)
SHAPE_ON: tuple[tuple[str, str], ...] = (
    ("ink", "paper"),
    ("above", "paper"),
    ("below", "paper"),
    ("faint", "paper"),
    ("on-now", "now"),
)

PREFIX = "dw-"


def color(name: str | None) -> str | None:
    """The color of a token on paper (and on a light screen)."""
    if name is None or name == "none":
        return None
    return TOKENS[name][0]


def _variables(which: int, indent: str) -> list[str]:
    return [f"{indent}--{PREFIX}{name}: {v[which]};" for name, v in TOKENS.items()]


def _rule(name: str, look: Look) -> str:
    def paint(name: str | None) -> str:
        if name is None:
            return "none"
        return "transparent" if name == "none" else f"var(--{PREFIX}{name})"

    parts = [f"fill: {paint(look.fill)}", f"stroke: {paint(look.stroke)}"]
    if look.stroke:
        parts.append(f"stroke-width: {look.width:g}")
    if look.dash:
        parts.append("stroke-dasharray: " + " ".join(f"{d:g}" for d in look.dash))
    if look.weight != 400:
        parts.append(f"font-weight: {look.weight}")
    return f".{PREFIX}{name} {{ {'; '.join(parts)}; }}"


def css() -> str:
    """The stylesheet of drawings; qa/static/qa/drawing.css is this text."""
    dark = [
        "@media (prefers-color-scheme: dark) {",
        '  :root:not([data-theme="light"]) {',
        *_variables(1, "    "),
        "  }",
        "}",
        ':root[data-theme="dark"] {',
        *_variables(1, "  "),
        "}",
    ]
    lines = [
        "/* Made from qa/drawing/style.py by `manage.py drawing_css`. */",
        ":root {",
        *_variables(0, "  "),
        "}",
        *dark,
        f".{PREFIX}scene {{ display: block; width: 100%; height: auto; "
        "font-family: inherit; font-variant-numeric: tabular-nums; "
        "stroke-linejoin: round; stroke-linecap: butt; }",
        *(_rule(name, look) for name, look in STYLE.items()),
        f".{PREFIX}scene a {{ cursor: pointer; }}",
        f".{PREFIX}scene a:focus-visible {{ outline: none; }}",
        f".{PREFIX}scene a:focus-visible .{PREFIX}hit {{ "
        f"stroke: var(--{PREFIX}ink); stroke-width: 3; }}",
        "@media (forced-colors: active) {",
        f"  .{PREFIX}scene {{ forced-color-adjust: none; }}",
        "}",
        "@media print {",
        "  :root, :root[data-theme] {",
        *_variables(0, "    "),
        "  }",
        "}",
    ]
    return "\n".join(lines) + "\n"
