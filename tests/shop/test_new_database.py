"""A new database is made at once: no different from one that was migrated to it."""

import dj_database_url
import pytest
from django.core.management import call_command
from django.core.management.commands import migrate
from django.db import connection, connections

from shop.serving.other_databases import of_file, opened_as
from shop.serving.table_copies import tables

from .test_moving import new_database  # noqa: F401 -- a fixture

OF_POSTGRESQL = """
    SELECT format('%s.%s %s %s %s %s', table_name, column_name, data_type,
                  character_maximum_length, is_nullable, column_default)
      FROM information_schema.columns WHERE table_schema = 'public'
    UNION ALL SELECT format('%s %s', conrelid::regclass, pg_get_constraintdef(oid))
      FROM pg_constraint WHERE connamespace = 'public'::regnamespace
    UNION ALL SELECT regexp_replace(indexdef, ' INDEX \\S+', '') FROM pg_indexes
      WHERE schemaname = 'public'
    UNION ALL SELECT format('%s %s', tgname, prosrc) FROM pg_trigger
      JOIN pg_proc ON pg_proc.oid = tgfoid WHERE NOT tgisinternal
"""


def parts(statement: str) -> list[str]:
    """What stands between the commas of CREATE TABLE, in whatever order."""
    head, _, body = statement.rpartition(")")[0].partition("(")
    found, depth = [""], 0
    for sign in body:
        depth += {"(": 1, ")": -1}.get(sign, 0)
        if sign == "," and not depth:
            found.append("")
        elif not sign.isspace():
            found[-1] += sign
    return [head.strip(), *sorted(found)]


def schema(alias: str) -> list:
    """All that a database holds tables, columns, conditions, indexes and guards for."""
    with connections[alias].cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(OF_POSTGRESQL)
            return sorted(cursor.fetchall())
        cursor.execute("SELECT type, sql FROM sqlite_master WHERE sql IS NOT NULL")
        return sorted(
            parts(sql) if kind == "table" else [kind, sql]
            for kind, sql in cursor.fetchall()
        )


def count_of_rows(alias: str) -> dict[str, int]:
    return {m._meta.db_table: m._base_manager.using(alias).count() for m in tables()}


@pytest.fixture
def step_by_step(committed_db, request, tmp_path):
    """The alias of a database that went through every migration, one by one."""
    if connection.vendor == "postgresql":
        empty = dj_database_url.parse(request.getfixturevalue("new_database")())
    else:
        empty = of_file(tmp_path / "fayline.sqlite3")
    with opened_as("steps", empty):
        call_command(migrate.Command(), database="steps", verbosity=0)
        yield "steps"


def test_made_at_once_it_is_as_after_every_migration(step_by_step):
    assert schema("default") == schema(step_by_step)
    assert count_of_rows("default") == count_of_rows(step_by_step)
