"""The database at the start: made, resumed, or left alone and said why."""

import json
import os
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection, connections
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from shop.ledger import guards, word_index

OURS = ("shop", "qa")
# Lies beside records that were carried elsewhere (moving.py).
MOVED = "moved.json"
# What a database says that can be read, where nothing is saved.
NOT_WRITTEN = ("readonly", "read-only", "disk is full", "no space left")


class EarlierVersion(CommandError):
    """The database holds data and lacks what this version of Fayline would add."""


class LaterVersion(CommandError):
    """The database holds what this version of Fayline does not know."""


class MovedAway(CommandError):
    """The shop's records are elsewhere: what lies here is what they were before."""


def prepare(say) -> None:
    """Make a new database; never change one that holds data behind its owner's back.

    One whose making was cut short holds no data yet: it is made to its end. Raises
    EarlierVersion, LaterVersion, MovedAway, or CommandError when it cannot be read.
    """
    refuse_moved()
    try:
        _prepare(say)
    except DatabaseError as why:
        raise CommandError(unreadable(why)) from None
    keep_private()


def unreadable(why: Exception) -> str:
    """One line on a database that is damaged, locked or of no use as it stands; what is
    to be done where it is only of another release."""
    if words := of_another_release():
        return words
    reason, where = " ".join(str(why).split()), ""
    if connection.vendor == "sqlite":
        where = f" {connection.settings_dict['NAME']}"
    if any(words in reason.lower() for words in NOT_WRITTEN):
        return (
            f"The database{where} cannot be written ({reason}): make room on its disk, "
            "or see that it may be written."
        )
    if where:
        return (
            f"The database{where} cannot be used ({reason}). Restore a copy of it, or "
            "let FAYLINE_HOME name the folder of another."
        )
    return f"The database cannot be used ({reason})."


def of_another_release() -> str:
    """What is said of an earlier or a later database, "" of one that is of this
    release, is empty or cannot be asked."""
    try:
        refuse_earlier()
    except (EarlierVersion, LaterVersion) as why:
        return str(why)
    except DatabaseError:
        pass
    return ""


def refuse_moved() -> None:
    """Raise MovedAway where the records of this home were carried to PostgreSQL."""
    path = settings.HOME / MOVED
    if connection.vendor != "sqlite" or not path.exists():
        return
    try:
        mark = json.loads(path.read_text("utf-8"))
        to = f"{mark['to']} at {mark['at']}"
    except (OSError, ValueError, LookupError, TypeError):
        to = "a PostgreSQL"
    raise MovedAway(
        f"The records were moved to {to}: set DATABASE_URL to it. What lies in "
        f"{settings.HOME} is how they were then; to work with that all the same, "
        f"remove {path}."
    )


def refuse_absent() -> None:
    """Raise CommandError where there is no database yet, or no more."""
    here = connection.vendor == "sqlite"
    try:
        is_there = not here or Path(connection.settings_dict["NAME"]).exists()
        known = connection.introspection.table_names() if is_there else []
    except DatabaseError:
        return  # of one that is damaged another word is to be said
    if here and "shop_entry" not in known:
        raise CommandError(
            f"There are no records in {settings.HOME}: FAYLINE_HOME says where they "
            "are, and manage.py serve makes an empty shop."
        )


def _prepare(say) -> None:
    if is_of_this_release():
        _keep_words(say)
        return
    refuse_earlier()
    say("Making the database …")
    call_command("migrate", interactive=False, verbosity=0)


def _keep_words(say) -> None:
    """See that the index of words can be kept by the SQLite of this Python."""
    if connection.vendor == "sqlite" and word_index.install():
        say("This Python's SQLite has no FTS5: a search reads all rows from now on.")


def make_at_once(alias: str) -> None:
    """Make all tables of an empty database as the last migration leaves them; one that
    holds a table is left alone.

    No migration changes rows of a database that has none, so the outcome is the same
    (tests/shop/test_new_database.py) in a fifth of the time. All or nothing: one that
    was cut short is empty still.
    """
    database = connections[alias]
    if database.introspection.table_names():
        return
    migrations = MigrationLoader(None)
    with database.schema_editor() as editor:
        for model in migrations.project_state().apps.get_models():
            if model._meta.can_migrate(database):
                editor.create_model(model)
        done = MigrationRecorder(database)
        done.ensure_schema()
        for app, name in migrations.disk_migrations:
            done.record_applied(app, name)


def is_of_this_release() -> bool:
    """Whether it has every table and guard; raises LaterVersion where it has more."""
    executor = MigrationExecutor(connection)
    refuse_later(executor.loader)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return not plan and not guards.missing()


def refuse_earlier() -> None:
    """Raise EarlierVersion where it holds data and lacks what this release has."""
    if holds_data() and not is_of_this_release():
        raise EarlierVersion(
            "The database is of an earlier version, or lacks a guard. Keep a copy of "
            "it, then run: python3 manage.py migrate"
        )


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


def holds_data(alias: str = "default") -> bool:
    """Whether anybody or anything was recorded there."""
    tables = set(connections[alias].introspection.table_names())
    with connections[alias].cursor() as cursor:
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
        for file in (path, *path.parent.glob(f"{path.name}-*")):
            if file.stat().st_uid == os.geteuid() and file.stat().st_mode & 0o077:
                file.chmod(0o600)


def keep_private_after_migrate(sender, using="default", **_) -> None:
    if sender.name == OURS[0] and using == "default":
        keep_private()


def refuse_later_before_migrate(sender, using="default", **_) -> None:
    """Called before `migrate`: it would add to a database that it does not know."""
    if sender.name == OURS[0]:
        refuse_later(MigrationLoader(connections[using]))
