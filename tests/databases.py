"""The databases of the tests: what the fixtures of tests/conftest.py stand on."""

import contextlib
import json
import os
import shutil
import sqlite3
import uuid

import pytest
from django.conf import settings
from django.db import connection, connections

from shop.environment import alone
from tests import locks
from tests.around import by_hand

# Which of several workers this is, "" where there is one.
WORKER = os.environ.get("PYTEST_XDIST_WORKER", "")


@pytest.fixture(scope="session")
def django_db_setup(
    django_test_environment,
    django_db_blocker,
    django_db_modify_db_settings,
    tmp_path_factory,
):
    """Make the test database; pytest-django's own leaves it out for `committed_db`.

    The worker that first wants one migrates it; others begin with a copy of that, in
    which there is nothing left to migrate.
    """
    from django.test.utils import setup_databases, teardown_databases

    shared = shared_folder(tmp_path_factory)
    options = {"verbosity": 0, "interactive": False, "aliases": {"default"}}
    made = []

    def make():
        made.extend(setup_databases(**options, serialized_aliases=frozenset()))

    with django_db_blocker.unblock():
        copy = take(shared, "migrated", lambda: migrated_by_the_first(shared, make))
    yield
    with django_db_blocker.unblock():
        let_go(shared, "migrated", copy)
        teardown_databases(made, verbosity=0)


def migrated_by_the_first(shared, make) -> str | None:
    """Call make(), which migrates; name of what the first one left to be copied."""
    if not WORKER:
        return make()
    there = (shared / "migrated.made").exists()
    if connection.vendor == "postgresql":
        usual = connection.creation._get_test_db_name()
        name = f"{usual.removesuffix(WORKER)}migrated"
        if there:
            connection.settings_dict["TEST"]["TEMPLATE"] = name
            make()
        else:
            make()
            with on_postgresql(usual, name, instead=True):
                pass
        return name
    name = str(shared / "migrated.sqlite3")
    memory = connection.creation._get_test_db_name()
    with (
        contextlib.closing(sqlite3.connect(memory, uri=True)) as own,
        contextlib.closing(sqlite3.connect(name)) as copy,
    ):
        if there:
            copy.backup(own)
            make()
        else:
            make()
            own.backup(copy)
    return name


def shared_folder(tmp_path_factory):
    """A folder of this run that all of its workers have."""
    own = tmp_path_factory.getbasetemp()
    return own.parent if WORKER else own


def take(shared, what, make) -> str | None:
    """What make() gives, which is called by one worker at a time."""
    with alone(shared / f"{what}.lock"):
        name = make()
        (shared / f"{what}.made").touch()
        users = shared / f"users of {what}"
        users.mkdir(exist_ok=True)
        (users / f"worker {WORKER}").touch()
    return name


def let_go(shared, what, name) -> None:
    """On PostgreSQL the last of those that took it drops it."""
    users = shared / f"users of {what}"
    with alone(shared / f"{what}.lock"):
        (users / f"worker {WORKER}").unlink()
        if name and connection.vendor == "postgresql" and not any(users.iterdir()):
            drop_database(name)
            (shared / f"{what}.made").unlink()


@pytest.fixture(scope="session")
def template_database(django_db_setup, django_db_blocker, tmp_path_factory):
    """A migrated database without rows, to be copied: its path, or its name."""
    if connection.vendor == "postgresql":
        return connection.settings_dict["NAME"]
    path = tmp_path_factory.mktemp("template") / "template.sqlite3"
    with django_db_blocker.unblock(), contextlib.closing(sqlite3.connect(path)) as copy:
        connection.ensure_connection()
        connection.connection.backup(copy)
    return str(path)


@pytest.fixture
def committed_db(template_database, django_db_blocker, tmp_path):
    """A fresh database of this test alone, for every connection of every thread.

    Yields the settings dict of the connection; its "NAME" tells where it lies.
    """
    with django_db_blocker.unblock(), copy_of(template_database, tmp_path) as made:
        yield made


@pytest.fixture(scope="session")
def demo_template(template_database, django_db_blocker, tmp_path_factory):
    """The demo, loaded by the worker that first wants it and copied by all: its path,
    or its name.

    Everybody's password is PASSWORD, kept as the product keeps it; a tablet is there.
    """
    shared = shared_folder(tmp_path_factory)
    with django_db_blocker.unblock():
        name = take(
            shared, "demo", lambda: made_by_the_first(template_database, shared)
        )
    yield name
    with django_db_blocker.unblock():
        let_go(shared, "demo", name)


