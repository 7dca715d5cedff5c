"""What was done with a gauge and said of it days ago, as though it had been then."""

import datetime as dt
import uuid

from django.utils import timezone

from qa.models import Calibration, Check, CheckState, GaugeStanding
from tests.around import by_hand
from tests.qa.making import make_check, make_instrument


def clock_of(ago) -> dt.datetime:
    return timezone.now() - dt.timedelta(days=ago)


def again(check) -> Check:
    """As it is on record now, with what an action reads of it."""
    rows = Check.objects.select_related(
        "fit_up__revision", "entry", "instrument", "state"
    )
    return rows.get(pk=check.pk)


def stand(gauge, status, ago):
    """As though it had been marked so, so many days ago."""
    _then(gauge, GaugeStanding(instrument=gauge, status=status), ago)


def calibrated(gauge, result, day, ago):
    """As though a calibration of a day had been entered so many days ago."""
    said = {"done_on": day, "laboratory": "blocks", "result": result}
    _then(gauge, Calibration(instrument=gauge, **said), ago)


def _then(gauge, row, ago):
    entry = gauge.standings.first().entry
    entry.pk, entry.act = None, uuid.uuid4()
    entry.received_at = clock_of(ago)
    row.entry_id = entry.act
    with by_hand():
        entry.save(force_insert=True)
        row.save(force_insert=True)


def received(by, gauge, number, ago, **frozen):
    """A check as though it had been received, read and left so many days ago, a day
    after its tablet began it."""
    check = make_check(by, instrument=make_instrument(by))
    at = timezone.now() - dt.timedelta(days=ago)
    check.entry.pk, check.entry.act = None, uuid.uuid4()
    check.entry.received_at, check.entry.made_at = at, clock_of(ago + 1).isoformat()
    check.used_from = at - dt.timedelta(days=1)
    check.pk, check.number, check.instrument = None, number, gauge
    for name, value in frozen.items():
        setattr(check, name, value)
    with by_hand():
        check.entry.save(force_insert=True)
        check.entry_id = check.entry.act
        check.save(force_insert=True)
        CheckState(fit_check=check, wanted=9, started_at=at).save()
    return check
