"""Whether an instrument may be measured with, and what it measured while it was off."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import F, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce, Greatest
from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import (
    Calibration,
    CalibrationResult,
    CharacteristicResult,
    Check,
    CurrentReading,
    GaugeRules,
    GaugeStudy,
    HoleCheck,
    Instrument,
    InstrumentStatus,
    Reading,
    SecondReading,
    Strictness,
    StudyValue,
)
from qa.rules.measuring_days import first_day, last_day, made_when
from qa.wording import lengths
from shop.ledger import Refused

UNFIT = (InstrumentStatus.LOST, InstrumentStatus.DAMAGED)
DOUBTED = (CalibrationResult.OFF, CalibrationResult.ADJUSTED)


def rules_now() -> GaugeRules:
    return GaugeRules.objects.first() or GaugeRules()


def objections(
    instrument: Instrument, rules: GaugeRules, when: datetime | None = None
) -> list[tuple[str, bool]]:
    """(why it is in doubt, whether it is refused) of an instrument now, or at another
    moment: before it was lost it was fit, and before its due day in date."""
    doubts = []
    fit = bool(when and instrument.unfit_since and when < instrument.unfit_since)
    if instrument.status == InstrumentStatus.OUT and not fit:
        doubts.append((_("This instrument is out of use."), True))
    if instrument.status in UNFIT and not fit:
        words = _("This instrument is %(state)s.")
        sentence = words % {"state": instrument.get_status_display()}
        doubts.append((sentence, rules.unfit == Strictness.REFUSE))
    if instrument.due and instrument.due < timezone.localdate(when):
        words = _("The calibration of this instrument was due %(day)s.")
        sentence = words % {"day": instrument.due}
        doubts.append((sentence, rules.overdue == Strictness.REFUSE))
    return doubts


def offered() -> list[tuple[Instrument, str, bool]]:
    """(instrument, why it is in doubt, whether it is refused) of each that is not out
    of use; two statements."""
    rules = rules_now()
    found = []
    for instrument in Instrument.objects.exclude(status=InstrumentStatus.OUT):
        told = objections(instrument, rules)
        why = " ".join(words for words, _no in told)
        found.append((instrument, why, any(no for _words, no in told)))
    return found


def reach_words(
    instrument: Instrument, reach: tuple[int | None, int | None], unit: str
) -> str:
    """What an instrument reads from and to, in words; "" where that is not stated."""
    if reach == (None, None):
        return ""
    words = _("%(code)s reads %(limits)s.")
    return words % {"code": instrument.code, "limits": lengths.limits(*reach, unit)}


def refusal(instrument: Instrument | None, made_at: str = "") -> str:
    """Why an instrument may not be measured with, "" when it may; what a tablet sends
    later was measured when its clock says so, where that can be believed."""
    if instrument is None:
        return ""
    when = made_when(made_at, timezone.now())
    told = objections(instrument, rules_now(), when)
    return " ".join(why for why, refused in told if refused)


FROZEN = (
    *("u_nm", "foot_1_nm", "foot_2_nm", "probe_nm"),
    *("range_low_nm", "range_high_nm"),
)


def freeze(check: Check, instrument: Instrument | None) -> None:
    """Put on a check what its instrument says now: later changes judge nothing."""
    if instrument:
        check.calibration_due = instrument.due
        for name in FROZEN:
            setattr(check, name, getattr(instrument, name))


def reach_of(instrument: Instrument | None) -> tuple[int | None, int | None]:
    """What an instrument reads from and to, as it is stated now."""
    if instrument is None:
        return None, None
    return instrument.range_low_nm, instrument.range_high_nm


def is_outside(nm: int, reach: tuple[int | None, int | None]) -> bool:
    """Whether a value lies beyond what an instrument reads from and to."""
    low, high = reach
    return (low is not None and nm < low) or (high is not None and nm > high)


def hold_to_range(
    values: list[int], reach: tuple[int | None, int | None], field: str
) -> None:
    """Refuse a value beyond what the instrument reads, where the shop does; no
    statement while all lie within."""
    beyond = any(is_outside(nm, reach) for nm in values)
    if beyond and rules_now().outside == Strictness.REFUSE:
        words = _("The instrument reads %(limits)s: take another for this.")
        raise Refused(words % {"limits": lengths.limits(*reach)}, field=field)


def read_outside(check: Check) -> list[tuple[str, str]]:
    """[(station, kind)] of what stands of a check beyond what its instrument reads; at
    most one statement."""
    low, high = check.reach
    beyond = Q()
    if low is not None:
        beyond |= Q(reading__value_nm__lt=low)
    if high is not None:
        beyond |= Q(reading__value_nm__gt=high)
    if not beyond:
        return []
    rows = CurrentReading.objects.filter(beyond, fit_check=check)
    return list(rows.order_by("station__order", "kind").values_list(
        "station__label", "kind"
    ))  # fmt: skip


def spans_off(calibrations: list[Calibration]) -> list[tuple[date | None, Calibration]]:
    """(day of the last good calibration before, the one that found it off), of each
    that did; None where it was never found good before."""
    spans, good = [], None
    for calibration in sorted(calibrations, key=lambda row: (row.done_on, row.pk)):
        if calibration.result in DOUBTED:
            spans.append((good, calibration))
        if calibration.result != CalibrationResult.OFF:
            good = calibration.done_on
    return spans


def _first_off(spans, row, newest: datetime | None = None) -> Calibration | None:
    """The first calibration that found an instrument off of which something may have
    been measured in the days before: from the day its clock says to the day that it,
    or its newest reading, was received."""
    first, last = first_day(row.entry), last_day(row.entry, newest)
    for good, off in spans:
        if first <= off.done_on and (good is None or last >= good):
            return off
    return None


NEWEST = Greatest(
    "entry__received_at",
    Coalesce(
        Subquery(
            Reading.objects.filter(fit_check=OuterRef("pk"))
            .order_by()
            .values("fit_check")
            .annotate(at=Max("entry__received_at"))
            .values("at")
        ),
        "entry__received_at",
    ),
)


def _while_off(rows: QuerySet, spans) -> list:
    """Those of rows that fall into a span, in one statement; of checks those that were
    read in it as well."""
    newest = NEWEST if rows.model is Check else F("entry__received_at")
    when = Q()
    for good, off in spans:
        # What a clock says is looked at below.
        begun = Q(entry__received_at__date__lte=off.done_on) | ~Q(entry__made_at="")
        when |= begun & Q(newest__date__gte=good) if good else begun
    rows = rows.select_related("entry__by").annotate(newest=newest).filter(when)
    return [row for row in rows if _first_off(spans, row, row.newest)]


@dataclass(frozen=True)
class MeasuredOff:
    """What was measured with an instrument while it was off."""

    checks: Sequence[Check] = ()
    holes: Sequence[HoleCheck] = ()
    results: Sequence[CharacteristicResult] = ()
    seconds: Sequence[SecondReading] = ()
    studies: Sequence["StudyOff"] = ()

    def __bool__(self) -> bool:
        told = (self.checks, self.holes, self.results, self.seconds, self.studies)
        return any(told)


@dataclass(frozen=True)
class StudyOff:
    """A gauge study with those of its values that were read while its gauge was off, in
    the order in which they were read; one that was replaced since is among them."""

    study: GaugeStudy
    values: Sequence[StudyValue]


def measured_while_off(instrument: Instrument) -> MeasuredOff:
    """What was measured with an instrument since its last good calibration before each
    that found it off: six statements."""
    spans = spans_off(list(instrument.calibrations.all()))
    if not spans:
        return MeasuredOff()
    checks, holes, results, seconds = (
        model.objects.filter(instrument=instrument)
        for model in (Check, HoleCheck, CharacteristicResult, SecondReading)
    )
    related = ("fit_up__joint", "fit_up__airframe", "fit_up__part")
    of = ("airframe", "revision__characteristic")
    beside = ("station", "offered__offer__airframe", "offered__joint")
    return MeasuredOff(
        _while_off(checks.select_related(*related).order_by("-number"), spans),
        _while_off(holes.select_related("part").order_by("-number"), spans),
        _while_off(results.select_related(*of).order_by("-pk"), spans),
        _while_off(seconds.select_related(*beside).order_by("-pk"), spans),
        _studies(spans, instrument),
    )


def _studies(spans, instrument: Instrument) -> list[StudyOff]:
    """The newest study first."""
    rows = StudyValue.objects.filter(study__instrument=instrument)
    rows = rows.select_related("study").order_by("-study__number", "pk")
    found: dict[GaugeStudy, list[StudyValue]] = {}
    for row in _while_off(rows, spans):
        found.setdefault(row.study, []).append(row)
    return [StudyOff(study, values) for study, values in found.items()]


def study_found_off(
    study: GaugeStudy, values: Iterable[StudyValue]
) -> tuple[set[int], Calibration | None]:
    """(keys of the values read while the gauge of a study was off, the newest
    calibration that found it so); one statement, values with their entry."""
    calibrations = _calibrations({study.instrument_id}).get(study.instrument_id, [])
    off, newest = set(), None
    for span in spans_off(calibrations):
        own = {value.pk for value in values if _first_off([span], value)}
        if own:
            off, newest = off | own, span[1]
    return off, newest


def _calibrations(instruments: set[int]) -> dict[int, list[Calibration]]:
    """Those of each instrument, in one statement."""
    told: dict[int, list[Calibration]] = {}
    rows = Calibration.objects.filter(instrument__in=instruments)
    for row in rows.select_related("instrument", "entry") if instruments else ():
        told.setdefault(row.instrument_id, []).append(row)
    return told


def _day_of(check) -> date:
    return timezone.localtime(check.entry.received_at).date()


def found_off(checks: Iterable) -> dict[int, Calibration]:
    """By check the calibration that found its instrument off, where a day from its
    start to its newest reading lies between it and the last good one before; one
    statement, one more for checks where one was found off; checks with their entry.
    Hole checks, results of characteristics and second readings alike."""
    checks = [check for check in checks if check.instrument_id]
    keys = {check.instrument_id for check in checks}
    spans = {key: spans_off(rows) for key, rows in _calibrations(keys).items()}
    checks = [check for check in checks if spans.get(check.instrument_id)]
    newest = _newest_readings([row.pk for row in checks if isinstance(row, Check)])
    found = {}
    for check in checks:
        last = newest.get(check.pk) if isinstance(check, Check) else None
        if off := _first_off(spans[check.instrument_id], check, last):
            found[check.pk] = off
    return found


def _newest_readings(checks: list[int]) -> dict[int, datetime]:
    """When the newest reading of each check was received; one statement, if any."""
    if not checks:
        return {}
    rows = Reading.objects.filter(fit_check__in=checks).order_by()
    return dict(rows.values_list("fit_check").annotate(Max("entry__received_at")))


def off_words(off: Calibration) -> str:
    """What a calibration says of what was measured before it (with its instrument)."""
    words = _("%(gauge)s was found off on %(day)s: what it read is in doubt")
    return words % {"gauge": off.instrument.code, "day": off.done_on.isoformat()}


def doubt_of(check: Check) -> Calibration | None:
    """As found_off, of one check."""
    return found_off([check]).get(check.pk)


def begun_in_date(check: Check) -> date | None:
    """The day on which a check was begun in date by the clock of a tablet, where it was
    received after the calibration of its instrument was due; None else."""
    due, entry = check.calibration_due, check.entry
    if due is None or due >= _day_of(check):
        return None
    begun = timezone.localtime(made_when(entry.made_at, entry.received_at)).date()
    return begun if begun <= due else None


def overdue_when_used(checks: Iterable) -> set[int]:
    """Keys of the checks, hole checks or results (with their instrument and entry) that
    were taken with an instrument whose calibration was overdue, as it was due then or
    as is said now; one statement. Only a calibration on that day or later that found
    it good takes the doubt away: that another day is said to be due does not."""
    late = [check for check in checks if check.instrument_id and _was_due(check)]
    told = _calibrations({check.instrument_id for check in late})
    good = {
        key: max(
            (row.done_on for row in rows if row.result == CalibrationResult.GOOD),
            default=date.min,
        )
        for key, rows in told.items()
    }
    return {
        check.pk
        for check in late
        if good.get(check.instrument_id, date.min) < _day_of(check)
    }


def _was_due(check) -> bool:
    """Whether a check was taken after the day its calibration was due: the day frozen
    on it, where it has one, and the day that its instrument says."""
    dues = (getattr(check, "calibration_due", None), check.instrument.due)
    return any(due and due < _day_of(check) for due in dues)
