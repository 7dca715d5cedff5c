"""How instruments stood when the first release came that keeps their standings, and
which of them had been found off when the first came that keeps that with them."""

import json
from datetime import datetime

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import OuterRef, Subquery

from qa.actions.gauges import standing
from qa.models import (
    Calibration,
    CalibrationResult,
    GaugeStanding,
    Instrument,
    InstrumentStatus,
)
from qa.rules.gauges import UNFIT, off_by
from shop.ledger import perform
from shop.models import Entry

APPS = ("qa", "shop")


def record_after_migrate(sender, using=DEFAULT_DB_ALIAS, **_told) -> None:
    """After any migrate, whichever release made the tables. A copy that is made of the
    records has them copied."""
    if using != DEFAULT_DB_ALIAS or sender.name != "qa":
        return
    # Models are as the last migration leaves the tables: up to an earlier one, what is
    # asked here may not be there.
    applied = MigrationRecorder(connections[using]).applied_migrations()
    known = MigrationLoader(None).disk_migrations
    if all(key in applied for key in known if key[0] in APPS):
        record_first_standings()


def record_first_standings() -> None:
    """Put on record how every instrument stands of which that is not yet: as it always
    was, or since the act that said that it is lost or damaged, and in use before; and
    that it was found off, where its newest calibration says so."""
    rows = list(Instrument.objects.filter(standings=None).order_by("pk"))
    off = _found_off()
    if not rows and not off:
        return
    lost = _unfit_since() if any(row.status in UNFIT for row in rows) else {}
    with perform("gauge_standings/1", by=None) as act:
        for row in rows:
            first = standing(row)
            if row.status in UNFIT and row.pk in lost:
                in_use = InstrumentStatus.IN_USE
                act.record(GaugeStanding(instrument=row, status=in_use, due=row.due))
                first.since = row.stands_since = lost[row.pk]
                row.save(update_fields=["stands_since"])
            act.record(first)
        for calibration in off:
            _keep_found_off(calibration)


def _keep_found_off(calibration: Calibration) -> None:
    """With the gauge, which has not stood so for longer than that is on record."""
    row, at = calibration.instrument, calibration.entry.received_at
    row.refresh_from_db(fields=["stands_since"])
    row.found_off_on = off_by(calibration)
    row.stands_since = max(row.stands_since or at, at)
    row.save(update_fields=["found_off_on", "stands_since"])


def _found_off() -> list[Calibration]:
    """The newest calibrations, of instruments that they found off and that do not say
    so themselves."""
    own = Calibration.objects.filter(instrument=OuterRef("instrument"))
    newest = Subquery(own.order_by("-done_on", "-pk").values("pk")[:1])
    rows = Calibration.objects.filter(
        pk=newest, result=CalibrationResult.OFF, instrument__found_off_on=None
    )
    return list(rows.select_related("instrument", "entry").order_by("instrument"))


def _unfit_since() -> dict[int, datetime]:
    """When each instrument was said to be lost or damaged that has been so since."""
    unfit: dict[int, datetime] = {}
    acts = Entry.objects.filter(form="instrument/1").order_by("pk")
    for body, at in acts.values_list("body", "received_at").iterator():
        content = json.loads(body)
        key = content["result"]["instrument"]
        if content["said"]["status"] in UNFIT:
            unfit.setdefault(key, at)
        else:
            unfit.pop(key, None)
    return unfit
