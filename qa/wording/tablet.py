"""The table of states as the tablet has it: a module of data and the looks of its
states, written by the command `tablet_verdicts` from shop/wording, so that map, list
and pad draw what pages do."""

import json

from shop.wording.shapes import SHAPES, Disc, Line
from shop.wording.states import TABLET, VERDICTS, State

# What a tablet never meets: it measures anew, and knows which way a reading fails.
NOT_THERE = ("stale",)
HEAD = (
    "// Made from shop/wording by `manage.py tablet_verdicts`: what a reading, a place",
    "// or a station can be. Data only: word, shape on the map, sign beside words, how",
    "// bad it is (the worse of gap and flushness stands for a station), whether it is",
    "// told aloud and never left out of the map, how far down its number stands.",
)
MADE = "/* Looks of states: made from shop/wording by `manage.py tablet_verdicts`. */"
OF_SHAPES = (
    "// Paths about 0, 0 in units of the radius, with a class where it is not the",
    "// state's own; a disc is told by its middle.",
)


def rows() -> dict[str, State]:
    """The rows a tablet draws, the best first."""
    by_key = {k: row for k, row in (VERDICTS | TABLET).items() if k not in NOT_THERE}
    return dict(sorted(by_key.items(), key=lambda item: item[1].severity))


def javascript() -> str:
    """The text of qa/static/qa/tablet/core/verdicts.js."""
    states = [f"  {_key(key)}: {_object(_row(row))}," for key, row in rows().items()]
    used = {row.shape_name for row in rows().values()}
    used |= {row.beside for row in rows().values() if row.beside}
    shapes = [
        f"  {name}: {json.dumps([_part(part) for part in SHAPES[name].parts])},"
        for name in SHAPES
        if name in used
    ]
    return "\n".join(
        [
            *HEAD,
            "export const VERDICTS = {",
            *states,
            "};",
            *OF_SHAPES,
            "export const SHAPES = {",
            *shapes,
            "};",
            "",
        ]
    )


def styles() -> str:
    """The part of qa/static/qa/tablet.css from MADE to the next empty line."""
    groups: dict[tuple[str, str], list[str]] = {}
    for key, row in rows().items():
        groups.setdefault((row.fill, row.line), []).append(f".s-{key}")
    looks = [
        f"{', '.join(names)} {{ fill: {_color(fill)}; stroke: {_color(line)}; }}"
        for (fill, line), names in groups.items()
    ]
    for key, row in rows().items():
        if row.dash:
            dash = " ".join(f"{length:g}" for length in row.dash)
            looks.append(f".s-{key} {{ stroke-dasharray: {dash}; }}")
        if row.line != "ink":
            border = f"border-color: {_color(row.line)}"
            looks.append(f'.reading[data-state="{key}"] {{ {border}; }}')
        if row.sign != "ink":
            looks.append(f".map .n-{key} {{ fill: {_color(row.sign)}; }}")
    return "\n".join([MADE, *looks, ""])


def with_styles(sheet: str) -> str:
    """The tablet's stylesheet with that part anew."""
    before, made, after = sheet.partition(MADE)
    if not made:
        raise ValueError("the stylesheet has no place for the looks of states")
    return before + styles() + "\n" + after.partition("\n\n")[2]


def _color(name: str) -> str:
    return name if name == "none" else f"var(--{name})"


def _row(row: State) -> dict:
    columns = {
        "word": str(row.word),
        "shape": row.shape_name,
        "sign": row.beside,
        "severity": row.severity,
        "bad": row.bad,
        "lift": row.shape.lift,
    }
    return {
        name: value for name, value in columns.items() if value or name == "severity"
    }


def _part(shape: Line | Disc) -> list:
    if isinstance(shape, Disc):
        return [_short(shape.x)]
    points = "L".join(f"{_short(x)} {_short(y)}" for x, y in shape.points)
    path = f"M{points}{'Z' if shape.closed else ''}"
    return [path] if shape.role == "outline" else [path, shape.role]


def _short(value: float):
    value = round(value, 3) + 0.0
    return int(value) if value == int(value) else value


def _key(name: str) -> str:
    return name or '""'


def _object(values: dict) -> str:
    entries = ", ".join(
        f"{name}: {json.dumps(value)}" for name, value in values.items()
    )
    return f"{{ {entries} }}"
