"""What was measured with an instrument whose calibration was due."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import Calibration, CalibrationResult, Check, Reading
from qa.rules.gauge_doubts import GaugeRecord, last_moments, records_of
from qa.rules.measuring_days import day_of, made_when


@dataclass(frozen=True)
class Overdue:
    """What was measured with an instrument whose calibration was due, or may have been.

    first, last: the days of use, by the clock of the tablet where that is believed.
    good: the calibration since that found it good, if one did; off: the one that found
    it off at that time, which none since clears."""

    due: date
    first: date
    last: date
    received: date
    good: Calibration | None
    off: Calibration | None = None

    @property
    def in_date(self) -> bool:
        """Whether it was in date by the clock of the tablet, and only received late."""
        return self.last <= self.due


def overdue(rows: Iterable) -> dict[int, Overdue]:
    """By key the checks, hole checks, results or values (with their instrument and
    entry) that were taken with an instrument whose calibration was due, or received
    then, as it was due on the day of use or as is said now; four statements at most."""
    today = timezone.localdate()
    rows = [row for row in rows if row.instrument_id]
    histories = records_of({row.instrument_id for row in rows})
    late = {}
    for row in rows:
        due = min(_dues(row, histories[row.instrument_id]), default=today)
        if due < today:
            late[row.pk] = (row, due)
    last = last_moments(row for row, _due in late.values())
    late = {
        key: (row, due) for key, (row, due) in late.items() if due < day_of(last[key])
    }
    used = _used([row for row, _due in late.values()])
    overdues = {}
    for key, (row, due) in late.items():
        began, ended = used[key]
        history, received = histories[row.instrument_id], day_of(last[key])
        spans = [span for span in history.off if span.has(began, last[key])]
        off = spans[0].by if spans else None
        good = None if off else _shown_good(history.calibrations, began, last[key])
        overdues[key] = Overdue(due, day_of(began), day_of(ended), received, good, off)
    return overdues


def standing_overdue(rows: Iterable) -> dict[int, Overdue]:
    """Those that no calibration since clears: that another day is said to be due does
    not."""
    return {key: late for key, late in overdue(rows).items() if late.good is None}


def overdue_words(instrument: str, late: Overdue) -> str:
    """When it was measured, when the calibration was due, and what clears that."""
    if late.in_date:
        words = _(
            "this came in on %(received)s, after the calibration of %(code)s was due "
            "(%(due)s); by the clock of the tablet it was measured on %(days)s, in date"
        )
    else:
        words = _(
            "the calibration of %(code)s was due %(due)s, and this was measured on "
            "%(days)s"
        )
    days = f"{late.first}" if late.first == late.last else _("%(first)s to %(last)s")
    values = {"code": instrument, "due": late.due, "received": late.received}
    values["days"] = days % {"first": late.first, "last": late.last}
    return f"{words % values}; {_cleared(instrument, late)}"


def _cleared(instrument: str, late: Overdue) -> str:
    values = {"code": instrument}
    if late.good:
        words = _("%(code)s was found good on %(day)s (%(by)s): what it read holds")
        values |= {"day": late.good.done_on, "by": late.good.laboratory}
    elif late.off:
        words = _(
            "%(code)s was found off on %(day)s, so no calibration clears this: measure "
            "it again"
        )
        values["day"] = late.off.done_on
    else:
        words = _("a calibration that finds %(code)s good clears this")
    return words % values


def _dues(row, record: GaugeRecord) -> list[date]:
    """Until when its instrument was calibrated: as it was frozen, or was on record
    then, and as is said now."""
    dues = [row.instrument.due]
    if isinstance(row, Check):
        dues.append(row.calibration_due)
    elif record.standings:
        dues.append(record.due_of(row))
    return [due for due in dues if due]


def _shown_good(
    calibrations: Sequence[Calibration], first: datetime, last: datetime
) -> Calibration | None:
    """The calibration that clears whatever was measured between two moments while the
    instrument was not off: it was found good on that day or later; or meanwhile, or
    before by a certificate that came in since, and was in date from then on, with no
    other calibration until then."""
    begun, received = day_of(first), day_of(last)
    for at, row in enumerate(calibrations):
        after = row.done_on >= received
        in_date = row.due is None or row.due >= received
        came_since = row.entry.received_at > last and not any(
            later.done_on <= received for later in calibrations[at + 1 :]
        )
        covered = in_date and (row.done_on >= begun or came_since)
        if row.result == CalibrationResult.GOOD and (after or covered):
            return row
    return None


def _used(rows: list) -> dict[int, tuple[datetime, datetime]]:
    """First and last moment of use, by clocks where they are believed; one statement
    where there is a check."""
    used = {}
    for row in rows:
        made = made_when(row.entry.made_at, row.entry.received_at)
        used[row.pk] = (made, made)
    checks = [row.pk for row in rows if isinstance(row, Check)]
    read = Reading.objects.filter(fit_check__in=checks, value_nm__isnull=False)
    clocks = ("fit_check", "entry__made_at", "entry__received_at")
    read = read.order_by().values_list(*clocks) if checks else ()
    for key, made_at, received in read:
        began, ended = used[key]
        used[key] = (began, max(ended, made_when(made_at, received)))
    return used
