"""What is recorded of instruments: calibrations, budgets, and the shop's rules."""

from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import (
    Calibration,
    GaugeBudget,
    GaugeRules,
    GaugeStanding,
    Instrument,
)
from qa.rules.gauge_budgets import combined, judged_nm, unfounded
from qa.rules.gauges import due_by, off_by, rules_now
from shop import roles
from shop.actions.locks import locked
from shop.ledger import Refused, perform
from shop.numeric.units import MILLI, to_nm

CALIBRATION = (
    "done_on",
    "laboratory",
    "certificate",
    "result",
    "error_nm",
    "expanded_nm",
    "k_e3",
    "due",
    "note",
)


def standing(instrument: Instrument) -> GaugeStanding:
    """What is on record of an instrument from now on."""
    return GaugeStanding(
        instrument=instrument, status=instrument.status, due=instrument.due
    )


def record_calibration(
    *, by, instrument: Instrument, envelope: dict | None = None, **values
) -> Calibration:
    """Record what a calibration found. One that leaves the instrument good moves its
    due date; one found off is due at once, and off until one leaves it good.

    envelope: the id, and what was said, where a device sends it.
    """
    roles.require(by, "define instruments")
    row = Calibration(instrument=instrument, **{name: values[name] for name in values})
    row.full_clean(exclude=["entry"])
    if row.done_on > timezone.localdate():
        raise Refused(_("This day is still to come."), field="done_on")
    plain = {name: str(values.get(name, "")) for name in CALIBRATION}
    columns = {"instrument": str(instrument.uuid), **plain}
    with perform(
        "calibration/1", by=by, **{"said": columns, **(envelope or {})}
    ) as act:
        instrument = locked(instrument)
        act.record(row)
        newest = instrument.calibrations.order_by("-done_on", "-pk").first()
        if newest.pk == row.pk:
            instrument.due, instrument.stands_since = due_by(row), act.now
            instrument.found_off_on = off_by(row)
            instrument.save(update_fields=["due", "stands_since", "found_off_on"])
            act.record(standing(instrument))
        act.result = {"instrument": instrument.pk}
    return row


def save_budget(
    *,
    by,
    instrument: Instrument,
    rows: list[dict],
    note: str = "",
    smaller: bool = False,
) -> GaugeBudget:
    """Keep what makes up an instrument's uncertainty; it is judged by it from now on.

    rows: {"name", "kind", "value_nm", "k_e3" of an expanded one, "df" or None}.
    smaller: it may become less than it was without a calibration in it.
    """
    roles.require(by, "define instruments")
    combined_u = combined(rows)
    judged = judged_nm(combined_u)
    content = {"instrument": str(instrument.uuid), "rows": rows, "note": note}
    content |= {"smaller": True} if smaller else {}
    with perform("gauge_budget/1", by=by, said=content) as act:
        instrument = locked(instrument)
        if unfounded(rows, instrument.u_nm) and not smaller:
            raise Refused(
                _("The uncertainty would become smaller with no calibration in it. "
                  "Tick that this is meant, or state the calibration first."),
                field="smaller",
            )  # fmt: skip
        row = act.record(
            GaugeBudget(
                instrument=instrument,
                rows=rows,
                u_nm=max(1, to_nm(combined_u.u)),
                judged_nm=judged,
                df_e3=None if combined_u.df is None else round(combined_u.df * MILLI),
                expanded_nm=to_nm(combined_u.expanded),
                k_e3=round(combined_u.k * MILLI),
                note=note,
            )
        )
        instrument.u_nm = judged
        instrument.save(update_fields=["u_nm"])
        act.result = {"instrument": instrument.pk, "u_nm": judged}
    return row


def set_gauge_rules(*, by, **content) -> GaugeRules:
    """Say what is done about an instrument that is overdue (`overdue`), about one that
    is lost, damaged or found off (`unfit`), and about a reading outside its range
    (`outside`); what is not named stays."""
    roles.require(by, "define instruments")
    now = rules_now()
    names = ("overdue", "unfit", "outside")
    content = {name: content.get(name, getattr(now, name)) for name in names}
    row = GaugeRules(**content)
    row.full_clean(exclude=["entry"])
    with perform("gauge_rules/1", by=by, said=content) as act:
        return act.record(row)
