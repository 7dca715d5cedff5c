"""Short acts that wait for SQLite at the same time go in by one transaction.

SQLite has one writer, and a commit that survives a power cut costs it an fsync: some
milliseconds, in which a save by itself takes two. Whoever comes first carries along
those who wait with him, each within a savepoint of its own, in the order of arrival;
nobody is answered before the commit. PostgreSQL does as much by itself.
"""

import threading
from collections import deque
from collections.abc import Callable

from django.db import connection, transaction

from .acts import writing

MOST = 16


class _Work:
    """What one thread wants done, and what came of it."""

    def __init__(self, do: Callable):
        self.do = do
        self.ready = threading.Event()
        self.leads = False
        self.result, self.error = None, None

    def attempt(self, within) -> None:
        """Do it within a context, which undoes what it leaves half done."""
        self.result, self.error = None, None
        try:
            with within:
                self.result = self.do()
        except Exception as error:
            self.error = error


class Together:
    def __init__(self):
        self._guard = threading.Lock()
        self._waiting: deque[_Work] = deque()
        self._led = False

    def run(self, do: Callable):
        """Do it in a transaction with what others want at this time; return what it
        returned, or raise what it raised, once it is committed."""
        work = _Work(do)
        with self._guard:
            self._waiting.append(work)
            work.leads, self._led = not self._led, True
        if not work.leads:
            work.ready.wait()
        if work.leads:
            self._lead()
        if work.error:
            raise work.error
        return work.result

    def _lead(self) -> None:
        taken: list[_Work] = []
        try:
            try:
                with writing():
                    taken = self._take()
                    for given in taken:
                        given.attempt(within=transaction.atomic())
            except Exception:
                # One of them spoiled it, or the disk is full: alone each tells.
                taken = taken or self._take()
                for ticket in taken:
                    ticket.attempt(within=writing())
        finally:
            self._hand_on(taken)

    def _take(self) -> list[_Work]:
        with self._guard:
            count = min(MOST, len(self._waiting))
            return [self._waiting.popleft() for _ in range(count)]

    def _hand_on(self, done: list[_Work]) -> None:
        with self._guard:
            self._led = bool(self._waiting)
            if self._led:
                self._waiting[0].leads = True
                self._waiting[0].ready.set()
        for given in done:
            given.ready.set()


_together = Together()


def together(do: Callable):
    """Do something short that writes: on SQLite with whatever else waits to be written;
    `do` may then run in another thread."""
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        return do()
    return _together.run(do)
