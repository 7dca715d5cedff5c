"""What `ledger verify` finds beside rows: photos, guards, heads from paper, media."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from pypdf import PdfReader

from qa.models import Reading
from shop.actions.identity import set_identity
from shop.actions.photos import add_photo
from shop.ledger import guards, sealer
from shop.ledger.canonical import canonical, columns, digest, entry_digest
from shop.ledger.verify import verify
from shop.models import Entry
from tests.conftest import make_people
from tests.qa.making import make_check, read
from tests.shop.making_floor import make_tool
from tests.shop.test_ledger import unguarded
from tests.shop.test_photos import picture

MANAGE = Path(__file__).parents[2] / "manage.py"


@pytest.mark.django_db
def test_a_guard_gutted_under_its_own_name_is_named_and_made_again():
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER qa_reading_keep_update")
            cursor.execute(
                "CREATE TRIGGER qa_reading_keep_update BEFORE UPDATE ON qa_reading "
                "BEGIN SELECT 1; END"
            )
            name = "qa_reading_keep_update"
        else:
            cursor.execute(
                "CREATE OR REPLACE TRIGGER qa_reading_keep_rows BEFORE UPDATE OR DELETE"
                " ON qa_reading FOR EACH ROW WHEN (false)"
                " EXECUTE FUNCTION fayline_keep()"
            )
            name = "qa_reading_keep_rows"
    assert verify().fault == f"the guard {name} does something else than it should"
    assert guards.missing() == [name]
    guards.install()
    assert verify().fault == ""


@pytest.mark.postgresql
@pytest.mark.django_db
def test_a_guard_that_fires_for_replicas_only_or_an_empty_function_is_named():
    with connection.cursor() as cursor:
        cursor.execute(
            "ALTER TABLE qa_reading ENABLE REPLICA TRIGGER qa_reading_keep_rows"
        )
        assert verify().fault == "the database lacks the guard qa_reading_keep_rows"
        guards.install()
        assert verify().fault == ""
        cursor.execute(
            "CREATE OR REPLACE FUNCTION fayline_keep() RETURNS trigger "
            "LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$"
        )
        assert "fayline_keep() does something else" in verify().fault
        guards.install()
        assert verify().fault == ""


def rewritten(change) -> None:
    """Change facts and write every entry and seal anew, as their owner could."""
    change()
    chain, position = sealer.START, 0
    for entry in Entry.objects.order_by("pk"):
        import json

        body = json.loads(entry.body)
        for fact in body["facts"]:
            if fact["table"] == "qa_reading":
                fact["columns"] = columns(Reading.objects.get(pk=fact["id"]))
        entry.body = canonical(body)
        entry.digest = entry_digest(entry)
        chain, position = digest(chain, entry.digest), position + 1
        unguarded(
            "UPDATE shop_entry SET body = %s, digest = %s WHERE id = %s",
            entry.body,
            entry.digest,
            entry.pk,
        )
        unguarded(
            "UPDATE shop_seal SET digest = %s WHERE position = %s", chain, position
        )


@pytest.mark.django_db
def test_a_head_from_paper_names_a_chain_rewritten_whole(people):
    row = read(make_check(people["engineer"]), "1", "gap", "2.00")
    position, noted = sealer.head()
    assert verify(expect=(position, noted)).fault == ""
    assert verify(expect=(position, noted[:12])).fault == ""
    rewritten(
        lambda: unguarded(
            "UPDATE qa_reading SET reason = 'as agreed' WHERE id = %s", row.pk
        )
    )
    assert verify().fault == ""  # it is whole in itself
    fault = verify(expect=(position, noted)).fault
    assert f"seal {position} is" in fault and "written anew" in fault
    with pytest.raises(CommandError, match="written anew"):
        call_command("ledger", "verify", "--expect", str(position), noted[:16])


@pytest.mark.django_db
def test_a_head_is_printed_and_typed_from_its_sheet(people, tmp_path, capsys):
    file = tmp_path / "head.pdf"
    shop = {"name": "Bench", "units": "mm", "paper": "a4"}
    set_identity(by=people["lead"], time_zone="Asia/Kathmandu", **shop)
    read(make_check(people["engineer"]), "1", "gap", "2.00")
    call_command("ledger", "head", "--pdf", str(file))
    position, whole, *when = capsys.readouterr().out.split()
    assert when[-1] == "+05:45"
    assert sealer.head() == (int(position), whole)
    text = PdfReader(file).pages[0].extract_text().split()
    groups = [word for word in text if re.fullmatch("[0-9a-f]{8}", word)]
    assert "".join(groups[:8]) == whole and position in text
    call_command("ledger", "verify", "--expect", position, *groups[:3])


@pytest.mark.django_db
def test_a_head_from_paper_names_a_tail_that_was_cut_off(people):
    row = read(make_check(people["engineer"]), "1", "gap", "2.00")
    position, noted = sealer.head()
    unguarded("DELETE FROM qa_currentreading")
    unguarded("DELETE FROM qa_checkstate")
    unguarded("DELETE FROM qa_reading WHERE id = %s", row.pk)
    unguarded("DELETE FROM qa_check")
    unguarded("DELETE FROM shop_seal WHERE position > %s", position - 2)
    unguarded(
        "DELETE FROM shop_entry WHERE id IN "
        "(SELECT id FROM shop_entry ORDER BY id DESC LIMIT 2)"
    )
    assert verify().fault == ""
    fault = verify(expect=(position, noted)).fault
    assert fault == (
        f"the ledger ends with seal {position - 2}, you have noted seal {position}: "
        "its tail is gone"
    )


@pytest.mark.django_db
@pytest.mark.parametrize("noted", [("0", "ab" * 32), ("x", "ab" * 32), ("7", "xyz")])
def test_a_head_that_is_none_is_said_to_be_none(noted):
    with pytest.raises(CommandError, match="--expect"):
        call_command("ledger", "verify", "--expect", *noted)


@pytest.mark.skipif(connection.vendor != "sqlite", reason="media of SQLite")
@pytest.mark.parametrize("sealed", [True, False])
def test_verify_reads_from_media_that_cannot_be_written(committed_db, tmp_path, sealed):
    people = make_people()
    read(make_check(people["engineer"]), "1", "gap", "2.00")
    if sealed:
        sealer.seal()
    connection.close()
    mount = f"mount --bind {tmp_path} {tmp_path} && mount -o remount,ro,bind {tmp_path}"
    unshare = ["unshare", "-m", "sh", "-c"]
    (tmp_path / "secret.key").write_text("s" * 64)
    try:
        subprocess.run([*unshare, mount], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("nothing can be mounted here")
    told = subprocess.run(
        [*unshare, f"{mount} && {sys.executable} {MANAGE} ledger verify"],
        env={"FAYLINE_HOME": str(tmp_path), "PATH": "/usr/bin:/bin:/sbin"},
        capture_output=True,
        text=True,
    )
    assert told.returncode == 0, told.stderr
    assert " hold. Head " in told.stdout
    assert ("are not sealed yet" in told.stdout) is not sealed


@pytest.mark.postgresql
def test_verify_reads_a_server_that_cannot_be_written(committed_db):
    people = make_people()
    with connection.cursor() as cursor:
        cursor.execute("SET default_transaction_read_only = on")
    report = verify()
    assert (report.fault, report.unsealed, report.position) == ("", 1, 0)
    assert people


@pytest.mark.django_db
def test_a_photo_whose_file_is_gone_or_another_is_named(people, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    tool = make_tool(people["lead"])
    kept = [
        add_photo(
            by=people["lead"],
            content=picture(size=size),
            subject_kind="tool",
            subject_id=tool.pk,
        )
        for size in ((40, 30), (30, 40), (50, 30))
    ]
    assert verify().fault == ""
    (tmp_path / kept[0].file_name).unlink()
    shutil.copyfile(tmp_path / kept[2].file_name, tmp_path / kept[1].file_name)
    assert set(verify().faults) == {
        f"shop_photo {kept[0].pk}: its file {kept[0].file_name} is gone",
        f"shop_photo {kept[1].pk}: its file holds another picture",
    }
