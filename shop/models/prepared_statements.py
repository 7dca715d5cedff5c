"""Statements that the ORM builds once a connection, for what happens at every save.

To put a statement together costs the ORM ten times what the database needs to answer
it by a key. A prepared one is written as any other, with a `Slot` where a value goes;
it gives the same rows, reads the database every time and remembers none of them. Where
a list of values goes (`part__in=Slots("serials")`), its text has as many places as the
next power of two, the last value again in those that are left.
"""

import contextlib
import datetime as dt
import functools
import uuid
from collections.abc import Callable

from django.db import DEFAULT_DB_ALIAS, connections, models, transaction
from django.db.models.query import get_related_populators
from django.db.models.sql import InsertQuery, UpdateQuery
from django.db.transaction import TransactionManagementError


class Slot(models.Value):
    """Where a value of that name goes."""

    def __init__(self, name: str):
        super().__init__(name)
        self.name = name

    def as_sql(self, compiler, connection):
        return "%s", [self]


class Slots(Slot):
    """Where a list of values goes, to the right of `__in` (and of no `not`): nothing is
    in an empty one."""

    MOST = 512  # longer ones are as long as they are

    def as_sql(self, compiler, connection):
        return "(%s)", [self]

    def of(self, values) -> list:
        slots = [*values] or [None]
        if len(slots) <= self.MOST:
            more = (1 << (len(slots) - 1).bit_length()) - len(slots)
            slots += slots[-1:] * more
        return slots


class Prepared:
    """A statement to be run again and again: `build` gives its rows, with slots.

    sets: what an update of those rows sets. One of a kept row is refused: the entry of
    an act must bind it, and does so by the usual way.
    """

    def __init__(self, build: Callable[[], models.QuerySet], **sets):
        self._build, self._sets = build, sets

    def rows(self, **values) -> list:
        """The rows that it finds: objects, or tuples if `build` asks for values."""
        at = connections[DEFAULT_DB_ALIAS]
        built = built_for(at, self, lambda: _Rows(self._build(), at))
        if built.locks and at.get_autocommit():
            raise TransactionManagementError("a row is held by a transaction only")
        sql, params = _filled(built, values, at)
        with cursor_of(at, once=len(params) > Slots.MOST) as cursor:
            cursor.execute(sql, params)
            rows = cursor.fetchall()
        return built.read(rows)

    def first(self, **values):
        return next(iter(self.rows(**values)), None)

    def update(self, **values) -> int:
        """Set what it sets; return in how many rows."""
        at = connections[DEFAULT_DB_ALIAS]
        built = built_for(at, self, lambda: _Update(self._build(), self._sets, at))
        with transaction.mark_for_rollback_on_error(at.alias), cursor_of(at) as cursor:
            cursor.execute(*_filled(built, values, at))
            return cursor.rowcount


def insert(row: models.Model) -> None:
    """Insert a row that has no key yet, as `save(force_insert=True)` does."""
    at = connections[DEFAULT_DB_ALIAS]
    _refuse_kept(type(row))
    row._prepare_related_fields_for_save(operation_name="save")
    built = built_for(at, type(row), lambda: _Insert(row, at))
    values = [field.pre_save(row, add=True) for field in built.fields]
    if row.pk or any(hasattr(value, "resolve_expression") for value in values):
        row.save(force_insert=True)
        return
    pairs = zip(built.fields, values, strict=True)
    parameters = [field.get_db_prep_save(value, at) for field, value in pairs]
    with transaction.mark_for_rollback_on_error(at.alias), cursor_of(at) as cursor:
        cursor.execute(built.sql, (*parameters, *built.returning))
        (row.pk,) = at.ops.fetch_returned_insert_columns(cursor, built.returning)
    row._state.adding, row._state.db = False, at.alias


def cursor_of(at, *, once=False):
    """A cursor; that of the database itself where nobody watches what is asked: Django
    adds as much as a statement takes. PostgreSQL plans each statement once for this
    connection, which costs it twice what it takes to answer one (unless it is asked but
    `once`)."""
    if at.queries_logged or at.execute_wrappers:
        return at.cursor()
    if at.vendor != "postgresql":
        return _of_sqlite(at)
    return at.cursor() if once else _of_postgresql(at)


@contextlib.contextmanager
def _of_postgresql(at):
    """One that stays with its connection."""
    # As Django's own does first: a connection that was lost is left.
    at.close_if_health_check_failed()
    at.ensure_connection()
    at.validate_thread_sharing()
    at.validate_no_broken_transaction()
    with at.wrap_database_errors:
        cursor = at.__dict__.get("libpq_cursor")
        if cursor is None or cursor.connection is not at.connection:
            # Not there where a shop works on SQLite without psycopg.
            from .libpq_cursor import LibpqCursor  # noqa: PLC0415

            at.libpq_cursor = cursor = LibpqCursor(at.connection)
        yield cursor


