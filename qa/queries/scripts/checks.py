"""Checks and their readings, as a script reads them."""

from qa.models import Check, Reading
from qa.queries.scripts.formats import Rows, length, limits, listed, moment, thousandths

CHECK = ("state", "instrument", "fit_up__joint", "fit_up__airframe", "fit_up__part")


def checks(
    after: int | None, most: int, joint=None, airframe=None, state: str = ""
) -> Rows:
    """Return checks, those at one joint, on one airframe, open or finished."""
    rows = Check.objects.select_related(*CHECK)
    if joint:
        rows = rows.filter(fit_up__joint__uuid=joint)
    if airframe:
        rows = rows.filter(fit_up__airframe__uuid=airframe)
    if state:
        rows = rows.filter(state__state=state)
    return listed(rows, after, most, check_row)


def check(uuid) -> dict | None:
    row = Check.objects.select_related(*CHECK).filter(entry_id=uuid).first()
    return row and check_row(row)


def check_row(row: Check) -> dict:
    state = row.state
    return {
        "check": row.entry_id,
        "label": row.label,
        "joint": row.fit_up.joint.uuid,
        "joint_number": row.fit_up.joint.number,
        "airframe": row.fit_up.airframe.uuid,
        "part": row.fit_up.part.serial,
        "fit_up": row.fit_up.entry_id,
        "finish": row.finish,
        "instrument": row.instrument and row.instrument.code,
        "temperature_c": thousandths(row.temperature_mc),
        "state": "void" if state.void else state.state,
        "started_at": moment(state.started_at),
        "finished_at": moment(state.finished_at),
        "wanted": state.wanted,
        "conforms": state.conforms,
        "does_not_conform": state.does_not_conform,
        "not_proven": state.not_proven,
        "skipped": state.skipped,
        "without_limits": state.without_limits,
        "clashes": state.clashes,
        "late": state.late,
    }


def readings(check: Check, after: int | None, most: int) -> Rows:
    """Return every reading of a check in the order they came, those replaced too."""
    rows = Reading.objects.filter(fit_check=check).select_related(
        "station", "entry__by", "entry__confirmation"
    )
    standing = set(check.current.values_list("reading_id", flat=True))
    return listed(rows, after, most, lambda row: _reading(row, standing))


def _reading(row: Reading, standing: set) -> dict:
    return {
        "reading": row.entry_id,
        "station": row.station.label,
        "kind": row.kind,
        "outcome": row.outcome,
        "value": row.value or None,
        "goes": row.goes or None,
        "does_not_go": row.does_not_go or None,
        "unit": row.unit or None,
        "judged": length(row.judged_nm),
        "limits": limits(row.low_nm, row.high_nm),
        "standard_uncertainty": length(row.u_nm),
        "verdict": row.verdict or None,
        "stands": row.pk in standing,
        "late": row.late,
        "reason": row.reason,
        "by": row.entry.author,
        "at": moment(row.entry.received_at),
    }
