"""Instruments and nonconformances, as a script reads them."""

from qa.models import Instrument, Nonconformance
from qa.queries.scripts.formats import Rows, length, limits, listed, moment

ITEM = ("standing__holder", "airframe", "joint", "part", "fit_check", "entry__by")


def instruments(after: int | None, most: int) -> Rows:
    return listed(Instrument.objects.all(), after, most, _instrument)


def instrument(uuid) -> dict | None:
    """Return an instrument with its calibrations, the newest first."""
    row = Instrument.objects.filter(uuid=uuid).first()
    if row is None:
        return None
    calibrations = [
        {
            "done_on": calibration.done_on,
            "laboratory": calibration.laboratory,
            "certificate": calibration.certificate,
            "result": calibration.result,
            "error": length(calibration.error_nm),
            "unit": "mm",
            "due": calibration.due,
            "note": calibration.note,
        }
        for calibration in row.calibrations.all()
    ]
    return {**_instrument(row), "calibrations": calibrations}


def _instrument(row: Instrument) -> dict:
    return {
        "instrument": row.uuid,
        "code": row.code,
        "name": row.name,
        "kind": row.kind,
        "status": row.status,
        "found_off_on": row.found_off_on,
        "due": row.due,
        "reads": limits(row.range_low_nm, row.range_high_nm),
        "standard_uncertainty": length(row.u_nm),
    }


def items(after: int | None, most: int, airframe=None, state: str = "") -> Rows:
    rows = Nonconformance.objects.select_related(*ITEM)
    if airframe:
        rows = rows.filter(airframe__uuid=airframe)
    if state:
        rows = rows.filter(standing__state=state)
    return listed(rows, after, most, _item)


def item(pk: int) -> dict | None:
    """Return an item with what was done about it, in order."""
    row = Nonconformance.objects.select_related(*ITEM).filter(pk=pk).first()
    if row is None:
        return None
    steps = row.steps.select_related("entry__by", "entry__confirmation").order_by("pk")
    told_steps = [
        {
            "verb": step.verb,
            "note": step.note,
            "by": step.entry.author,
            "at": moment(step.entry.received_at),
        }
        for step in steps
    ]
    return {**_item(row), "steps": told_steps}


def _item(row: Nonconformance) -> dict:
    state = row.standing
    return {
        "item": row.pk,
        "label": row.label,
        "airframe": row.airframe.uuid,
        "joint": row.joint and row.joint.uuid,
        "part": row.part and row.part.serial,
        "check": row.fit_check and row.fit_check.entry_id,
        "title": row.title,
        "requirement": row.requirement,
        "found": row.found,
        "place": row.place,
        "stations": row.stations,
        "state": state.state,
        "disposition": state.disposition or None,
        "severity": state.severity or None,
        "blocking": state.blocking,
        "holder": state.holder and state.holder.name,
        "due": state.due,
        "opened_at": moment(state.opened_at),
        "closed_at": moment(state.closed_at),
    }
