"""Papers of the shop floor: ply book, pull traveler, mold card, weight and balance.

Each is made of the same few things: facts, tables (some rows blank, to be filled in at
the mold), notes, boxes to sign. Times come from the record, so that the same record
gives the same bytes.
"""

from dataclasses import dataclass
from datetime import datetime

from qa.queries.issue import GENERAL_CAUTIONS, Signature, local
from shop.models import Airframe, Entry, Laminate, Placement, Pull, Tool, Weighing
from shop.numeric.units import MG_PER_KG, MM2_PER_M2, NM_PER
from shop.queries import materials, pulls, tooling
from shop.queries.identity import the_shop
from shop.queries.signatures import signed_of
from shop.queries.weights import balance_page
from shop.wording import masses

LAYING_UP = (
    "Resins and hardeners sensitize, a full pot can boil over, fibers and dust harm "
    "lungs and eyes. Gloves, glasses, extraction; data sheets are the authority.",
)
BLANK_BATCHES, BLANK_BAGS = 3, 2


@dataclass(frozen=True)
class FloorTable:
    """A table: columns as (heading, share, lines), rows of texts; blank ones are tall
    enough to be written in."""

    title: str
    note: str
    columns: tuple[tuple[str, float, int], ...]
    rows: tuple[tuple[str, ...], ...]
    by_hand: bool = False


@dataclass(frozen=True)
class FloorPaper:
    """One paper. Texts are final."""

    kind: str
    shop: str
    number: str
    title: str
    subtitle: str
    pairs: tuple[tuple[str, str], ...]
    tables: tuple[FloorTable, ...]
    notes: tuple[str, ...]
    boxes: tuple[Signature, ...]
    cautions: tuple[str, ...]
    issued_at: datetime
    url: str
    creator: str
    revision: str = ""

    @property
    def issued_text(self) -> str:
        return local(self.issued_at)


def _newest(*moments) -> datetime:
    """The newest of what is told; where none of it has a time, of the last act."""
    known = [moment for moment in moments if moment]
    return max(known) if known else Entry.objects.latest("received_at").received_at


def _celsius(recipe) -> str:
    return f"{recipe.name}: {recipe.words}" if recipe else "none asked"


PLY = (("Ply", 8, 1), ("Area", 34, 2), ("Material", 30, 2), ("Direction, °", 14, 1))
SIGNED_BY = (("Laid by, date", 30, 1), ("Seen by, date", 30, 1))


def ply_book(laminate: Laminate, url: str, creator: str) -> FloorPaper:
    """Every ply of a laminate in the order of laying, area by area."""
    page = materials.laminate_page(laminate)
    rows = [
        (
            str(ply.order), ply.area_name, f"{ply.material.code} {ply.material.name}",
            str(ply.orientation), f"{ply.area_mm2 / MM2_PER_M2:z.3f}", "", "", "",
        )
        for ply in laminate.plies.select_related("material")
    ]  # fmt: skip
    pairs = [
        ("Laminate", str(laminate)),
        ("Makes", str(laminate.design or "not stated")),
        ("Resin", f"{laminate.resin.code} {laminate.resin.name}"),
        ("Fiber volume fraction", f"{page.fiber_percent:g} %"),
        ("Cure", _celsius(laminate.recipe)),
    ]
    if page.expected_g:
        mass, low, high = page.expected_g
        pairs.append(("Expected", f"{mass:z.0f} g ({low:z.0f} to {high:z.0f} g)"))
    table = FloorTable(
        "Plies in the order of laying",
        f"{len(rows)}",
        (*PLY, ("Area, m²", 14, 1), ("Lot", 20, 1), *SIGNED_BY),
        tuple(rows),
        by_hand=True,
    )
    return FloorPaper(
        kind="Ply book",
        shop=the_shop().name,
        number=laminate.code,
        revision=laminate.revision,
        title=laminate.name,
        subtitle=f"laminate {laminate}",
        pairs=tuple(pairs),
        tables=(table,),
        notes=(
            "Signed at the mold, ply by ply, and recorded then: the record counts.",
            "A ply is seen by somebody else before the next one covers it.",
        ),
        boxes=(
            Signature("Laid up by"),
            Signature("Seen by", note="not who laid it up"),
        ),
        cautions=(*LAYING_UP, *GENERAL_CAUTIONS),
        issued_at=_newest(),
        url=url,
        creator=creator,
    )


