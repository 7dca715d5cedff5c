"""An inspection pack is ordered, made by the press (qa.press), and issued as bytes."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.models import IssuedPack, PackOrder
from qa.rules import offering
from shop import roles
from shop.actions.numbers import next_number
from shop.actions.photos import keep_file
from shop.ledger import Refused, perform
from shop.models import Airframe, PaperSize, Person


@dataclass(frozen=True)
class Printed:
    """A pack as it came from the press: the bytes, what they tell as canonical JSON,
    and the head of the ledger that covers it."""

    pdf: bytes
    record: bytes
    pages: int
    head: tuple[int, str]
    unsealed: int
    archival: str = ""


@dataclass(frozen=True)
class Signed:
    """A detached signature over the bytes of a pack, and whose it is."""

    signature: bytes
    signer: str


def subject_of(airframe: Airframe, *, joint=None, part=None, bay=None) -> str:
    """What issues are counted by: "MG2-001", "MG2-001 J-101"."""
    inner = joint.number if joint else part.serial if part else bay.code if bay else ""
    return f"{airframe.serial} {inner}".strip()


def order_pack(
    *,
    by: Person,
    airframe: Airframe,
    joint=None,
    part=None,
    bay=None,
    paper: str = PaperSize.A4,
    address: str = "",
    note: str = "",
) -> PackOrder:
    """Give the next issue of a pack its numbers; the press makes it by them.

    address: where others reach this site, "" where nobody can.
    """
    roles.require(by, "issue packs")
    what = {"joint": joint, "part": part, "bay": bay}
    row = PackOrder(airframe=airframe, **what)
    row.paper, row.address, row.note = paper, address, note
    content = {name: row.pk for name, row in what.items() if row}
    content |= {"airframe": airframe.serial, "paper": paper, "note": note}
    with perform("pack_order/1", by=by, said=content) as act:
        if why := offering.nothing_to_tell(airframe):
            raise Refused(why)
        if why := offering.foreign(airframe, **what):
            raise Refused(why, field=next(name for name, row in what.items() if row))
        row.number = next_number("pack")
        row.subject = subject_of(airframe, **what)
        row.issue = next_number(f"pack:{row.subject}")
        row.full_clean(exclude=["entry"])
        act.record(row)
        act.result = {"pack": row.label, "issue": row.issue}
    return row


def issue_pack(
    *, by: Person, order: PackOrder, printed: Printed, signed: Signed
) -> IssuedPack:
    """Keep the bytes, their record and their signature; from now they are the pack.

    The files are on disk before the entry says so. Once only: raises Refused for an
    order that was issued.
    """
    roles.require(by, "issue packs")
    row = IssuedPack(
        order=order,
        sha256=keep_file(printed.pdf, "pdf"),
        content_digest=keep_file(printed.record, "json"),
        signature_sha256=keep_file(signed.signature, "p7s"),
        size=len(printed.pdf),
        pages=printed.pages,
        head_position=printed.head[0],
        head_digest=printed.head[1],
        unsealed=printed.unsealed,
        signer=signed.signer,
        archival=printed.archival,
    )
    content = {"pack": order.label, "sha256": row.sha256}
    with perform("pack/1", by=by, said=content) as act:
        held = PackOrder.objects.select_for_update(of=("self",), no_key=True)
        held.get(pk=order.pk)
        if IssuedPack.objects.filter(order=order).exists():
            raise Refused(
                _("%(order)s was issued already.") % {"order": order.label}, code="done"
            )
        act.record(row)
        act.result = {"pack": order.label, "issue": order.issue, "sha256": row.sha256}
    return row
