"""The database at the start: made, resumed, or left alone and said why."""

import os
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from shop.ledger import guards

OURS = ("shop", "qa")


class EarlierVersion(CommandError):
    """The database holds data and lacks what this version of Fayline would add."""


class LaterVersion(CommandError):
    """The database holds what this version of Fayline does not know."""


def prepare(say) -> None:
    """Make a new database; never change one that holds data behind its owner's back.

    One whose making was cut short holds no data yet: it is made to its end. Raises
    EarlierVersion, LaterVersion, or CommandError when it cannot be read.
    """
    try:
        _prepare(say)
    except DatabaseError as why:
        raise CommandError(unreadable(why)) from None
    keep_private()


def unreadable(why: Exception) -> str:
    """One line on a database that is damaged, locked or of no use as it stands."""
    if connection.vendor == "sqlite":
        where = connection.settings_dict["NAME"]
        return (
            f"The database {where} cannot be used ({why}). Restore a copy of it, or "
            "let FAYLINE_HOME name the folder of another."
        )
    return f"The database cannot be used ({str(why).strip()})."


def _prepare(say) -> None:
    executor = MigrationExecutor(connection)
    refuse_later(executor.loader)
    whole = not executor.migration_plan(executor.loader.graph.leaf_nodes())
    if whole and not guards.missing():
        return
    if holds_data():
        raise EarlierVersion(
            "The database is of an earlier version, or lacks a guard. Keep a copy of "
            "it, then run: python3 manage.py migrate"
        )
    say("Making the database …")
    call_command("migrate", interactive=False, verbosity=0)


def refuse_later(loader) -> None:
    """Raise LaterVersion when a migration was applied that is not in this tree."""
    applied = {key for key in loader.applied_migrations if key[0] in OURS}
    if unknown := sorted(applied - set(loader.graph.nodes)):
        app, name = unknown[-1]
        raise LaterVersion(
            "The database was made by another version of Fayline, most likely a later "
            f"one: it has the change {app} {name}, which this version does not know. "
            "Start it with that version; nothing was changed."
        )


def holds_data() -> bool:
    """Whether anybody or anything was recorded here."""
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for table in {"shop_entry", "shop_person"} & tables:
            # Names of our own tables.
            cursor.execute(f'SELECT 1 FROM "{table}" LIMIT 1')  # noqa: S608
            if cursor.fetchone():
                return True
    return False


def keep_private() -> None:
    """Let only its owner read the database file (its log files take its mode)."""
    if connection.vendor != "sqlite" or os.name == "nt":
        return
    path = Path(connection.settings_dict["NAME"])
    if path.is_relative_to(settings.HOME) and path.exists():
        for one in (path, *path.parent.glob(f"{path.name}-*")):
            if one.stat().st_uid == os.geteuid() and one.stat().st_mode & 0o077:
                one.chmod(0o600)


def keep_private_after_migrate(sender, using="default", **_) -> None:
    if sender.name == OURS[0] and using == "default":
        keep_private()


def refuse_later_before_migrate(sender, using="default", **_) -> None:
    """Called before `migrate`: it would add to a database that it does not know."""
    from django.db import connections  # noqa: PLC0415
    from django.db.migrations.loader import MigrationLoader  # noqa: PLC0415

    if sender.name == OURS[0]:
        refuse_later(MigrationLoader(connections[using]))
