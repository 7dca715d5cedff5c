"""An issued pack as it is signed: its numbers and digests. It never changes, so that a
signature under it holds; that a newer issue was made is told beside it."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from qa.models import HoleCheck, IssuedPack, PackOrder
from qa.rules import (
    acceptance,
    close_out,
    close_out_records,
    close_out_stands,
    offering,
)
from shop.rules import signed_work
from shop.rules.lineage import edges_of
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


@dataclass(frozen=True)
class _OfPart:
    """What a pack of one part tells of: its joints, and where it sits."""

    joints: frozenset[int]
    paths: frozenset[str]

    def has(self, path: str, joints: Iterable[int]) -> bool:
        return path in self.paths or bool(self.joints & set(joints))


def _doers(order: PackOrder) -> set[int]:
    """Keys of who did the work that a pack tells of: at its joints, offered or not, in
    holes, on characteristics and items, with what was put in and taken out, and in the
    pulls that its parts came from."""
    airframe = order.airframe
    what = {"joint": order.joint, "part": order.part, "bay": order.bay}
    joints, _never = offering.joints_of(airframe, **what)
    rows = [draft.row for draft in offering.drafts(airframe, joints)]
    rows += acceptance.newest().filter(joint__in=joints, offer__airframe=airframe)
    records = close_out_records.load(airframe)
    if order.part:
        own = frozenset(joint.pk for joint in joints)
        sits = [x for x in records.placements if x.part_id == order.part_id]
        scope = _OfPart(own, frozenset(x.position.path for x in sits))
    else:
        scope = close_out_stands.Scope(airframe, bay=order.bay, joint=order.joint)
    parts = {
        x for row in rows for x in (row.fit_up.part_id, row.fit_up.surround_part_id)
    }
    parts |= {order.part_id} | {
        sits.part_id for sits in records.placements if scope.has(sits.position.path, ())
    }
    parts -= {None}
    pulls = signed_work.pulls(edges_of(parts).pulls)
    checks = HoleCheck.objects.filter(part__in=parts).order_by()
    return (
        acceptance.doers_of(rows)
        | close_out.doers(close_out_stands.gather(records), scope)
        | set(checks.values_list("entry__by", flat=True))
        | {by for pull in pulls.values() for by in pull.doers()}
    ) - {None}


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
