"""Backups that the server makes by itself, in a process of low priority beside it."""

import contextlib
import json
import logging
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import timedelta

from django.conf import settings
from django.db import close_old_connections, connection

from shop.models import BackupPlan
from shop.queries.backups import is_due, plan_now
from shop.queries.identity import in_shops_zone

from .backups import record_backup

log = logging.getLogger(__name__)

LOOK_EVERY_S = 60
# Added to the niceness of the server: tablets save first.
NICER = 19
# Half a night: whatever holds a backup that long will not end by itself.
PATIENCE = timedelta(hours=6)
# Any number that nothing else in this database locks on.
ADVISORY = 0xBAC0


def make_one(plan: BackupPlan) -> None:
    """Make a backup in a process of its own and put on record how it went."""
    keep = f"{plan.days},{plan.weeks},{plan.months}"
    command = [sys.executable, settings.BASE_DIR / "manage.py", "backup", plan.place]
    try:
        process = subprocess.Popen(  # noqa: S603 -- our own command
            [*command, "--keep", keep, "--json"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            text=True,
            errors="replace",
        )
        if hasattr(os, "setpriority"):
            with contextlib.suppress(OSError):
                os.setpriority(os.PRIO_PROCESS, process.pid, NICER)
        out, complaint = process.communicate(timeout=PATIENCE.total_seconds())
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()
        return record_backup(place=plan.place, problem="It took too long.")
    except OSError as why:
        return record_backup(place=plan.place, problem=str(why))
    try:
        made = json.loads(out.splitlines()[-1]) if process.returncode == 0 else None
    except (IndexError, ValueError):
        made = None
    if made is None:
        words = complaint.strip().splitlines()[-1:] or ["It ended without a word."]
        made = {"problem": words[0].removeprefix("CommandError: ")}
    return record_backup(place=plan.place, **made)


@contextlib.contextmanager
def own_turn() -> Iterator[bool]:
    """Whether no other server behind this database makes a backup just now."""
    if connection.vendor == "sqlite":
        yield True
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", [ADVISORY])
        [mine] = cursor.fetchone()
    try:
        yield mine
    finally:
        if mine:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [ADVISORY])


class Nightly(threading.Thread):
    """Looks every minute whether a backup is due; stops when told.

    One at a time, also among several servers: whose turn it is holds a lock in the
    database, and what is on record by then is nobody's turn any more.
    """

    def __init__(self, pause: float = LOOK_EVERY_S):
        super().__init__(name="backups", daemon=True)
        self._stopped, self._wanted = threading.Event(), threading.Event()
        self._pause = pause

    def run(self) -> None:
        while not self._stopped.is_set():
            wished = self._wanted.wait(self._pause)
            self._wanted.clear()
            if self._stopped.is_set():
                break
            try:
                close_old_connections()
                with own_turn() as mine, in_shops_zone():
                    plan = plan_now()
                    if mine and plan.place and (wished or is_due(plan)):
                        make_one(plan)
            except Exception:
                # Whatever it was: tomorrow night there is to be one.
                log.exception("a backup was due and went wrong")
        connection.close()

    def ask(self) -> None:
        """Make one now, whether it is due or not."""
        self._wanted.set()

    def stop(self) -> None:
        self._stopped.set()
        self._wanted.set()


# Of this process: the page asks it for a backup.
RUNNING: list[Nightly] = []


def start() -> Nightly:
    nightly = Nightly()
    nightly.start()
    RUNNING.append(nightly)
    return nightly
