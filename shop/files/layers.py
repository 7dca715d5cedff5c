"""A laminate as a CSV file, one row per layer, from the tool side outwards.

    layer,kind,count,fiber_g_m2,resin_fraction,fiber_g_cm3,resin_g_cm3,
    thickness_mm,density_kg_m3,uptake_g_m2,mass_g_m2,area_m2,angle_deg

`kind` is ply, core or film. A ply needs `fiber_g_m2`, `resin_fraction` (by mass, 0 to
1), `fiber_g_cm3` and `resin_g_cm3`; a core `thickness_mm`, `density_kg_m3` and
`uptake_g_m2` (resin that each of its two faces drinks); a film `mass_g_m2`. `count`
(1 when empty), `area_m2`, `angle_deg` and the `thickness_mm` of a film are optional.
Columns that no layer needs may be left out.
"""

import math
from collections.abc import Callable
from dataclasses import replace

from shop.files.csv_table import Complaint, FileComplaints, Row, number, read_table
from shop.numeric.laminate import Core, Film, LaminateError, Layer, Ply

NEEDED = {
    "ply": ("fiber_g_m2", "resin_fraction", "fiber_g_cm3", "resin_g_cm3"),
    "core": ("thickness_mm", "density_kg_m3", "uptake_g_m2"),
    "film": ("mass_g_m2",),
}
OPTIONAL = {
    "ply": ("count", "area_m2", "angle_deg"),
    "core": ("count", "area_m2"),
    "film": ("count", "area_m2", "thickness_mm"),
}
COLUMNS = (
    *("layer", "kind", "count"),
    *NEEDED["ply"],
    *NEEDED["core"],
    *NEEDED["film"],
    *("area_m2", "angle_deg"),
)
MOST_LAYERS, MOST_OF_A_KIND = 500, 100
FURTHEST = 1_000_000  # no number of a laminate comes near it; sums stay finite
COLUMN_OF = {"fiber_density": "fiber_g_cm3", "resin_density": "resin_g_cm3"}


def parse(data: bytes) -> tuple[Layer, ...]:
    """The layers in a file, counts written out. FileComplaints with all that is wrong.

    Layers of a count of 3 are one object three times.
    """
    table = read_table(data)
    columns = _columns(table.header)
    complaints: list[Complaint] = []
    layers: list[Layer] = []
    for row in table.rows:
        layers += _layers(row, columns, complaints)
    if not table.rows:
        complaints.append(Complaint("there are no layers", table.header.line))
    if len(layers) > MOST_LAYERS:
        reason = f"{len(layers)} layers; at most {MOST_LAYERS}"
        complaints.append(Complaint(reason, table.header.line))
    if complaints:
        raise FileComplaints(complaints)
    return tuple(layers)


def _columns(header: Row) -> dict[str, int]:
    columns: dict[str, int] = {}
    complaints = []
    for index, name in enumerate(header.cells):
        if name and name not in COLUMNS:
            reason = f"the column is not known (known: {', '.join(COLUMNS)})"
            complaints.append(Complaint(reason, header.line, name))
        elif name in columns:
            complaints.append(Complaint("is there twice", header.line, name))
        columns.setdefault(name, index)
    for name in ("layer", "kind"):
        if name not in columns:
            complaints.append(Complaint("the column is missing", header.line, name))
    if complaints:
        raise FileComplaints(complaints)
    return columns


def _layers(row: Row, columns: dict[str, int], complaints: list[Complaint]):
    """The layers of one row: `count` times the same; none after complaining."""

    def cell(name: str) -> str:
        return row.cells[columns[name]] if name in columns else ""

    def complain(name: str, reason: str) -> list:
        complaints.append(Complaint(reason, row.line, name))
        return []

    kind = cell("kind").lower()
    if kind not in NEEDED:
        return complain("kind", f"{cell('kind')!r} is not ply, core or film")
    if not cell("layer"):
        return complain("layer", "the layer has no name")
    before = len(complaints)
    values: dict[str, float | None] = {}
    for name in (*NEEDED[kind], *OPTIONAL[kind]):
        try:
            values[name] = _number(cell(name)) if cell(name) else None
        except ValueError as why:
            complain(name, str(why))
            continue
        if values[name] is None and name in NEEDED[kind]:
            complain(name, f"is empty; a {kind} needs it")
    for name in set(COLUMNS[2:]) - {*NEEDED[kind], *OPTIONAL[kind]}:
        if cell(name):
            complain(name, f"a {kind} has no such thing; leave it empty")
    count = values.get("count")
    count = 1 if count is None else count
    if not (count == math.floor(count) and 1 <= count <= MOST_OF_A_KIND):
        complain("count", f"must be a whole number from 1 to {MOST_OF_A_KIND}")
    if len(complaints) > before:
        return []
    try:
        layer = _MAKERS[kind](cell("layer"), values)
        return [replace(layer, area_m2=values["area_m2"])] * int(count)
    except LaminateError as why:
        name, _, reason = str(why).partition(" ")
        return complain(COLUMN_OF.get(name, name), reason)


def _number(text: str) -> float:
    value = float(number(text))
    if abs(value) > FURTHEST:
        raise ValueError(f"{text[:40]!r} is more than {FURTHEST}")
    return value


def _ply(label: str, values: dict) -> Ply:
    return Ply(
        label,
        *(values[name] for name in NEEDED["ply"]),
        angle_deg=values["angle_deg"],
    )


def _core(label: str, values: dict) -> Core:
    return Core(label, *(values[name] for name in NEEDED["core"]))


def _film(label: str, values: dict) -> Film:
    return Film(label, values["mass_g_m2"], values["thickness_mm"] or 0.0)


_MAKERS: dict[str, Callable[[str, dict], Layer]] = {
    "ply": _ply,
    "core": _core,
    "film": _film,
}
