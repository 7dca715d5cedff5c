"""Where somebody is signed in just now."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from django.http import Http404
from django.utils import timezone

from shop.models import Person, Proof, Session


@dataclass(frozen=True)
class SessionRow:
    """handle: names it on a page, where its key must not stand."""

    handle: str
    browser: str
    address: str
    since: datetime | None
    used_at: datetime | None
    is_here: bool


def handle_of(session: Session) -> str:
    return hashlib.sha256(session.pk.encode()).hexdigest()[:16]


def _open(person: Person):
    rows = Session.objects.filter(person=person, expire_date__gt=timezone.now())
    return rows.order_by("-used_at", "pk")


def sessions_of(person: Person, *, here: str | None) -> list[SessionRow]:
    """Return where a person is signed in; here: the key of the session that asks."""
    return [
        SessionRow(
            handle=handle_of(row),
            browser=row.browser,
            address=row.address,
            since=row.since,
            used_at=row.used_at,
            is_here=row.pk == here,
        )
        for row in _open(person)
    ]


def session_named(person: Person, handle: str) -> Session:
    for row in _open(person):
        if handle_of(row) == handle:
            return row
    raise Http404


def proofs_of(person: Person) -> list[Proof]:
    """Return on which tablets a person's PIN counts just now."""
    rows = Proof.objects.filter(person=person, until__gt=timezone.now())
    return list(rows.select_related("tablet").order_by("tablet__name"))
