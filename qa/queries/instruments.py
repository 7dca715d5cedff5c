"""Instruments for lists."""

from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet
from django.utils import timezone

from qa.models import Instrument
from qa.wording import lengths
from shop.queries.paging import search


def instruments(*, words="") -> QuerySet[Instrument]:
    return search(Instrument.objects.order_by("code"), words, "code", "name", "kind")


@dataclass(frozen=True)
class InstrumentRow:
    pk: int
    code: str
    name: str
    kind: str
    uncertainty: str
    base: str
    due: date | None
    overdue: bool
    state: str
    state_label: str


def instrument_row(one: Instrument) -> InstrumentRow:
    base = ""
    if one.foot_1_nm is not None and one.foot_2_nm is not None:
        base = lengths.length(abs(one.foot_2_nm - one.foot_1_nm), "mm", 1)
    return InstrumentRow(
        pk=one.pk,
        code=one.code,
        name=one.name,
        kind=one.kind,
        uncertainty=lengths.length(one.u_nm, "mm", 3) if one.u_nm else "not known",
        base=base,
        due=one.due,
        overdue=bool(one.due and one.due < timezone.localdate()),
        state="open" if one.status == "in_use" else "closed",
        state_label=one.get_status_display(),
    )
