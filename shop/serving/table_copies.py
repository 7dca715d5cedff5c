"""All rows from one database to another, whichever kind each of them is.

What carries a shop from SQLite to PostgreSQL, and a PostgreSQL into a backup that any
machine can check. Rows pass by every model and every act: they arrive as they are.
"""

import contextlib
import hashlib
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from decimal import Decimal
from operator import attrgetter

from django.apps import apps
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connections, models

from shop.ledger.canonical import canonical, plain

from .bulk_loading import AS_THEY_ARE, ROWS, insert_all, loading

# Who is signed in stays where they signed in.
LEFT_OUT = {"django_session", "shop_session"}


class NotEqual(Exception):
    """What arrived is not what was sent: which table, and how they differ."""


def tables() -> list[type[models.Model]]:
    """Return every model with a table, those that join two others among them."""
    every_model = apps.get_models(include_auto_created=True)
    return [
        model
        for model in every_model
        if model._meta.managed and model._meta.db_table not in LEFT_OUT
    ]


def copy_all(source: str, target: str) -> dict[str, tuple[int, str]]:
    """Copy into a database that holds nothing; return rows and digest of each table.

    source, target: aliases of connections. The caller holds the source at one moment.
    The tables of the target are made first. Raises NotEqual, and leaves them empty,
    unless each table, read back, is what was sent.
    """
    call_command("migrate", database=target, interactive=False, verbosity=0)
    with loading(target):
        # What making the tables put there is the source's to say.
        for model in reversed(tables()):
            delete_all(model, target)
        sent = {model: _copy(model, source, target) for model in tables()}
        go_on_counting(target)
        for model, came in sent.items():
            if _digest(model, rows_of(model, target)) != came:
                table = model._meta.db_table
                raise NotEqual(f"{table}: {came[0]} rows sent, others arrived")
    return {model._meta.db_table: came for model, came in sent.items()}


def delete_all(model, alias: str) -> None:
    connection = connections[alias]
    with connection.cursor() as cursor:
        table = connection.ops.quote_name(model._meta.db_table)
        cursor.execute(f"SELECT 1 FROM {table} LIMIT 1")  # noqa: S608 -- our own name
        if cursor.fetchone():
            cursor.execute(f"DELETE FROM {table}")  # noqa: S608 -- our own name


def rows_of(model, alias: str) -> Iterator[tuple]:
    names = [field.attname for field in model._meta.concrete_fields]
    rows = models.QuerySet(model, using=alias).order_by().values_list(*names)
    return rows.iterator(ROWS)


def _copy(model, source: str, target: str) -> tuple[int, str]:
    """Copy a table; return how many rows were sent, and the digest of them all."""
    tally = Tally()
    # Closed before its database is, whatever becomes of the target.
    with contextlib.closing(rows_of(model, source)) as rows:
        insert_all(model, _tallied(model, rows, tally), target)
    return tally.count, tally.digest


def go_on_counting(alias: str) -> None:
    """Let the target's next numbers come after the highest that arrived."""
    connection = connections[alias]
    statements = connection.ops.sequence_reset_sql(no_style(), tables())
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _digest(model, rows: Iterable[tuple]) -> tuple[int, str]:
    """Return how many rows there are and a digest of them all, in whatever order.

    The digests of the rows are added up: the two databases sort texts differently.
    """
    tally = Tally()
    for _row in _tallied(model, rows, tally):
        pass
    return tally.count, tally.digest


def _tallied(model, rows: Iterable[tuple], tally: "Tally") -> Iterator[tuple]:
    """Give the rows as they are, and count them."""
    writers = [_writer(field) for field in model._meta.concrete_fields]
    for row in rows:
        plain_row = [
            value if write is None or value is None else write(value)
            for write, value in zip(writers, row, strict=True)
        ]
        tally.add(repr(plain_row))
        yield row


def _writer(field: models.Field) -> Callable | None:
    """What makes of a value of this column one that each database writes the same; None
    where it is one."""
    while field.remote_field:
        field = field.target_field
    if type(field) in AS_THEY_ARE:
        return None
    return QUICK.get(type(field), lambda value: canonical(plain_value(value)))


# Of what there is a million of; as `plain_value` does, in a fourth of the time. Both
# databases give times in UTC.
QUICK = {models.UUIDField: attrgetter("int"), models.DateTimeField: datetime.isoformat}


class Tally:
    """How many texts there were, and a digest of them all in whatever order."""

    def __init__(self):
        self.count, self._whole = 0, 0

    def add(self, text: str) -> None:
        self._whole += int.from_bytes(hashlib.sha256(text.encode()).digest())
        self.count += 1

    @property
    def digest(self) -> str:
        return f"{self._whole % 2**256:064x}"


def plain_value(value):
    if isinstance(value, bytes | memoryview):
        return bytes(value).hex()
    return str(value) if isinstance(value, Decimal) else plain(value)
