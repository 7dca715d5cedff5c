"""An inspection pack whole: its sections, its first page, its record and digest."""

import json
from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from qa.models import IssuedPack, PackOrder
from qa.queries.issue import GENERAL_CAUTIONS, local
from qa.queries.packs import (
    closing,
    cures,
    genealogy,
    holes,
    instruments,
    items,
    joints,
    photos,
    signed,
    weights,
)
from qa.queries.packs.joints import Characteristic, Joints
from qa.queries.packs.photos import why_not_shown
from qa.queries.packs.scope import Scope, scope_of
from qa.rules import kept_packs, pack_record
from qa.rules.pack_lines import Compared, compare
from shop.ledger import Refused, file_store
from shop.queries.identity import the_shop
from shop.wording import states
from shop.wording.times import rezoned

# Each gives a dataclass with a key and its data, which holds every fact that a module
# of qa.paper prints of it; in the order of the pages.
SECTIONS = (
    closing.standing_section,
    genealogy.section,
    joints.section,
    holes.section,
    closing.proven_section,
    items.section,
    closing.temporary_section,
    instruments.section,
    photos.section,
    weights.section,
    cures.section,
    signed.section,
)
# Of more joints the first page says how many; the section of joints names them.
MOST_NAMED = 8


@dataclass(frozen=True)
class Summary:
    """One joint on the first page."""

    number: str
    name: str
    revision: str
    source: str
    condition: str
    outcome: str
    outcome_word: str
    standing: str


@dataclass(frozen=True)
class Changes:
    """What a newer issue tells otherwise than the one before it: `same` where the
    records are the same, `why` where they could not be compared line by line."""

    label: str
    issue: int
    at: str
    compared: Compared
    same: bool
    why: str = ""


@dataclass(frozen=True)
class Pack:
    """All that the pages show. `record` is canonical JSON, `digest` its sha256,
    `table` CSV."""

    shop: str
    label: str
    issue: int
    subject: str
    title: str
    subtitle: str
    by: str
    note: str
    paper: str
    issued_at: datetime
    issued_text: str
    url: str
    head: tuple[int, str]
    unsealed: int
    claims: tuple[str, ...]
    conditions: tuple[str, ...]
    sources: tuple[str, ...]
    counts: tuple[tuple[str, str, int], ...]
    summary: tuple[Summary, ...]
    sections: tuple
    changes: Changes | None
    record: str
    digest: str
    table: str
    mark: str = ""
    no_mark: str = ""
    cautions: tuple[str, ...] = GENERAL_CAUTIONS


def _mark() -> tuple[str, str]:
    """The file of the shop's mark ("" without one), and why it is not shown."""
    shop = the_shop()
    if not shop.mark:
        return "", ""
    path = file_store.path_of(shop.mark_name)
    why_not = why_not_shown(path, shop.mark, "the shop's mark")
    return ("", why_not) if why_not else (str(path), "")


def pack_of(order: PackOrder, head: tuple[int, str], unsealed: int) -> Pack:
    """Everything that a pack tells, read at one moment; `head` covers it."""
    scope = scope_of(order)
    sections = tuple(section(scope) for section in SECTIONS)
    joints = next(section for section in sections if isinstance(section, Joints))
    claims = claims_of(scope, joints, sections)
    mark, no_mark = _mark()
    record = pack_record.record_of(_content(scope, sections, claims))
    digest = pack_record.digest_of(record.encode())
    return Pack(
        shop=the_shop().name,
        label=order.label,
        issue=order.issue,
        subject=order.subject,
        title=_title(order),
        subtitle=f"{scope.airframe.type.name}, {scope.airframe.serial}",
        by=order.entry.author,
        note=order.note,
        paper=order.paper,
        issued_at=order.entry.received_at,
        issued_text=local(order.entry.received_at),
        url=address_of(order, digest),
        head=head,
        unsealed=unsealed,
        claims=claims,
        conditions=_distinct(joint.asked for joint in joints.joints),
        sources=_distinct(joint.source for joint in joints.joints),
        counts=_counts(joints),
        summary=tuple(_summary(joint) for joint in joints.joints),
        sections=sections,
        changes=_changes(order, record, digest),
        record=record,
        digest=digest,
        table=pack_record.table_of(record),
        mark=mark,
        no_mark=no_mark,
    )


def _title(order: PackOrder) -> str:
    if order.joint or order.part or order.bay:
        return order.what
    return f"{order.airframe.serial} {order.airframe.name}".strip()


