"""The packs that were ordered, for the list and the page of one."""

from dataclasses import dataclass

from django.db.models import QuerySet

from qa.models import IssuedPack, PackOrder

SUBJECT = ("airframe__type", "joint", "bay", "issued")
APART = ("entry__by", "issued__entry__by", "part__design")


def orders() -> QuerySet[PackOrder]:
    """Every order, the newest first."""
    rows = PackOrder.objects.select_related(*SUBJECT).prefetch_related(*APART)
    return rows.order_by("-number")


@dataclass(frozen=True)
class PackRow:
    """One ordered pack: `issued` is None while it is made, or when it never was."""

    number: int
    label: str
    issue: int
    what: str
    airframe: str
    by: str
    at: object
    issued: IssuedPack | None


def row_of(order: PackOrder) -> PackRow:
    return PackRow(
        number=order.number,
        label=order.label,
        issue=order.issue,
        what=order.what,
        airframe=order.airframe.serial,
        by=order.entry.author,
        at=order.entry.received_at,
        issued=getattr(order, "issued", None),
    )


@dataclass(frozen=True)
class PackView:
    """One order with its other issues, the newest first."""

    row: PackRow
    others: list[PackRow]

    @property
    def newer(self) -> PackRow | None:
        """The newest issue after this one."""
        later = [x for x in self.others if x.issued and x.issue > self.row.issue]
        return later[0] if later else None


def view_of(order: PackOrder) -> PackView:
    rows = orders().filter(subject=order.subject).exclude(pk=order.pk)
    return PackView(row_of(order), [row_of(row) for row in rows.order_by("-issue")])
