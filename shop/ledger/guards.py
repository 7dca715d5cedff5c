"""Guards in the database: facts, entries and seals are written once.

Installed after every migrate, because SQLite drops triggers when Django rebuilds a
table. Whoever owns the database can drop them; the ledger then shows what changed.
"""

import re
from collections import defaultdict
from collections.abc import Iterator

from django.apps import apps
from django.core.checks import Error, Tags, register
from django.db import connections

WORDS = "facts are never changed: write a new one"


def guarded_models():
    return [model for model in apps.get_models() if getattr(model, "guarded", False)]


def _sqlite(model, there: set[str]) -> list[tuple[str, str]]:
    """there: the columns that the table has; fewer while it is being migrated."""
    table = model._meta.db_table
    # Those on which INSERT OR REPLACE could throw an old row away.
    unique = [field.column for field in model._meta.concrete_fields if field.unique]
    same = " OR ".join(f'"{c}" = NEW."{c}"' for c in unique if c in there)
    refuse = f"SELECT RAISE(ABORT, '{table}: {WORDS}')"
    return [
        (
            f"{table}_keep_{verb.lower()}",
            f'BEFORE {verb} ON "{table}" BEGIN {refuse}; END',
        )
        for verb in ("UPDATE", "DELETE")
    ] + [
        (
            f"{table}_keep_insert",
            # Names of our own tables, nothing that anybody typed.
            f'BEFORE INSERT ON "{table}" WHEN EXISTS '  # noqa: S608
            f'(SELECT 1 FROM "{table}" WHERE {same}) '
            f"BEGIN {refuse}; END",
        )
    ]


def _postgresql(model, _there) -> list[tuple[str, str]]:
    table = model._meta.db_table
    return [
        (
            f"{table}_keep_rows",
            f'BEFORE UPDATE OR DELETE ON "{table}" FOR EACH ROW '
            "EXECUTE FUNCTION fayline_keep()",
        ),
        (
            f"{table}_keep_table",
            f'BEFORE TRUNCATE ON "{table}" FOR EACH STATEMENT '
            "EXECUTE FUNCTION fayline_keep()",
        ),
    ]


BODY = f"""
BEGIN
  RAISE EXCEPTION '%: {WORDS}', TG_TABLE_NAME
    USING ERRCODE = 'integrity_constraint_violation';
END """
FUNCTION = (
    "CREATE OR REPLACE FUNCTION fayline_keep() RETURNS trigger "
    f"LANGUAGE plpgsql AS $${BODY}$$"
)


def _wanted(connection) -> dict[str, str]:
    """Return by name the statement of every guard on the tables that exist."""
    rules = _postgresql if connection.vendor == "postgresql" else _sqlite
    tables = _tables(connection)
    return {
        name: f'CREATE TRIGGER "{name}" {rule}'
        for model in guarded_models()
        if model._meta.db_table in tables
        for name, rule in rules(model, tables[model._meta.db_table])
    }


def _tables(connection) -> dict[str, set[str]]:
    """Return the tables that there are with their columns (of SQLite)."""
    if connection.vendor == "postgresql":
        return dict.fromkeys(connection.introspection.table_names(), set())
    tables = defaultdict(set)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT t.name, c.name FROM sqlite_master AS t, "
            "pragma_table_info(t.name) AS c WHERE t.type = 'table' "
            # Of a virtual one no columns are told by a SQLite that lacks its module.
            "AND t.sql NOT LIKE 'CREATE VIRTUAL%'"
        )
        for table, column in cursor.fetchall():
            tables[table].add(column)
    return tables


def _there(connection) -> dict[str, str]:
    """Return by name the statement of every trigger that the database has and fires."""
    with connection.cursor() as cursor:
        if connection.vendor != "postgresql":
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            return dict(cursor.fetchall())
        # O and A fire for everybody, R only where others replicate from.
        cursor.execute(
            "SELECT tgname, pg_get_triggerdef(oid, true) FROM pg_trigger "
            "WHERE tgenabled IN ('O', 'A') AND NOT tgisinternal"
        )
        return {name: _as_written(rule) for name, rule in cursor.fetchall()}


def _as_written(rule: str) -> str:
    """Return what PostgreSQL says of a trigger as we write it: with our quotes, and the
    verbs in our order."""
    match = re.fullmatch(
        r"CREATE TRIGGER (\w+) BEFORE ([A-Z ]+) ON (\w+) (FOR EACH .*)", rule
    )
    if not match:
        return rule
    name, verbs, table, rest = match.groups()
    ours = " OR ".join(sorted(verbs.split(" OR "), reverse=True))
    return f'CREATE TRIGGER "{name}" BEFORE {ours} ON "{table}" {rest}'


def _function_holds(connection) -> bool:
    if connection.vendor != "postgresql":
        return True
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT prosrc, lanname, proconfig IS NULL FROM pg_proc "
            "JOIN pg_language ON pg_language.oid = prolang "
            "WHERE pg_proc.oid = to_regproc('fayline_keep')"
        )
        return cursor.fetchall() == [(BODY, "plpgsql", True)]


def install(using: str = "default") -> None:
    """Create every guard that is missing, or is not what we install, where there is a
    table for it."""
    connection = connections[using]
    there = _there(connection)
    with connection.cursor() as cursor:
        if not _function_holds(connection):
            cursor.execute(FUNCTION)
        for name, statement in _wanted(connection).items():
            if there.get(name) == statement:
                continue
            if connection.vendor == "postgresql":
                words = statement.replace("CREATE", "CREATE OR REPLACE", 1)
                cursor.execute(words)
                table = words.partition(" ON ")[2].split()[0]
                cursor.execute(f'ALTER TABLE {table} ENABLE TRIGGER "{name}"')
            else:
                cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"')
                cursor.execute(statement)


def missing(using: str = "default") -> list[str]:
    """Return the names of guards that the database lacks, or has with another text."""
    connection = connections[using]
    there, wanted = _there(connection), _wanted(connection)
    names = [name for name, statement in wanted.items() if there.get(name) != statement]
    # A database that is about to be made has nothing to guard.
    if names or not wanted or _function_holds(connection):
        return names
    return ["fayline_keep()"]


def faults(using: str = "default") -> Iterator[str]:
    """Give every guard that does not guard any more."""
    there = _there(connections[using])
    for name in missing(using):
        if name in there or name.endswith("()"):
            yield f"the guard {name} does something else than it should"
        else:
            yield f"the database lacks the guard {name}"


def install_after_migrate(sender, using="default", **_) -> None:
    from shop.models import Incarnation  # noqa: PLC0415 -- models load after apps

    if sender.name == "shop":
        connection = connections[using]
        if Incarnation._meta.db_table in connection.introspection.table_names():
            manager = Incarnation.objects.using(using)
            if not manager.exists():
                manager.create()
    install(using)


@register(Tags.database)
def check_guards(app_configs=None, databases=None, **_):
    return [
        Error(
            f"The guard {name} is missing from the database {alias}, or changed.",
            hint="Run manage.py migrate: it installs every guard again.",
            id="shop.E001",
        )
        for alias in databases or []
        for name in missing(alias)
    ]
