"""An issued pack as it is signed: its numbers and digests. It never changes, so that a
signature under it holds; that a newer issue was made is told beside it."""

from collections.abc import Iterable

from django.urls import reverse

from qa.models import IssuedPack, PackOrder
from qa.rules import (
    acceptance,
    close_out,
    close_out_records,
    close_out_stands,
    offering,
)
from shop.rules.signed_work import moment, name_of
from shop.rules.signing import Content, Signable


def packs(keys: Iterable[int]) -> dict[int, Content]:
    rows = IssuedPack.objects.filter(pk__in=list(keys)).select_related(
        "order__entry__by",
        "order__airframe__type",
        "order__joint",
        "order__part",
        "order__bay",
    )
    return {row.pk: _content(row) for row in rows}


def _content(row: IssuedPack) -> Content:
    order = row.order
    return Content(
        what=f"{order.label}, {order.subject}, issue {order.issue}",
        fields=(
            ("pack", order.label),
            ("of", order.subject),
            ("issue", str(order.issue)),
            ("issued by", name_of(order.entry)),
            ("issued", moment(order.entry.received_at)),
            ("pages", str(row.pages)),
            ("sha256 of the file", row.sha256),
            ("sha256 of what it tells", row.content_digest),
            ("ledger head", f"{row.head_position} {row.head_digest}"),
        ),
        address=reverse("pack", args=[order.number]),
        # Who printed it did no work that it tells of; who did that work may not.
        doers=lambda: _doers(order),
    )


def _doers(order: PackOrder) -> set[int]:
    """Keys of who did the work that a pack tells of: at its joints, offered or not, and
    with what was put in and taken out."""
    airframe = order.airframe
    what = {"joint": order.joint, "part": order.part, "bay": order.bay}
    joints, _never = offering.joints_of(airframe, **what)
    rows = [draft.row for draft in offering.drafts(airframe, joints)]
    rows += acceptance.newest().filter(joint__in=joints, offer__airframe=airframe)
    found = {by for row in rows for by in acceptance.doers(row)}
    if order.part is None:
        scope = close_out_stands.Scope(airframe, bay=order.bay, joint=order.joint)
        gathered = close_out_stands.gather(close_out_records.load(airframe))
        found |= close_out.doers(gathered, scope)
    return found


PACK = Signable(
    "pack",
    "pack_signed/1",
    "inspection pack",
    {
        "inspected": "sign as inspected",
        "approved": "sign as approved",
        "released": "sign as released",
    },
    packs,
)
SIGNABLES = (PACK,)
