"""The sealer: chains committed entries, every second and before any verify."""

import contextlib
import threading
from collections.abc import Callable

from django.db import DatabaseError, close_old_connections, connection

from shop.models import Entry, Seal

from .acts import writing
from .canonical import digest

BATCH = 1000
START = "0" * 64
# Any number that nothing else in this database locks on.
ADVISORY = 0x5EA1


def seal() -> int:
    """Seal every committed entry that has no seal yet; return how many.

    Unsealed entries are found by anti-join, never by the highest id: with several
    writers an entry with a lower id can commit after one with a higher.
    """
    sealed = 0
    while batch := _seal_batch():
        sealed += batch
    return sealed


def _seal_batch() -> int:
    if not Entry.objects.filter(seal__isnull=True).exists():
        return 0
    with writing():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ADVISORY])
        last = Seal.objects.order_by("-position").first()
        position, chain = (last.position, last.digest) if last else (0, START)
        seals = []
        for key, entry_digest in (
            Entry.objects.filter(seal__isnull=True)
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
        while not self._stopped.wait(self._pause):
            close_old_connections()
            # A locked or restarting database: the entries wait for the next turn.
            with contextlib.suppress(DatabaseError):
                if self._also:
                    self._also()
                seal()
        connection.close()

    def stop(self) -> None:
        self._stopped.set()


def start(also: Callable[[], None] | None = None) -> Sealer:
    sealer = Sealer(also=also)
    sealer.start()
    return sealer
