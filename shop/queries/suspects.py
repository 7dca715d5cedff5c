"""Holds and the parts that wait for a decision."""

from dataclasses import dataclass

from django.core.paginator import Page
from django.db.models import Q

from shop.identifiers import KINDS
from shop.models import Hold, Part, Suspect

from .paging import count_of, page_of, search


@dataclass(frozen=True)
class HoldRow:
    id: int
    label: str
    reason: str
    by: str
    since: object
    lifted: bool
    undecided: int
    parts: int


def _hold_row(hold: Hold) -> HoldRow:
    return HoldRow(
        hold.pk,
        hold.label,
        hold.reason,
        str(hold.entry.by),
        hold.entry.received_at,
        hold.lifted_entry_id is not None,
        hold.undecided,
        hold.marked,
    )


def holds(*, q="", state="", page=1) -> Page:
    """Return holds; state "open" keeps those not lifted or with parts undecided."""
    waiting = Suspect.objects.filter(decided_entry=None)
    rows = Hold.objects.select_related("entry__by").annotate(
        undecided=count_of(waiting, "hold"),
        marked=count_of(Suspect.objects.all(), "hold"),
    )
    if state == "open":
        rows = rows.filter(Q(lifted_entry=None) | Q(undecided__gt=0))
    return page_of(search(rows, q, "label", "reason"), page, _hold_row)


@dataclass(frozen=True)
class HoldPage:
    hold: Hold
    url: str
    suspects: list[Suspect]
    acts: list


def hold_page(hold: Hold) -> HoldPage:
    thing = KINDS[hold.subject_kind]
    row = thing.rows().get(pk=hold.subject_id)
    return HoldPage(
        hold,
        thing.address(row),
        list(
            hold.suspects.select_related(
                "part__design", "decision__entry__by"
            ).order_by("part__serial")
        ),
        list(hold.acts.select_related("entry__by").order_by("pk")),
    )


def doubts_about(part: Part) -> list[Suspect]:
    rows = part.suspicions.filter(decided_entry=None).select_related("hold")
    return list(rows.order_by("pk"))
