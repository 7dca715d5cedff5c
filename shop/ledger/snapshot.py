"""What a page reads, it reads at one moment."""

import contextlib

from django.db import connection, transaction


@contextlib.contextmanager
def snapshot():
    """Let every statement inside see one state of the database, and write nothing.

    Between two statements of a page somebody may save: it would list a reading and not
    know yet that it stands. Inside a transaction of the caller nothing is added.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "sqlite":
        with _deferred():
            yield
    else:
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute(
                    "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"
                )
            yield


@contextlib.contextmanager
def _deferred():
    """Not IMMEDIATE as in an act: a reader must not wait for those who write."""
    connection.ensure_connection()
    usual, connection.transaction_mode = connection.transaction_mode, "DEFERRED"
    try:
        with _query_only(), transaction.atomic():
            yield
    finally:
        connection.transaction_mode = usual


@contextlib.contextmanager
def _query_only():
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA query_only = ON")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA query_only = OFF")
