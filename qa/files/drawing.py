"""A seam and its stations out of a drawing (DXF), and a joint as such a drawing.

Lines, arcs, circles, ellipses, polylines and splines, also inside of blocks, become one
curve that nowhere leaves what is drawn by more than `within_mm`. A POINT is a station;
a TEXT or MTEXT that begins on it, or is aligned to it, is its name, a LINE on the layer
GAP_DIRECTIONS that begins on it says which way its gap is measured. Lengths are in the
unit that the header names. A seam of one height is taken as it is seen from above (x,
y); of one that is not flat each station says by a LINE on GAP_DIRECTIONS and one on
FACE_DIRECTIONS how it is measured. No Django here.

DXF: the format as published by Autodesk (group codes $INSUNITS, POINT, TEXT, LINE,
LWPOLYLINE), read and written by ezdxf.
"""

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from math import isfinite

import numpy as np

from qa.files.columns import Complaint, FileComplaints
from qa.numeric.geometry.seam import Curve, join, turning_sense_of
from shop.numeric.units import E9, PER_UNIT, to_mm

NO_LAYER = "0"
NOT_READ = {
    b"AC10": "this is a DWG, which is not read: save the drawing as DXF",
    b"AutoCAD Binary DXF": "this is a binary DXF: save the drawing as DXF in text",
}
WITHIN_MM = 0.002
NEAR_MM = 0.01  # ends of pieces that are this near are one point
MOST_ENTITIES, MOST_POINTS, MOST_PIECES = 20_000, 20_000, 500
SEAM_LAYER, STATION_LAYER = "SEAM", "STATIONS"
GAP_LAYER, FACE_LAYER = "GAP_DIRECTIONS", "FACE_DIRECTIONS"
ARROW_MM, TEXT_MM = 20.0, 5.0
DRAWN = ["LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE"]
TEXTS = ("TEXT", "MTEXT")
UNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}  # by $INSUNITS


@dataclass(frozen=True)
class Mark:
    """A station as drawn: place in mm, its name or "", its gap's direction or None;
    and that out of the surface, of a seam that is not flat, where all have three parts.
    """

    place: tuple[float, ...]
    name: str
    direction: tuple[float, ...] | None
    face: tuple[float, ...] | None = None


@dataclass(frozen=True)
class Drawing:
    """What was read of it. unit: the word of the header's, "" where it names none."""

    curve: Curve
    layer: str
    marks: tuple[Mark, ...]
    unit: str

    @property
    def flat(self) -> bool:
        return self.curve.points.shape[1] == 2


def looks_like_dxf(name: str) -> bool:
    """By its name; of a DWG `document_of` says what to do."""
    return name.lower().endswith((".dxf", ".dwg"))


def read(
    data: bytes, *, layer: str = "", unit: str = "mm", within_mm: float = WITHIN_MM
) -> Drawing:
    """Read the seam of a drawing. layer: whose curves alone are meant, "" for all.
    unit: of its lengths, where the header names none.

    Raises FileComplaints in words.
    """
    document = document_of(data)
    factor, word = factor_of(document, unit)
    drawn = entities_of(document)
    lines = _lines_of(drawn, layer)
    pieces = {
        name: [_flattened(entity, within_mm / factor, factor) for entity in entities]
        for name, entities in lines.items()
    }
    faces = any(entity.dxf.layer.upper() == FACE_LAYER for entity in drawn)
    curve, found_on = _the_seam(pieces, in_space=faces)
    size = curve.points.shape[1]
    return Drawing(curve, found_on, tuple(_marks(drawn, factor, size)), word)


def factor_of(document, unit: str) -> tuple[float, str]:
    """How many mm its unit has, and the word of the one that its header names: "" where
    it names none, and `unit` counts."""
    code = document.header.get("$INSUNITS", 0)
    word = UNITS.get(code, "")
    if code and not word:
        raise complaint(f"its header names a unit ($INSUNITS {code}) that is not read")
    return to_mm(float(PER_UNIT["length"][word or unit])), word


def _lines_of(drawn: Iterable, layer: str) -> dict[str, list]:
    """What may be the seam, by layer as first spelled: case does not tell layers
    apart."""
    spelled, lines = {}, {}
    for entity in drawn:
        name = entity.dxf.layer
        if entity.dxftype() in DRAWN and not is_direction(name):
            name = spelled.setdefault(name.lower(), name)
            lines.setdefault(name, []).append(entity)
    if layer:
        there = ", ".join(sorted(lines)) or "none"
        name = spelled.get(layer.lower())
        if not name:
            raise complaint(f'nothing is drawn on a layer "{layer}"; layers: {there}')
        lines = {name: lines[name]}
    if sum(map(len, lines.values())) > MOST_PIECES:
        reason = f"more than {MOST_PIECES} lines are drawn: name the layer of the seam"
        raise complaint(reason)
    return lines


