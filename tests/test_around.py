"""The tests' own surroundings: what would make every other test worthless if wrong."""

import os
import socket
import threading

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from shop.management.commands.test import summary
from shop.models import Entry, Person
from shop.serving.server import open_door
from tests import around, warm
from tests.around import by_hand
from tests.conftest import leaving, refused


def add_from_another_thread(username):
    def add():
        with by_hand():
            Person.objects.create(username=username, name=username)
        connection.close()

    thread = threading.Thread(target=add)
    thread.start()
    thread.join()


@pytest.mark.parametrize("turn", ["first", "second"])
def test_each_test_gets_a_committed_database_of_its_own(turn, committed_db):
    assert not Person.objects.exists()
    add_from_another_thread(turn)
    connection.close()
    assert [person.username for person in Person.objects.all()] == [turn]


def test_the_copied_database_has_its_guards(committed_db):
    from django.db import IntegrityError
    from django.utils import timezone

    Entry.objects.create(
        act="00000000-0000-4000-8000-000000000001",
        form="probe/1",
        received_at=timezone.now(),
        fingerprint="0" * 64,
        body="{}",
        digest="0" * 64,
    )
    with pytest.raises(IntegrityError):
        Entry.objects.update(body="changed")


def test_the_usual_database_is_back_afterwards(db):
    assert not Person.objects.exists()


@pytest.mark.skipif(os.name == "nt", reason="two may listen on one port there")
def test_the_port_of_a_site_is_given_to_nobody_else_while_it_is_down(tmp_path):
    site = around.Site(tmp_path, {})
    for _start in range(2):
        with socket.socket() as other, pytest.raises(OSError, match="in use"):
            other.bind(("127.0.0.1", site.port))
        open_door("127.0.0.1", site.port, "--http").close()


def test_a_request_that_leaves_the_site_is_found_out(page, live_site):
    """The watch has teeth: what leaves is seen, though it gets nowhere."""
    page.goto(f"{live_site.url}/sign-in/")
    assert leaving(page.url) == []
    assert leaving("http://example.com/x.js") == [
        "left the site: http://example.com/x.js"
    ]
    assert leaving("http://127.0.0.1.example.com:80/") != []
    assert refused("Refused to load: Content Security Policy directive") != []


def test_the_browser_can_be_chosen_and_left_out(monkeypatch):
    monkeypatch.setenv("FAYLINE_CHROMIUM", "/opt/own/chromium")
    assert around.find_browser() == "/opt/own/chromium"
    monkeypatch.setenv("FAYLINE_CHROMIUM", "")
    assert around.find_browser() is None


@pytest.mark.skipif(not warm.CAN_FORK, reason="servers start cold here")
def test_a_warm_server_has_the_settings_and_the_database_of_a_cold_one(tmp_path):
    script = (
        "from django.conf import settings; from django.db import connection; "
        "names = sorted(name for name in dir(settings) if name.isupper()); "
        "print(connection.settings_dict, *((n, getattr(settings, n)) for n in names))"
    )

    def say(site):
        site.home.mkdir(exist_ok=True)
        process = site.run(["shell", "-v0", "-c", script], site.everything())
        assert process.wait() == 0
        return site.words()

    # The parent was of another home, and so was the child before.
    for name in ("first", "second"):
        home = tmp_path / name
        inches = {"FAYLINE_PAPER": "letter", "FAYLINE_TIME_ZONE": "America/Chicago"}
        site = around.Site(home, inches if name == "second" else {}, warm=True)
        said = say(site)
    assert f"{home}/fayline.sqlite3" in said and "letter" in said
    site.warm = False
    assert say(site) == said * 2


@pytest.mark.skipif(not warm.CAN_FORK, reason="servers start cold here")
def test_workers_share_one_parent_of_servers_until_none_is_there(tmp_path):
    environment = around.Site(tmp_path, {}).everything()
    first, second = (warm.Parent(f"\0 {tmp_path}") for _ in range(2))
    first.connect(environment, tmp_path)
    second.connect(environment, tmp_path)
    assert first.pid == second.pid == first.process.pid
    first.lines.close()
    assert second.ask() == first.pid
    second.lines.close()
    assert first.process.wait(60) == 0
    with socket.socket(socket.AF_UNIX) as here:
        here.bind(first.address)  # for the next to start one


def test_two_runs_are_told_in_one_closing_line():
    line = summary({"passed": 900, "skipped": 2}, {"passed": 300, "failed": 1}, 61.5)
    assert line.strip("=") == " 1 failed, 1200 passed, 2 skipped in 61.50s "


def test_a_new_shop_gets_its_lead_once_and_with_a_good_password(committed_db, capsys):
    import io
    import sys

    def first_lead(password, username="lena"):
        usual, sys.stdin = sys.stdin, io.StringIO(f"{password}\n")
        try:
            said = {"name": "Lena Marsh", "username": username}
            call_command("first_lead", **said, password_from_input=True)
        finally:
            sys.stdin = usual

    with pytest.raises(CommandError, match="too short"):
        first_lead("short")
    first_lead("Tow-rope-88")
    lena = Person.objects.get()
    assert (lena.role, lena.check_password("Tow-rope-88")) == ("lead", True)
    entry = Entry.objects.get()
    assert entry.form == "first_person/1"
    assert "Tow-rope" not in entry.body
    with pytest.raises(CommandError, match="people already"):
        first_lead("Tow-rope-89", "tomas")


def test_a_first_lead_nobody_types_is_told_in_plain_words(committed_db, monkeypatch):
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO())
    with pytest.raises(CommandError, match="nobody was added"):
        call_command("first_lead")


def test_what_a_file_set_up_is_set_up_by_one_worker(request):
    """By the group in the name, which the library that spreads the tests puts there."""
    if not hasattr(request.config, "workerinput"):
        pytest.skip("one process runs all files")
    assert request.node.nodeid.endswith("@test_around")
