"""Readings that came in after their check was finished: a person decides on each."""

from django.utils.translation import gettext as _

from qa.actions import check_replay, nonconformances
from qa.models import Check, CheckState, LateDecision, Reading
from qa.rules import judging
from shop import roles
from shop.ledger import Refused, perform
from shop.models import Authorship


def decide_late(
    *, by, check: Check, reading: Reading, counted: bool, reason: str, **envelope
) -> LateDecision:
    """Count a late reading in, or leave it out, and say why.

    Counted in it stands for its station, in the place of what stood there; the counts
    of the check move, and what the check closed is opened again where it does not show
    it any more. What was counted when it was finished stays on the finish.
    """
    roles.require(by, "measure")
    if reading.fit_check_id != check.pk or not reading.late:
        raise Refused(_("That reading did not come late to this check."))
    if not reason.strip():
        raise Refused(_("Say why."), field="reason")
    content = {"reading": str(reading.entry_id), "counted": counted, "reason": reason}
    envelope.setdefault("said", content)
    with perform("late/1", by=by, **envelope) as act:
        state = CheckState.objects.select_for_update(of=("self",), no_key=True).get(
            fit_check=check
        )
        if state.void or reading.entry.authorship == Authorship.DISOWNED:
            raise Refused(_("It was disowned: nothing is to be decided."), code="done")
        if LateDecision.objects.filter(reading=reading).exists():
            raise Refused(_("Somebody decided on this reading already."), code="done")
        decision = LateDecision(
            fit_check=check, reading=reading, counted=counted, reason=reason.strip()
        )
        act.record(decision)
        check_replay.restand(check, state, act)
        nonconformances.open_what_is_not_shown(act, check, state)
        act.result = judging.receipt_of(reading, reading.station)
    return decision