def is_direction(layer: str) -> bool:
    return layer.upper() in (GAP_LAYER, FACE_LAYER)


def complaint(text: str) -> FileComplaints:
    """One complaint about a drawing, to be raised."""
    return FileComplaints([Complaint(text)])


def document_of(data: bytes):
    """The drawing, as ezdxf has it."""
    # ezdxf is slow to import, and few joints come as a drawing.
    from ezdxf import DXFError, recover  # noqa: PLC0415

    if not data.strip():
        raise complaint("the file is empty")
    for beginning, words in NOT_READ.items():
        if data.startswith(beginning):
            raise complaint(words)
    try:
        document, _auditor = recover.read(io.BytesIO(data))
    except (DXFError, OSError, ValueError, LookupError, RecursionError) as why:
        reason = f": {why}" if str(why).isprintable() else ""
        raise complaint(f"this is no drawing that can be read{reason}") from None
    if not data.rstrip(b" \t\r\n\0\x1a").endswith(b"EOF"):
        # The stations behind the cut would be missing without a word.
        raise complaint("it was cut off: a DXF ends with EOF, and this does not")
    return document


def entities_of(document, kinds: Sequence[str] = (*DRAWN, "POINT", *TEXTS)) -> list:
    """What is drawn of these kinds, taken out of its blocks."""
    from ezdxf import DXFError  # noqa: PLC0415

    try:
        all_of_them = _taken_apart(document.modelspace())
        entities = list(islice(all_of_them, MOST_ENTITIES + 1))
    except (DXFError, RecursionError, ValueError) as why:
        raise complaint(f"its blocks cannot be taken apart: {why}") from None
    if len(entities) > MOST_ENTITIES:
        raise complaint(f"more than {MOST_ENTITIES} things are drawn in it")
    return [
        entity
        for entity in entities
        # The points that a dimension is measured between are no stations.
        if entity.dxftype() in kinds and entity.dxf.layer.lower() != "defpoints"
    ]


def _taken_apart(entities: Iterable, layer: str = NO_LAYER) -> Iterator:
    """What is drawn, out of the blocks that it lies in. In a block the layer 0 means
    the layer on which the block is inserted."""
    from ezdxf import disassemble  # noqa: PLC0415

    for entity in entities:
        if entity.dxf.layer == NO_LAYER:
            entity.dxf.layer = layer
        if entity.dxftype() != "INSERT":
            yield from disassemble.recursive_decompose([entity])
        elif entity.mcount > 1:
            yield from _taken_apart(entity.multi_insert())
        else:
            yield from _taken_apart(entity.virtual_entities(), entity.dxf.layer)


def texts_of(drawn: Iterable) -> Iterator[tuple]:
    """What is written where, in the drawing's own unit: where it begins, and where it
    is aligned to."""
    for entity in drawn:
        if entity.dxftype() not in TEXTS:
            continue
        plain = entity.dxftype() == "TEXT"
        words = entity.dxf.text if plain else entity.plain_text()
        for name in ("insert", "align_point"):
            if entity.dxf.hasattr(name) and all(map(isfinite, entity.dxf.get(name))):
                at = entity.dxf.get(name)
                # Of a mirrored drawing a TEXT stands in axes of its own.
                at = entity.ocs().to_wcs(at) if plain else at
                yield at, " ".join(words.split())


def _flattened(entity, within: float, factor: float) -> np.ndarray:
    """Points (n, 3) in mm; `within` in the drawing's own unit."""
    from ezdxf import DXFError  # noqa: PLC0415

    kind = entity.dxftype()
    try:
        points = list(islice(_points_of(entity, kind, within), MOST_POINTS + 1))
    except (DXFError, TypeError, ValueError, ArithmeticError, AttributeError) as why:
        raise complaint(f"a {kind} of it cannot be read: {why}") from None
    if len(points) > MOST_POINTS:
        raise complaint(f"a {kind} of it has too many points")
    places = np.array([tuple(point) for point in points], dtype=float) * factor
    if not len(places) or not np.isfinite(places).all():
        raise complaint(f"a {kind} of it has a place that is no number")
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