def address_of(order: PackOrder, digest: str) -> str:
    """Where the code on each page leads: to this content of this pack."""
    path = reverse("pack_page", args=[order.number, digest[:16]])
    # Said by the code itself where nobody else can follow it.
    return f"{(order.address or 'http://localhost').rstrip('/')}{path}"


def _content(scope: Scope, sections, claims) -> dict:
    order = scope.order
    lines = [vars(line) for section in sections for line in _characteristics(section)]
    gauges = next(x for x in sections if isinstance(x, instruments.Instruments))
    return {
        "shop": the_shop().name,
        "subject": order.subject,
        "airframe": scope.airframe.serial,
        "type": scope.airframe.type.code,
        "name_of_the_type": scope.airframe.type.name,
        "of": _title(order),
        "unit": scope.unit,
        "claims": list(claims),
        "never_fitted": scope.never,
        "measured_without_an_instrument": list(gauges.unstated),
        "sections": {section.key: section.data for section in sections},
        "characteristics": lines,
    }


def _characteristics(section) -> list[Characteristic]:
    """The lines of the accountability that a section has."""
    if isinstance(section, Joints):
        return [line for joint in section.joints for line in joint.lines]
    if isinstance(section, holes.Holes):
        return [line for check in section.checks for line in check.lines]
    return list(section.lines) if isinstance(section, closing.Proven) else []


def _distinct(words) -> tuple[str, ...]:
    return tuple(dict.fromkeys(words))


def _summary(item) -> Summary:
    return Summary(
        item.number,
        item.name,
        item.revision,
        item.source,
        item.asked,
        item.outcome,
        item.outcome_word,
        states.RECORDS[item.standing].word,
    )


def _counts(section: Joints) -> tuple[tuple[str, str, int], ...]:
    total, words = Counter(), {}
    for joint in section.joints:
        for key, word, number in joint.counts:
            total[key] += number
            words[key] = word
    order = (*joints.ORDER, "skipped")
    return tuple((key, words[key], total[key]) for key in order if key in words)


def claims_of(scope: Scope, fitted: Joints, sections) -> tuple[str, ...]:
    """What the first page claims, and no more: accepted, open, never fitted."""
    standings = list(scope.standings.values())
    holding = sum(standing.holds for standing in standings)
    many = len(fitted.joints)
    claims = [
        f"{holding} of {many} {_plural('joint', many)} "
        f"{_are(holding, many)} accepted by inspection and unchanged since."
        if many
        else "No joint of it was fitted: nothing is claimed of how it fits."
    ]
    rest = Counter(states.RECORDS[x.standing].word for x in fitted.joints)
    others = [
        f"{number} {word}"
        for word, number in rest.items()
        if str(word) not in ("accepted", "accepted with remarks")
    ]
    if others:
        claims.append(f"Not accepted: {', '.join(others)}.")
    if fitted.never:
        few = len(fitted.never) <= MOST_NAMED
        named = ", ".join(fitted.never) if few else f"{len(fitted.never)} joints"
        claims.append(f"Never fitted, so not measured: {named}.")
    items_told = next(
        section for section in sections if isinstance(section, items.Items)
    )
    count = sum(item.open for item in items_told.items)
    many = len(items_told.items)
    claims.append(
        f"{count} of {many} {_plural('nonconformance', many)} {_are(count, many)} not "
        "closed."
    )
    claims.append(next(x.words for x in sections if isinstance(x, closing.Stands)))
    return tuple(claims)


def _plural(word: str, number: int) -> str:
    return word if number == 1 else f"{word}s"


def _are(some: int, many: int) -> str:
    return "is" if 1 in (some, many) else "are"


def _changes(order: PackOrder, record: str, digest: str) -> Changes | None:
    """What differs from the newest earlier issue of the same; None for the first."""
    before = (
        IssuedPack.objects.filter(
            order__subject=order.subject, order__issue__lt=order.issue
        )
        .select_related("order__entry")
        .order_by("-order__issue")
        .first()
    )
    if before is None:
        return None
    compared, why = Compared(()), ""
    try:
        # The same moment is no change where the shop has another zone since.
        records = (kept_packs.record_of(before).decode(), record)
        compared = compare(*(json.loads(rezoned(text)) for text in records))
    except (Refused, OSError) as no:
        why = getattr(no, "message", "") or "The record of that issue is gone from disk"
    return Changes(
        label=before.order.label,
        issue=before.order.issue,
        at=local(before.order.entry.received_at),
        compared=compared,
        same=before.content_digest == digest,
        why=why,
    )
