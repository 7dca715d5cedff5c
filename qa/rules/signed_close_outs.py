"""A close-out as it is signed: what it relied on, by whom it was closed.

Names and values are part of the record, as in signed_fits.
"""

from collections.abc import Iterable

from django.urls import reverse

from qa.models import CloseOut
from qa.rules import close_out, close_out_records, close_out_stands
from qa.rules.close_out_stands import Gathered, Scope
from qa.wording import close_outs as words
from shop.ledger.canonical import canonical
from shop.rules.signed_work import moment, name_of
from shop.rules.signing import Content, Signable


def close_outs(keys: Iterable[int]) -> dict[int, Content]:
    """A constant number of statements, whatever the number of airframes."""
    rows = CloseOut.objects.filter(pk__in=list(keys)).select_related(
        "entry__by", "airframe__type", "bay", "joint__position"
    )
    loaded = close_out_records.load_all({row.airframe for row in rows})
    gathered = {at: close_out_stands.gather(record) for at, record in loaded.items()}
    return {row.pk: _content(row, gathered[row.airframe]) for row in rows}


def address_of(scope: Scope) -> str:
    if scope.joint:
        return reverse("close_out_joint", args=[scope.airframe.pk, scope.joint.pk])
    if scope.bay:
        return reverse("close_out_bay", args=[scope.airframe.pk, scope.bay.pk])
    return reverse("close_out_airframe", args=[scope.airframe.pk])


def _content(row: CloseOut, gathered: Gathered) -> Content:
    scope = Scope(row.airframe, row.bay, row.joint)
    stands = [f"{stand.what}: {stand.why}" for stand in gathered.of(scope)]
    return Content(
        what=f"{row.label} {scope.name}",
        fields=(
            ("airframe", row.airframe.serial),
            ("bay", row.content["bay"] or ""),
            ("joint", row.content["joint"] or ""),
            ("closed by", name_of(row.entry)),
            ("closed", moment(row.entry.received_at)),
            ("note", row.note),
            ("digest of what was closed", row.digest),
            *(
                (f"{section}, {name}", canonical(value))
                for section in words.SECTIONS
                for name, value in sorted(row.content[section].items())
            ),
        ),
        address=address_of(scope),
        doers=lambda: close_out.doers(gathered, scope),
        since=(*close_out.changes_of(row, gathered), *stands),
    )


CLOSE_OUT = Signable(
    "close_out",
    "close_out_signed/1",
    "close-out",
    {
        "inspected": "sign as inspected",
        "approved": "sign as approved",
        "released": "sign as released",
    },
    close_outs,
)
SIGNABLES = (CLOSE_OUT,)