def _the_seam(pieces: dict, *, in_space: bool) -> tuple[Curve, str]:
    """The one curve, in x and y where it is of one height and no face is drawn."""
    if not pieces:
        raise complaint("no line or curve is drawn in it")
    drawn = []
    for name, lines in pieces.items():
        heights = np.concatenate([line[:, 2] for line in lines])
        size = 3 if in_space or np.ptp(heights) > NEAR_MM else 2
        try:
            curves = join([line[:, :size] for line in lines], NEAR_MM)
        except ValueError as why:
            raise complaint(f"layer {name}: {why}") from None
        drawn += [(name, curve) for curve in curves]
    if len(drawn) != 1:
        raise complaint(_several(drawn))
    name, curve = drawn[0]
    flat = curve.points.shape[1] == 2
    if curve.closed and flat and not turning_sense_of(curve):
        raise complaint(f"layer {name}: the seam encloses no area")
    return curve, name


def _several(curves: Sequence[tuple[str, Curve]]) -> str:
    if not curves:
        return "no line or curve of any length is drawn in it"
    named = [
        f"layer {name}: {'closed' if curve.closed else 'open'}, {curve.length:.1f} mm"
        for name, curve in curves[:8]
    ]
    more = f" and {len(curves) - 8} more" if len(curves) > 8 else ""
    return f"{len(curves)} curves are drawn, one is the seam ({'; '.join(named)}{more})"


def _marks(drawn: Iterable, factor: float, size: int) -> Iterable[Mark]:
    """Stations in the order they are drawn, in so many axes."""
    names: dict = {}
    for at, words in texts_of(drawn):
        names.setdefault(_key(at, factor, size), words)
    ways: dict = {GAP_LAYER: {}, FACE_LAYER: {}}
    for entity in drawn:
        layer = entity.dxf.layer.upper()
        if entity.dxftype() == "LINE" and layer in ways:
            way = tuple(entity.dxf.end - entity.dxf.start)[:size]
            if not any(way):
                axes = "x, y" if size == 2 else "space"
                raise complaint(f"a line on {layer} has no direction in {axes}")
            ways[layer].setdefault(_key(entity.dxf.start, factor, size), way)
    for entity in drawn:
        if entity.dxftype() == "POINT":
            at = entity.dxf.location
            key = _key(at, factor, size)
            place = tuple(part * factor for part in tuple(at)[:size])
            gap, face = (ways[layer].get(key) for layer in (GAP_LAYER, FACE_LAYER))
            yield Mark(place, names.get(key, ""), gap, face)


def _key(point, factor: float, size: int) -> tuple[int, ...]:
    """A place in hundredths of a mm: what begins that near to a station is its own."""
    return tuple(round(part * factor / NEAR_MM) for part in tuple(point)[:size])


def write(stations: Iterable, *, closed: bool) -> bytes:
    """A drawing, in mm, of the stations of a revision in their order: what `read`
    reads, and any program that draws.

    The seam is drawn straight from station to station: more is not known of it.
    """
    import ezdxf  # noqa: PLC0415

    document = ezdxf.new("R2018", units=ezdxf.units.MM)
    colors = {SEAM_LAYER: 7, STATION_LAYER: 5, GAP_LAYER: 8, FACE_LAYER: 9}
    for name, color in colors.items():
        document.layers.add(name, color=color)
    space = document.modelspace()
    stations = list(stations)
    places = [_of_axes(station, "{}_nm", to_mm(1)) for station in stations]
    flat = len({place[2] for place in places}) == 1 and all(
        (station.gap_z_e9, station.face_z_e9) == (0, E9) for station in stations
    )
    for station, place in zip(stations, places, strict=True):
        words = {"layer": STATION_LAYER, "height": TEXT_MM, "insert": place}
        space.add_point(place, dxfattribs={"layer": STATION_LAYER})
        space.add_text(station.label, dxfattribs=words)
        ways = {GAP_LAYER: "gap_{}_e9"} | ({} if flat else {FACE_LAYER: "face_{}_e9"})
        for layer, column in ways.items():
            way = _of_axes(station, column, ARROW_MM / E9)
            tip = [at + part for at, part in zip(place, way, strict=True)]
            space.add_line(place, tip, dxfattribs={"layer": layer})
    if flat:  # it is drawn as what most programs call an outline
        attributes = {"layer": SEAM_LAYER, "elevation": places[0][2]}
        corners = [place[:2] for place in places]
        space.add_lwpolyline(corners, close=closed, dxfattribs=attributes)
    else:
        space.add_polyline3d(places, close=closed, dxfattribs={"layer": SEAM_LAYER})
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode("utf-8")


def _of_axes(station, column: str, factor: float) -> list[float]:
    return [getattr(station, column.format(axis)) * factor for axis in "xyz"]
