"""Facts, entries and seals are written once: the database itself says so."""

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from qa.models import Reading
from shop.ledger import guards, sealer
from shop.models import Entry, Seal
from tests.qa.making import make_check, read

pytestmark = pytest.mark.django_db


@pytest.fixture
def reading(people):
    check = make_check(people["engineer"])
    made = read(check, "1", "gap", "2.00")
    sealer.seal()
    return made


@pytest.mark.parametrize("model", [Reading, Entry, Seal])
def test_a_guarded_row_cannot_be_updated(reading, model):
    field = "digest" if hasattr(model, "digest") else "value"
    with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
        model.objects.update(**{field: "x"})


@pytest.mark.parametrize("model", [Seal, Reading, Entry])
def test_a_guarded_row_cannot_be_deleted(reading, model):
    table = model._meta.db_table
    with (
        pytest.raises(IntegrityError, match="never changed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"DELETE FROM {table}")


def test_saving_a_changed_fact_is_refused(reading):
    reading.value = "9.99"
    with pytest.raises(IntegrityError), transaction.atomic():
        reading.save()


def test_insert_or_replace_cannot_put_another_row_in_a_facts_place(reading):
    if connection.vendor != "sqlite":
        pytest.skip("a statement of SQLite")
    with (
        pytest.raises(IntegrityError, match="never changed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "INSERT OR REPLACE INTO qa_reading SELECT * FROM qa_reading WHERE id = %s",
            [reading.pk],
        )


@pytest.mark.postgresql
def test_truncate_is_refused(reading):
    with (
        pytest.raises(IntegrityError, match="never changed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        # The links of this transaction's own rows wait for its end otherwise.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("TRUNCATE qa_reading CASCADE")


def test_every_fact_table_is_guarded():
    assert guards.missing() == []
    assert {"qa_reading", "shop_entry", "shop_seal"} <= {
        model._meta.db_table for model in guards.guarded_models()
    }


def test_a_dropped_guard_is_told_at_start_and_comes_back_with_migrate():
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER qa_reading_keep_update")
            gone = "qa_reading_keep_update"
        else:
            cursor.execute("DROP TRIGGER qa_reading_keep_rows ON qa_reading")
            gone = "qa_reading_keep_rows"
    assert guards.missing() == [gone]
    assert [e.id for e in guards.check_guards(databases=["default"])] == ["shop.E001"]
    call_command("migrate", verbosity=0, skip_checks=False)
    assert guards.missing() == []
