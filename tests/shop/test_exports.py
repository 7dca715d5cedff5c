"""An export can be read without us, comes back equal, and takes nothing that is odd."""

import contextlib
import hashlib
import io
import json
import os
import random
import zipfile

import pytest
from django.apps import apps
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import models

from shop.actions import tablets
from shop.actions.people import add_first_lead
from shop.actions.signing_in import prove_password
from shop.ledger import Refused, kept_files, perform, sealer
from shop.ledger.verify import verify
from shop.models import Person, RecoveryCode, SecondFactor, Tablet
from shop.serving import export_schema, exporting
from shop.serving.export_files import MANIFEST, SCHEMA, NoExport, Opened
from shop.serving.importing import fill, refuse_other
from shop.serving.other_databases import of_file, records_in
from shop.serving.table_copies import LEFT_OUT
from tests.conftest import PASSWORD, make_people

NAMES_AND_COUNTS = """
    at busy_acts clashes coats coats_new conforms count does_not_conform done
    expected_life first_line head_position inside issue key last last_line last_pull
    last_step
    late line_number missing not_proven number order origin_id out pages passes position
    pulls_since_service pulls_since_wax read_to read_up_to released repeats rewax_every
    seq service_interval sessions_ended skipped subject_id surface turn unsealed wanted
    without_limits
"""
# What an import adds: which copy this is, and its own act.
PLAIN = {"sort_keys": True, "separators": (",", ":"), "ensure_ascii": False}
ITS_OWN = {"shop_incarnation", "shop_entry", "shop_seal"}


