"""Part designs and part serials."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import (
    Hand,
    Lineage,
    Origin,
    Part,
    PartDesign,
    PartState,
    Person,
)
from shop.rules import scrapping

from .locks import locked
from .suspects import inherit_doubts

OPPOSITE = {Hand.LEFT: Hand.RIGHT, Hand.RIGHT: Hand.LEFT}


def _check_mirror(hand: str, mirror: PartDesign | None, design: PartDesign) -> None:
    if mirror is None:
        return
    if hand not in OPPOSITE:
        raise Refused(_("Only a left or a right design has a mirror."), field="mirror")
    if mirror.hand != OPPOSITE[hand]:
        message = _("The mirrored design must be of the other hand.")
        raise Refused(message, field="mirror")
    if mirror.mirror_id and mirror.mirror_id != design.pk:
        message = _("%(design)s mirrors another design already.")
        raise Refused(message % {"design": mirror}, field="mirror")


def _link_mirror(design: PartDesign, mirror: PartDesign | None) -> None:
    """Set the link on both sides, and take it off a former mirror."""
    PartDesign.objects.filter(mirror=design).exclude(pk=mirror and mirror.pk).update(
        mirror=None
    )
    if mirror:
        PartDesign.objects.filter(pk=mirror.pk).update(mirror=design)


def define_design(*, by: Person, mirror: PartDesign | None = None, **content):
    """Add a part design; a mirrored design is linked from both sides.

    content: number, name, revision, hand, structural_class, is_coupon.
    """
    return _write_design(PartDesign(), "design/1", by, content, mirror)


def change_design(
    *, by: Person, design: PartDesign, mirror: PartDesign | None = None, **content
) -> PartDesign:
    """Correct a design. What was judged and built keeps its own record."""
    return _write_design(design, "design_change/1", by, content, mirror)


def _write_design(design, form: str, by: Person, content: dict, mirror) -> PartDesign:
    roles.require(by, "define designs")
    linked = {"design": design.pk, "mirror": mirror and str(mirror)}
    with perform(form, by=by, said=content | linked) as act:
        lock = PartDesign.objects.select_for_update(of=("self",), no_key=True)
        keys = sorted(row.pk for row in (design, mirror) if row and row.pk)
        rows = {row.pk: row for row in lock.filter(pk__in=keys).order_by("pk")}
        design = rows.get(design.pk, design)
        mirror = rows.get(mirror.pk) if mirror else None
        for name, value in content.items():
            setattr(design, name, value)
        _check_mirror(design.hand, mirror, design)
        same = PartDesign.objects.filter(number=design.number, revision=design.revision)
        if same.exclude(pk=design.pk).exists():
            message = _("This number and revision exist already.")
            raise Refused(message, field="revision")
        design.mirror = mirror
        design.full_clean()
        design.save()
        _link_mirror(design, mirror)
        act.result = {"design": design.pk}
    return design


def check_serial_is_free(serial: str, field: str = "serial") -> None:
    if Part.objects.filter(serial=serial).exists():
        message = _("The serial %(serial)s is taken.")
        raise Refused(message % {"serial": serial}, field=field)


def register_part(
    *,
    by: Person,
    design: PartDesign,
    serial: str,
    origin: str = Origin.MADE,
    sources: Sequence[Part] = (),
    note: str = "",
) -> Part:
    """Give a part its serial and say where it comes from: an edge of the chain."""
    roles.require(by, "register parts")
    content = {
        "design": str(design),
        "serial": serial,
        "origin": origin,
        "sources": [part.serial for part in sources],
        "note": note,
    }
    with perform("part/1", by=by, said=content) as act:
        check_serial_is_free(serial)
        made_of_parts = origin in (Origin.BONDED, Origin.CUT)
        if made_of_parts and not sources:
            raise Refused(_("Say which parts it is made of."), field="sources")
        if sources and not made_of_parts:
            message = _("Only bonded and cut parts are made of other parts.")
            raise Refused(message, field="sources")
        part = Part(design=design, serial=serial, note=note)
        part.full_clean()
        part.save()
        for source in sources or (None,):
            act.record(Lineage(part=part, kind=origin, source=source, note=note))
        inherit_doubts(part, sources)
        act.result = {"part": part.pk}
    return part


def scrap_part(*, by: Person, part: Part, reason: str) -> Part:
    """Mark a serial as scrap for good. Refused while it sits on an airframe."""
    roles.require(by, "scrap parts")
    with perform("scrap/1", by=by, said={"part": part.serial, "reason": reason}):
        part = locked(part)
        if not reason.strip():
            raise Refused(_("Say why."), field="reason")
        if part.state == PartState.SCRAPPED:
            raise Refused(_("It is scrapped already."), code="conflict")
        mark_scrapped(part)
    return part


def mark_scrapped(part: Part, field: str = "") -> None:
    """Mark a locked serial inside a running act of somebody who may."""
    if why := scrapping.refusal(part):
        raise Refused(why, field=field)
    part.state = PartState.SCRAPPED
    part.save(update_fields=["state"])
