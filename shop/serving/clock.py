"""The clock of this computer: a jump is put on record and told.

The order of acts hangs on no clock, but dates on papers, shifts, coats and cures do.
"""

import logging
import time
from datetime import timedelta

from shop.ledger import perform
from shop.queries.clock import FORM, JUMP

log = logging.getLogger(__name__)


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
