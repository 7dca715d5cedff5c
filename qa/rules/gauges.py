"""Whether an instrument may be measured with, and what is frozen of it then."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import (
    Calibration,
    CalibrationResult,
    Check,
    CurrentReading,
    GaugeRules,
    GaugeStanding,
    Instrument,
    InstrumentStatus,
    Strictness,
)
from qa.rules.measuring_days import day_of, made_when, used_from
from qa.wording import lengths
from shop.ledger import Refused
from shop.models.prepared_statements import Prepared, Slot

UNFIT = (InstrumentStatus.LOST, InstrumentStatus.DAMAGED)


NEWEST_RULES = Prepared(lambda: GaugeRules.objects.all()[:1])
# Each reading that a tablet sends late asks for both.
STANDINGS = Prepared(
    lambda: (
        GaugeStanding.objects.filter(instrument=Slot("instrument"))
        .select_related("entry")
        .order_by("pk")
    )
)
CALIBRATIONS = Prepared(
    lambda: Calibration.objects.filter(instrument=Slot("instrument")).select_related(
        "entry"
    )
)


def rules_now() -> GaugeRules:
    return NEWEST_RULES.first() or GaugeRules()


@dataclass(frozen=True)
class Standing:
    """Whether an instrument was in use at a moment, until when it was calibrated then,
    the day on which it had been found off, and whether a calibration since that moment
    found it good: of one that was lost or damaged on a later day, for of the same day
    nobody knows which was first."""

    status: str
    due: date | None
    day: date
    off: date | None = None
    good: bool = False

    @property
    def cleared(self) -> bool:
        """Whether what was measured with it then may be taken: nothing clears what one
        measured that was off."""
        return self.good and self.status != InstrumentStatus.OUT and not self.off


def standing_now(instrument: Instrument) -> Standing:
    today, off = timezone.localdate(), instrument.found_off_on
    return Standing(instrument.status, instrument.due, today, off)


def standing_at(instrument: Instrument, when: datetime) -> Standing:
    """As it stood at a moment, the calibrations done by then counted in; no statement
    where nothing changed since, two else."""
    day, stands = day_of(when), instrument.stands_since
    if stands is None or when >= stands:
        return Standing(instrument.status, instrument.due, day, instrument.found_off_on)
    standings = STANDINGS.rows(instrument=instrument.pk)
    calibrations = CALIBRATIONS.rows(instrument=instrument.pk)
    then = standing_then(standings, when) or instrument
    due = due_when(standings, calibrations, when) if standings else instrument.due
    since = day + timedelta(days=then.status in UNFIT)
    good = any(
        row.result == CalibrationResult.GOOD
        and row.done_on >= since
        and row.entry.received_at > when
        for row in calibrations
    )
    return Standing(then.status, due, day, off_when(calibrations, when), good)


def standing_then(
    standings: Sequence[GaugeStanding], when: datetime
) -> GaugeStanding | None:
    """What was on record at a moment, the first that ever was before that; with their
    entries, the oldest first."""
    before = [row for row in standings if row.begins <= when]
    return (before or [*standings[:1], None])[-1 if before else 0]


def due_when(
    standings: Sequence[GaugeStanding],
    calibrations: Iterable[Calibration],
    when: datetime,
) -> date | None:
    """Until when an instrument was calibrated at a moment: by the newest calibration
    done by that day, where it was recorded later than what was on record then."""
    then = standing_then(standings, when)
    done = [row for row in calibrations if row.done_on <= day_of(when)]
    newest = max(done, key=lambda row: (row.done_on, row.pk), default=None)
    if newest and newest.entry.pk > then.entry.pk:
        return due_by(newest)
    return then.due


def off_when(calibrations: Iterable[Calibration], when: datetime) -> date | None:
    """The day on which an instrument was found off, where that was on record at a
    moment and no later calibration that was done by then left it good."""
    known = [
        row
        for row in calibrations
        if row.entry.received_at <= when
        or (row.result != CalibrationResult.OFF and row.done_on <= day_of(when))
    ]
    newest = max(known, key=lambda row: (row.done_on, row.pk), default=None)
    return newest and off_by(newest)


def off_by(calibration: Calibration) -> date | None:
    """The day on which it found its instrument off and left it so, None else."""
    off = calibration.result == CalibrationResult.OFF
    return calibration.done_on if off else None


def due_by(calibration: Calibration) -> date | None:
    """When the next one is due: at once, of an instrument that was found off."""
    return off_by(calibration) or calibration.due


def objections(standing: Standing, rules: GaugeRules) -> list[tuple[str, bool]]:
    """(why it is in doubt, whether it is refused) of an instrument as it stands, or
    stood when it was used."""
    doubts, status = [], InstrumentStatus(standing.status)
    if status == InstrumentStatus.OUT:
        doubts.append((_("This instrument is out of use."), True))
    if status in UNFIT:
        sentence = _("This instrument is %(state)s.") % {"state": status.label}
        doubts.append((sentence, rules.unfit == Strictness.REFUSE))
    if standing.off:
        sentence = _("This instrument was found off on %(day)s.")
        refused = rules.unfit == Strictness.REFUSE
        doubts.append((sentence % {"day": standing.off}, refused))
    # One found off is due by that alone: what is done about it says the shop above.
    if standing.due and standing.due < standing.day and standing.due != standing.off:
        words = _("The calibration of this instrument was due %(day)s.")
        sentence = words % {"day": standing.due}
        doubts.append((sentence, rules.overdue == Strictness.REFUSE))
    return doubts


def offered(keys: Iterable[int]) -> list[tuple[Instrument, str, bool]]:
    """(instrument, why it is in doubt, whether it is refused) of each of some that is
    not out of use; two statements."""
    rules = rules_now()
    gauges = []
    rows = Instrument.objects.filter(pk__in=keys)
    for instrument in rows.exclude(status=InstrumentStatus.OUT):
        objected = objections(standing_now(instrument), rules)
        why = " ".join(words for words, _no in objected)
        gauges.append((instrument, why, any(no for _words, no in objected)))
    return gauges


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
    later was measured when its clock says so, where that can be believed. What was in
    doubt then and was found good since is taken, and says so. No statement where
    nothing is in doubt."""
    if instrument is None:
        return ""
    standing = standing_at(instrument, made_when(made_at, timezone.now()))
    objected = objections(standing, GaugeRules())
    if not objected or standing.cleared:
        return ""
    objected = objections(standing, rules_now())
    return " ".join(why for why, refused in objected if refused)


def refusal_of_reading(instrument: Instrument | None, made_at: str) -> str:
    """As `refusal`, of one more reading of a check that runs: the way on beside it."""
    why = refusal(instrument, made_at)
    if not why:
        return ""
    words = _(
        "%(why)s Finish this check without it, and measure the rest in a new one with "
        "another instrument."
    )
    return words % {"why": why}


FROZEN = (
    *("u_nm", "foot_1_nm", "foot_2_nm", "probe_nm"),
    *("range_low_nm", "range_high_nm"),
)


def freeze(check: Check, instrument: Instrument | None, made_at: str = "") -> None:
    """Put on a check what its instrument says now, and until when it was calibrated on
    the day that it was used: later changes judge nothing."""
    now = timezone.now()
    check.used_from = used_from(made_at, now)
    if instrument:
        check.calibration_due = standing_at(instrument, made_when(made_at, now)).due
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