def traveler(pull: Pull, url: str, creator: str) -> FloorPaper:
    """What goes with a pull: each ply to be signed by who laid it and who saw it, the
    batches, the bag, the cure, and how it came out."""
    page = pulls.pull_page(pull)
    laid = [line.laid for line in page.plies if line.laid]
    signed = signed_of("ply", [ply.pk for ply in laid])
    pairs = [
        ("Mold", f"{pull.tool.code} {pull.tool.name}"),
        ("Pull", str(pull)),
        ("Laminate", str(pull.laminate)),
        ("Started", local(pull.started_at)),
        ("Room", page.room or "not noted"),
        ("Cure", _celsius(pull.laminate.recipe)),
        ("State", str(pull.get_state_display())),
        ("Cure so far", str(pull.cured.label) if pull.cured else "no trace"),
    ]
    return FloorPaper(
        kind="Pull traveler",
        shop=the_shop().name,
        number=str(pull),
        title=f"{pull.tool.name}, pull {pull.number}",
        subtitle=f"laminate {pull.laminate}, mold {pull.tool.code}",
        pairs=tuple(pairs),
        tables=(_plies(page, signed), _batches(page), _bags(page)),
        notes=(
            "What is blank is filled in at the mold and recorded afterwards: the "
            "record counts.",
            "A ply is seen by somebody else before the next one covers it.",
        ),
        boxes=(
            Signature("Laid up by"),
            Signature("Seen by", note="not who laid it up"),
            Signature("Demolded by"),
        ),
        cautions=(*LAYING_UP, *GENERAL_CAUTIONS),
        issued_at=_newest(
            pull.started_at,
            *(ply.entry.received_at for ply in laid),
            *(batch.entry.received_at for batch in page.batches),
            *(test.entry.received_at for test in page.bag_tests),
            *(x.when for thing in signed.values() for x in thing.rows),
        ),
        url=url,
        creator=creator,
    )


def _seen(laid, signed) -> str:
    """Who stood up for having seen a ply as it is; in old records, who was named."""
    names = [x.who for x in signed[laid.pk].holding if x.meaning == "inspected"]
    return ", ".join(names) or (laid.witness.name if laid.witness else "")


def _plies(page, signed) -> FloorTable:
    rows = []
    for line in page.plies:
        ply, laid = line.planned or line.laid, line.laid
        seen = _seen(laid, signed) if laid else ""
        rows.append(
            (
                str(ply.order), ply.area_name, ply.material.code, str(ply.orientation),
                laid.lot.number if laid and laid.lot else "",
                f"{laid.entry.author}, {local(laid.entry.received_at)}" if laid else "",
                seen,
            )
        )  # fmt: skip
    columns = (*PLY, ("Lot", 22, 1), ("Laid by, when", 42, 2), ("Seen by", 30, 1))
    return FloorTable("Plies", f"{len(rows)}", columns, tuple(rows), by_hand=True)


def _batches(page) -> FloorTable:
    rows = [
        (
            local(batch.mixed_at), f"{batch.resin_lot or ''}", batch.resin_text,
            f"{batch.hardener_lot or ''}", batch.hardener_text, batch.entry.author,
        )
        for batch in page.batches
    ]  # fmt: skip
    rows += [("",) * 6] * BLANK_BATCHES
    columns = (
        ("Mixed", 32, 1), ("Resin lot", 30, 1), ("Resin", 20, 1),
        ("Hardener lot", 30, 1), ("Hardener", 20, 1), ("By", 30, 1),
    )  # fmt: skip
    note = f"{page.batch_g:z.0f} g so far"
    return FloorTable("Resin as weighed", note, columns, tuple(rows), by_hand=True)


