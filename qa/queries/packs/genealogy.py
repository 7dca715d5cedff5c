"""Identity and genealogy of a pack: which serials, from which molds, of which lots."""

from dataclasses import dataclass

from qa.queries.issue import local
from qa.queries.packs.scope import Scope
from shop.models import Lineage, Lot, PlyLaid, ResinBatch
from shop.rules.lineage import Edges, edges_of

# A paper that is not here is said, not left out.
NOT_KEPT = "not on record"


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
    material, lot, supplier, certificate of conformance; where it went."""

    material: str
    name: str
    kind: str
    lot: str
    supplier: str
    certificate: str
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
                    "part_number": part.number,
                    "part_revision": part.revision,
                    "part_name": part.name,
                    "serial_number": part.serial,
                    "structural_class": part.structural,
                    "state": part.state,
                    "position": part.position,
                    "placed": part.placed,
                    "came_from": list(part.came),
                }
                for part in self.parts
            ],
            "materials": [
                {
                    "material": material.material,
                    "name": material.name,
                    "kind": material.kind,
                    "lot": material.lot,
                    "supplier": material.supplier,
                    "certificate_of_conformance": material.certificate,
                    "received": material.received,
                    "expires": material.expires,
                    "state": material.state,
                    "used_in": material.used,
                }
                for material in self.materials
            ],
        }


def section(scope: Scope) -> Genealogy:
    edges = edges_of({part.pk for part in scope.parts})
    sits = {placement.part_id: placement for placement in scope.sitting}
    return Genealogy(
        parts=tuple(_part(part, sits.get(part.pk), edges) for part in scope.parts),
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
        came=tuple(_came(edge) for edge in edges.of.get(part.pk, []))
        or ("where it came from is not on record",),
    )


def _came(edge: Lineage) -> str:
    words = [str(edge.get_kind_display())]
    if edge.pull:
        pull = edge.pull
        words = [f"pull {pull.tool.code}-{pull.number}"]
        words.append(f"mold {pull.tool.code} {pull.tool.name}")
        if pull.tool.plug:
            words.append(f"plug {pull.tool.plug.code}")
        words.append(f"laminate {pull.laminate}")
        words.append(str(pull.cured.label) if pull.cured else "no cure on record")
    elif edge.source:
        words.append(f"{edge.source.serial} ({edge.source.design})")
    words.append(edge.note)
    return ", ".join(filter(None, words))


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
            material=lot.material.code,
            name=lot.material.name,
            kind=str(lot.material.get_kind_display()),
            lot=lot.number,
            supplier=lot.supplier or NOT_KEPT,
            certificate=lot.certificate or NOT_KEPT,
            received=lot.received_on.isoformat(),
            expires=lot.expires_on.isoformat() if lot.expires_on else "",
            state=str(lot.get_state_display()),
            used=", ".join(sorted(used[lot.pk])),
        )
        for lot in lots.order_by("material__code", "number")
    )
