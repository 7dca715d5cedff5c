"""Guards in the database: facts, entries and seals are written once.

Installed after every migrate, because SQLite drops triggers when Django rebuilds a
table. Whoever owns the database can drop them; the ledger then shows what changed.
"""

from django.apps import apps
from django.core.checks import Error, Tags, register
from django.db import connections

WORDS = "facts are never changed: write a new one"


def guarded_models():
    return [model for model in apps.get_models() if getattr(model, "guarded", False)]


def _unique_columns(model) -> list[str]:
    """Columns on which INSERT OR REPLACE could throw an old row away."""
    return [field.column for field in model._meta.concrete_fields if field.unique]


def _sqlite(model) -> list[tuple[str, str]]:
    table = model._meta.db_table
    same = " OR ".join(f'"{c}" = NEW."{c}"' for c in _unique_columns(model))
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


def _postgresql(model) -> list[tuple[str, str]]:
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


FUNCTION = f"""
CREATE OR REPLACE FUNCTION fayline_keep() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '%: {WORDS}', TG_TABLE_NAME
    USING ERRCODE = 'integrity_constraint_violation';
END $$
"""


def install(using: str = "default") -> None:
    """Create every guard that is missing on the tables that exist."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(FUNCTION)
        for model in guarded_models():
            if model._meta.db_table not in tables:
                continue
            if connection.vendor == "postgresql":
                for name, rule in _postgresql(model):
                    cursor.execute(f'CREATE OR REPLACE TRIGGER "{name}" {rule}')
            else:
                for name, rule in _sqlite(model):
                    cursor.execute(f'CREATE TRIGGER IF NOT EXISTS "{name}" {rule}')


def missing(using: str = "default") -> list[str]:
    """Return the names of guards that the database lacks."""
    connection = connections[using]
    postgresql = connection.vendor == "postgresql"
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgname FROM pg_trigger WHERE tgenabled <> 'D'"
            if postgresql
            else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        )
        there = {row[0] for row in cursor.fetchall()}
    rules = _postgresql if postgresql else _sqlite
    return [
        name
        for model in guarded_models()
        if model._meta.db_table in tables
        for name, _ in rules(model)
        if name not in there
    ]


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
            f"The guard {name} is missing from the database {alias}.",
            hint="Run manage.py migrate: it installs every guard again.",
            id="shop.E001",
        )
        for alias in databases or []
        for name in missing(alias)
    ]
