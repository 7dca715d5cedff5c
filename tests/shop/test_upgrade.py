"""What a release wrote is read by every release after it: tests/releases/make.py."""

import shutil
import sqlite3
import tarfile
from contextlib import closing

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.urls import reverse

from qa.models import Instrument
from shop.ledger.verify import verify
from shop.models import Entry, Person
from shop.serving import backup_files, backups, database
from tests.around import TREE
from tests.databases import on_sqlite

from .test_home import manage

RELEASES = sorted((TREE / "tests" / "releases").glob("*.tar.xz"))
# Python 3.11.2, that of Debian 12, knows no filter yet.
SAFELY = {"filter": "data"} if hasattr(tarfile, "data_filter") else {}
PAGES = "front parts checks joints nonconformances tooling materials airframes packs"


def test_there_is_a_release_to_come_from():
    assert RELEASES


@pytest.mark.skipif(connection.vendor != "sqlite", reason="a backup is SQLite's file")
@pytest.mark.parametrize("archive", RELEASES, ids=lambda path: path.name)
def test_the_records_of_an_earlier_release_are_migrated_and_hold(
    archive, tmp_path, settings, django_db_blocker, db, client
):
    with tarfile.open(archive) as packed:
        packed.extractall(tmp_path, **SAFELY)  # noqa: S202 -- our own
    kept = backup_files.open_backup(tmp_path)
    assert backups.faults_of(kept) == []
    code, words = manage(tmp_path / "home", "restore", str(tmp_path))
    newest = (
        f"{kept.manifest.entries} acts. The newest is number {kept.manifest.entries}"
    )
    assert code == 0 and newest in words, words
    settings.MEDIA_ROOT = shutil.copytree(kept.store, tmp_path / "photos")
    with closing(sqlite3.connect(kept.database)) as before:
        count = "SELECT count(*) FROM qa_reading"
        [readings] = before.execute(count).fetchone()
    with on_sqlite(kept.database, tmp_path / "fayline.sqlite3"):
        if not database.is_of_this_release():
            with pytest.raises(database.EarlierVersion):
                database.prepare(print)
            for command in (("ledger", "verify"), ("backup", str(tmp_path / "kept"))):
                with pytest.raises(CommandError, match="then run: .* migrate"):
                    call_command(*command)
        call_command("migrate", verbosity=0)
        report = verify(expect=tuple(kept.manifest.sealed))
        assert report.faults == ()
        # One act more: how each instrument stood when standings began to be kept.
        assert report.entries == kept.manifest.entries + 1
        lost = Instrument.objects.get(code="FL-2")
        first, then = lost.standings.all()
        said = Entry.objects.filter(form="instrument/1", body__contains='"FL-2"')
        assert (first.status, then.status) == ("in_use", "lost")
        assert then.since == lost.stands_since == said.get().received_at
        assert not Instrument.objects.filter(standings=None).exists()
        leaves = Instrument.objects.get(code="FL-1")
        assert leaves.found_off_on == leaves.calibrations.first().done_on
        with connection.cursor() as cursor:
            assert cursor.execute(count).fetchone() == (readings,) and readings
        client.force_login(Person.objects.get(username="lena"))
        for name in PAGES.split():
            assert client.get(reverse(name)).status_code == 200, name
        for row in Instrument.objects.all():
            assert client.get(reverse("instrument", args=[row.pk])).status_code == 200
