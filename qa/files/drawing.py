"""A seam and its stations out of a drawing (DXF), and a joint as such a drawing.

Lines, arcs, circles, ellipses, polylines and splines, also inside of blocks, become one
curve that nowhere leaves what is drawn by more than `within_mm`. A POINT is a station;
a TEXT that begins on it is its name, a LINE on the layer GAP_DIRECTIONS that begins on
it says which way its gap is measured. Lengths are in the unit that the header names.
The view from above (x, y) is taken; what is not flat is refused. No Django here.

DXF: the format as published by Autodesk (group codes $INSUNITS, POINT, TEXT, LINE,
LWPOLYLINE), read and written by ezdxf.
"""

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from qa.files.columns import Complaint, FileComplaints
from qa.numeric.geometry.seam import Curve, join, turning_sense_of
from shop.numeric.units import E9, PER_UNIT, to_mm

WITHIN_MM = 0.002
NEAR_MM = 0.01  # ends of pieces that are this near are one point
MOST_ENTITIES, MOST_POINTS, MOST_PIECES = 20_000, 20_000, 500
SEAM_LAYER, STATION_LAYER, GAP_LAYER = "SEAM", "STATIONS", "GAP_DIRECTIONS"
ARROW_MM, TEXT_MM = 20.0, 5.0
DRAWN = ["LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE"]
UNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}  # by $INSUNITS


@dataclass(frozen=True)
class Mark:
    """A station as drawn: place and direction (or None) in mm; its name or ""."""

    place: tuple[float, float]
    name: str
    direction: tuple[float, float] | None


@dataclass(frozen=True)
class Drawing:
    """What was read of it. unit: the word of the header's, "" where it names none."""

    curve: Curve
    layer: str
    marks: tuple[Mark, ...]
    unit: str


def looks_like_dxf(name: str) -> bool:
    return name.lower().endswith(".dxf")


def read(
    data: bytes, *, layer: str = "", unit: str = "mm", within_mm: float = WITHIN_MM
) -> Drawing:
    """Read the seam of a drawing. layer: whose curves alone are meant, "" for all.
    unit: of its lengths, where the header names none.

    Raises FileComplaints in words.
    """
    document = _document(data)
    code = document.header.get("$INSUNITS", 0)
    word = UNITS.get(code, "")
    if code and not word:
        raise _complaint(f"its header names a unit ($INSUNITS {code}) that is not read")
    factor = to_mm(float(PER_UNIT["length"][word or unit]))
    drawn = _entities(document)
    lines = _lines_of(drawn, layer)
    pieces = {
        name: [_flattened(entity, within_mm / factor, factor) for entity in entities]
        for name, entities in lines.items()
    }
    curve, found_on = _the_seam(pieces)
    return Drawing(curve, found_on, tuple(_marks(drawn, factor)), word)


def _lines_of(drawn: Iterable, layer: str) -> dict[str, list]:
    """What may be the seam, by layer as first spelled: case does not tell layers
    apart."""
    spelled, lines = {}, {}
    for entity in drawn:
        name = entity.dxf.layer
        if entity.dxftype() in DRAWN and not is_gap_layer(name):
            name = spelled.setdefault(name.lower(), name)
            lines.setdefault(name, []).append(entity)
    if layer:
        there = ", ".join(sorted(lines)) or "none"
        name = spelled.get(layer.lower())
        if not name:
            raise _complaint(f'nothing is drawn on a layer "{layer}"; layers: {there}')
        lines = {name: lines[name]}
    if sum(map(len, lines.values())) > MOST_PIECES:
        reason = f"more than {MOST_PIECES} lines are drawn: name the layer of the seam"
        raise _complaint(reason)
    return lines


def is_gap_layer(name: str) -> bool:
    return name.lower() == GAP_LAYER.lower()


def _complaint(text: str) -> FileComplaints:
    return FileComplaints([Complaint(text)])


def _document(data: bytes):
    # ezdxf is slow to import, and few joints come as a drawing.
    from ezdxf import DXFError, recover  # noqa: PLC0415

    try:
        document, _auditor = recover.read(io.BytesIO(data))
    except (DXFError, OSError, ValueError, LookupError, RecursionError) as why:
        raise _complaint(f"this is no drawing that can be read: {why}") from None
    return document


def _entities(document) -> list:
    """What is drawn, taken out of its blocks."""
    from ezdxf import DXFError, disassemble  # noqa: PLC0415

    wanted = {*DRAWN, "POINT", "TEXT"}
    try:
        all_of_them = disassemble.recursive_decompose(document.modelspace())
        found = list(islice(all_of_them, MOST_ENTITIES + 1))
    except (DXFError, RecursionError, ValueError) as why:
        raise _complaint(f"its blocks cannot be taken apart: {why}") from None
    if len(found) > MOST_ENTITIES:
        raise _complaint(f"more than {MOST_ENTITIES} things are drawn in it")
    return [
        entity
        for entity in found
        # The points that a dimension is measured between are no stations.
        if entity.dxftype() in wanted and entity.dxf.layer.lower() != "defpoints"
    ]


