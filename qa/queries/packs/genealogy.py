"""Identity and genealogy of a pack: which serials, from which molds, of which lots."""

from dataclasses import dataclass

from qa.queries.issue import local
from qa.queries.packs.scope import Scope
from shop.models import Lineage, Lot, PlyLaid, ResinBatch
from shop.rules.lineage import Edges, edges_of


@dataclass(frozen=True)
class PackPart:
    """One serial: its design, where it sits, what it came from."""

    serial: str
    number: str
    revision: str
    name: str
    structural: str
    state: str
    position: str
    placed: str
    came: tuple[str, ...]


@dataclass(frozen=True)
class MaterialLine:
    """A lot that parts of the pack are made of, in the fields of a first article:
    material, specification, lot; where it went."""

    material: str
    name: str
    kind: str
    lot: str
    received: str
    expires: str
    state: str
    used: str


@dataclass(frozen=True)
class Genealogy:
    key = "genealogy"
    parts: tuple[PackPart, ...]
    materials: tuple[MaterialLine, ...]

    @property
    def data(self) -> dict:
        return {
            "parts": [
                {
                    "part_number": one.number,
                    "part_revision": one.revision,
                    "part_name": one.name,
                    "serial_number": one.serial,
                    "structural_class": one.structural,
                    "state": one.state,
                    "position": one.position,
                    "placed": one.placed,
                    "came_from": list(one.came),
                }
                for one in self.parts
            ],
            "materials": [
                {
                    "material": one.material,
                    "name": one.name,
                    "kind": one.kind,
                    "lot": one.lot,
                    "received": one.received,
                    "expires": one.expires,
                    "state": one.state,
                    "used_in": one.used,
                }
                for one in self.materials
            ],
        }

    @property
    def told(self) -> dict[str, str]:
        return {
            f"part {one.serial}": "; ".join(
                filter(None, (one.state, one.position, *one.came))
            )
            for one in self.parts
        }


def section(scope: Scope) -> Genealogy:
    edges = edges_of({one.pk for one in scope.parts})
    sits = {one.part_id: one for one in scope.sitting}
    return Genealogy(
        parts=tuple(_part(one, sits.get(one.pk), edges) for one in scope.parts),
        materials=_materials(edges),
    )


def _part(part, placed, edges: Edges) -> PackPart:
    return PackPart(
        serial=part.serial,
        number=part.design.number,
        revision=part.design.revision,
        name=part.design.name,
        structural=str(part.design.get_structural_class_display()),
        state=str(part.get_state_display()),
        position=placed.position.path if placed else "not placed now",
        placed=f"{local(placed.placed_at)}, {placed.placed_by_entry.author}"
        if placed
        else "",
        came=tuple(_came(one) for one in edges.of.get(part.pk, []))
        or ("where it came from is not on record",),
    )


def _came(edge: Lineage) -> str:
    told = [str(edge.get_kind_display())]
    if edge.pull:
        pull = edge.pull
        told = [f"pull {pull.tool.code}-{pull.number}"]
        told.append(f"mold {pull.tool.code} {pull.tool.name}")
        if pull.tool.plug:
            told.append(f"plug {pull.tool.plug.code}")
        told.append(f"laminate {pull.laminate}")
        told.append(str(pull.cured.label) if pull.cured else "no cure on record")
    elif edge.source:
        told.append(f"{edge.source.serial} ({edge.source.design})")
    told.append(edge.note)
    return ", ".join(filter(None, told))


def _materials(edges: Edges) -> tuple[MaterialLine, ...]:
    used: dict[int, set[str]] = {}
    pulls = edges.pulls
    plies = PlyLaid.objects.filter(pull__in=pulls, lot__isnull=False)
    batches = ResinBatch.objects.filter(pull__in=pulls)
    pairs = [
        *plies.values_list("lot", "pull"),
        *batches.values_list("resin_lot", "pull"),
        *batches.values_list("hardener_lot", "pull"),
    ]
    for lot, pull in pairs:
        if lot:
            where = pulls[pull]
            used.setdefault(lot, set()).add(f"{where.tool.code}-{where.number}")
    lots = Lot.objects.filter(pk__in=used).select_related("material")
    return tuple(
        MaterialLine(
            material=one.material.code,
            name=one.material.name,
            kind=str(one.material.get_kind_display()),
            lot=one.number,
            received=one.received_on.isoformat(),
            expires=one.expires_on.isoformat() if one.expires_on else "",
            state=str(one.get_state_display()),
            used=", ".join(sorted(used[one.pk])),
        )
        for one in lots.order_by("material__code", "number")
    )
