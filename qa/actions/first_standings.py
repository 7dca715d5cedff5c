"""How instruments stood when the first release came that keeps their standings."""

import json
from datetime import datetime

from django.db import DEFAULT_DB_ALIAS

from qa.actions.gauges import standing
from qa.models import GaugeStanding, Instrument, InstrumentStatus
from qa.rules.gauges import UNFIT
from shop.ledger import perform
from shop.models import Entry


def record_after_migrate(sender, using=DEFAULT_DB_ALIAS, plan=(), **_told) -> None:
    """A copy that is made of the records has them copied."""
    if using != DEFAULT_DB_ALIAS or sender.name != "qa":
        return
    done = {migration.name for migration, backwards in plan if not backwards}
    if "0024_standing_since" in done:
        record_first_standings()


def record_first_standings() -> None:
    """Put on record how every instrument stands of which that is not yet: as it always
    was, or since the act that said that it is lost or damaged, and in use before."""
    rows = list(Instrument.objects.filter(standings=None).order_by("pk"))
    if not rows:
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


def _unfit_since() -> dict[int, datetime]:
    """When each instrument was said to be lost or damaged that has been so since."""
    found: dict[int, datetime] = {}
    acts = Entry.objects.filter(form="instrument/1").order_by("pk")
    for body, at in acts.values_list("body", "received_at").iterator():
        told = json.loads(body)
        key = told["result"]["instrument"]
        if told["said"]["status"] in UNFIT:
            found.setdefault(key, at)
        else:
            found.pop(key, None)
    return found
