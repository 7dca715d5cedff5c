"""What was claimed to be somebody's: confirmed or disowned by that person alone."""

from django.core.exceptions import PermissionDenied
from django.db.models import Q
from django.utils.translation import gettext as _

from qa.actions import check_replay, nonconformances
from qa.models import Check, CheckState
from shop.actions.locks import hold_row
from shop.ledger import Refused, perform
from shop.models import Authorship, Confirmation, Entry, Person


def answer_claim(
    *, by: Person, entry: Entry, verdict: str, reason: str = "", **envelope
) -> Confirmation:
    """Confirm or disown one act that was claimed in one's own name.

    What is disowned does not stand any more: stations become to be measured, and what
    was closed by it is opened again. Said once, by nobody else, and never itself on a
    claim: envelope["claimed"] is refused.
    """
    if entry.by_id != by.pk:
        raise PermissionDenied("Only the person it is claimed of can say that.")
    if envelope.get("claimed"):
        raise Refused(_("Prove your PIN first, then say it."), code="not_proven")
    if not entry.claimed:
        raise Refused(_("This act was proven when it was made."), code="done")
    if verdict not in (Authorship.CONFIRMED, Authorship.DISOWNED):
        raise Refused(_("Confirm it or disown it."), field="verdict")
    if verdict == Authorship.DISOWNED and not reason.strip():
        raise Refused(_("Say how you know that it is not yours."), field="reason")
    content = {"of": str(entry.act), "verdict": verdict, "reason": reason}
    envelope.setdefault("said", content)
    with perform("confirm/1", by=by, **envelope) as act:
        # One answer of one person at a time.
        hold_row(Person, by.pk)
        checks = _hold(entry)
        if Confirmation.objects.filter(of=entry).exists():
            raise Refused(_("You have said this already."), code="done")
        confirmation = act.record(
            Confirmation(of=entry, person=by, verdict=verdict, reason=reason.strip())
        )
        for check, state in checks:
            check_replay.restand(check, state, act)
            if verdict == Authorship.DISOWNED:
                nonconformances.open_what_is_not_shown(act, check, state)
        act.result = {"of": str(entry.act), "verdict": verdict}
    return confirmation


def _hold(entry: Entry) -> list[tuple[Check, CheckState]]:
    """Return the checks that rest on an act, their states locked."""
    ways = ("entry", "fit_up__entry", "readings__entry", "choices__entry")
    ways += ("finished__entry", "late_decisions__entry")
    rests = Q()
    for way in ways:
        rests |= Q(**{way: entry.act})
    keys = Check.objects.filter(rests).values_list("pk", flat=True).distinct()
    states = CheckState.objects.select_for_update(of=("self",), no_key=True)
    locked = {
        state.fit_check_id: state for state in states.filter(fit_check__in=list(keys))
    }
    rows = Check.objects.select_related("entry", "fit_up").filter(pk__in=locked)
    return [(check, locked[check.pk]) for check in rows]