def content(path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as file:
        assert file.testzip() is None
        return {name: file.read(name) for name in file.namelist()}


def rows(members: dict, table: str) -> list[dict]:
    lines = members[f"tables/{table}.jsonl"].splitlines()
    return sorted(map(json.loads, lines), key=lambda row: json.dumps(row))


def write(path, members: dict, **manifest) -> None:
    """Write an export by hand, with a manifest that says what is in it."""
    said = json.loads(members[MANIFEST])
    said.pop("sha256")
    for name, data in members.items():
        if name != MANIFEST:
            said["files"][name] = [len(data), hashlib.sha256(data).hexdigest()]
    said |= manifest
    plain = json.dumps(said, **PLAIN)
    said["sha256"] = hashlib.sha256(plain.encode()).hexdigest()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in members.items():
            if name != MANIFEST:
                file.writestr(name, data)
        file.writestr(MANIFEST, json.dumps(said))


@pytest.fixture
def small(committed_db, settings, tmp_path):
    """An export of a small shop with a tablet, and its members."""
    settings.MEDIA_ROOT = tmp_path / "photos"
    people = make_people()
    tablets.enroll(by=people["lead"], name="Bench")
    with perform("factor_of_the_test/1", by=people["lead"]) as act:
        said = {"person": people["lead"], "sealed_secret": "x", "set_at": act.now}
        factor = SecondFactor.objects.create(**said)
        for digest in ("a", "b"):
            RecoveryCode.objects.create(factor=factor, sha256=digest * 64)
    path = tmp_path / "shop.zip"
    call_command("export", str(path))
    return path, content(path)


@contextlib.contextmanager
def site_in(home, settings):
    """Let a home that is empty be this process's site."""
    home.mkdir(exist_ok=True)
    settings.HOME = home
    with records_in(of_file(home / "fayline.sqlite3"), home / "photos"):
        yield


def test_every_row_of_the_demo_comes_back_equal_with_the_same_ledger(
    demo_db, tmp_path, settings
):
    first, again = tmp_path / "demo.zip", tmp_path / "again.zip"
    head = sealer.head()
    call_command("export", str(first), "--with-secrets")
    told = content(first)
    for model in apps.get_models(include_auto_created=True):
        table = model._meta.db_table
        if table not in LEFT_OUT:
            assert len(rows(told, table)) == model._base_manager.count(), table
    files = {name.removeprefix("files/") for name in told if name.startswith("files/")}
    assert files == set(kept_files.names()) and files
    for name in files:
        assert hashlib.sha256(told[f"files/{name}"]).hexdigest() in name
    words = io.StringIO()
    with site_in(tmp_path / "home", settings):
        call_command("import_all", str(first), stdout=words)
        with pytest.raises(CommandError, match="is there already"):
            call_command("import_all", str(first))
        assert verify(expect=head).faults == ()
        call_command("export", str(again), "--with-secrets")
    assert "every row is as it was exported" in words.getvalue()
    assert "first_lead" not in words.getvalue()
    came = content(again)
    assert came.keys() == told.keys()
    for name in told.keys() - {MANIFEST}:
        table = name.removeprefix("tables/").removesuffix(".jsonl")
        if table in ITS_OWN:
            before, after = told[name].splitlines(), came[name].splitlines()
            assert len(after) == len(before) + 1 and set(before) < set(after)
        elif name.startswith("tables/"):
            assert rows(came, table) == rows(told, table), table
        else:
            assert came[name] == told[name]
    [act] = [one for one in rows(came, "shop_entry") if one["form"] == "import/1"]
    said = json.loads(act["body"])["said"]
    assert said["head"] == list(head)
    assert said["sha256"] == hashlib.sha256(first.read_bytes()).hexdigest()


@pytest.mark.either_database
def test_no_secret_leaves_without_being_asked_for_and_a_lead_gets_in_again(
    small, tmp_path, settings
):
    path, members = small
    whole = b"".join(members.values())
    person = Person.objects.get(username="lead")
    for secret in (person.password, Tablet.objects.get().token_sha256):
        assert secret.encode() not in whole
    assert not {f"tables/{t}.jsonl" for t in export_schema.ACCESS_TABLES} & {*members}
    columns = json.loads(members[SCHEMA])["shop_person"]["columns"]
    assert {c["name"] for c in columns if c.get("secret")} == {"password", "pin"}
    assert os.name == "nt" or path.stat().st_mode & 0o077 == 0
    words = io.StringIO()
    with site_in(tmp_path / "home", settings):
        call_command("import_all", str(path), stdout=words)
        assert "first_lead" in words.getvalue()
        assert Tablet.objects.get().token_sha256.startswith("!withheld")
        # Without its secret a second factor would shut everybody out.
        assert not SecondFactor.objects.exists() and not RecoveryCode.objects.exists()
        said = {"name": "X", "password": "Sail-plane-7"}
        with pytest.raises(Refused, match="does not lead"):
            add_first_lead(username="builder", **said)
        assert prove_password(username="lead", password=PASSWORD, address="") is None
        lead = add_first_lead(username="lead", **said)
        assert lead.pk == person.pk and Person.objects.count() == 5
        assert prove_password(username="lead", password="Sail-plane-7", address="")
        with pytest.raises(Refused, match="people already"):
            add_first_lead(username="lead", **said)
        assert verify().faults == ()


@pytest.mark.either_database
def test_what_is_damaged_or_none_of_ours_is_refused_and_nothing_stays_behind(
    small, tmp_path, settings
):
    path, members = small
    settings.HOME = tmp_path / "home"
    settings.HOME.mkdir()
    odd = tmp_path / "odd.zip"

    def refused(words: str) -> None:
        with pytest.raises(NoExport, match=words), Opened(odd) as export:
            refuse_other(export)
            for fault in export.faults():
                raise NoExport(fault)

    whole, dice = path.read_bytes(), random.Random(5)
    for _flip in range(60):
        at = dice.randrange(len(whole))
        odd.write_bytes(
            whole[:at] + bytes([whole[at] ^ (1 << dice.randrange(8))]) + whole[at + 1 :]
        )
        try:
            with Opened(odd) as export:
                export.refuse_odd()
                # A bit that no reader looks at (a date of a member) may be turned.
                same = not list(export.faults())
                assert not same or content(odd) == members, at
        except NoExport:
            pass
    for cut in (0, 10, len(whole) // 2, len(whole) - 1):
        odd.write_bytes(whole[:cut])
        refused("no whole ZIP file")
    migrations = json.loads(members[MANIFEST])["migrations"]
    write(odd, members, migrations=[*migrations, ["qa", "9999_later"]])
    refused("later version: it has the change qa 9999_later")
    write(odd, members, migrations=migrations[:-1])
    refused("earlier version: it lacks the change")
    write(odd, members, format="fayline-export/9")
    refused("of the format 'fayline-export/9'")
    write(odd, {**members, "../../outside.txt": b"x"})
    refused("none of ours: '../../outside.txt'")
    write(odd, {**members, f"files/aa/aa{'0' * 62}.jpg": b"x"})
    refused("does not hold what its name says")
    write(odd, {**members, "tables/shop_extra.jsonl": b" " * 80_000_000})
    refused("made to fill a disk")
    less = {k: v for k, v in members.items() if k != "tables/shop_part.jsonl"}
    write(odd, less)
    refused("tables/shop_part.jsonl is gone")


@pytest.mark.either_database
def test_rows_that_are_not_as_they_were_exported_are_found_by_their_table(
    small, tmp_path, settings
):
    path, members = small
    odd = tmp_path / "odd.zip"
    with site_in(tmp_path / "home", settings):
        call_command("migrate", verbosity=0)
        for table, change, tallied, words in (
            ("shop_person", {"name": "Else"}, False, "shop_person did not arrive"),
            ("shop_entry", {"id": "x"}, True, "shop_entry cannot be read"),
            ("shop_tablet", {"made_by_id": 9, "x": 7}, True, "other columns"),
            ("shop_tablet", {"enrolled_by_id": 999}, True, "do not belong together"),
            ("shop_seal", {"digest": "0" * 64}, True, "Its ledger ends with"),
        ):
            name = f"tables/{table}.jsonl"
            *others, last = map(json.loads, members[name].splitlines())
            lines = [json.dumps(row, **PLAIN) for row in (*others, {**last, **change})]
            tables = json.loads(members[MANIFEST])["tables"]
            if tallied:
                digests = (hashlib.sha256(line.encode()) for line in lines)
                whole = sum(int(digest.hexdigest(), 16) for digest in digests)
                tables[table] = [len(lines), f"{whole % 2**256:064x}"]
            write(odd, {**members, name: "\n".join(lines).encode()}, tables=tables)
            with pytest.raises(NoExport, match=words), Opened(odd) as export:
                fill(export, str)
    with site_in(tmp_path / "other", settings):
        with pytest.raises(CommandError, match="Its ledger ends with"):
            call_command("import_all", str(odd))
        assert {*os.listdir(settings.HOME)} <= {"serving.lock"}


def test_a_row_that_no_import_would_take_is_not_exported(small, tmp_path, monkeypatch):
    monkeypatch.setattr(exporting, "LINE_MOST", 2**9)
    target = tmp_path / "long.zip"
    with pytest.raises(CommandError, match=r"Row \S+ of \w+ is longer than an import"):
        call_command("export", str(target))
    assert not target.exists() and not list(tmp_path.glob(".long*"))


def test_an_export_says_the_unit_of_every_number_that_is_no_count():
    for model in export_schema.exported_tables(secrets=True):
        for field in model._meta.concrete_fields:
            number = isinstance(field, models.IntegerField | models.FloatField)
            if not number or field.primary_key or field.is_relation:
                assert export_schema.unit_of(field) == ""
            elif field.name not in NAMES_AND_COUNTS.split():
                assert export_schema.unit_of(field), f"{model.__name__}.{field.name}"
