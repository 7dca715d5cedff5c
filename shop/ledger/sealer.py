"""The sealer: chains committed entries, every second and before any verify."""

import contextlib
import itertools
import threading
from collections.abc import Callable

from django.db import Error as DatabaseFails
from django.db import close_old_connections, connection
from django.db.models import Exists, Max, OuterRef

from shop.models import Entry, Seal

from .acts import writing
from .canonical import digest

BATCH = 1000
# Looked through each second; all of a long ledger only at the start, every so many
# turns, and before any verify, head or pack.
RECENT = 5000
TURNS = 600
START = "0" * 64
# Any number that nothing else in this database locks on.
ADVISORY = 0x5EA1


def unsealed(*, everywhere: bool = True):
    """Committed entries that have no seal yet.

    They are found by anti-join, never by the highest id: with several writers an entry
    with a lower id can commit after one with a higher. everywhere: else only among the
    newest, and those that they overtook by at most RECENT.
    """
    if everywhere:
        return Entry.objects.filter(seal__isnull=True)
    newest = Seal.objects.aggregate(newest=Max("entry_id"))["newest"] or 0
    since = newest - RECENT
    # Both ends are bounded: else PostgreSQL reads all seals there are, each second.
    seals = Seal.objects.filter(entry=OuterRef("pk"), entry_id__gt=since)
    return Entry.objects.filter(~Exists(seals), pk__gt=since)


def seal(*, everywhere: bool = True) -> int:
    """Seal every entry that was committed before and has no seal yet; return how many.

    A batch that is not full had all of them: what is committed meanwhile is for the
    next turn, else this would never end while tablets save.
    """
    sealed = batch = _seal_batch(everywhere)
    while batch == BATCH:
        sealed += (batch := _seal_batch(everywhere))
    return sealed


def _seal_batch(everywhere: bool) -> int:
    if not unsealed(everywhere=everywhere).exists():
        return 0
    with writing():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ADVISORY])
        last = Seal.objects.order_by("-position").first()
        position, chain = (last.position, last.digest) if last else (0, START)
        seals = []
        for key, entry_digest in (
            unsealed(everywhere=everywhere)
            .order_by("id")
            .values_list("id", "digest")[:BATCH]
        ):
            position += 1
            chain = digest(chain, entry_digest)
            seals.append(Seal(position=position, entry_id=key, digest=chain))
        Seal.objects.bulk_create(seals)
    return len(seals)


def head() -> tuple[int, str]:
    """Return (position, digest) of the newest seal after sealing what waits."""
    seal()
    last = Seal.objects.order_by("-position").first()
    return (last.position, last.digest) if last else (0, START)


class Sealer(threading.Thread):
    """Seals once a second while the server runs; stops when told.

    also: what else is to be done each time.
    """

    def __init__(self, pause: float = 1.0, also: Callable[[], None] | None = None):
        super().__init__(name="sealer", daemon=True)
        self._stopped = threading.Event()
        self._pause = pause
        self._also = also

    def run(self) -> None:
        for turn in itertools.count():
            if self._stopped.wait(self._pause):
                break
            # A locked or restarting database: the entries wait for the next turn.
            with contextlib.suppress(DatabaseFails):
                close_old_connections()
                if self._also:
                    self._also()
                seal(everywhere=turn % TURNS == 0)
                _move_the_log()
        connection.close()

    def stop(self) -> None:
        self._stopped.set()


def _move_the_log() -> None:
    """Let SQLite move its log into the file here, where nobody waits for it: else it
    does so in the commit of whoever saves the thousandth page, with two fsyncs more."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(PASSIVE)")


def start(also: Callable[[], None] | None = None) -> Sealer:
    sealer = Sealer(also=also)
    sealer.start()
    return sealer
