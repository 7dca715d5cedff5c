"""What an instrument measured while it was off, lost or damaged: by every moment at
which it may have been measured, not by how the instrument is now."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Max
from django.utils.translation import gettext as _

from qa.models import (
    Calibration,
    CalibrationResult,
    Check,
    GaugeStanding,
    Reading,
    StudyValue,
)
from qa.rules.gauges import UNFIT, due_when
from qa.rules.measuring_days import EVER, day_of, made_when, midnight, used_from
from shop.models.prepared_statements import Prepared, Slots

DOUBTED = (CalibrationResult.OFF, CalibrationResult.ADJUSTED)


@dataclass(frozen=True)
class Span:
    """A while in which an instrument is in doubt, `high` not in it (None: no end), and
    what says so: a calibration that found it off, or that it was lost or damaged."""

    low: datetime
    high: datetime | None
    by: Calibration | GaugeStanding

    def has(self, first: datetime, last: datetime) -> bool:
        return last >= self.low and (self.high is None or first < self.high)


@dataclass(frozen=True)
class GaugeRecord:
    """What is on record of an instrument, the oldest first."""

    calibrations: Sequence[Calibration] = ()
    standings: Sequence[GaugeStanding] = ()

    @property
    def spans(self) -> list[Span]:
        return self.off + self.unfit

    @property
    def off(self) -> list[Span]:
        """The days of both calibrations are in it: nobody knows what was first."""
        return [
            Span(
                midnight(good) if good else EVER,
                midnight(until + timedelta(days=1)) if until else None,
                calibration,
            )
            for good, calibration, until in spans_off(self.calibrations)
        ]

    @property
    def unfit(self) -> list[Span]:
        """Lost, then damaged, is one while: the first word for it stands."""
        spans: list[Span] = []
        before = None
        for row in self.standings:
            if row.status in UNFIT and before is None:
                before = row
            elif row.status not in UNFIT and before is not None:
                spans.append(Span(before.begins, row.begins, before))
                before = None
        if before is not None:
            spans.append(Span(before.begins, None, before))
        return spans

    def good_since(self, moment: datetime) -> Calibration | None:
        """The first calibration of a later day than a moment that found it good: of
        the same day nobody knows whether it was done before it fell or after."""
        day = day_of(moment)
        for row in self.calibrations:
            late = row.done_on > day and row.entry.received_at > moment
            if row.result == CalibrationResult.GOOD and late:
                return row
        return None

    def doubt(self, first: datetime, last: datetime) -> Span | None:
        """Why what was measured between two moments is in doubt: found off, else lost
        or damaged and not found good since."""
        for span in self.spans:
            if span.has(first, last) and not self.cleared(span, last):
                return span
        return None

    def cleared(self, span: Span, last: datetime) -> Calibration | None:
        """What found it good after a while in which it was lost or damaged."""
        if isinstance(span.by, Calibration):
            return None
        return self.good_since(min(last, span.high or last))

    def due_of(self, row) -> date | None:
        """The due day of its instrument when a row was measured, as its clock says
        where that is believed, by what was on record when it came in."""
        known = [
            calibration
            for calibration in self.calibrations
            if calibration.entry.pk < row.entry.pk
        ]
        when = made_when(row.entry.made_at, row.entry.received_at)
        return due_when(self.standings, known, when)


def spans_off(
    calibrations: Iterable[Calibration],
) -> list[tuple[date | None, Calibration, date | None]]:
    """(day of the last calibration before that left it good, the one that found it off,
    day of the next that left it good), of each that did: None where there was none
    before, or none since."""
    rows = sorted(calibrations, key=lambda row: (row.done_on, row.pk))
    spans, good = [], None
    for at, row in enumerate(rows):
        if row.result in DOUBTED:
            left = (x.done_on for x in rows[at:] if x.result != CalibrationResult.OFF)
            spans.append((good, row, next(left, None)))
        if row.result != CalibrationResult.OFF:
            good = row.done_on
    return spans


STATEMENTS = {
    model: Prepared(
        lambda model=model, order=order: (
            model.objects.filter(instrument__in=Slots("instruments"))
            .select_related("instrument", "entry")
            .order_by(*order)
        )
    )
    for model, order in ((Calibration, ("done_on", "pk")), (GaugeStanding, ("pk",)))
}


def records_of(instruments: set[int]) -> dict[int, GaugeRecord]:
    """What is on record of each of these instruments, in two statements."""
    if not instruments:
        return {}
    histories = {}
    for model, statement in STATEMENTS.items():
        for row in statement.rows(instruments=instruments):
            both = histories.setdefault(row.instrument_id, ([], []))
            both[model is GaugeStanding].append(row)
    return {key: GaugeRecord(*histories.get(key, ((), ()))) for key in instruments}


def first_moment(row) -> datetime:
    """The first at which a check, a result or a value may have been measured; an
    earlier release did not write it down."""
    received = row.entry.received_at
    if not hasattr(row, "used_from"):
        return received
    return row.used_from or used_from(row.entry.made_at, received) or received


def _newest_readings(checks: list[int]) -> dict[int, datetime]:
    """When the newest value of each check was received, for what is skipped takes no
    instrument; one statement, if any."""
    if not checks:
        return {}
    rows = Reading.objects.filter(fit_check__in=checks, value_nm__isnull=False)
    rows = rows.order_by()
    return dict(rows.values_list("fit_check").annotate(Max("entry__received_at")))


def last_moments(rows: Iterable) -> dict[int, datetime]:
    """The last at which each may have been measured: it was received then, or the
    newest value of a check was; one statement where there is a check."""
    rows = list(rows)
    newest = _newest_readings([row.pk for row in rows if isinstance(row, Check)])
    return {
        row.pk: max(row.entry.received_at, newest.get(row.pk, row.entry.received_at))
        for row in rows
    }


def found_off(rows: Iterable) -> dict[int, Calibration | GaugeStanding]:
    """By check what puts what it read in doubt: the calibration that found its
    instrument off, or that it was lost or damaged; two statements, one more for checks
    where there is such a while; checks with their entry. Hole checks, results of
    characteristics and second readings alike."""
    rows = [row for row in rows if row.instrument_id]
    histories = records_of({row.instrument_id for row in rows})
    rows = [row for row in rows if histories[row.instrument_id].spans]
    last, off = last_moments(rows), {}
    for row in rows:
        doubt = histories[row.instrument_id].doubt(first_moment(row), last[row.pk])
        if doubt:
            off[row.pk] = doubt.by
    return off


def doubt_of(check: Check) -> Calibration | GaugeStanding | None:
    """As found_off, of one check."""
    return found_off([check]).get(check.pk)


def off_words(off: Calibration | GaugeStanding) -> str:
    """What puts what an instrument read in doubt (with the instrument)."""
    if isinstance(off, Calibration):
        words = _("%(gauge)s was found off on %(day)s: what it read is in doubt")
        return words % {"gauge": off.instrument.code, "day": off.done_on.isoformat()}
    words = _(
        "%(gauge)s was marked %(how)s on %(day)s: what came in after that is in doubt"
    )
    values = {"how": off.get_status_display(), "day": day_of(off.begins)}
    return words % {"gauge": off.instrument.code, **values}


@dataclass(frozen=True)
class StudyDoubt:
    """What puts values of a gauge study in doubt, and what found it good since, if
    anything did."""

    by: Calibration | GaugeStanding
    good: Calibration | None
    values: Sequence[StudyValue]


def study_doubts(values: Iterable[StudyValue]) -> list[StudyDoubt]:
    """By what puts values of one study in doubt (with their entry and study); two
    statements."""
    values, doubts = list(values), []
    histories = records_of({value.instrument_id for value in values})
    for span in [span for history in histories.values() for span in history.spans]:
        by_good: dict[int | None, StudyDoubt] = {}
        for value in values:
            first, last = first_moment(value), value.entry.received_at
            if span.has(first, last):
                good = histories[value.instrument_id].cleared(span, last)
                key = good and good.pk
                by_good.setdefault(key, StudyDoubt(span.by, good, [])).values.append(
                    value
                )
        doubts += by_good.values()
    return doubts
