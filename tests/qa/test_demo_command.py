"""`manage.py demo` as its user meets it: sign-ins, a second start, --reset."""

import re
import shutil
import sqlite3
import urllib.error
import urllib.parse
import urllib.request
from contextlib import closing
from http.cookiejar import CookieJar

import pytest

from qa.management.commands.demo import MARK
from tests.around import Site


class Demo(Site):
    command = ("demo", "--port")

    def people(self) -> set[str]:
        with closing(sqlite3.connect(self.home / "fayline.sqlite3")) as database:
            rows = database.execute(
                "SELECT username FROM shop_person WHERE is_demo AND is_active"
            )
            return {username for (username,) in rows}

    def forget_words(self) -> None:
        self.log.unlink()


@pytest.fixture(scope="module")
def demo(template_database, tmp_path_factory):
    """Started anew over what another version of the product left."""
    home = tmp_path_factory.mktemp("home") / "demo"
    (home / "photos").mkdir(parents=True)
    (home / "photos" / "one.jpg").write_bytes(b"")
    (home / MARK).touch()
    (home / "loaded").touch()
    shutil.copyfile(template_database, home / "fayline.sqlite3")
    with closing(sqlite3.connect(home / "fayline.sqlite3")) as database, database:
        database.execute("UPDATE django_migrations SET name = 'old' WHERE app = 'qa'")
    demo = Demo(home, {})
    try:
        with pytest.raises(RuntimeError, match="version of Fayline. Start it anew"):
            demo.start()
        assert (home / "photos" / "one.jpg").exists()
        demo.forget_words()
        yield demo.start("--reset")
    finally:
        demo.kill()


def sign_ins(words):
    """(username, password, role) of the lines below "Sign in as"."""
    lines = re.findall(r"^  (\S+) +(\S+) +(\S+)$", words, re.MULTILINE)
    return {username: (password, role) for username, password, role in lines}


def sign_in(demo, username, password):
    """The address where signing in through the page ends."""
    cookies = urllib.request.HTTPCookieProcessor(CookieJar())
    opener = urllib.request.build_opener(cookies)
    page = opener.open(f"{demo.url}/sign-in/").read().decode()
    token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)[1]
    said = {"username": username, "password": password, "csrfmiddlewaretoken": token}
    body = urllib.parse.urlencode(said).encode()
    return opener.open(f"{demo.url}/sign-in/", body).url


def test_it_says_its_address_and_a_sign_in_for_every_role(demo):
    words = demo.words()
    assert f"Fayline is on {demo.url}/" in words
    found = sign_ins(words)
    roles = {role for _, role in found.values()}
    assert roles == {"builder", "lead", "engineer", "inspector", "visitor"}
    assert found.keys() == demo.people()
    username, (password, _) = next(iter(found.items()))
    # What was claimed in somebody's name comes first.
    front = f"{demo.url}/"
    assert sign_in(demo, username, password) in (front, f"{front}claims/?next=%2F")


def test_started_anew_it_has_nothing_of_before_and_a_second_start_keeps_the_data(demo):
    assert "Loading the demo" in demo.words()
    assert not (demo.home / "photos" / "one.jpg").exists()
    said_first = sign_ins(demo.words())
    assert demo.stop() == 0
    with closing(sqlite3.connect(demo.home / "fayline.sqlite3")) as database, database:
        database.execute("UPDATE shop_person SET name = 'Kept' WHERE role = 'lead'")

    demo.forget_words()
    demo.start()
    assert "Loading the demo" not in demo.words()
    assert sign_ins(demo.words()) == said_first
    assert names(demo, "lead") == {"Kept"}
    assert demo.stop() == 0


def names(demo, role):
    with closing(sqlite3.connect(demo.home / "fayline.sqlite3")) as database:
        query = "SELECT name FROM shop_person WHERE role = ?"
        return {name for (name,) in database.execute(query, [role])}
