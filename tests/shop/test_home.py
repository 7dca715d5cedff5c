"""The folder of the data: whose it is, who may read it, what a start makes of it."""

import os
import sqlite3
import stat
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from shop.models import Person
from shop.secret import private_folder, secret_key
from shop.serving import database, exposure
from shop.serving.server import CannotServe
from tests.around import TREE, by_hand, free_port
from tests.warm import CAN_FORK, parent_of

POSIX = pytest.mark.skipif(os.name == "nt", reason="modes of POSIX")


def surroundings(home: Path) -> dict:
    """The environment of a command of a shop that works on a home."""
    usual = {k: v for k, v in os.environ.items() if not k.startswith("FAYLINE_")}
    settings = {"DJANGO_SETTINGS_MODULE": "shop.settings", "DATABASE_URL": ""}
    return {**usual, **settings, "FAYLINE_HOME": str(home)}


def manage(home: Path, *arguments, cold: bool = False, **environment):
    """Run manage.py on a home; give (exit code, words on one line).

    cold: in a Python of its own; what goes wrong in its settings needs that."""
    environment = {**surroundings(home), **environment}
    if cold or not CAN_FORK:
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments],
            env=environment,
            cwd=TREE,
            capture_output=True,
            text=True,
            timeout=120,
        )
        return done.returncode, " ".join((done.stdout + done.stderr).split())
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log"
        command = parent_of(TREE, postgresql=False).start(
            [*arguments], {**environment, "PYTHONPATH": str(TREE)}, TREE, log
        )
        return command.wait(timeout=120), " ".join(log.read_text().split())


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


# ----------------------------------------------------------------- the demo's


@pytest.mark.parametrize("more", [[], ["--reset"]])
def test_the_demo_touches_no_folder_that_it_did_not_mark_as_its_own(tmp_path, more):
    strange = tmp_path / "demo" / "letters"
    strange.mkdir(parents=True)
    (strange / "to-keep.txt").write_text("mine")
    code, words = manage(tmp_path, "demo", "--port", str(free_port()), *more, cold=True)
    assert code == 1
    assert "holds what the demo did not make (letters" in words
    assert (strange / "to-keep.txt").read_text() == "mine"


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "198.51.100.7", "demo.invalid"])
def test_the_demo_is_served_to_this_machine_only(tmp_path, host):
    code, words = manage(tmp_path, "demo", "--host", host, cold=True)
    assert code == 1
    assert "passwords are public" in words


# ------------------------------------------------------------ who may reach it

HOSTS = {
    "127.0.0.1": True,
    "127.8.9.1": True,
    "::1": True,
    "::ffff:127.0.0.1": True,
    "localhost": True,
    "0.0.0.0": False,
    "::": False,
    "::ffff:0.0.0.0": False,
    "198.51.100.7": False,
    "": False,
    "no.such.name.invalid": False,
}


@pytest.mark.parametrize("host", HOSTS)
def test_only_loopback_is_this_machine_alone(host):
    assert exposure.is_only_here(host) is HOSTS[host]


@pytest.mark.django_db
def test_demo_data_and_debugging_are_refused_where_others_can_reach(settings):
    exposure.refuse_public("0.0.0.0")
    with by_hand():
        Person.objects.create(username="ann", name="Ann", is_demo=True, is_active=False)
    exposure.refuse_public("127.0.0.1")
    with pytest.raises(CannotServe, match="holds the demo"):
        exposure.refuse_public("0.0.0.0")
    with by_hand():
        Person.objects.update(is_demo=False)
    settings.DEBUG = True
    exposure.refuse_public("localhost")
    with pytest.raises(CannotServe, match="FAYLINE_DEBUG"):
        exposure.refuse_public("0.0.0.0")


@pytest.mark.parametrize(
    "command", [["serve", "--host", "0.0.0.0"], ["serve", "--shop"], ["runserver"]]
)
def test_every_command_that_serves_refuses_debugging_to_the_network(tmp_path, command):
    port = str(free_port())
    more = {
        "runserver": [f"0.0.0.0:{port}", "--noreload"],
        "serve": ["--http", port],
    }[command[0]]
    code, words = manage(tmp_path, *command, *more, FAYLINE_DEBUG="1")
    assert code == 1
    assert "FAYLINE_DEBUG shows tracebacks" in words


@pytest.mark.django_db
def test_a_public_password_is_nobodys(people):
    from shop.models.people import PUBLIC_PASSWORD

    with pytest.raises(ValueError, match="public"):
        people["builder"].set_password(PUBLIC_PASSWORD)


# -------------------------------------------------------------------- privacy


