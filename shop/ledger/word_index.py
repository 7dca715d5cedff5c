"""Where a part of a word stands: an index of the texts that a search looks through.

The database keeps it by itself, of the columns that a model says are `searched`: on
SQLite a table of trigrams (FTS5) which triggers follow, on PostgreSQL an index
(pg_trgm). Without it, as on a database that knows neither, all rows are read and the
same is found. Installed after every migrate, like the guards and for the same reason.
"""

import contextlib
import sqlite3
from contextvars import ContextVar
from functools import reduce
from operator import or_

from django.apps import apps
from django.db import DatabaseError, connection, connections, transaction
from django.db.models import Q

SHORTEST = 3  # characters: a trigram
FEW = 200  # rows: of more the newest are soon met by reading
# What PostgreSQL says without its extensions; of an owner who may not add them; where
# they are kept in a schema that is not looked into.
NO_TRIGRAMS = ("58P01", "0A000", "42501", "42704")


def searched_models():
    return [model for model in apps.get_models() if getattr(model, "searched", ())]


def says(word: str, names) -> Q:
    """The word is part of one of these columns: by reading."""
    return reduce(or_, (Q(**{f"{name}__says": word}) for name in names), Q())


def few(model, word: str, names) -> list[int] | None:
    """Return the keys of the rows that say the word in one of these columns; None where
    they are many, or only reading all tells."""
    columns = frozenset(names)
    if len(word) < SHORTEST or not columns <= set(getattr(model, "searched", ())):
        return None
    known, asked = _known.get(), (model, word, columns)
    if known is None:
        return _keys(*asked)
    if asked not in known:
        known[asked] = _keys(*asked)
    return known[asked]


_known: ContextVar[dict | None] = ContextVar("known", default=None)


@contextlib.contextmanager
def asked_once():
    """Inside, which rows say a word is asked once, however many lists it leads to."""
    before = _known.set({})
    try:
        yield
    finally:
        _known.reset(before)


def _keys(model, word: str, columns: frozenset[str]) -> list[int] | None:
    rows = model._base_manager.filter(says(word, columns)).order_by()
    if connection.vendor != "postgresql":
        keys = _by_trigrams(model, word, columns)
        if keys is None or len(keys) > FEW:
            return None
        # To trigrams more letters are one and the same than to who reads the rows.
        rows = rows.filter(pk__in=keys)
    keys = list(rows.values_list("pk", flat=True)[: FEW + 1])
    return keys if len(keys) <= FEW else None


def _by_trigrams(model, word: str, columns: frozenset[str]) -> list[int] | None:
    table = _name(model)
    phrase = word.replace('"', '""')
    # Names of our own tables.
    sql = (
        f'SELECT rowid FROM "{table}" WHERE "{table}" MATCH %s '  # noqa: S608
        f"ORDER BY rowid DESC LIMIT {FEW + 1}"
    )
    try:
        with connection.cursor() as cursor:
            cursor.execute(sql, [f'{{{" ".join(sorted(columns))}}} : "{phrase}"'])
            return [key for (key,) in cursor.fetchall()]
    except DatabaseError:  # there is no such table, or no such word
        return None


def _name(model) -> str:
    return f"{model._meta.db_table}_words"


# ---------------------------------------------------------------- SQLite


def _statements(model) -> tuple[str, dict[str, str]]:
    """The table of trigrams, and by name the triggers that follow what is written."""
    table, words = model._meta.db_table, _name(model)
    columns = ", ".join(model.searched)
    old, new = (
        ", ".join(f"{row}.{c}" for c in model.searched) for row in ("OLD", "NEW")
    )
    changed = " OR ".join(f"OLD.{c} IS NOT NEW.{c}" for c in model.searched)
    # Names of our own tables.
    put = f'INSERT INTO "{words}" (rowid, {columns}) VALUES (NEW.id, {new});'  # noqa: S608
    take = (
        f'INSERT INTO "{words}" ("{words}", rowid, {columns}) '  # noqa: S608
        f"VALUES ('delete', OLD.id, {old});"
    )
    made = (
        f"CREATE VIRTUAL TABLE \"{words}\" USING fts5({columns}, content='{table}', "
        "content_rowid='id', tokenize='trigram', columnsize=0)"
    )
    when = {
        "insert": f'AFTER INSERT ON "{table}" BEGIN {put} END',
        "delete": f'AFTER DELETE ON "{table}" BEGIN {take} END',
        "update": f'AFTER UPDATE OF {columns} ON "{table}" WHEN {changed} '
        f"BEGIN {take} {put} END",
    }
    return made, {
        f"{words}_{verb}": f'CREATE TRIGGER "{words}_{verb}" {rule}'
        for verb, rule in when.items()
    }


def _install_on_sqlite(there: str) -> None:
    with connections[there].cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")
        known = dict(cursor.fetchall())
        for model in searched_models():
            made, triggers = _statements(model)
            wanted = {_name(model): made, **triggers}
            if model._meta.db_table not in known or wanted.items() <= known.items():
                continue
            for name in triggers:
                cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"')
            cursor.execute(f'DROP TABLE IF EXISTS "{_name(model)}"')
            for statement in wanted.values():
                cursor.execute(statement)
            cursor.execute(
                f'INSERT INTO "{_name(model)}" ("{_name(model)}") '  # noqa: S608
                "VALUES ('rebuild')"
            )


def knows_trigrams(using: str = "default") -> bool:
    """Whether this SQLite has FTS5 and its trigrams (from 3.34 on)."""
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT 1 FROM pragma_module_list WHERE name = 'fts5'")
        return bool(cursor.fetchall()) and sqlite3.sqlite_version_info >= (3, 34)


def follow_no_more(using: str = "default") -> int:
    """Take the triggers away, since with them nothing can be saved where SQLite has no
    trigrams; the index is made anew by `install` where it has. Return how many."""
    names = {name for m in searched_models() for name in _statements(m)[1]}
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        there = sorted(names & {name for (name,) in cursor.fetchall()})
        for name in there:
            cursor.execute(f'DROP TRIGGER "{name}"')
    return len(there)


# ------------------------------------------------------------ PostgreSQL


def _install_on_postgresql(there: str) -> None:
    with connections[there].cursor() as cursor:
        cursor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
        tables = connections[there].introspection.table_names(cursor)
        for model in searched_models():
            if (table := model._meta.db_table) in tables:
                # As `models/any_case.py` asks for it: one of another text is never
                # chosen, and costs each who writes.
                texts = ", ".join(
                    f'UPPER("{column}"::text COLLATE "C") gin_trgm_ops'
                    for column in model.searched
                )
                cursor.execute(f'DROP INDEX IF EXISTS "{_name(model)}"')
                cursor.execute(
                    f'CREATE INDEX IF NOT EXISTS "{_name(model)}_c" ON "{table}" '
                    f"USING gin ({texts})"
                )


def install(using: str = "default") -> int:
    """Make what is missing of it; a database that knows no trigrams, or a role that may
    not ask for them, is searched without. Return how many triggers had to go, without
    which this SQLite saves."""
    on_postgresql = connections[using].vendor == "postgresql"
    if not on_postgresql and not knows_trigrams(using):
        return follow_no_more(using)
    try:
        with transaction.atomic(using=using):
            (_install_on_postgresql if on_postgresql else _install_on_sqlite)(using)
    except DatabaseError as error:
        if getattr(error.__cause__, "sqlstate", None) not in NO_TRIGRAMS:
            raise
    return 0


def install_after_migrate(sender, using="default", **_) -> None:
    if sender.name == "shop":
        install(using)
