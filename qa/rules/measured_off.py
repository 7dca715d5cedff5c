"""Everything that an instrument measured while it was in doubt, to be listed."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import F, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce, Greatest

from qa.models import (
    CharacteristicResult,
    Check,
    GaugeStudy,
    HoleCheck,
    Instrument,
    Reading,
    SecondReading,
    StudyValue,
)
from qa.rules.gauge_doubts import GaugeRecord, first_moment, records_of

NEWEST = Greatest(
    "entry__received_at",
    Coalesce(
        Subquery(
            Reading.objects.filter(fit_check=OuterRef("pk"), value_nm__isnull=False)
            .order_by()
            .values("fit_check")
            .annotate(at=Max("entry__received_at"))
            .values("at")
        ),
        "entry__received_at",
    ),
)


def _in_doubt(rows: QuerySet, record: GaugeRecord) -> list:
    """Those of rows that fall into a span, in one statement that reads no others; of
    checks those that were read in it as well."""
    check = rows.model is Check
    clocked = check or rows.model is StudyValue
    begun = Coalesce("used_from", "entry__received_at") if clocked else None
    rows = rows.select_related("entry__by").annotate(
        begun=begun or F("entry__received_at"),
        newest=NEWEST if check else F("entry__received_at"),
    )
    # What an earlier release wrote is looked into: its clock tells when it was begun.
    untold = Q(used_from=None) & ~Q(entry__made_at="") if clocked else Q(pk__in=())
    when = Q()
    for span in record.spans:
        inside = Q(newest__gte=span.low)
        if check:  # what nothing was done to since is left out before it is looked into
            lately = Q(state__last_entry__received_at__gte=span.low)
            inside &= lately | Q(entry__received_at__gte=span.low)
        when |= inside & (Q(begun__lt=span.high) | untold) if span.high else inside
    candidates = rows.filter(when)
    return [row for row in candidates if record.doubt(first_moment(row), row.newest)]


@dataclass(frozen=True)
class MeasuredOff:
    """What was measured with an instrument while it was off, lost or damaged."""

    checks: Sequence[Check] = ()
    holes: Sequence[HoleCheck] = ()
    results: Sequence[CharacteristicResult] = ()
    seconds: Sequence[SecondReading] = ()
    studies: Sequence["StudyOff"] = ()

    def __bool__(self) -> bool:
        every = (self.checks, self.holes, self.results, self.seconds, self.studies)
        return any(every)


@dataclass(frozen=True)
class StudyOff:
    """A gauge study with those of its values that were read while its gauge was off, in
    the order in which they were read; one that was replaced since is among them."""

    study: GaugeStudy
    values: Sequence[StudyValue]


def measured_while_off(instrument: Instrument) -> MeasuredOff:
    """What was measured with an instrument from its last good calibration before each
    that found it off until it was good again, and while it was lost or damaged: seven
    statements."""
    history = records_of({instrument.pk})[instrument.pk]
    if not history.spans:
        return MeasuredOff()
    checks, holes, results, seconds = (
        model.objects.filter(instrument=instrument)
        for model in (Check, HoleCheck, CharacteristicResult, SecondReading)
    )
    related = ("fit_up__joint", "fit_up__airframe", "fit_up__part")
    of = ("airframe", "revision__characteristic")
    beside = ("station", "offered__offer__airframe", "offered__joint")
    return MeasuredOff(
        _in_doubt(checks.select_related(*related).order_by("-number"), history),
        _in_doubt(holes.select_related("part").order_by("-number"), history),
        _in_doubt(results.select_related(*of).order_by("-pk"), history),
        _in_doubt(seconds.select_related(*beside).order_by("-pk"), history),
        _studies(history, instrument),
    )


def _studies(record: GaugeRecord, instrument: Instrument) -> list[StudyOff]:
    """The newest study first."""
    rows = StudyValue.objects.filter(study__instrument=instrument)
    rows = rows.select_related("study").order_by("-study__number", "pk")
    values_of: dict[GaugeStudy, list[StudyValue]] = {}
    for row in _in_doubt(rows, record):
        values_of.setdefault(row.study, []).append(row)
    return [StudyOff(study, values) for study, values in values_of.items()]
