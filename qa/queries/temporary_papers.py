"""What must come off an airframe, for paper: a list to tick off at the airframe."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext as _

from qa.queries.issue import Signature, ledger_place, local
from qa.queries.temporary import must_come_off
from shop.ledger.canonical import canonical, digest
from shop.models import Airframe, Entry, Seal, TemporaryState
from shop.queries.identity import the_shop


@dataclass(frozen=True)
class OffRow:
    """One item as text; `inside` and `missing` in pieces."""

    number: str
    what: str
    where: str
    why: str
    put_in: str
    inside: str
    missing: str


@dataclass(frozen=True)
class OffBay:
    """A bay and what must come out of it; `count` is its line of in and out."""

    name: str
    count: str
    rows: tuple[OffRow, ...]


@dataclass(frozen=True)
class OffList:
    shop: str
    number: str
    airframe: str
    bays: tuple[OffBay, ...]
    pieces: int
    missing: int
    issued_at: datetime
    issued_text: str
    creator: str
    url: str
    digest: str
    ledger_head: str
    signatures: tuple[Signature, ...]


def off_list(airframe: Airframe, url: str, creator: str) -> OffList:
    """The list as of the newest act on a temporary item of this airframe, or as of the
    newest entry where there was none."""
    view = must_come_off(airframe)
    entry = _newest(airframe, {row.id for bay in view.bays for row in bay.rows})
    bays = tuple(
        OffBay(
            bay.path,
            _("%(put_in)s in, %(out)s out, %(inside)s still in")
            % {"put_in": bay.put_in, "out": bay.out, "inside": bay.inside},
            tuple(_row(row) for row in bay.rows),
        )
        for bay in view.bays
    )
    content = [
        [row.label, row.inside, row.missing] for b in view.bays for row in b.rows
    ]
    return OffList(
        shop=the_shop().name,
        number=airframe.serial,
        airframe=airframe.serial,
        bays=bays,
        pieces=view.pieces,
        missing=view.missing,
        issued_at=entry.received_at,
        issued_text=local(entry.received_at),
        creator=creator,
        url=url,
        digest=digest(canonical(content)),
        ledger_head=ledger_place(entry),
        signatures=(
            Signature(_("Taken out and counted")),
            Signature(_("Seen empty, by somebody else")),
        ),
    )


def _newest(airframe: Airframe, listed: set[int]) -> Entry:
    at = Q(item__airframe=airframe) | Q(item__in=listed)
    there = TemporaryState.objects.filter(at)
    last = there.select_related("last_entry").order_by("-last_entry__pk").first()
    if last:
        return last.last_entry
    return Seal.objects.select_related("entry").order_by("-position")[0].entry


def _row(row) -> OffRow:
    return OffRow(
        number=row.label,
        what=row.what,
        where="; ".join(filter(None, (row.where, row.moved))) or "–",
        why=row.why,
        put_in=f"{row.by}, {local(row.at)[:16]}",
        inside=str(row.inside),
        missing=str(row.missing or "–"),
    )