def _bags(page) -> FloorTable:
    passed = {True: "holds", False: "does not hold", None: "not judged"}
    rows = [
        (
            local(test.entry.received_at), test.level_text, test.after_text,
            str(test.minutes or ""), passed[test.passes], test.entry.author,
        )
        for test in page.bag_tests
    ]  # fmt: skip
    rows += [("",) * 6] * BLANK_BAGS
    columns = (
        ("When", 32, 1), ("Below ambient", 26, 1), ("After", 26, 1), ("Minutes", 16, 1),
        ("Bag", 26, 1), ("By", 30, 1),
    )  # fmt: skip
    return FloorTable("Vacuum", "drop test", columns, tuple(rows), by_hand=True)


def mold_card(tool: Tool, url: str, creator: str) -> FloorPaper:
    """What hangs at a mold: what it is, its release, its blemishes, its last pulls."""
    page = tooling.tool_page(tool)
    left = tool.pulls_before_service
    pairs = [
        ("Code", tool.code),
        ("Kind", f"{tool.get_kind_display()}, {tool.get_hand_display()}"),
        ("Makes", str(tool.design or "not stated")),
        ("From the plug", str(tool.plug or "–")),
        ("State", f"{tool.get_state_display()} {tool.state_reason}".strip()),
        ("Stands at", tool.place or "not stated"),
        ("Pulls so far", str(tool.last_pull)),
        ("Pulls before service", "not stated" if left is None else str(left)),
        ("Release coats on it", str(tool.coats)),
        ("Pulls since wax", str(tool.pulls_since_wax)),
    ]
    warnings = tuple(map(str, page.release.warnings)) if page.release else ()
    acts = [record.entry.received_at for record in (*page.acts, *page.defects)]
    return FloorPaper(
        kind="Mold card",
        shop=the_shop().name,
        number=tool.code,
        revision=tool.surface_revision,
        title=tool.name,
        subtitle=f"{tool.get_kind_display()} {tool.code}",
        pairs=tuple(pairs),
        tables=(_coats(page), _defects(page), _last_pulls(page)),
        notes=warnings,
        boxes=(),
        cautions=(*LAYING_UP, *GENERAL_CAUTIONS),
        issued_at=_newest(tool.made_at, *acts, *(x.started_at for x in page.pulls)),
        url=url,
        creator=creator,
    )


def _coats(page) -> FloorTable:
    coats = page.release.coats if page.release else []
    rows = tuple(
        (str(x.number), str(x.product), str(x.lot or ""), local(x.applied_at),
         x.entry.author)
        for x in coats[:12]
        if not getattr(x, "withdrawal", None)
    )  # fmt: skip
    columns = (("Coat", 10, 1), ("Product", 40, 1), ("Lot", 40, 1), ("Applied", 36, 1))
    return FloorTable("Release", "the newest first", (*columns, ("By", 32, 1)), rows)


def _defects(page) -> FloorTable:
    open_ones = [defect for defect in page.defects if not tooling.repaired(defect)]
    rows = tuple(
        (defect.what, defect.place, str(defect.first_pull or ""), defect.entry.author)
        for defect in open_ones
    )
    columns = (("Blemish", 60, 2), ("Where", 50, 2), ("First seen", 26, 1))
    note = f"{len(open_ones)} not repaired"
    return FloorTable("Blemishes", note, (*columns, ("By", 30, 1)), rows)