@contextlib.contextmanager
def _of_sqlite(at):
    at.ensure_connection()
    at.validate_thread_sharing()
    at.validate_no_broken_transaction()
    with at.wrap_database_errors, contextlib.closing(at.connection.cursor()) as raw:
        yield _OfSqlite(raw)


class _OfSqlite:
    def __init__(self, raw):
        self.raw, self.fetchall, self.fetchone = raw, raw.fetchall, raw.fetchone

    def execute(self, sql: str, params) -> None:
        # A list too long for a power of two has a text of its own: it is not kept.
        marked = _with_marks.__wrapped__ if len(params) > Slots.MOST else _with_marks
        self.raw.execute(marked(sql), params)

    @property
    def rowcount(self) -> int:
        return self.raw.rowcount


@functools.lru_cache(maxsize=2_000)
def _with_marks(sql: str) -> str:
    """A statement as SQLite writes one: ? where a value goes."""
    return sql.replace("%%", "\0").replace("%s", "?").replace("\0", "%")


def _refuse_kept(model) -> None:
    if hasattr(model, "not_bound"):  # what a `Kept` row says of itself
        raise TypeError(f"{model.__name__} is bound by saving it as usual")


def built_for(at, key, build: Callable):
    """What was built for this connection, which one thread has; others build theirs."""
    kept = at.__dict__.setdefault("prepared_statements", {})
    if key not in kept:
        kept[key] = build()
    return kept[key]


def _filled(built, values: dict, at) -> tuple[str, list]:
    """The text of a statement and what goes into its places."""
    filled, sizes = [], []
    for param in built.params:
        if isinstance(param, Slots):
            several = [_plain(value, at) for value in param.of(values[param.name])]
            filled += several
            sizes.append(len(several))
            continue
        sizes.append(1)
        is_slot = isinstance(param, Slot)
        filled.append(_plain(values[param.name], at) if is_slot else param)
    sql = built.sql
    if len(filled) == len(sizes):
        return sql, filled
    spread = _spread.__wrapped__ if len(filled) > Slots.MOST else _spread
    return spread(sql, *sizes), filled


@functools.lru_cache(maxsize=2_000)
def _spread(sql: str, *sizes: int) -> str:
    """A statement with so many places where it has one."""
    first, *texts = sql.replace("%%", "\0").split("%s")
    pairs = zip(sizes, texts, strict=True)
    spread = "".join(", ".join(["%s"] * size) + text for size, text in pairs)
    return (first + spread).replace("\0", "%%")


def _plain(value, at):
    """A value as the database takes it."""
    if isinstance(value, uuid.UUID) and not at.features.has_native_uuid_field:
        return value.hex
    if isinstance(value, dt.datetime):
        return at.ops.adapt_datetimefield_value(value)
    if at.vendor == "postgresql" and type(value) is int and value.bit_length() < 64:
        return _int8()(value)
    return value


@functools.cache
def _int8():
    """By itself psycopg gives each integer the type of its size, and a list of integers
    is planned anew for each row of types; an index of smaller ones serves these too."""
    # Not there where a shop works on SQLite without psycopg.
    from psycopg.types.numeric import Int8  # noqa: PLC0415

    return Int8


class _Rows:
    """Rows of a model with those that they refer to, or tuples of values."""

    def __init__(self, queryset: models.QuerySet, at):
        self.alias = at.alias
        self.compiler = compiler = queryset.query.get_compiler(connection=at)
        self.sql, self.params = compiler.as_sql()
        self.locks = queryset.query.select_for_update
        columns = [column[0] for column in compiler.select]
        self.converters = compiler.get_converters(columns)
        self.info = info = None if queryset._fields else compiler.klass_info
        if info:
            fields = info["select_fields"]
            self.own = slice(fields[0], fields[-1] + 1)
            self.names = [column.target.attname for column in columns[self.own]]
            self.related = get_related_populators(info, compiler.select, self.alias)
            self.beside = compiler.annotation_col_map or {}

    def read(self, rows: list) -> list:
        if self.converters:
            rows = self.compiler.apply_converters(rows, self.converters)
        return [self._object(row) for row in rows] if self.info else [*map(tuple, rows)]

    def _object(self, row):
        made = self.info["model"].from_db(self.alias, self.names, row[self.own])
        for related in self.related:
            related.populate(row, made)
        for name, column in self.beside.items():
            setattr(made, name, row[column])
        return made


class _Update:
    def __init__(self, queryset: models.QuerySet, sets: dict, at):
        _refuse_kept(queryset.model)
        query = queryset.query.chain(UpdateQuery)
        query.add_update_values(sets)
        self.sql, self.params = query.get_compiler(connection=at).as_sql()


class _Insert:
    def __init__(self, row: models.Model, at):
        self.fields = [f for f in row._meta.concrete_fields if not f.primary_key]
        query = InsertQuery(type(row))
        query.insert_values(self.fields, [row])
        compiler = query.get_compiler(connection=at)
        compiler.returning_fields = [row._meta.pk]
        ((self.sql, _),) = compiler.as_sql()
        self.returning = compiler.returning_params
