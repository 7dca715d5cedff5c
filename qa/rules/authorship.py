"""Whether somebody stands up for what a check rests on."""

from django.db.models import Q

from qa.models import Check
from shop.ledger import Refused
from shop.models import UNPROVEN, Entry


def unproven(check: Check) -> list[Entry]:
    """Return the acts of a check that nobody stands up for, the oldest first.

    A disowned reading does not stand, so nothing rests on it; a start, fit-up, choice
    or finish that was disowned leaves the check without what it says.
    """
    open_claims = Q(confirmation=None)
    of_check = Q(act__in=[check.entry_id, check.fit_up.entry_id])
    for name in ("choices", "late_decisions"):
        rows = getattr(check, name).values("entry")
        of_check |= Q(act__in=rows)
    if finish := getattr(check, "finished", None):
        of_check |= Q(act=finish.entry_id)
    readings = Q(act__in=check.readings.values("entry")) & open_claims
    rows = Entry.objects.filter(UNPROVEN).filter(of_check | readings)
    return list(rows.select_related("by", "confirmation").order_by("pk"))


def require_proven(check: Check, field: str = "") -> None:
    """Refuse what needs another person while the check rests on unproven acts."""
    if why := refusal(check):
        raise Refused(why, field=field, code="claimed")


def refusal(check: Check) -> str:
    """Why nothing rests on a check yet; "" where somebody stands up for all of it."""
    doubtful = unproven(check)
    if not doubtful:
        return ""
    names = ", ".join(dict.fromkeys(entry.author for entry in doubtful))
    return (
        f"{len(doubtful)} acts of this check are not proven to be by whom they say: "
        f"{names}. They confirm theirs first; what is disowned is measured again."
    )
