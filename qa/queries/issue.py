"""What every sheet carries: when it was issued, its place in the ledger, cautions, and
boxes to sign in."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from shop.ledger.canonical import stamp
from shop.models import Seal
from shop.queries.signatures import Signed, SignedThing
from shop.wording.times import zoned as local

GENERAL_CAUTIONS = (
    "Verdicts are about the limits recorded here and say nothing of airworthiness: "
    "inspection and airworthiness belong to the local authority and its delegates.",
    "Use as is, or repair, on structure needs the design authority.",
    "Trimming and sanding: the dust of cured laminate irritates skin, eyes and lungs. "
    "Extract it and wear a fitting respirator; safety data sheets are the authority.",
)


@dataclass(frozen=True)
class Signature:
    """A box to sign in, or what was signed: meaning, and name and date if there are.

    proof: how it was proven, and of what. changed: why what was signed there no longer
    holds.
    """

    meaning: str
    name: str = ""
    date: str = ""
    note: str = ""
    proof: str = ""
    changed: tuple[str, ...] = ()


def boxes_of(thing: SignedThing, **blanks: Signature) -> tuple[Signature, ...]:
    """What was signed of a thing, oldest first, then the boxes of the meanings that
    nobody signed so that it holds (performed=Signature("Cut by"))."""
    signed = {signature.meaning for signature in thing.holding}
    return (
        *(_box(row) for row in thing.rows),
        *(box for meaning, box in blanks.items() if meaning not in signed),
    )


def _box(signature: Signed) -> Signature:
    proof = _("%(when)s, proven by %(how)s, sha256 %(digest)s")
    values = {
        "how": signature.proven_by,
        "digest": signature.digest[:12],
        "when": local(signature.when),
    }
    word = signature.word.capitalize()
    return Signature(
        meaning=word
        if signature.holds
        else _("%(as)s: no longer holds") % {"as": word},
        name=signature.who,
        date=local(signature.when)[:10],
        note=signature.certificate or signature.role,
        proof=proof % values,
        changed=signature.changed,
    )


def signed_record(thing: SignedThing) -> list:
    """The signatures of a thing as values, for what a digest of a paper is made of."""
    return [
        [
            row.meaning,
            row.username,
            row.who,
            row.certificate,
            stamp(row.when),
            row.digest,
            row.holds,
        ]
        for row in thing.rows
    ]


def ledger_place(entry) -> str:
    """Return where the ledger chains the record's newest entry: it never changes.

    Raises Seal.DoesNotExist for an entry that came in after the last sealing.
    """
    seal = Seal.objects.get(entry_id=entry.pk)
    return f"{seal.position} {seal.digest}"
