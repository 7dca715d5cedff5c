"""Whether an instrument may be measured with, and what it measured while it was off."""

from datetime import date

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import (
    Calibration,
    CalibrationResult,
    Check,
    GaugeRules,
    HoleCheck,
    Instrument,
    InstrumentStatus,
    Strictness,
)

UNFIT = (InstrumentStatus.LOST, InstrumentStatus.DAMAGED)
DOUBTED = (CalibrationResult.OFF, CalibrationResult.ADJUSTED)


def rules_now() -> GaugeRules:
    return GaugeRules.objects.first() or GaugeRules()


def objections(
    instrument: Instrument, rules: GaugeRules, day: date | None = None
) -> list[tuple[str, bool]]:
    """(why it is in doubt, whether it is refused) of an instrument on a day."""
    doubts = []
    if instrument.status == InstrumentStatus.OUT:
        doubts.append((_("This instrument is out of use."), True))
    if instrument.status in UNFIT:
        words = _("This instrument is %(state)s.")
        sentence = words % {"state": instrument.get_status_display()}
        doubts.append((sentence, rules.unfit == Strictness.REFUSE))
    if instrument.due and instrument.due < (day or timezone.localdate()):
        words = _("The calibration of this instrument was due %(day)s.")
        sentence = words % {"day": instrument.due}
        doubts.append((sentence, rules.overdue == Strictness.REFUSE))
    return doubts


def refusal(instrument: Instrument | None) -> str:
    """Why an instrument may not be measured with now, "" when it may."""
    if instrument is None:
        return ""
    told = objections(instrument, rules_now())
    return " ".join(why for why, refused in told if refused)


def spans_off(calibrations: list[Calibration]) -> list[tuple[date | None, Calibration]]:
    """(day of the last good calibration before, the one that found it off), of each
    that did; None where it was never found good before."""
    spans, good = [], None
    for one in sorted(calibrations, key=lambda row: (row.done_on, row.pk)):
        if one.result in DOUBTED:
            spans.append((good, one))
        if one.result != CalibrationResult.OFF:
            good = one.done_on
    return spans


def _measured(span: tuple[date | None, Calibration]) -> Q:
    """Checks begun after the last good day, up to the day it was found off."""
    good, off = span
    told = Q(entry__received_at__date__lte=off.done_on)
    return told & Q(entry__received_at__date__gte=good) if good else told


def measured_while_off(
    instrument: Instrument,
) -> tuple[list[Check], list[HoleCheck]]:
    """What was measured with an instrument since its last good calibration before each
    that found it off: three statements."""
    spans = spans_off(list(instrument.calibrations.all()))
    if not spans:
        return [], []
    when = Q()
    for span in spans:
        when |= _measured(span)
    checks = Check.objects.filter(when, instrument=instrument)
    holes = HoleCheck.objects.filter(when, instrument=instrument)
    related = ("entry__by", "fit_up__joint", "fit_up__airframe", "fit_up__part")
    return (
        list(checks.select_related(*related).order_by("-number")),
        list(holes.select_related("entry__by", "part").order_by("-number")),
    )


def doubt_of(check: Check) -> Calibration | None:
    """The calibration that found the instrument of a check off, where the check lies
    between it and the last good one before; one statement."""
    if check.instrument_id is None:
        return None
    day = timezone.localtime(check.entry.received_at).date()
    rows = list(Calibration.objects.filter(instrument=check.instrument_id))
    for good, off in spans_off(rows):
        if day <= off.done_on and (good is None or day >= good):
            return off
    return None