def _last_pulls(page) -> FloorTable:
    rows = tuple(
        (str(x.number), str(x.laminate), local(x.started_at),
         str(x.get_state_display()), str(x.cured.label) if x.cured else "")
        for x in page.pulls[:12]
    )  # fmt: skip
    columns = (("Pull", 12, 1), ("Laminate", 40, 1), ("Started", 36, 1))
    more = (("State", 32, 1), ("Cure", 30, 1))
    return FloorTable("Last pulls", "", (*columns, *more), rows)


BASIS = {"weighed": "weighed", "estimated": "estimate", "missing": "no weight"}


def weight_and_balance(airframe: Airframe, url: str, creator: str) -> FloorPaper:
    """Every part with its weight and arm, the sum, and the airframe as weighed."""
    page = balance_page(airframe)
    total, weighed = page.total, page.weighed
    unit = the_shop().units
    rows = tuple(_balance_row(x, unit) for x in page.lines if x.part)
    pairs = [
        ("Sum of what has weight and arm", masses.weighs(total.mass, unit)),
        ("Of that weighed", masses.weighs(total.weighed, unit)),
        ("Of that estimated", masses.weighs(total.estimated, unit)),
        ("Center of gravity of the sum", _arm(total.arm, unit)),
    ]
    if weighed:
        arm = None if weighed.arm_nm is None else weighed.arm_nm / NM_PER["mm"]
        pairs += [
            ("Airframe as weighed", masses.weighs(weighed.mass_mg / MG_PER_KG, unit)),
            ("Its center of gravity", _arm(arm, unit)),
            ("Weighed", f"{weighed.weighed_on}, {weighed.scale}"),
        ]
    notes = ["Arms are aft of the datum. What has no weight or no arm is in no sum."]
    if page.no_arm:
        named = ", ".join(x.part.serial for x in page.no_arm)
        notes.append(f"Without an arm: {named}.")
    if total.missing:
        notes.append(f"Without a weight: {', '.join(total.missing)}.")
    columns = (
        ("Position", 50, 2), ("Part", 30, 1), (f"Weight, {masses.MASS[unit]}", 20, 1),
        ("Known by", 20, 1), (f"Arm, {unit}", 20, 1),
        (f"Moment, {masses.MASS[unit]} {unit}", 24, 1),
    )  # fmt: skip
    return FloorPaper(
        kind="Weight and balance",
        shop=the_shop().name,
        number=airframe.serial,
        title=f"{airframe.serial} {airframe.name}".strip(),
        subtitle="sum of the parts on record",
        pairs=tuple(pairs),
        tables=(FloorTable("Parts", f"{len(rows)}", columns, rows),),
        notes=tuple(notes),
        boxes=(Signature("Weighed by"), Signature("Checked by")),
        cautions=GENERAL_CAUTIONS[:2],
        issued_at=_known_since(page, airframe),
        url=url,
        creator=creator,
    )


def _known_since(page, airframe: Airframe) -> datetime:
    """When what the sum is made of was placed, taken off or weighed last."""
    placed = Placement.objects.filter(airframe=airframe)
    parts = [x.part.pk for x in page.lines if x.part]
    scaled = Weighing.objects.filter(part__in=parts).order_by()
    return _newest(
        *placed.values_list("placed_at", flat=True),
        *placed.values_list("removed_at", flat=True),
        *scaled.values_list("entry__received_at", flat=True),
        page.weighed and page.weighed.entry.received_at,
    )


def _arm(arm: float | None, unit: str) -> str:
    return "not known" if arm is None else masses.at(arm, unit)


def _balance_row(line, unit: str) -> tuple[str, ...]:
    nm = line.position.arm_nm
    arm = None if nm is None else nm / NM_PER["mm"]
    known = line.kg is not None
    both = known and arm is not None
    return (
        line.position.path,
        line.part.serial,
        masses.mass(line.kg, unit) if known else "–",
        BASIS[line.basis],
        "–" if arm is None else masses.arm(arm, unit),
        masses.moment(line.kg, arm, unit) if both else "–",
    )