def made_by_the_first(template, shared) -> str:
    """Load the demo unless it was; called by one worker at a time."""
    made = shared / "demo.made"
    if connection.vendor == "postgresql":
        # One name for all workers: "test_postgres_gw0" and its kin share it.
        name = f"{template.removesuffix(WORKER)}demo"
        if not made.exists():
            with on_postgresql(template, name, instead=True):
                load_demo(shared)
    else:
        name = str(shared / "demo.sqlite3")
        if not made.exists():
            with on_sqlite(template, name):
                load_demo(shared)
    return name


@contextlib.contextmanager
def files_in(folder):
    """Photos and papers lie there until the context ends."""
    usual, settings.MEDIA_ROOT = settings.MEDIA_ROOT, folder
    try:
        yield folder
    finally:
        settings.MEDIA_ROOT = usual


def load_demo(shared) -> None:
    from qa import demo
    from shop.actions import tablets
    from shop.models import Person
    from shop.serving import certificates
    from tests.conftest import slow_hash

    with locks.recorded() as held, files_in(shared / "photos of the demo"):
        demo.load()
    # Its packs are signed: whoever copies it has the shop's keys too.
    keys = shared / "keys of the demo"
    shutil.copytree(certificates.folder(), keys, dirs_exist_ok=True)
    told = {action: sorted(models) for action, models in held.items()}
    (shared / "locks.json").write_text(json.dumps(told))
    with by_hand():
        Person.objects.update(password=slow_hash())
    lead = Person.objects.filter(role="lead").order_by("pk")[0]
    tablets.enroll(by=lead, name="Hangar 1")


@pytest.fixture
def locks_of_the_demo(demo_template, tmp_path_factory) -> dict[str, list[str]]:
    """Which rows each action held while the demo was loaded (see tests/locks.py)."""
    return json.loads((shared_folder(tmp_path_factory) / "locks.json").read_text())


@pytest.fixture
def demo_db(demo_template, django_db_blocker, tmp_path, tmp_path_factory):
    """A copy of the demo for this test alone, where commits are real."""
    shared = shared_folder(tmp_path_factory)
    shutil.copytree(shared / "photos of the demo", tmp_path / "photos")
    keys = settings.HOME / "keys"
    shutil.copytree(shared / "keys of the demo", keys, dirs_exist_ok=True)
    with (
        django_db_blocker.unblock(),
        copy_of(demo_template, tmp_path) as made,
        files_in(tmp_path / "photos"),
    ):
        yield made


@contextlib.contextmanager
def copy_of(template, folder):
    """A copy of a database that is every connection's until the context ends."""
    if connection.vendor == "postgresql":
        name = f"{template}_{uuid.uuid4().hex[:8]}"
        try:
            with on_postgresql(template, name) as made:
                yield made
        finally:
            drop_database(name)
    else:
        with on_sqlite(template, folder / "fayline.sqlite3") as made:
            yield made


@contextlib.contextmanager
def on_sqlite(template, path):
    shutil.copyfile(template, path)
    outer = connections["default"]
    usual = outer.settings_dict["NAME"]
    # The usual one may live in memory: it must stay open to stay there.
    del connections["default"]
    settings.DATABASES["default"]["NAME"] = str(path)
    try:
        yield connections["default"].settings_dict
    finally:
        connections["default"].close()
        settings.DATABASES["default"]["NAME"] = usual
        connections["default"] = outer


@contextlib.contextmanager
def on_postgresql(template, name, *, instead=False):
    """instead: of one of this name that a run that was killed has left behind."""
    quoted, source = map(connection.ops.quote_name, (name, template))
    usual = settings.DATABASES["default"]["NAME"]
    connection.close()  # a template can be copied only while nobody uses it
    with connection._nodb_cursor() as cursor:
        # A thread of an earlier test may not have let go yet.
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s",
            [template],
        )
        if instead:
            cursor.execute(f"DROP DATABASE IF EXISTS {quoted} WITH (FORCE)")
        # Half the time for a small one; before PostgreSQL 15 there was no other way.
        how = "STRATEGY FILE_COPY" if connection.pg_version >= 150000 else ""
        cursor.execute(f"CREATE DATABASE {quoted} TEMPLATE {source} {how}")
    settings.DATABASES["default"]["NAME"] = name
    try:
        yield connection.settings_dict
    finally:
        connection.close()
        settings.DATABASES["default"]["NAME"] = usual


def drop_database(name) -> None:
    with connection._nodb_cursor() as cursor:
        cursor.execute(f"DROP DATABASE {connection.ops.quote_name(name)} WITH (FORCE)")
