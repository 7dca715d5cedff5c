"""What a page reads, it reads at one moment."""

import contextlib

from django.db import connection, transaction

READING = ("GET", "HEAD")


@contextlib.contextmanager
def snapshot():
    """Let every statement inside see one state of the database, and write nothing.

    Between two statements of a page somebody may save: it would list a reading and not
    know yet that it stands. In a transaction of the caller only SQLite refuses.
    """
    with contextlib.ExitStack() as ends:
        if connection.vendor == "sqlite":
            ends.enter_context(_query_only())
        if not connection.in_atomic_block:
            ends.enter_context(_reading())
        yield


@contextlib.contextmanager
def _reading():
    if connection.vendor == "sqlite":
        # Not IMMEDIATE as in an act: a reader must not wait for those who write.
        usual, connection.transaction_mode = connection.transaction_mode, "DEFERRED"
        try:
            with transaction.atomic():
                yield
        finally:
            connection.transaction_mode = usual
        return
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


@contextlib.contextmanager
def _query_only():
    connection.ensure_connection()
    # Past Django, which executes nothing more in a transaction that failed.
    execute = connection.connection.execute
    execute("PRAGMA query_only = ON")
    try:
        yield
    finally:
        execute("PRAGMA query_only = OFF")
