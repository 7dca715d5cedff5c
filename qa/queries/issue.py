"""What every sheet carries: when it was issued, its place in the ledger, cautions, and
boxes to sign in."""

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from shop.models import Seal

GENERAL_CAUTIONS = (
    "Verdicts are about the limits recorded here and say nothing of airworthiness: "
    "inspection and airworthiness belong to the local authority and its delegates.",
    "Use as is, or repair, on structure needs the design authority.",
    "Trimming and sanding: the dust of cured laminate irritates skin, eyes and lungs. "
    "Extract it and wear a fitting respirator; safety data sheets are the authority.",
)


@dataclass(frozen=True)
class Signature:
    """A box to sign in, or what was signed: meaning, and name and date if there are."""

    meaning: str
    name: str = ""
    date: str = ""
    note: str = ""


def local(moment: datetime | None) -> str:
    """Return a time in the shop's zone, with its offset: a zone's short name can mean
    several."""
    if moment is None:
        return ""
    told = timezone.localtime(moment).strftime("%Y-%m-%d %H:%M %z")
    return f"{told[:-2]}:{told[-2:]}"


def ledger_place(entry) -> str:
    """Return where the ledger chains the record's newest entry: it never changes.

    Raises Seal.DoesNotExist for an entry that came in after the last sealing.
    """
    seal = Seal.objects.get(entry_id=entry.pk)
    return f"{seal.position} {seal.digest}"