def _flattened(entity, within: float, factor: float) -> np.ndarray:
    """Points (n, 3) in mm; `within` in the drawing's own unit."""
    from ezdxf import DXFError  # noqa: PLC0415

    kind = entity.dxftype()
    try:
        points = list(islice(_points_of(entity, kind, within), MOST_POINTS + 1))
    except (DXFError, TypeError, ValueError, ArithmeticError, AttributeError) as why:
        raise _complaint(f"a {kind} of it cannot be read: {why}") from None
    if len(points) > MOST_POINTS:
        raise _complaint(f"a {kind} of it has too many points")
    places = np.array([tuple(point) for point in points], dtype=float) * factor
    if not len(places) or not np.isfinite(places).all():
        raise _complaint(f"a {kind} of it has a place that is no number")
    return places


def _points_of(entity, kind: str, within: float) -> Iterator:
    """Each curve by its own formula: Bezier curves in its place would miss an arc of
    60 mm by 0.016 mm."""
    if kind == "LINE":
        return iter((entity.dxf.start, entity.dxf.end))
    if kind in ("LWPOLYLINE", "POLYLINE"):
        pieces = entity.virtual_entities()
        return (
            point
            for piece in pieces
            for point in _points_of(piece, piece.dxftype(), within)
        )
    return entity.flattening(within)


def _the_seam(pieces: dict[str, list[np.ndarray]]) -> tuple[Curve, str]:
    if not pieces:
        raise _complaint("no line or curve is drawn in it")
    found = []
    for name, lines in pieces.items():
        heights = np.concatenate([line[:, 2] for line in lines])
        if np.ptp(heights) > NEAR_MM:
            raise _complaint(f"layer {name} is not flat: the seam is in x, y")
        try:
            curves = join([line[:, :2] for line in lines], NEAR_MM)
        except ValueError as why:
            raise _complaint(f"layer {name}: {why}") from None
        found += [(name, curve) for curve in curves]
    if len(found) != 1:
        raise _complaint(_several(found))
    name, curve = found[0]
    if curve.closed and not turning_sense_of(curve):
        raise _complaint(f"layer {name}: the seam encloses no area")
    return curve, name


def _several(found: Sequence[tuple[str, Curve]]) -> str:
    if not found:
        return "no line or curve of any length is drawn in it"
    told = [
        f"layer {name}: {'closed' if curve.closed else 'open'}, {curve.length:.1f} mm"
        for name, curve in found[:8]
    ]
    more = f" and {len(found) - 8} more" if len(found) > 8 else ""
    return f"{len(found)} curves are drawn, one is the seam ({'; '.join(told)}{more})"


def _marks(drawn: Iterable, factor: float) -> Iterable[Mark]:
    """Stations in the order they are drawn."""
    names, ways = {}, {}
    for entity in drawn:
        if entity.dxftype() == "TEXT":
            names.setdefault(_key(entity.dxf.insert, factor), entity.dxf.text.strip())
        elif entity.dxftype() == "LINE" and is_gap_layer(entity.dxf.layer):
            way = entity.dxf.end - entity.dxf.start
            if way.x == way.y == 0:
                raise _complaint(f"a line on {GAP_LAYER} has no direction in x, y")
            ways.setdefault(_key(entity.dxf.start, factor), (way.x, way.y))
    for entity in drawn:
        if entity.dxftype() == "POINT":
            at = entity.dxf.location
            key = _key(at, factor)
            place = (at.x * factor, at.y * factor)
            yield Mark(place, names.get(key, ""), ways.get(key))


def _key(point, factor: float) -> tuple[int, int]:
    """A place in hundredths of a mm: what begins that near to a station is its own."""
    return round(point.x * factor / NEAR_MM), round(point.y * factor / NEAR_MM)


def write(stations: Iterable, *, closed: bool) -> bytes:
    """A drawing, in mm, of the stations of a revision in their order: what `read`
    reads, and any program that draws.

    The seam is drawn straight from station to station: more is not known of it.
    """
    import ezdxf  # noqa: PLC0415

    document = ezdxf.new("R2018", units=ezdxf.units.MM)
    for name, color in ((SEAM_LAYER, 7), (STATION_LAYER, 5), (GAP_LAYER, 8)):
        document.layers.add(name, color=color)
    space = document.modelspace()
    places = []
    for station in stations:
        place = [to_mm(getattr(station, f"{axis}_nm")) for axis in "xyz"]
        way = [getattr(station, f"gap_{axis}_e9") / E9 for axis in "xyz"]
        tip = [at + ARROW_MM * part for at, part in zip(place, way, strict=True)]
        words = {"layer": STATION_LAYER, "height": TEXT_MM, "insert": place}
        space.add_point(place, dxfattribs={"layer": STATION_LAYER})
        space.add_text(station.label, dxfattribs=words)
        space.add_line(place, tip, dxfattribs={"layer": GAP_LAYER})
        places.append(place)
    if len({place[2] for place in places}) == 1:
        attributes = {"layer": SEAM_LAYER, "elevation": places[0][2]}
        flat = [place[:2] for place in places]
        space.add_lwpolyline(flat, close=closed, dxfattribs=attributes)
    else:
        space.add_polyline3d(places, close=closed, dxfattribs={"layer": SEAM_LAYER})
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode("utf-8")