@POSIX
def test_the_folder_and_the_database_are_for_their_owner_only(tmp_path):
    home = tmp_path / "var" / "home"
    assert manage(home, "migrate", "-v0")[0] == 0
    assert mode(tmp_path / "var") == mode(home) == 0o700
    assert mode(home / "fayline.sqlite3") == mode(home / "secret.key") == 0o600
    home.chmod(0o755)
    assert manage(home, "check")[0] == 0
    assert mode(home) == 0o700


@POSIX
def test_a_folder_that_is_not_ours_stays_open(tmp_path):
    tmp_path.chmod(0o755)
    private_folder(tmp_path)
    assert mode(tmp_path) == 0o755


@pytest.mark.parametrize("content", [b"", b"short", b"\xff" * 90])
def test_a_secret_that_is_no_secret_is_refused_with_a_word(tmp_path, content):
    (tmp_path / "secret.key").write_bytes(content)
    code, words = manage(tmp_path, "check", cold=True)
    assert code == 1
    assert "secret.key" in words
    assert "Traceback" not in words


def test_a_secret_is_made_once_and_whole(tmp_path):
    path = tmp_path / "secret.key"
    made = secret_key(path)
    assert secret_key(path) == made
    assert [one.name for one in tmp_path.iterdir()] == ["secret.key"]


# -------------------------------------------------------------- the database


def test_a_damaged_database_gets_one_line(tmp_path):
    (tmp_path / "fayline.sqlite3").write_bytes(b"not a database" * 1000)
    for command in (["serve", "--http", "0"], ["ledger", "verify"], ["first_lead"]):
        code, words = manage(tmp_path, *command)
        assert code == 1
        assert "Traceback" not in words
        assert "not a database" in words


def later(path: Path) -> None:
    with closing(sqlite3.connect(path)) as made, made:
        made.execute(
            "INSERT INTO django_migrations (app, name, applied) "
            "VALUES ('shop', '0999_wings', '2030-01-01')"
        )


def test_a_database_of_a_later_version_is_refused_and_left_alone(tmp_path):
    assert manage(tmp_path, "migrate", "-v0")[0] == 0
    path = tmp_path / "fayline.sqlite3"
    later(path)
    for command in (["serve", "--http", "0"], ["migrate"], ["first_lead"]):
        code, words = manage(tmp_path, *command)
        assert code == 1
        assert "0999_wings, which this version does not know" in words
        assert "Traceback" not in words


def test_a_first_migrate_that_was_killed_is_resumed(tmp_path):
    """Cut after any of its migrations, and after the last one but before the guards."""
    assert manage(tmp_path, "migrate", "shop", "-v0")[0] == 0
    path = tmp_path / "fayline.sqlite3"
    with closing(sqlite3.connect(path)) as made, made:
        made.execute("DROP TRIGGER shop_entry_keep_update")
    words = "Nothing more was typed"
    assert words in manage(tmp_path, "first_lead", "--name", "A")[1]
    with closing(sqlite3.connect(path)) as made, made:
        names = {row[0] for row in made.execute("SELECT name FROM sqlite_master")}
        assert {"shop_entry_keep_update", "qa_reading_keep_update"} <= names
        made.execute("DROP TRIGGER qa_reading_keep_update")
    assert words in manage(tmp_path, "first_lead", "--name", "A")[1]
    with closing(sqlite3.connect(path)) as made, made:
        names = {row[0] for row in made.execute("SELECT name FROM sqlite_master")}
        assert "qa_reading_keep_update" in names


@pytest.mark.django_db
def test_a_database_with_data_that_lacks_something_is_left_to_its_owner(people):
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'qa'")
    with pytest.raises(database.EarlierVersion, match="Keep a copy"):
        database.prepare(print)
    with pytest.raises(CommandError):
        call_command("first_lead", name="A", username="a", password_from_input=True)


@pytest.mark.skipif(sys.platform != "linux", reason="needs a mount of its own")
@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs root"
)
@pytest.mark.parametrize("words", [["serve", "--http", "0"], ["first_lead"]])
def test_a_home_that_cannot_be_written_is_told_in_one_line(tmp_path, words):
    """On media that even root cannot write."""
    home = tmp_path / "home"
    assert manage(home, "migrate", "-v0")[0] == 0
    mounted = "mount --bind {0} {0} && mount -o remount,bind,ro {0} && exec {1} "
    mounted = mounted.format(home, sys.executable) + " ".join(["manage.py", *words])
    done = subprocess.run(
        ["unshare", "--mount", "sh", "-c", mounted],
        env=surroundings(home),
        cwd=TREE,
        capture_output=True,
        text=True,
        input="Ann\nann\n",
    )
    if "mount:" in done.stderr or "unshare:" in done.stderr:
        pytest.skip("this machine lets nobody mount")
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
