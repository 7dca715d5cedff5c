"""Who signed what of a pack: what inspectors said of its joints, and boxes to sign."""

import json
from dataclasses import dataclass

from qa.models import IssuedPack
from qa.queries.issue import Signature, local
from qa.queries.packs.genealogy import edges_of
from qa.queries.packs.scope import Scope
from shop.models import Entry, PlyLaid
from shop.queries.signatures import signed_of


@dataclass(frozen=True)
class SignedLine:
    """One act that stands for a signature: its meaning, of what, by whom, with which
    certificate, when, bound to which digest, and whether that still holds."""

    meaning: str
    what: str
    by: str
    certificate: str
    at: str
    digest: str
    holds: str


@dataclass(frozen=True)
class Signed:
    key = "signatures"
    lines: tuple[SignedLine, ...]
    boxes: tuple[Signature, ...]

    @property
    def data(self) -> list:
        return [vars(line) for line in self.lines]


BOXES = (
    Signature("Performed", note="who did the work, or answers for it"),
    Signature("Inspected", note="not the person who did the work"),
    Signature("Approved", note="for what is recorded here, and no more"),
)


@dataclass(frozen=True)
class Certificates:
    """Which certificate each person held: what stood before each change of one, as the
    ledger keeps it, oldest first."""

    changes: tuple[tuple[int, str, dict], ...]

    @classmethod
    def since(cls, entries: list[int]) -> "Certificates":
        """All that is needed to tell it at any of these entries, in one statement."""
        rows = Entry.objects.filter(form="person_certificate/1").order_by("pk")
        rows = rows.filter(pk__gt=min(entries, default=0))
        bodies = rows.values_list("pk", "body")
        return cls(tuple((key, *_changed(json.loads(body))) for key, body in bodies))

    def at(self, entry: Entry) -> str:
        """Kind and number of what its author held then; "" for who held none."""
        held = next(
            (
                before
                for key, name, before in self.changes
                if key > entry.pk and name == entry.by.username
            ),
            vars(entry.by),
        )
        return f"{held['certificate_kind']} {held['certificate_number']}".strip()


def _changed(content: dict) -> tuple[str, dict]:
    return content["said"]["person"], content["result"]


def section(scope: Scope) -> Signed:
    lines = [*_lines(scope), *_signatures(scope)]
    return Signed(tuple(sorted(lines, key=lambda line: line.at)), BOXES)


def _signatures(scope: Scope):
    """Every signature under a thing of the pack, whether it holds or not."""
    pulls = edges_of({part.pk for part in scope.parts}).pulls
    inspections = [getattr(row, "inspection", None) for row in scope.offered]
    plies = PlyLaid.objects.filter(pull__in=pulls).values_list("pk", flat=True)
    for kind, keys in (
        ("check", [check.pk for check in scope.checks]),
        ("offered", [row.pk for row in scope.offered]),
        ("inspection", [row.pk for row in inspections if row]),
        ("disposition", [item.pk for item in scope.items]),
        ("pull", list(pulls)),
        ("ply", list(plies)),
        ("close_out", [row.pk for row in _close_outs(scope)]),
        ("pack", _earlier_packs(scope)),
    ):
        for thing in signed_of(kind, keys).values():
            yield from map(_signature, thing.rows)


def _close_outs(scope: Scope):
    """The newest close-out of what the pack is of, and of what lies in it."""
    for row in scope.gathered.records.close_outs:
        path = row.joint.position.path if row.joint else row.bay and row.bay.path
        if scope.whole or (path and scope.has(path, {row.joint_id} - {None})):
            yield row


def _earlier_packs(scope: Scope) -> list[int]:
    rows = IssuedPack.objects.filter(order__subject=scope.order.subject)
    return list(rows.values_list("pk", flat=True))


def _signature(row) -> SignedLine:
    return SignedLine(
        meaning=f"{row.word} (signed, proven by {row.proven_by})",
        what=row.what,
        by=f"{row.who}, {row.role}",
        certificate=row.certificate,
        at=local(row.when),
        digest=row.digest,
        holds="holds" if row.holds else f"changed since: {'; '.join(row.changed)}",
    )


def _lines(scope: Scope):
    inspected = [
        (row, row.inspection) for row in scope.offered if hasattr(row, "inspection")
    ]
    held = Certificates.since([inspection.entry.pk for _row, inspection in inspected])
    for row, inspection in inspected:
        standing = scope.standings.get(row.joint_id)
        newest = standing and standing.offered.pk == row.pk
        yield SignedLine(
            meaning=f"{inspection.meaning}: {inspection.get_outcome_display()}",
            what=f"{row.joint.number}, {row.offer.label}",
            by=inspection.entry.author,
            certificate=held.at(inspection.entry),
            at=local(inspection.entry.received_at),
            digest=inspection.digest,
            holds=_holds(standing) if newest else "offered again since",
        )


def _holds(standing) -> str:
    return f"changed since: {standing.why}" if standing.changed else "holds"
