"""Rules that do not forbid but want a reason."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from shop.ledger import Refused


def ask_why(warnings: Iterable[str], reason: str) -> None:
    """Refuse with every warning unless a reason was given; the reason is kept."""
    reasons = [str(warning) for warning in warnings if warning]
    if reasons and not reason.strip():
        reasons.append(_("Say why it is done all the same."))
        raise Refused(" ".join(reasons), field="reason", code="reason")


def lot_warnings(lots, day, field: str = "lot") -> list[str]:
    """Warn of lots past their life; a lot on hold or used up is refused outright."""
    warnings = []
    for lot in lots:
        if lot is None:
            continue
        if lot.state != "good":
            message = _("Lot %(lot)s is %(state)s.")
            values = {"lot": lot, "state": lot.get_state_display()}
            raise Refused(message % values, field=field)
        if past := lot.past_life(day):
            warnings.append(_("Lot %(lot)s: %(why)s") % {"lot": lot, "why": past})
    return warnings
