"""Holes out of a drawing (DXF), and a pattern as such a drawing.

A CIRCLE is a hole of its diameter, a POINT one whose diameter is not drawn, or the mark
in the middle of a circle; a text that begins or is centered there is its name. Others
are numbered in the order in which they are drawn. What else is drawn (outlines,
dimensions) is read past. Lengths are in the unit that the header names; x and y count.
No Django here.
"""

import io
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import count

from qa.files.drawing import (
    NEAR_MM,
    TEXTS,
    complaint,
    document_of,
    entities_of,
    factor_of,
    texts_of,
)
from shop.numeric.units import format_length, to_mm, to_nm

HOLE_LAYER = "HOLES"
TEXT_MM = 3.0
MOST_HOLES = 500
FARTHEST_MM = 100_000


@dataclass(frozen=True)
class DrawnHole:
    """place and diameter (None: not drawn) in mm."""

    label: str
    place: tuple[float, float]
    diameter_mm: float | None


@dataclass(frozen=True)
class HoleDrawing:
    """unit: the word of the header's, "" where it names none."""

    holes: tuple[DrawnHole, ...]
    layer: str
    unit: str


def read(data: bytes, *, layer: str = "", unit: str = "mm") -> HoleDrawing:
    """The holes of a drawing. layer: whose alone are meant, "" where there is but one
    that has any. unit: of its lengths, where the header names none.

    Raises FileComplaints in words.
    """
    document = document_of(data)
    factor, word = factor_of(document, unit)
    drawn = entities_of(document, ("CIRCLE", "POINT", "ELLIPSE", *TEXTS))
    rings, name = _on_one_layer(drawn, layer)
    places = _places(rings, factor)
    if len(places) > MOST_HOLES:
        raise complaint(f"more than {MOST_HOLES} holes are drawn")
    holes = _named(places, {_key(at, factor): words for at, words in texts_of(drawn)})
    return HoleDrawing(holes, name, word)


def _on_one_layer(drawn: Iterable, layer: str) -> tuple[list, str]:
    """What may be holes, of one layer: case does not tell layers apart."""
    layers, spelled = {}, {}
    for entity in drawn:
        if entity.dxftype() not in TEXTS:
            name = spelled.setdefault(entity.dxf.layer.lower(), entity.dxf.layer)
            layers.setdefault(name, []).append(entity)
    wanted = spelled.get(layer.lower()) if layer else None
    there = ", ".join(sorted(layers)) or "none"
    if layer and not wanted:
        raise complaint(f'no hole is drawn on a layer "{layer}"; layers: {there}')
    if not layers:
        raise complaint("no circle and no point is drawn in it")
    if not layer and len(layers) > 1:
        raise complaint(f"circles and points are drawn on several layers: {there}")
    name = wanted or next(iter(layers))
    return layers[name], name


def _places(rings: Iterable, factor: float) -> dict:
    """(place, diameter or None) by place, in the order drawn."""
    places: dict = {}
    heights = set()
    for ring in rings:
        if ring.dxftype() == "ELLIPSE":
            raise complaint("an ellipse is drawn among the holes: it is no hole")
        at, across = _ring(ring, factor)
        if not all(abs(part * factor) < FARTHEST_MM for part in (*at, across or 0)):
            raise complaint("a hole is drawn more than 100 m away, or nowhere")
        heights.add(round(at.z * factor / NEAR_MM))
        key = _key(at, factor)
        _at, known = places.get(key, (None, None))
        if known is not None and across is not None:
            place = f"({at.x * factor:.2f}, {at.y * factor:.2f})"
            raise complaint(f"two circles are drawn round one place, {place} mm")
        place = (at.x * factor, at.y * factor)
        places[key] = (place, known if across is None else across)
    if len(heights) > 1:
        raise complaint("the holes are not in one plane: they are in x, y")
    return places


def _ring(entity, factor: float):
    """(middle, diameter in mm or None) of a circle or a point."""
    if entity.dxftype() == "POINT":
        return entity.dxf.location, None
    if abs(abs(entity.dxf.extrusion.normalize().z) - 1) > 1e-9:
        raise complaint("a circle is drawn that does not lie in x, y")
    across = 2 * entity.dxf.radius * factor
    if not across > 0:
        raise complaint("a circle is drawn that has no size")
    return entity.ocs().to_wcs(entity.dxf.center), across


def _named(places: dict, names: dict) -> tuple[DrawnHole, ...]:
    """Each with its name; the others numbered, past the names that are there."""
    used = {names[key] for key in places if names.get(key)}
    numbers = (str(n) for n in count(1) if str(n) not in used)
    holes = tuple(
        DrawnHole(names.get(key) or next(numbers), place, across)
        for key, (place, across) in places.items()
    )
    for label in used:
        if sum(hole.label == label for hole in holes) > 1:
            raise complaint(f'two holes are named "{label}"')
    return holes


def _key(point, factor: float) -> tuple[int, int]:
    return round(point.x * factor / NEAR_MM), round(point.y * factor / NEAR_MM)


def table_of(holes: Iterable[DrawnHole], zone_nm: int, larger_nm: int) -> str:
    """The table of a pattern, in exact mm; a circle is the smallest hole."""
    lines = ["hole,x_mm,y_mm,zone_mm,mmc_mm,hole_max_mm"]
    for hole in holes:
        values = [*map(to_nm, hole.place), zone_nm]
        if hole.diameter_mm is not None:
            low = to_nm(hole.diameter_mm)
            values += [low, low + larger_nm]
        cells = [format_length(nm, "mm") for nm in values]
        cells += [""] * (5 - len(cells))
        lines.append(",".join([_quoted(hole.label), *cells]))
    return "\n".join(lines)


def _quoted(label: str) -> str:
    """A name as a cell of a table that is separated by commas."""
    plain = " ".join(label.split())
    return '"' + plain.replace('"', '""') + '"' if set(plain) & set('",;') else plain


def write(holes: Iterable) -> bytes:
    """A drawing, in mm, of the holes of a revision: a circle of the smallest size that
    each may have, a point where none is stated, and the names. `read` reads it."""
    import ezdxf  # noqa: PLC0415

    document = ezdxf.new("R2018", units=ezdxf.units.MM)
    document.layers.add(HOLE_LAYER, color=1)
    space, layer = document.modelspace(), {"layer": HOLE_LAYER}
    for hole in holes:
        place = (to_mm(hole.x_nm), to_mm(hole.y_nm))
        if hole.low_nm:
            space.add_circle(place, to_mm(hole.low_nm) / 2, dxfattribs=layer)
        else:
            space.add_point(place, dxfattribs=layer)
        words = {**layer, "height": TEXT_MM, "insert": place}
        space.add_text(hole.label, dxfattribs=words)
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode("utf-8")
