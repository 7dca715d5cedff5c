"""A full disk, a database that cannot be written, and what stays in a browser."""

import errno
import os
import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.db import IntegrityError, InterfaceError, OperationalError, connection
from django.urls import reverse
from hypothesis import example, given
from hypothesis import strategies as st

from shop.files.csv_table import plain_cell, read_table, typed_cell
from shop.serving import storage_errors
from shop.serving.storage_errors import what_failed

SAID = {
    "database or disk is full": 507,
    "could not extend file: No space left on device": 507,
    "attempt to write a readonly database": 503,
    "database disk image is malformed": 503,
    "database is locked": 503,
    "server closed the connection unexpectedly": 503,
}


@pytest.mark.parametrize("words", SAID)
def test_what_the_database_refuses_has_a_status_and_words(words):
    failed = what_failed(OperationalError(words))
    assert failed.status == SAID[words]
    assert failed.title and failed.message


def test_a_full_disk_is_told_whoever_met_it():
    full = OperationalError("x")
    cause = Exception()
    cause.sqlstate = "53100"
    full.__cause__ = cause
    assert what_failed(full).code == "no_room"
    assert what_failed(OSError(errno.ENOSPC, "no room")).code == "no_room"
    assert what_failed(OSError(errno.EROFS, "read-only")).code == "read_only"
    assert what_failed(OSError(errno.EIO, "input/output")).code == "disk"


def test_a_connection_that_is_gone_is_no_fault_of_what_was_sent():
    """A tablet would put the act aside; it is to send it again."""
    lost, state = OperationalError("the connection is lost"), Exception()
    state.sqlstate = None
    lost.__cause__ = state
    assert what_failed(lost).code == "away"
    assert what_failed(InterfaceError("connection already closed")).code == "away"
    state.sqlstate = "55P03"
    assert what_failed(lost).code == "busy"


TYPED = IntegrityError("Key (title)=(Disk is full of dust) already exists.")


@pytest.mark.parametrize("mistake", [ValueError("x"), TYPED, OSError(2)])
def test_a_fault_of_the_program_is_not_blamed_on_the_disk(mistake):
    assert what_failed(mistake) is None


@pytest.mark.django_db
def test_health_tells_a_full_disk(client, monkeypatch):
    assert (client.get("/health").status_code, client.get("/health").content) == (
        200,
        b"ok",
    )
    room = SimpleNamespace(free=storage_errors.LEAST_FREE - 1)
    monkeypatch.setattr(storage_errors.shutil, "disk_usage", lambda _: room)
    answer = client.get("/health")
    assert (answer.status_code, answer.content) == (507, b"full")


def full_disk(connection):
    """SQLite as on a full disk: it may not grow, and what it has is used up."""
    from shop.models import Person
    from shop.models.kept import binding

    with connection.cursor() as cursor:
        cursor.execute("PRAGMA page_count")
        pages = cursor.fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(OperationalError), binding():
        for n in range(10_000):
            Person.objects.create(username=f"fill-{n}", name="x" * 120)


@pytest.mark.skipif(connection.vendor != "sqlite", reason="SQLite can be told so")
def test_a_form_sent_to_a_full_disk_is_kept_on_the_page_that_says_so(committed_db):
    from django.test import Client

    from shop.models import Entry, Person
    from tests.conftest import make_people

    make_people()
    client = Client(raise_request_exception=False)
    client.force_login(Person.objects.get(username="lead"))
    said = {"username": "mara", "name": "Mara <b> Tolle", "role": "builder"}
    said["password"] = "violet-Spar-44"
    full_disk(connection)
    answer = client.post(reverse("add_person"), said)
    connection.cursor().execute("PRAGMA max_page_count = 1000000")
    page = answer.content.decode()
    assert answer.status_code == 507
    assert "The disk is full" in page and "Nothing was saved" in page
    kept = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page))
    assert kept["username"] == "mara" and kept["name"] == "Mara &lt;b&gt; Tolle"
    assert "password" not in kept and "violet" not in page
    assert not Entry.objects.filter(form="person/1").exists()


@pytest.mark.skipif(connection.vendor != "sqlite", reason="its file is cut off")
def test_pages_and_tablets_are_told_that_the_database_is_not_what_it_was(committed_db):
    from django.test import Client

    from shop.models import Person
    from tests.conftest import make_people

    make_people()
    client = Client(raise_request_exception=False)
    client.force_login(Person.objects.get(username="lead"))
    file = Path(connection.settings_dict["NAME"])

    def told():
        connection.close()
        page, api = client.get(reverse("parts")), client.get("/api/session")
        posted = client.post(reverse("add_person"), {"username": "mara"})
        assert [page.status_code, api.status_code, posted.status_code] == [503] * 3
        assert 'value="mara"' in posted.content.decode()
        # A button without a field of its own was read as well.
        pressed = client.post(reverse("add_person"), {"csrfmiddlewaretoken": "x"})
        assert "Send it again" in pressed.content.decode()
        assert page["Cache-Control"] == "no-store"
        return page.content.decode(), api.json()["error"]["code"]

    assert client.get(reverse("parts")).status_code == 200
    connection.close()
    os.truncate(file, file.stat().st_size // 3)
    assert told()[1] == "damaged"
    file.unlink()  # who opens it then makes an empty one
    page, code = told()
    assert code == "other" and "not the one that this version knows" in page
    connection.close()
    file.unlink()
    file.mkdir()
    page, code = told()
    assert code == "away" and "The database does not answer" in page
    file.rmdir()


@pytest.mark.django_db
def test_private_pages_stay_in_no_cache(client_of, client):
    builder = client_of("builder")
    for name in ("parts", "today", "checks", "own_password", "tooling"):
        assert "no-store" in builder.get(reverse(name))["Cache-Control"], name
    assert "no-store" in client.get("/parts/")["Cache-Control"]


# ------------------------------------------------------------ cells of a table

RUNS = ["=1+1", "+cmd", "-cmd|x", "@SUM(A1)", "\t=1", "\r=1", "'=1", "''@x"]
NUMBERS = ["-0.5", "+3", "-1e-05", "0.2"]


@pytest.mark.parametrize("text", RUNS)
def test_no_cell_of_a_table_begins_a_formula(text):
    assert plain_cell(text) == f"'{text}"


@pytest.mark.parametrize("text", [*NUMBERS, "A-1", "", "it's"])
def test_a_cell_that_runs_nothing_stays_as_it_is(text):
    assert plain_cell(text) == text


@given(st.text())
@example("'-5")
def test_what_was_typed_comes_back(text):
    assert typed_cell(plain_cell(text)) == text


def test_a_table_that_we_wrote_is_read_as_it_was_typed():
    table = read_table(f"a,b\n{plain_cell('=x')},{plain_cell('-5')}\n".encode())
    assert table.rows[0].cells == ("=x", "-5")
