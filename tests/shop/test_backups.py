"""Backups hold what was acknowledged, say when they do not, and come back whole."""

import io
import json
import os
import random
import shutil
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.actions import tooling
from shop.actions.backups import plan_backups
from shop.actions.photos import add_photo
from shop.ledger import perform, sealer
from shop.ledger.verify import verify
from shop.models import BackupPlan, Entry, Photo, Tool
from shop.queries import backups as queries
from shop.serving import (
    backup_files,
    backups,
    database,
    nightly,
    other_databases,
    restoring,
)
from shop.serving.backups import record_backup
from tests.around import by_hand
from tests.conftest import make_people
from tests.qa.making import make_check, read, refit

from .making_floor import make_tool
from .test_home import manage, surroundings
from .test_ledger import unguarded
from .test_photos import picture

# How often a backup is taken of a busy shop: 50 in a long run.
ROUNDS = int(os.environ.get("FAYLINE_BACKUPS", "3"))
FLIPS = 40
# Between two acts of somebody who works: without it they leave a backup no time.
PAUSE_S = 0.02


@pytest.fixture(autouse=True)
def photos_of_this_test(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "photos"


@pytest.fixture
def shop_with_a_photo(committed_db):
    people = make_people()
    check = make_check(people["engineer"])
    read(check, "1", "gap", "2.00")
    refit(people["engineer"], check.fit_up)
    tool = make_tool(people["lead"])
    what = {"subject_kind": "tool", "subject_id": str(tool.pk)}
    add_photo(by=people["builder"], content=picture(size=(320, 240)), **what)
    return people


def acts_in(database):
    with closing(sqlite3.connect(database)) as there:
        return {row[0] for row in there.execute("SELECT act FROM shop_entry")}


# ------------------------------------------------------------------- made, checked


def test_a_backup_of_either_database_holds_and_comes_back_as_it_was(
    shop_with_a_photo, tmp_path
):
    Client().force_login(shop_with_a_photo["lead"])
    sealer.seal()
    head, photo = sealer.head(), Photo.objects.get()
    made = backups.make(tmp_path / "elsewhere")
    assert made.manifest.faults == [] and backups.faults_of(made) == []
    assert made.manifest.sealed == list(head)
    [[name, size, digest]] = made.manifest.files
    assert (name, digest) == (photo.file_name, photo.sha256)
    assert size == (made.store / name).stat().st_size
    with closing(sqlite3.connect(made.database)) as copy:
        assert copy.execute("SELECT count(*) FROM shop_session").fetchone() == (0,)
    home = tmp_path / "new home"
    code, words = manage(home, "restore", str(tmp_path / "elsewhere"))
    assert code == 0, words
    newest = Entry.objects.latest("id")
    assert f"{Entry.objects.count()} acts. The newest is number {newest.pk}" in words
    code, words = manage(home, "ledger", "verify", "--expect", *map(str, head))
    assert code == 0, words
    with closing(sqlite3.connect(home / "fayline.sqlite3")) as there:
        reasons = "SELECT reason FROM shop_incarnation ORDER BY started_at"
        assert there.execute(reasons).fetchall()[-1] == ("restored",)
        assert there.execute("SELECT count(*) FROM shop_session").fetchone() == (0,)
    code, words = manage(home, "restore", str(made.folder))
    assert code == 1 and "is there already" in words


def test_a_backup_of_a_busy_shop_is_a_moment_of_it_and_nothing_saved_before_lacks(
    committed_db, tmp_path
):
    """What was acknowledged before it began is in it; what is in it was said."""
    people, ended = make_people(), threading.Event()
    acknowledged, faults = [], []

    def work(tool):
        try:
            while not ended.wait(PAUSE_S):
                tooling.act_on_tool(
                    by=people["lead"], tool=tool, kind="moved", note="x"
                )
                acknowledged.append(Entry.objects.latest("id").act.hex)
        except Exception as error:
            faults.append(repr(error))
        finally:
            connection.close()

    tools = [make_tool(people["lead"]) for _ in range(3)]
    threads = [threading.Thread(target=work, args=(tool,)) for tool in tools]
    for thread in threads:
        thread.start()
    dice = random.Random(7)
    try:
        for _round in range(ROUNDS):
            grown = len(acknowledged) + dice.randrange(1, 30)
            while len(acknowledged) < grown and not faults:
                threading.Event().wait(0.001)
            before = set(acknowledged)
            made = backups.make(tmp_path / "elsewhere")
            assert made.manifest.faults == [] and not faults
            inside = {act.replace("-", "") for act in acts_in(made.database)}
            assert before <= inside
            said = {act.hex for act in Entry.objects.values_list("act", flat=True)}
            assert inside <= said
    finally:
        ended.set()
        for thread in threads:
            thread.join()


@pytest.mark.either_database
def test_any_byte_that_changed_in_a_backup_is_found(shop_with_a_photo, tmp_path):
    made = backups.make(tmp_path / "elsewhere")
    dice = random.Random(3)
    photo = made.store / made.manifest.files[0][0]
    for path in (made.database, photo, made.folder / backup_files.MANIFEST):
        whole = path.read_bytes()
        for _flip in range(FLIPS if path != made.database else 3):
            at = dice.randrange(len(whole))
            flipped = bytes([whole[at] ^ (1 << dice.randrange(8))])
            path.write_bytes(whole[:at] + flipped + whole[at + 1 :])
            try:
                found = backups.faults_of(backup_files.open_backup(made.folder))
            except backup_files.NoBackup as why:
                found = [str(why)]
            assert found, f"{path} at {at}"
        path.write_bytes(whole)
    assert backups.faults_of(backup_files.open_backup(made.folder)) == []
    photo.unlink()
    assert backups.faults_of(made) == [
        f"{photo} is gone",
        f"shop_photo {Photo.objects.get().pk}: its file {photo.relative_to(made.store)}"
        " is gone",
    ]


@pytest.mark.either_database
def test_a_newest_backup_that_cannot_be_read_is_never_passed_over_in_silence(
    shop_with_a_photo, tmp_path
):
    place, day = tmp_path / "elsewhere", timedelta(days=1)
    older, newer = (
        backups.make(place, now=timezone.now() + n * day).folder for n in (0, 1)
    )
    (newer / backup_files.MANIFEST).write_text("{")
    with pytest.raises(CommandError, match=f"{newer.name}.*cannot be read"):
        call_command("backup", place, check=True)
    code, words = manage(tmp_path / "home", "restore", str(place))
    assert code == 0 and f"Passed over: {newer}" in words and older.name in words
    call_command("backup", older, check=True)
    (older / backup_files.MANIFEST).unlink()
    with pytest.raises(CommandError, match=f"{newer.name}.*cannot be read"):
        call_command("backup", place, check=True)


@pytest.mark.either_database
def test_records_that_cannot_be_written_any_more_are_backed_up(
    shop_with_a_photo, tmp_path
):
    on_sqlite = connection.vendor == "sqlite"
    only_read = (
        "PRAGMA query_only" if on_sqlite else "SET default_transaction_read_only"
    )
    with connection.cursor() as cursor:
        cursor.execute(f"{only_read} = on")
        try:
            with pytest.raises(CommandError) as told:
                call_command("backup", tmp_path / "elsewhere")
            with pytest.raises(DatabaseError) as why:
                cursor.execute("DELETE FROM shop_session")
        finally:
            cursor.execute(f"{only_read} = off")
    assert "It was written, but:\n  it could not be put on record" in str(told.value)
    assert "Restore" not in (words := database.unreadable(why.value))
    assert "cannot be written" in words
    call_command("backup", tmp_path / "elsewhere", check=True)


@pytest.mark.either_database
def test_what_does_not_hold_in_the_records_is_said_and_backed_up_all_the_same(
    shop_with_a_photo, tmp_path
):
    unguarded("UPDATE qa_reading SET value = '1.99'")
    made = backups.make(tmp_path / "elsewhere")
    assert "value is '1.99'" in " ".join(made.manifest.faults)
    home = tmp_path / "new home"
    code, words = manage(home, "restore", str(made.folder))
    assert code == 1 and "does not hold" in words
    assert not (home / "fayline.sqlite3").exists()
    code, words = manage(home, "restore", str(made.folder), "--despite-faults")
    assert code == 1 and "Restored" in words and "value is '1.99'" in words


@pytest.mark.either_database
def test_photos_are_not_copied_twice_and_go_with_the_last_backup_that_names_them(
    shop_with_a_photo, tmp_path
):
    place, moment = tmp_path / "elsewhere", datetime(2026, 1, 1, 2, tzinfo=UTC)
    first = backups.make(place, now=moment)
    photo = first.store / Photo.objects.get().file_name
    written = photo.stat().st_mtime_ns
    stray = first.store / "00" / f"{'0' * 64}.jpg"
    stray.parent.mkdir()
    shutil.copy(photo, stray)
    for day in (1, 2, 40):
        backups.make(place, now=moment + timedelta(days=day))
    assert photo.stat().st_mtime_ns == written
    foreign = place / "files" / "contract.pdf"
    foreign.write_text("mine")
    last = backups.make(place, rule=(1, 0, 0), now=moment + timedelta(days=50))
    assert [one.folder for one in backup_files.whole_backups(place)] == [last.folder]
    assert photo.exists() and foreign.exists() and not stray.exists()


@pytest.mark.either_database
def test_a_photo_damaged_at_home_does_not_take_the_place_of_the_good_one(
    shop_with_a_photo, tmp_path, settings
):
    place = tmp_path / "elsewhere"
    first, name = backups.make(place), Photo.objects.get().file_name
    whole = (first.store / name).read_bytes()
    at_home = settings.MEDIA_ROOT / name
    at_home.write_bytes(whole[:100])
    second = backups.make(place)
    assert backups.faults_of(first) == backups.faults_of(second) == []
    # The other way round: what was damaged in the store is healed from home.
    at_home.write_bytes(whole)
    (first.store / name).write_bytes(whole[:-1] + b"x")
    assert backups.faults_of(first) != []
    assert backups.make(place).manifest.faults == []
    assert backups.faults_of(first) == []


@pytest.mark.either_database
def test_a_photo_that_holds_something_else_at_home_is_not_said_to_be_gone(
    shop_with_a_photo, tmp_path, settings
):
    photo = Photo.objects.get()
    at_home = settings.MEDIA_ROOT / photo.file_name
    whole = at_home.read_bytes()
    at_home.write_bytes(whole[:-1] + b"x")
    made = backups.make(tmp_path / "elsewhere")
    words = f"shop_photo {photo.pk}: its file {photo.file_name} is not what was written"
    assert made.manifest.faults == backups.faults_of(made) == [words]
    with pytest.raises(CommandError, match="hold something else") as told:
        call_command("export", tmp_path / "shop.zip", stdout=io.StringIO())
    assert photo.file_name in str(told.value)
    at_home.unlink()
    made = backups.make(tmp_path / "elsewhere")
    words = f"shop_photo {photo.pk}: its file {photo.file_name} is gone"
    assert made.manifest.faults == backups.faults_of(made) == [words]


# Reading it at its beginning is an input/output error, as of a disk that fails.
UNREADABLE = Path("/proc/self/mem")


@pytest.mark.either_database
@pytest.mark.skipif(not UNREADABLE.exists(), reason="a file of Linux")
def test_a_photo_that_a_disk_does_not_give_out_is_named_and_all_else_is_kept(
    shop_with_a_photo, tmp_path, settings
):
    lead, place = shop_with_a_photo["lead"], tmp_path / "elsewhere"
    what = {"subject_kind": "tool", "subject_id": str(Tool.objects.get().pk)}
    add_photo(by=lead, content=picture(size=(200, 200)), **what)
    bad, good = (photo.file_name for photo in Photo.objects.order_by("pk"))
    at_home = settings.MEDIA_ROOT / bad
    whole = at_home.read_bytes()
    at_home.unlink()
    at_home.symlink_to(UNREADABLE)
    plan_backups(by=lead, place=str(place))
    with pytest.raises(CommandError) as told:
        call_command("backup", place, stdout=io.StringIO())
    words = f"{bad} cannot be read (Input/output error)"
    assert "It was written, but" in str(told.value) and words in str(told.value)
    [made] = backup_files.whole_backups(place)
    assert [name for name, *_ in made.manifest.files] == [good]
    assert queries.concern().code == "faults"  # so Today says it
    assert any(words in fault for fault in backups.faults_of(made))
    # The other way round: what was kept is not given out when it is wanted.
    at_home.unlink()
    at_home.write_bytes(whole)
    made = backups.make(place)
    assert made.manifest.faults == []
    (made.store / bad).unlink()
    (made.store / bad).symlink_to(UNREADABLE)
    home = tmp_path / "home"
    code, words = manage(home, "restore", str(made.folder), "--despite-faults")
    assert code == 1 and f"{bad} cannot be read (Input/output error)" in words
    assert "Restored" in words and (home / "photos" / good).is_file()


@pytest.mark.either_database
def test_a_database_that_was_cut_off_or_damaged_is_told_in_a_line(
    shop_with_a_photo, tmp_path
):
    made, home = backups.make(tmp_path / "elsewhere"), tmp_path / "home"
    whole = made.database.read_bytes()
    cut, page = whole[: len(whole) // 2], 4096
    third = len(whole) // 3 // page * page
    damaged = whole[:third] + random.Random(5).randbytes(20 * page)
    damaged += whole[third + 20 * page :]
    for content in (cut, damaged):
        made.database.write_bytes(content)
        with pytest.raises(CommandError) as told:
            call_command("backup", made.folder, check=True)
        heading, *faults = str(told.value).splitlines()
        assert "is not what was written" in faults[0] and len(faults) == 2
        assert "malformed" in faults[1] or "is damaged (" in faults[1]
    code, words = manage(home, "restore", str(made.folder), "--despite-faults")
    assert code == 1 and words.endswith("(database disk image is malformed).")
    assert "Traceback" not in words and not (home / "fayline.sqlite3").exists()
    (home / "fayline.sqlite3").write_bytes(cut)
    for command in (
        ("serve", "--http", "0"),
        ("backup", str(tmp_path / "another")),
        ("export", str(tmp_path / "shop.zip")),
    ):
        code, words = manage(home, *command)
        assert code == 1 and "Traceback" not in words
        assert "cannot be used (database disk image is malformed)" in words
        assert "Restore a copy of it" in words


def test_a_folder_with_other_things_is_no_place_for_backups(db, tmp_path):
    (tmp_path / "letter").write_text("mine")
    with pytest.raises(backups.CannotBackUp, match="holds other things"):
        backups.make(tmp_path)


@pytest.mark.either_database
def test_a_restore_that_fails_leaves_nothing_behind(shop_with_a_photo, tmp_path):
    made, home = backups.make(tmp_path / "elsewhere"), tmp_path / "home"

    def left() -> list[str]:
        names = {path.name for path in home.iterdir()}
        return sorted(names - {"secret.key", "static", "serving.lock"})

    later = replace(
        made.manifest, migrations=[*made.manifest.migrations, ["qa", "9999_later"]]
    )
    backup_files.write_manifest(made.folder, later)
    code, words = manage(home, "restore", str(made.folder))
    assert (code, left()) == (1, []) and "of a later release" in words
    backup_files.write_manifest(made.folder, made.manifest)
    (made.store / Photo.objects.get().file_name).unlink()
    code, words = manage(home, "restore", str(made.folder))
    assert (code, left()) == (1, []) and "does not hold" in words
    code, words = manage(home, "restore", str(made.folder), "--despite-faults")
    assert (code, left()) == (1, ["fayline.sqlite3", "photos"]), words


@pytest.mark.either_database
def test_half_a_backup_is_none_and_the_next_one_clears_it_away(
    shop_with_a_photo, tmp_path, monkeypatch
):
    place = tmp_path / "elsewhere"

    def cut_off(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as full:
        full.setattr(backup_files, "write_durably", cut_off)
        with pytest.raises(backups.CannotBackUp, match="No space left on device"):
            backups.make(place)
    assert backup_files.whole_backups(place) == []
    (place / ".making-killed" / "whole").mkdir(parents=True)
    backups.make(place)
    assert not list(place.glob(".making-*"))


def test_a_backup_inside_of_what_it_copies_is_refused(db, settings):
    with pytest.raises(backups.CannotBackUp, match="on another disk"):
        backups.make(settings.HOME / "backups")


# ---------------------------------------------------------------- a plain copy


def test_a_plain_copy_of_a_database_in_use_is_noticed_and_its_log_is_taken_along(
    tmp_path,
):
    live, bare, with_log = (tmp_path / name for name in ("live", "bare", "with log"))
    with closing(sqlite3.connect(live)) as shop:
        shop.execute("PRAGMA journal_mode=WAL")
        shop.execute("CREATE TABLE a (b)")
        shop.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        shop.execute("INSERT INTO a VALUES (1)")
        shop.commit()
        shutil.copy(live, bare)
        shutil.copy(live, with_log)
        shutil.copy(f"{live}-wal", f"{with_log}-wal")
    assert "is lost" in restoring.plain_copy_words(bare)
    assert "is taken along" in restoring.plain_copy_words(with_log)
    rows = []
    for source in (bare, with_log):
        target = tmp_path / "target"
        restoring._copy_with_log(source, target)
        with closing(sqlite3.connect(target)) as copy:
            rows.append(copy.execute("SELECT count(*) FROM a").fetchone()[0])
        target.unlink()
    assert rows == [0, 1]
    letter = tmp_path / "letter"
    letter.write_text("Dear shop")
    assert "neither" in restoring.plain_copy_words(letter)


# ------------------------------------------------------------------ which are kept

MOMENTS = st.datetimes(
    datetime(2025, 1, 1), datetime(2027, 1, 1), timezones=st.just(UTC)
)


def of_moments(moments):
    for moment in moments:
        manifest = backup_files.Manifest(
            backup_files.stamp(moment), "", [], "", 0, [], {}, []
        )
        yield backup_files.Backup(f"at {moment}", manifest)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(MOMENTS, min_size=1, max_size=60, unique=True),
    st.tuples(st.integers(1, 9), st.integers(0, 6), st.integers(0, 14)),
)
def test_the_newest_of_so_many_days_weeks_and_months_are_kept(moments, rule):
    made = list(of_moments(moments))
    gone = backups.outlived(made, rule)
    left = [one for one in made if one not in gone]
    when = sorted(one.manifest.when for one in made)
    stays = {one.manifest.when for one in left}
    assert when[-1] in stays
    assert {moment for moment in when if when[-1] - moment < timedelta(days=1)} <= stays
    for count, key in zip(
        rule,
        (
            lambda one: one.date(),
            lambda one: one.isocalendar()[:2],
            lambda one: (one.year, one.month),
        ),
        strict=True,
    ):
        periods = sorted({key(moment) for moment in when}, reverse=True)[:count]
        for period in periods:
            assert max(one for one in when if key(one) == period) in stays
    # Each that stays has a reason; so there are never more than the rule allows.
    recent = sum(1 for one in when if when[-1] - one < timedelta(days=1))
    assert len(left) <= recent + 1 + sum(rule)


# ------------------------------------------------------------- by itself, on a page


def test_a_backup_is_due_at_its_hour_after_much_work_and_again_after_it_failed(people):
    assert not queries.is_due(queries.plan_now())
    # Half a day away: whatever the clock says, the hour does not come in between.
    hour = (timezone.localtime().hour + 12) % 24
    plan_backups(by=people["lead"], place="/mnt/b", hour=hour, busy_acts=3)
    plan = queries.plan_now()
    assert queries.is_due(plan)  # Said just now: the lead sees whether it works.
    record_backup(place="/mnt/b", folder="backup-1")
    made = Entry.objects.latest("id").received_at
    slot = timezone.localtime(made).replace(minute=0, second=0, microsecond=0)
    slot += timedelta(hours=12)
    assert not queries.is_due(plan, slot - timedelta(seconds=1))
    assert queries.is_due(plan, slot)
    for _act in range(3):
        assert not queries.is_due(plan, made + timedelta(minutes=61))
        with perform("work/1", by=people["lead"], said={}):
            pass
    assert not queries.is_due(plan, made + timedelta(minutes=59))
    assert queries.is_due(plan, made + timedelta(minutes=61))
    record_backup(place="/mnt/b", problem="No space left on device")
    failed = Entry.objects.latest("id").received_at
    assert not queries.is_due(plan, failed + timedelta(minutes=59))
    assert queries.is_due(plan, failed + timedelta(minutes=61))


def test_the_lead_is_told_what_is_wrong_with_the_backups(people, client_of):
    today, page = reverse("front"), reverse("backups")

    def told(role="lead"):
        return client_of(role).get(today).content.decode()

    assert "one broken disk takes everything" in told()
    assert "one broken disk" not in told("builder")
    # Whoever makes them by hand or by a timetable of the computer's has some.
    later = timezone.now() + timedelta(hours=37)
    record_backup(place="/mnt/by-hand", folder="backup-0")
    assert queries.concern() is None and queries.concern(later).code == "old"
    record_backup(place="/mnt/by-hand", problem="No space left on device")
    assert queries.concern().code == "failed"
    plan_backups(by=people["lead"], place="/mnt/b")
    assert queries.concern() is None
    record_backup(place="/mnt/b", folder="backup-1", acts=12)
    assert queries.concern() is None
    assert queries.concern(later).code == "old"
    record_backup(place="/mnt/b", problem="No space left on device")
    assert "No space left on device" in told()
    shown = client_of("lead").get(page).content.decode()
    assert "No space left on device" in shown and "(no longer there)" in shown
    record_backup(place="/mnt/b", folder="backup-2", faults=1)
    assert queries.concern().code == "faults"
    # One made elsewhere by hand is none of those that the shop counts on.
    record_backup(place="/mnt/other", folder="backup-3")
    assert queries.concern().code == "faults"


def test_only_the_lead_says_where_backups_go_and_a_useless_place_is_refused(
    people, client_of, settings
):
    for role in ("builder", "engineer", "inspector", "visitor"):
        with pytest.raises(PermissionDenied):
            plan_backups(by=people[role], place="/mnt/b")
    start = {"hour": 2, "busy_acts": 500, "days": 7, "weeks": 5, "months": 12}
    for place in ("backups", str(settings.HOME / "backups")):
        answer = client_of("lead").post(
            reverse("plan_backups"), {**start, "place": place}
        )
        assert list(answer.context["form"].errors) == ["place"]
    assert not BackupPlan.objects.exists()


def test_the_server_makes_one_in_a_process_of_its_own_and_puts_on_record_how_it_went(
    shop_with_a_photo, tmp_path, monkeypatch
):
    home = tmp_path / "home"
    home.mkdir()
    environment = surroundings(home)
    if connection.vendor == "sqlite":
        other_databases.copy_database(home / "fayline.sqlite3")
    else:
        usual, _, _ = os.environ["DATABASE_URL"].rpartition("/")
        environment["DATABASE_URL"] = f"{usual}/{connection.settings_dict['NAME']}"
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    # Beside other tests it would be last of all.
    monkeypatch.setattr(nightly, "NICER", 0)
    acts = Entry.objects.count()
    plan = BackupPlan(place=str(tmp_path / "elsewhere"))
    nightly.make_one(plan)
    said = json.loads(Entry.objects.latest("id").body)["said"]
    assert (said["problem"], said["acts"], said["faults"]) == ("", acts, 1)
    [made] = backup_files.whole_backups(tmp_path / "elsewhere")
    assert made.folder.name == said["folder"]
    plan.place = str(tmp_path / "home" / "inside")
    nightly.make_one(plan)
    assert "on another disk" in queries.attempts()[0].problem


def test_a_copy_is_of_one_moment_and_ends_while_somebody_saves_without_a_pause(
    committed_db, tmp_path, monkeypatch
):
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL is read within one transaction")
    make_people()
    sealer.seal()
    before = Entry.objects.count()
    # Of so small a database all pages would come at one go.
    monkeypatch.setattr(other_databases, "PAGES", 20)
    copied, copy = threading.Event(), tmp_path / "copy.sqlite3"

    def save() -> int:
        acts = 0
        while acts < 3000 and not copied.is_set():
            with by_hand():
                acts += 1
        connection.close()
        return acts

    with ThreadPoolExecutor() as pool:
        saver = pool.submit(save)
        while Entry.objects.count() < before + 3:
            continue
        other_databases.copy_database(copy)
        copied.set()
        assert saver.result() < 3000, "it began anew after each save"
    made = other_databases.of_file(copy, read_only=True)
    with other_databases.records_in(made, tmp_path / "files"):
        assert before < Entry.objects.count()
        assert verify().faults == ()
