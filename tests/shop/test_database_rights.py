"""A role that owns nothing runs the site, and cannot take its guards away."""

import io
import uuid

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse

from qa.models import Reading
from shop.ledger import sealer
from shop.ledger.verify import verify
from shop.models import Entry, Session
from shop.serving import database
from tests.conftest import make_people
from tests.qa.making import make_check, read
from tests.qa.test_released_cuts import released


def rights(role: str) -> str:
    told = io.StringIO()
    call_command("database_rights", role=role, stdout=told)
    return told.getvalue()


@pytest.fixture
def as_the_site(committed_db):
    """People and acts by the owner before; from then on everything as the role."""
    people, role = make_people(), f"site_{uuid.uuid4().hex[:12]}"
    with connection.cursor() as cursor:
        for _ in range(2):
            cursor.execute(rights(role))
        cursor.execute(f"SET ROLE {role}")
        yield people
        cursor.execute("RESET ROLE")
        cursor.execute(f"DROP OWNED BY {role}; DROP ROLE {role}")


FORBIDDEN = """
    DROP TRIGGER qa_reading_keep_rows ON qa_reading
    ALTER TABLE qa_reading DISABLE TRIGGER ALL
    ALTER TABLE shop_entry DISABLE TRIGGER shop_entry_keep_rows
    TRUNCATE qa_reading CASCADE
    TRUNCATE shop_session
    UPDATE qa_reading SET value = '9'
    UPDATE qa_reading SET id = id + 1000
    UPDATE shop_entry SET digest = 'x'
    UPDATE shop_entry SET id = id + 1000
    DELETE FROM shop_seal
    DELETE FROM qa_reading
    DELETE FROM django_migrations
    DROP TABLE shop_session
    CREATE TABLE mine (id int)
    CREATE OR REPLACE FUNCTION fayline_keep() RETURNS trigger LANGUAGE sql AS ''
    DROP FUNCTION fayline_keep() CASCADE
    SET session_replication_role = replica
    CREATE ROLE more SUPERUSER
    CREATE TRIGGER mine BEFORE INSERT ON qa_reading EXECUTE FUNCTION fayline_keep()
"""


@pytest.mark.postgresql
def test_a_role_that_owns_nothing_runs_the_site_and_changes_no_guard(as_the_site):
    people = as_the_site
    database.prepare(print)
    client = Client()
    client.force_login(people["lead"])
    client.post(reverse("units"), {"units": "in"})
    for name in ("front", "today", "people", "audit", "sessions", "checks", "parts"):
        assert client.get(reverse(name)).status_code == 200, name
    check = make_check(people["engineer"])
    read(check, "1", "gap", "2.00")
    released(people["engineer"])
    sealer.seal()
    assert verify().fault == ""
    entries = Entry.objects.count()
    for statement in filter(None, map(str.strip, FORBIDDEN.splitlines())):
        with pytest.raises(DatabaseError), transaction.atomic():
            connection.cursor().execute(statement)
            pytest.fail(statement)
    assert Entry.objects.count() == entries and Reading.objects.exists()
    assert verify().fault == "" and Session.objects.exists()


@pytest.mark.postgresql
def test_an_owner_that_may_make_no_role_is_told_who_does_what(committed_db):
    role, owner = (f"{kind}_{uuid.uuid4().hex[:12]}" for kind in ("site", "owner"))
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE ROLE {owner} NOCREATEROLE")
        cursor.execute(f"SET ROLE {owner}")
        with pytest.raises(DatabaseError, match=f"CREATE ROLE {role} LOGIN PASSWORD"):
            cursor.execute(rights(role))
        cursor.execute("RESET ROLE")
        cursor.execute(f"DROP ROLE {owner}")


def test_what_is_told_grants_nothing_on_facts_but_to_add_and_to_lock():
    told = rights("fayline_site")
    assert 'GRANT SELECT, INSERT ON "shop_entry"' in told
    assert 'GRANT SELECT, INSERT, UPDATE ("id") ON "qa_reading"' in told
    assert "TRUNCATE" not in told and "TRIGGER" not in told
    with pytest.raises(CommandError):
        rights("x; DROP TABLE shop_entry")
