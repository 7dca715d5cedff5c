"""Signatures as pages and papers show them: each with whether it holds."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from django.core.paginator import Page
from django.db.models import QuerySet
from django.urls import reverse

from shop.models import Meaning, Person, Signature
from shop.rules import signing
from shop.rules.signing import SIGNABLES, Content, Signable

from .paging import search, whole_page_of

RELATED = ("person", "entry")


@dataclass(frozen=True)
class Signed:
    """One signature. changed: what no longer is as it was signed, in words."""

    kind: str
    key: int
    what: str
    address: str
    meaning: str
    word: str
    who: str
    username: str
    role: str
    certificate: str
    when: datetime
    proven_by: str
    digest: str
    note: str
    entry: int
    changed: tuple[str, ...]

    @property
    def holds(self) -> bool:
        return not self.changed

    @property
    def state(self) -> str:
        return "signed" if self.holds else "signed_before"


@dataclass(frozen=True)
class SignedThing:
    """The signatures of one thing, oldest first, and where it is signed. refused: why
    nobody signs it as it is now, where that was asked."""

    kind: str
    key: int
    rows: tuple[Signed, ...]
    refused: str = ""

    @property
    def sign_at(self) -> str:
        return reverse("sign", args=[self.kind, self.key])

    @property
    def holding(self) -> tuple[Signed, ...]:
        return tuple(row for row in self.rows if row.holds)


def signed_of(
    kind: str, keys: Iterable[int], now: dict[int, Content] | None = None
) -> dict[int, SignedThing]:
    """Of each key its signatures, in a constant number of statements. now: what they
    are now, by key, where somebody has read it."""
    keys = list(keys)
    rows = Signature.objects.filter(kind=kind, key__in=keys).select_related(*RELATED)
    signatures = defaultdict(list)
    for signature in _shown(list(rows), now and {kind: now}):
        signatures[signature.key].append(signature)
    return {key: SignedThing(kind, key, tuple(signatures[key])) for key in keys}


def panels_of(kind: str, keys: Iterable[int]) -> dict[int, SignedThing]:
    """The same for a page that offers to sign: with why that is refused."""
    keys = list(keys)
    now = SIGNABLES[kind].contents(keys)
    return {
        key: replace(thing, refused=signing.refused_to_all(now[key]))
        for key, thing in signed_of(kind, keys, now).items()
    }


def panel_of(kind: str, key: int) -> SignedThing:
    return panels_of(kind, [key])[key]


def signed_thing(kind: str, key: int) -> SignedThing:
    return signed_of(kind, [key])[key]


def _shown(
    rows: list[Signature], read: dict[str, dict[int, Content]] | None = None
) -> list[Signed]:
    """Each with whether it holds: what was signed is read again, once a kind, but for
    the kinds that were just `read`."""
    read, keys = read or {}, defaultdict(set)
    for row in rows:
        keys[row.kind].add(row.key)
    now = {
        kind: SIGNABLES[kind].contents(keys_of_kind) if kind in SIGNABLES else {}
        for kind, keys_of_kind in keys.items()
        if kind not in read
    }
    now |= read
    return [
        _signed(row, SIGNABLES.get(row.kind), now[row.kind].get(row.key))
        for row in rows
    ]


def _signed(row: Signature, signable, content: Content | None) -> Signed:
    return Signed(
        kind=row.kind,
        key=row.key,
        what=row.signed["what"],
        address=content.address if content else "",
        meaning=row.meaning,
        word=row.get_meaning_display(),
        who=row.name,
        username=row.person.username,
        role=row.get_role_display(),
        certificate=row.certificate,
        when=row.entry.received_at,
        proven_by=row.get_proven_by_display(),
        digest=row.digest,
        note=row.note,
        entry=row.entry.pk,
        changed=signing.changes_of(row, signable, content),
    )


def signatures(*, q: str = "", meaning: str = "") -> QuerySet[Signature]:
    """All signatures, the newest first; q: words of who signed and what."""
    rows = Signature.objects.select_related(*RELATED).order_by("-pk")
    if meaning:
        rows = rows.filter(meaning=meaning)
    return search(rows, q, "name", "certificate_number", "content")


def signature_page(rows: QuerySet[Signature], number) -> Page:
    return whole_page_of(rows, number, _shown)


@dataclass(frozen=True)
class ToSign:
    """What a person is about to sign: exactly what is signed, with its digest.

    open_to: by key of a person the meanings with which that person can sign it now.
    why_not: why the one who looks cannot, with some meaning or at all.
    """

    signable: Signable
    content: Content
    digest: str
    thing: SignedThing
    meanings: list[Meaning]
    people: list[Person]
    open_to: dict[int, list[Meaning]]
    why_not: list[str]


def to_sign(kind: str, key: int, person: Person) -> ToSign | None:
    """None where there is no such thing. meanings: those that any of the crew can sign
    it with now."""
    shown = signing.content_of(kind, key)
    if shown is None:
        return None
    signable, content = shown
    crew = list(Person.objects.filter(is_active=True).exclude(role="visitor"))
    open_to = {
        person.pk: signing.meanings_of(signable, content, person) for person in crew
    }
    return ToSign(
        signable,
        content,
        signing.digest_of(signable.text(content)),
        signed_of(kind, [key], {key: content})[key],
        [
            meaning
            for meaning in Meaning
            if any(meaning in shown for shown in open_to.values())
        ],
        [person for person in crew if open_to[person.pk]],
        open_to,
        _why_not(signable, content, person),
    )


def _why_not(signable: Signable, content: Content, person: Person) -> list[str]:
    """Why nobody, or not this person, can sign it; of who can sign something, why not
    what their role would let them."""
    if not signing.meanings_of(signable, content, person):
        first = next(iter(signable.rights))
        return [signing.refusal(signable, content, first, person)]
    refused = (
        signing.refused_as_own(signable, content, meaning, person)
        for meaning in signable.rights
    )
    return list(dict.fromkeys(filter(None, refused)))
