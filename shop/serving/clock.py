"""The clock of this computer: a jump is put on record and told.

The order of acts hangs on no clock, but dates on papers, shifts, coats and cures do.
"""

import json
import logging
import time
from datetime import datetime, timedelta

from django.utils import timezone

from shop.ledger import perform
from shop.models import Entry

log = logging.getLogger(__name__)

# Clocks that a network sets drift by far less; people who set one by hand do not.
JUMP = timedelta(seconds=60)
FORM = "clock/1"
TOLD = timedelta(days=7)


class ClockWatch:
    """Compares the clock on the wall with one that only runs on.

    A computer that slept looks like one set forward: the running clock may stand still
    meanwhile. Both are worth a line.
    """

    def __init__(self, wall=time.time, running=time.monotonic):
        self._wall, self._running = wall, running
        self._apart = wall() - running()

    def look(self) -> timedelta | None:
        """Return by how much the clock was set since the last look, when it jumped."""
        now = self._wall() - self._running()
        jump, self._apart = timedelta(seconds=now - self._apart), now
        return jump if abs(jump) >= JUMP else None


def record_jump(jump: timedelta) -> None:
    """Put a jump of the clock on record; nobody did it that we know of."""
    seconds = round(jump.total_seconds())
    log.warning("the clock of this computer jumped by %+d s", seconds)
    with perform(FORM, by=None, said={"seconds": seconds}):
        pass


def behind() -> timedelta | None:
    """By how much the clock is behind the newest act on record; None when it is not."""
    newest = Entry.objects.order_by("-id").values_list("received_at", flat=True).first()
    late = newest - timezone.now() if newest else timedelta(0)
    return late if late >= JUMP else None


def jumps_lately() -> list[tuple[datetime, timedelta]]:
    """When the clock jumped in the last days and by how much, the newest first."""
    since = timezone.now() - TOLD
    rows = Entry.objects.filter(form=FORM, received_at__gt=since).order_by("-id")[:8]
    return [
        (at, timedelta(seconds=json.loads(body)["said"]["seconds"]))
        for at, body in rows.values_list("received_at", "body")
    ]
