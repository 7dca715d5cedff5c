"""Who signed what of a pack: what inspectors said of its joints, and boxes to sign."""

from dataclasses import dataclass

from qa.models import IssuedPack
from qa.queries.issue import Signature, local
from qa.queries.packs.genealogy import edges_of
from qa.queries.packs.scope import Scope
from shop.models import PlyLaid
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


def certificate_of(person) -> str:
    """Kind and number of a person's certificate, "" for who holds none."""
    return " ".join(filter(None, (person.certificate_kind, person.certificate_number)))


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
    for row in scope.offered:
        said = getattr(row, "inspection", None)
        if said is None:
            continue
        standing = scope.standings.get(row.joint_id)
        newest = standing and standing.offered.pk == row.pk
        yield SignedLine(
            meaning=f"{said.meaning}: {said.get_outcome_display()}",
            what=f"{row.joint.number}, {row.offer.label}",
            by=said.entry.author,
            certificate=certificate_of(said.entry.by),
            at=local(said.entry.received_at),
            digest=said.digest,
            holds=_holds(standing) if newest else "offered again since",
        )


def _holds(standing) -> str:
    return f"changed since: {standing.why}" if standing.changed else "holds"
