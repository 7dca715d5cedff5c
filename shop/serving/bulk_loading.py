"""All rows of an empty database at once, whichever kind it is.

What looks after each row as it is written looks once, when all are there: links,
guards, indexes.
"""

import contextlib
import itertools
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime

from django.db import connections, models, transaction

from shop.ledger import word_index

ROWS = 1000
# As they are both in Python and in either database: nothing is to be made of them.
AS_THEY_ARE = {
    *(models.AutoField, models.BigAutoField, models.SmallAutoField),
    *(models.IntegerField, models.BigIntegerField, models.SmallIntegerField),
    *(models.PositiveIntegerField, models.PositiveBigIntegerField),
    *(models.PositiveSmallIntegerField, models.BooleanField),
    *(models.CharField, models.TextField, models.SlugField),
}
# Of a new file nothing is lost that was not lost with it; made durable in the end.
PRAGMAS = {"synchronous": "OFF", "cache_size": "-65536"}  # kB
# What looks after rows: how it is taken away, and how it is made again.
OF_SQLITE = (
    "SELECT 'DROP ' || type || ' \"' || name || '\"', sql FROM sqlite_master "
    "WHERE type IN ('index', 'trigger') AND sql IS NOT NULL"
)
# Indexes first, but for those that keep a constraint: links are looked up by them. Of
# each link PostgreSQL asks row after row, unless it is made when all rows are there.
OF_POSTGRESQL = (
    "SELECT format('DROP INDEX %s', indexrelid::regclass), pg_get_indexdef(indexrelid) "
    "FROM pg_index JOIN pg_class ON pg_class.oid = indexrelid "
    "WHERE relnamespace = current_schema()::regnamespace AND NOT EXISTS "
    "(SELECT 1 FROM pg_constraint WHERE conindid = indexrelid)",
    "SELECT format('ALTER TABLE %s DROP CONSTRAINT %I', conrelid::regclass, conname), "
    "format('ALTER TABLE %s ADD CONSTRAINT %I %s', conrelid::regclass, conname, "
    "pg_get_constraintdef(oid)) FROM pg_constraint "
    "WHERE contype = 'f' AND connamespace = current_schema()::regnamespace",
)


@contextlib.contextmanager
def loading(alias: str) -> Iterator[None]:
    """A transaction in which rows come into an empty database: all of them, or none.

    Raises IntegrityError where a row leads to one that did not come.
    """
    on_postgresql = connections[alias].vendor == "postgresql"
    with (_on_postgresql if on_postgresql else _on_sqlite)(alias):
        yield


@contextlib.contextmanager
def _on_postgresql(alias: str):
    with transaction.atomic(using=alias), connections[alias].cursor() as cursor:
        # Nothing is taken away where a link waits to be looked at, as it does where the
        # tables were made in the same transaction.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("SET LOCAL maintenance_work_mem = '256MB'")
        taken_away = [_taken_away(cursor, known) for known in OF_POSTGRESQL]
        yield
        for statement in itertools.chain(*taken_away):
            cursor.execute(statement)


@contextlib.contextmanager
def _on_sqlite(alias: str):
    connection = connections[alias]
    with contextlib.ExitStack() as ends:
        cursor = ends.enter_context(connection.cursor())
        for name, value in PRAGMAS.items():
            cursor.execute(f"PRAGMA {name}")
            usual = cursor.fetchone()[0]
            cursor.execute(f"PRAGMA {name} = {value}")
            ends.callback(cursor.execute, f"PRAGMA {name} = {usual}")
        connection.disable_constraint_checking()
        ends.callback(connection.enable_constraint_checking)
        with transaction.atomic(using=alias):
            word_index.follow_no_more(alias)
            taken_away = _taken_away(cursor, OF_SQLITE)
            yield
            for statement in taken_away:
                cursor.execute(statement)
            word_index.install(alias)
            connection.check_constraints()


def _taken_away(cursor, known: str) -> list[str]:
    """Drop what looks after rows; return the statements that make it again."""
    cursor.execute(known)
    there = cursor.fetchall()
    for drop, _make in there:
        cursor.execute(drop)
    return [make for _drop, make in there]


def insert_all(model, rows: Iterable[tuple], alias: str) -> None:
    """Insert rows, each all columns in their order, as they are."""
    connection = connections[alias]
    quote = connection.ops.quote_name
    columns = [quote(field.column) for field in model._meta.concrete_fields]
    into = f"{quote(model._meta.db_table)} ({', '.join(columns)})"
    prepared = _prepared(model, rows, connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with (
                connection.wrap_database_errors,
                cursor.copy(f"COPY {into} FROM STDIN") as copy,
            ):
                for row in prepared:
                    copy.write_row(row)
        else:
            places = ", ".join("%s" for _column in columns)
            # Names of our own columns.
            insert = f"INSERT INTO {into} VALUES ({places})"  # noqa: S608
            # Django keeps all that it is given at a time.
            while batch := list(itertools.islice(prepared, ROWS)):
                cursor.executemany(insert, batch)


def _prepared(model, rows: Iterable[tuple], connection) -> Iterator[list]:
    """The rows as the database takes them."""
    makers = [_maker(field, connection) for field in model._meta.concrete_fields]
    for row in rows:
        yield [
            value if make is None or value is None else make(value)
            for make, value in zip(makers, row, strict=True)
        ]


def _maker(field: models.Field, connection) -> Callable | None:
    """What makes of a value of this column what the database takes; None: it is."""
    while field.remote_field:
        field = field.target_field
    if type(field) in AS_THEY_ARE:
        return None
    if type(field) is models.DateTimeField and connection.vendor == "sqlite":
        return _utc_text
    return lambda value: field.get_db_prep_save(value, connection)


def _utc_text(moment: datetime) -> str:
    """A time as Django keeps it in SQLite, in a fourth of its time."""
    return str(moment.astimezone(UTC).replace(tzinfo=None))
