"""The ledger: entries in the act's transaction, seals in a chain, faults named."""

import json
import threading
import uuid

import pytest
from django.db import connection
from django.utils import timezone

from qa.models import Reading
from shop.ledger import Refused, perform, sealer
from shop.ledger.canonical import canonical, digest, entry_digest
from shop.ledger.verify import verify
from shop.models import Entry, Seal
from tests.conftest import make_people
from tests.qa.making import make_check, read


@pytest.fixture
def readings(people):
    check = make_check(people["engineer"])
    return [read(check, str(n), "gap", f"{1.5 + n / 10:.2f}") for n in (1, 2, 3)]


def unguarded(statement: str, *values) -> None:
    """Change a row as somebody who owns the database could: guards off, then on."""
    from shop.ledger import guards

    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            for (name,) in cursor.fetchall():
                cursor.execute(f"DROP TRIGGER {name}")
        else:
            cursor.execute("SET session_replication_role = replica")
        cursor.execute(statement, values)
        if connection.vendor == "postgresql":
            cursor.execute("SET session_replication_role = DEFAULT")
    guards.install()


def test_an_untouched_ledger_holds(readings):
    report = verify()
    assert report.fault == ""
    assert report.entries == Entry.objects.count() == Seal.objects.count()
    assert report.facts > 3


def test_one_digit_changed_in_a_reading_is_named(readings):
    row = readings[1]
    unguarded("UPDATE qa_reading SET value = '1.71' WHERE id = %s", row.pk)
    assert f"qa_reading {row.pk}: value is '1.71'" in verify().fault


def test_a_reading_taken_away_is_named(readings):
    row = readings[2]
    unguarded("DELETE FROM qa_currentreading WHERE reading_id = %s", row.pk)
    unguarded("DELETE FROM qa_reading WHERE id = %s", row.pk)
    assert f"qa_reading {row.pk} of entry" in verify().fault


def test_a_reading_put_in_by_hand_is_named(readings):
    columns = ", ".join(
        f'"{field.column}"' for field in Reading._meta.concrete_fields[1:]
    )
    unguarded(
        f"INSERT INTO qa_reading ({columns}) "
        f"SELECT {columns} FROM qa_reading WHERE id = %s",
        readings[0].pk,
    )
    extra = Reading.objects.latest("pk")
    assert verify().fault == f"qa_reading {extra.pk} is in no entry"


def test_a_changed_entry_is_named(readings):
    verify()
    entry = Entry.objects.order_by("pk").last()
    body = entry.body.replace("1.80", "1.90")
    assert body != entry.body
    unguarded("UPDATE shop_entry SET body = %s WHERE id = %s", body, entry.pk)
    assert f"entry {entry.pk}" in verify().fault


def test_an_entry_changed_with_its_digest_breaks_the_chain(readings):
    verify()
    entry = Entry.objects.order_by("pk").first()
    from shop.ledger.canonical import entry_digest

    entry.device = "another"
    unguarded(
        "UPDATE shop_entry SET device = %s, digest = %s WHERE id = %s",
        entry.device,
        entry_digest(entry),
        entry.pk,
    )
    assert verify().fault == "seal 1 does not follow from the one before it"


def test_a_seal_taken_away_is_named(readings):
    verify()
    unguarded("DELETE FROM shop_seal WHERE position = 2")
    assert "seal 2 is missing" in verify().fault


def test_a_refused_act_leaves_nothing_behind(people):
    before = Entry.objects.count()
    with pytest.raises(Refused), perform("try/1", by=people["lead"]):
        raise Refused("no")
    assert Entry.objects.count() == before


def test_an_entry_holds_what_was_said_and_every_column_of_its_facts(readings):
    entry = Entry.objects.get(act=readings[0].entry_id)
    body = json.loads(entry.body)
    assert body["said"]["value"] == "1.60"
    (fact,) = body["facts"]
    assert (fact["table"], fact["id"]) == ("qa_reading", readings[0].pk)
    assert fact["columns"]["value_nm"] == 1_600_000


def test_canonical_text_does_not_depend_on_order_and_refuses_nan():
    assert canonical({"b": 1, "a": [True, None]}) == '{"a":[true,null],"b":1}'
    with pytest.raises(ValueError, match="JSON"):
        canonical(float("nan"))


def test_a_digest_tells_where_one_part_ends():
    assert digest("ab", "c") != digest("a", "bc")


def test_two_sealers_at_once_chain_every_entry_once(committed_db):
    lead = make_people()["lead"]
    # One entry is of the people.
    for n in range(60):
        with perform("try/1", by=lead, said={"n": n}):
            pass
    threads = [threading.Thread(target=_seal_and_close) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert list(Seal.objects.values_list("position", flat=True)) == list(range(1, 62))
    assert verify().fault == ""


def test_what_is_overtaken_by_far_is_sealed_by_a_turn_that_looks_everywhere(
    people, monkeypatch
):
    monkeypatch.setattr(sealer, "RECENT", 10)
    last = Entry.objects.latest("pk").pk
    an_entry(last + 100)
    assert sealer.seal() == 2
    an_entry(last + 99)
    assert sealer.seal(everywhere=False) == 1
    an_entry(last + 50)
    assert sealer.seal(everywhere=False) == 0
    assert sealer.seal() == 1
    assert verify().fault == ""


def test_sealing_ends_although_an_entry_comes_in_with_each_batch(people, monkeypatch):
    monkeypatch.setattr(sealer, "BATCH", 2)
    last = Entry.objects.latest("pk").pk
    numbers = iter(range(last + 4, last + 20))  # fewer than an endless turn would take

    def saved_meanwhile(execute, sql, *arguments):
        answer = execute(sql, *arguments)
        if sql.startswith("INSERT") and Seal._meta.db_table in sql:
            an_entry(next(numbers))
        return answer

    for pk in range(last + 1, last + 4):
        an_entry(pk)
    with connection.execute_wrapper(saved_meanwhile):
        assert sealer.seal() == 7
    assert sealer.unsealed().count() == 1


def an_entry(pk: int) -> None:
    """As if it had taken its number long before it was committed."""
    body = canonical({"facts": [], "result": {}, "rows": [], "said": {}})
    entry = Entry(pk=pk, act=uuid.uuid4(), form="try/1", body=body)
    entry.received_at = timezone.now()
    entry.digest = entry_digest(entry)
    Entry.objects.bulk_create([entry])


def _seal_and_close():
    try:
        sealer.seal()
    finally:
        connection.close()


def test_a_place_without_records_is_told_in_plain_words(tmp_path):
    import os
    import subprocess
    import sys
    from pathlib import Path

    surroundings = {**os.environ, "FAYLINE_HOME": str(tmp_path)}
    surroundings.pop("DATABASE_URL", None)
    surroundings["DJANGO_SETTINGS_MODULE"] = "shop.settings"
    manage = Path(__file__).parents[2] / "manage.py"

    def told(*command):
        done = subprocess.run(
            [sys.executable, manage, *command],
            env=surroundings,
            capture_output=True,
            text=True,
        )
        assert done.returncode == 1
        return done.stderr

    absent = f"CommandError: There are no records in {tmp_path}"
    backup = ("backup", tmp_path.with_name("elsewhere"))
    assert told(*backup).startswith(absent)
    assert told("ledger", "verify").startswith("CommandError: The records cannot be")
    assert told(*backup).startswith(absent)  # of an empty file too
