"""All rows from one database to another, whichever kind each of them is.

What carries a shop from SQLite to PostgreSQL, and a PostgreSQL into a backup that any
machine can check. Rows pass by every model and every act: they arrive as they are.
"""

import hashlib
from collections.abc import Iterable, Iterator
from decimal import Decimal

from django.apps import apps
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connections, models, transaction

from shop.ledger.canonical import canonical, plain

ROWS = 1000
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
    came = {}
    with transaction.atomic(using=target):
        _let_links_wait(target)
        # What making the tables put there is the source's to say.
        for model in reversed(tables()):
            delete_all(model, target)
        for model in tables():
            _copy(model, source, target)
        go_on_counting(target)
        for model in tables():
            table = model._meta.db_table
            sent, came[table] = (_digest(model, alias) for alias in (source, target))
            if sent != came[table]:
                raise NotEqual(f"{table}: {sent[0]} rows sent, others arrived")
    return came


def _let_links_wait(alias: str) -> None:
    """Check links when all rows are there, also where the tables were made in the same
    transaction: Django has those of added columns checked at once."""
    if connections[alias].vendor == "postgresql":
        with connections[alias].cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL DEFERRED")


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


def _copy(model, source: str, target: str) -> int:
    return insert_all(model, rows_of(model, source), target)


def insert_all(model, rows: Iterable[tuple], alias: str) -> int:
    """Insert rows, each all columns in their order, as they are; return how many."""
    connection = connections[alias]
    fields = model._meta.concrete_fields
    quote = connection.ops.quote_name
    columns = ", ".join(quote(field.column) for field in fields)
    places = ", ".join("%s" for _field in fields)
    insert = (  # Names of our own columns.
        f"INSERT INTO {quote(model._meta.db_table)} ({columns}) "  # noqa: S608
        f"VALUES ({places})"
    )
    count, batch = 0, []
    with connection.cursor() as cursor:
        for row in rows:
            pairs = zip(fields, row, strict=True)
            batch.append([f.get_db_prep_save(value, connection) for f, value in pairs])
            count += 1
            if len(batch) == ROWS:
                cursor.executemany(insert, batch)
                batch.clear()
        if batch:
            cursor.executemany(insert, batch)
    return count


def go_on_counting(alias: str) -> None:
    """Let the target's next numbers come after the highest that arrived."""
    connection = connections[alias]
    statements = connection.ops.sequence_reset_sql(no_style(), tables())
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _digest(model, alias: str) -> tuple[int, str]:
    """Return how many rows a table has and a digest of them all, in whatever order.

    The digests of the rows are added up: the two databases sort texts differently.
    """
    tally = Tally()
    for row in rows_of(model, alias):
        tally.add(canonical([plain_value(value) for value in row]))
    return tally.count, tally.digest


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
