"""Materials and lots."""

from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import Lot, LotAct, LotActKind, LotState, Material, Person

from .locks import locked


def define_material(*, by: Person, material: Material | None = None, **fields):
    """Add a material, or edit one."""
    roles.require(by, "define laminates")
    with perform("material/1", by=by, said=dict(fields)):
        material = material or Material()
        for name, value in fields.items():
            setattr(material, name, value)
        material.full_clean()
        material.save()
    return material


def receive_lot(
    *,
    by: Person,
    material: Material,
    number: str,
    received_on,
    expires_on=None,
    amount: str = "",
    place: str = "",
    supplier: str = "",
    certificate: str = "",
) -> Lot:
    roles.require(by, "keep materials")
    content = {
        "material": material.code,
        "number": number,
        "received_on": received_on.isoformat(),
        "expires_on": expires_on and expires_on.isoformat(),
        "amount": amount,
        "place": place,
        "supplier": supplier,
        "certificate": certificate,
    }
    with perform("lot/1", by=by, said=content) as act:
        if Lot.objects.filter(material=material, number=number).exists():
            message = _("This lot of this material is on record already.")
            raise Refused(message, field="number")
        lot = Lot(
            material=material,
            number=number,
            received_on=received_on,
            expires_on=expires_on,
            amount=amount,
            place=place,
            supplier=supplier,
            certificate=certificate,
        )
        lot.full_clean()
        lot.save()
        act.record(LotAct(lot=lot, kind=LotActKind.RECEIVED, note=amount))
        act.result = {"lot": lot.pk}
    return lot


def act_on_lot(
    *,
    by: Person,
    lot: Lot,
    kind: str,
    minutes: int | None = None,
    temperature: int | None = None,
    note: str = "",
) -> LotAct:
    """Open a lot, count its time out of the cold, move it, or call it used up.

    temperature: where it was while out, in 0.001 degC.
    """
    roles.require(by, "keep materials")
    content = {
        "lot": str(lot),
        "kind": kind,
        "minutes": minutes,
        "temperature": temperature,
        "note": note,
    }
    with perform("lot_act/1", by=by, said=content) as act:
        lot = locked(lot)
        if lot.state == LotState.USED_UP:
            raise Refused(_("It is used up."), field="kind")
        if kind == LotActKind.OUT and not minutes:
            raise Refused(_("Say for how long."), field="minutes")
        if kind == LotActKind.MOVED and not note.strip():
            raise Refused(_("Say where to."), field="note")
        fact = act.record(
            LotAct(
                lot=lot,
                kind=kind,
                minutes=minutes,
                temperature=temperature,
                note=note,
            )
        )
        if kind == LotActKind.OPENED:
            lot.opened_on = lot.opened_on or timezone.localdate(act.now)
        elif kind == LotActKind.OUT:
            lot.out_minutes += minutes
        elif kind == LotActKind.MOVED:
            lot.place = note[:80]
        elif kind == LotActKind.USED_UP:
            lot.state = LotState.USED_UP
        lot.save(update_fields=["opened_on", "out_minutes", "place", "state"])
    return fact


def file_papers(
    *,
    by: Person,
    lot: Lot,
    supplier: str,
    certificate: str,
    shown_supplier: str = "",
    shown_certificate: str = "",
) -> LotAct:
    """Say who a lot was bought from and which paper says that it conforms: also later,
    for papers come after what they are of, and also of what is used up. Both empty
    takes off what was filed on the wrong lot. What was `shown` is what is replaced:
    nobody takes off what another filed meanwhile."""
    roles.require(by, "keep materials")
    papers = {"supplier": supplier.strip(), "certificate": certificate.strip()}
    with perform("lot_papers/1", by=by, said={"lot": str(lot), **papers}) as act:
        lot = locked(lot)
        filed = {"supplier": lot.supplier, "certificate": lot.certificate}
        if not any((*papers.values(), *filed.values())):
            raise Refused(_("Say the supplier or the certificate."), field="supplier")
        if papers == filed:
            raise Refused(_("That is on record already."), field="supplier")
        if [shown_supplier, shown_certificate] != list(filed.values()):
            names = ", ".join(filter(None, filed.values())) or _("none")
            message = _("Other papers were filed meanwhile: %(told)s. Open it again.")
            raise Refused(message % {"told": names}, field="supplier")
        lot.supplier, lot.certificate = papers.values()
        lot.full_clean()
        lot.save(update_fields=list(papers))
        note = ", ".join(filter(None, papers.values())) or _("taken off")
        fact = act.record(LotAct(lot=lot, kind=LotActKind.PAPERS, note=note))
    return fact
