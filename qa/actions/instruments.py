"""Instruments: what readings are taken with."""

from qa.actions import gauges
from qa.models import Instrument
from shop import roles
from shop.actions.locks import locked
from shop.ledger import perform

FIELDS = (
    "code",
    "name",
    "kind",
    "resolution_nm",
    "range_low_nm",
    "range_high_nm",
    "u_nm",
    "foot_1_nm",
    "foot_2_nm",
    "probe_nm",
    "due",
    "status",
)


def save_instrument(*, by, instrument: Instrument | None = None, **fields):
    """Add an instrument or change one, as it is now, in what is said of it and nothing
    else; checks keep what they were taken with."""
    roles.require(by, "define instruments")
    for name in fields:
        if name not in FIELDS:
            raise TypeError(f"an instrument has no {name}")
    with perform("instrument/1", by=by) as act:
        row = locked(instrument) if instrument else Instrument()
        before = (row.status, row.due) if instrument else None
        for name, value in fields.items():
            setattr(row, name, value)
        row.full_clean()
        act.said = {name: str(getattr(row, name)) for name in FIELDS}
        moved = before != (row.status, row.due)
        if moved:
            row.stands_since = act.now
        row.save()
        if moved:
            act.record(gauges.standing(row))
        act.result = {"instrument": row.pk}
    return row
