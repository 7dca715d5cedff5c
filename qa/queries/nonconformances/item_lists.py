"""The list of nonconformances for paper, in the order and filter of the page."""

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime

from django.utils import timezone

from qa.models import Nonconformance, State
from qa.queries.issue import GENERAL_CAUTIONS, ledger_place, local, signed_record
from qa.queries.nonconformances import item_pages as nonconformances
from shop.ledger.canonical import canonical, digest
from shop.models import Entry, Seal
from shop.queries.identity import the_shop
from shop.queries.signatures import Signed, signed_of

EPOCH = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class ListedItem:
    """One nonconformance as text; `state` open, dispositioned, closed and what else the
    page says; `found` the day."""

    number: str
    airframe: str
    joint: str
    text: str
    part: str = ""
    check: str = ""
    state: str = "open"
    disposition: str = ""
    due: str = ""
    photos: str = ""
    found: str = ""
    who: str = ""


@dataclass(frozen=True)
class NonconformanceList:
    """The items and the filter that chose them, in words ("open, airframe 003")."""

    shop: str
    number: str
    filters: str
    items: tuple[ListedItem, ...]
    issued_at: datetime
    issued_text: str = ""
    title: str = "Nonconformances"
    counts: tuple[tuple[str, int], ...] = ()
    again: tuple[str, ...] = ()
    creator: str = ""
    cautions: tuple[str, ...] = GENERAL_CAUTIONS[:2]
    url: str = ""
    digest: str = ""
    ledger_head: str = ""
    banner: str = ""


def list_of(
    items: list[Nonconformance], filters: str, url: str, creator: str
) -> NonconformanceList:
    """Return the list of nonconformances for paper, as of its newest entry.

    Ages would change from day to day: the same records give the same bytes, so the
    day when each was found is printed.
    """
    rows = [nonconformances.item_row(item) for item in items]
    signed = signed_of("disposition", [item.pk for item in items])
    photos = nonconformances.photos_by_item(items)
    newest = _newest_entry(items)
    content = canonical(
        [
            [
                row.airframe,
                row.label,
                row.title,
                row.state,
                row.disposition,
                row.due and row.due.isoformat(),
                photos[str(row.pk)],
                *signed_record(signed[row.pk]),
            ]
            for row in rows
        ]
    )
    counted = Counter(row.state for row in rows)
    return NonconformanceList(
        shop=the_shop().name,
        number=f"NC list, {len(rows)} items",
        filters=filters,
        items=tuple(_listed(row, photos[str(row.pk)], signed[row.pk]) for row in rows),
        issued_at=newest.received_at if newest else EPOCH,
        issued_text=local(newest.received_at) if newest else "",
        counts=tuple((word, counted[word]) for word in State.values if counted[word]),
        creator=creator,
        url=url,
        digest=digest(content),
        ledger_head=ledger_place(newest) if newest else "",
    )


def _newest_entry(items: list[Nonconformance]) -> Entry | None:
    """Of the items; of the whole ledger where there is none: then it is as of now."""
    acts = [item.standing.last_entry_id for item in items]
    if acts:
        newest = max(Entry.objects.filter(act__in=acts).values_list("pk", flat=True))
        return Entry.objects.get(pk=newest)
    seal = Seal.objects.order_by("-position").select_related("entry").first()
    return seal and seal.entry


def _signed(signature: Signed) -> str:
    """Who signed the decision, and whether that holds."""
    day = timezone.localtime(signature.when).strftime("%Y-%m-%d")
    who = ", ".join(filter(None, [signature.who, signature.certificate]))
    standing = "" if signature.holds else ": no longer holds"
    return f"{signature.word.capitalize()}: {who}, {day}{standing}"


def _listed(row: nonconformances.ItemRow, photos: int, signed) -> ListedItem:
    return ListedItem(
        number=row.label,
        airframe=row.airframe,
        joint=row.joint,
        text=". ".join(
            [
                row.title,
                *([f"Required: {row.requirement}"] if row.requirement else []),
                *(_signed(row) for row in signed.rows),
            ]
        ),
        part=row.part,
        check=row.check,
        state=row.state,
        disposition=row.disposition,
        due=row.due.isoformat() if row.due else "",
        photos=str(photos or ""),
        found=timezone.localtime(row.opened_at).strftime("%Y-%m-%d"),
        who=row.holder,
    )
