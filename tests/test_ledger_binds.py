"""Every column that the database has: changed by hand it is named, or here is why not.

Made from the models, so that no new column is forgotten: a new model extends `Fact`,
`Kept` or `Projection`, or stands in NOT_BOUND.
"""

import datetime as dt
import uuid

import pytest
from django.apps import apps
from django.db import connection, models

from qa.models import StandingPlan
from shop.ledger import projections
from shop.ledger.verify import verify
from shop.models import Entry, Fact, Kept, Projection, Seal
from tests.around import by_hand

# What no entry binds, and why not: nobody states it on a page or a paper.
NOT_BOUND = {
    "django_content_type": "Django's own list of our models",
    "auth_permission": "Django's own; who may do what is the role of a person",
    "auth_group": "Django's own, never used",
    "auth_group_permissions": "Django's own, never used",
    "django_session": "Django's own, never used: ours is shop_session",
    "shop_session": "who is signed in on which device just now",
    "shop_counter": "the last number given; the numbers themselves are bound",
    "shop_incarnation": "which copy of the database this is; a restore adds one",
    "shop_pintry": "PINs that were tried: throttling counts them",
    "shop_signintry": "what was tried at the door: throttling counts it",
    "shop_proof": "who may act on a tablet until when; each act says if it was proven",
    "shop_visit": "up to where somebody read the hand-over",
    "shop_person.last_login": "when somebody signed in last: written at each sign-in",
    "shop_person.seen_at": "when somebody was last here",
    "shop_secondfactor.last_step": "which code was used last: written at each sign-in",
    "shop_tablet.seen_at": "when a tablet was last here",
    "shop_device.seen_at": "when a device was last here",
}
BOUND = (Fact, Kept, Projection)


def all_models():
    return apps.get_models(include_auto_created=True)


def test_every_table_is_bound_to_entries_or_says_why_not():
    loose = {
        model._meta.db_table
        for model in all_models()
        if not issubclass(model, (*BOUND, Entry, Seal))
    }
    said = {name for name in NOT_BOUND if "." not in name}
    assert loose == said
    columns = {
        f"{model._meta.db_table}.{name}"
        for model in all_models()
        if issubclass(model, Kept)
        for name in model.not_bound
    }
    assert columns == set(NOT_BOUND) - said


def test_every_projection_is_made_again_from_facts():
    assert projections.projected() == {
        model for model in all_models() if issubclass(model, Projection)
    }


def test_what_is_kept_tells_which_rows_a_statement_changed():
    for model in all_models():
        if issubclass(model, Kept):
            assert hasattr(model._default_manager.all(), "update")
            assert type(model._default_manager.all()).update is not (
                models.QuerySet.update
            )


def other(field, value):
    """A value of the column's kind that is not the one it has."""
    field = getattr(field, "target_field", field)
    kind = field.get_internal_type()
    if kind == "BooleanField":
        return not value
    if kind == "UUIDField":
        return uuid.uuid4()
    if kind == "JSONField":
        return {"by": "hand"} if value != {"by": "hand"} else {"by": "another"}
    if kind in ("DateTimeField", "DateField"):
        day = dt.timedelta(days=1)
        now = dt.datetime(2001, 1, 1, tzinfo=dt.UTC)
        return value + day if value else now if kind == "DateTimeField" else now.date()
    if kind == "FloatField":
        return (value or 0) + 0.25
    if "Integer" in kind or "AutoField" in kind:
        return (value or 0) + 7777
    return "z" if value != "z" else "y"


def change(row, names) -> None:
    """Change columns of a row past everything that guards them."""
    fields = [row._meta.get_field(name) for name in names]
    values = {field.name: other(field, getattr(row, field.attname)) for field in fields}
    plain = models.QuerySet(type(row))
    assert plain.filter(pk=row.pk).update(**values) == 1


def drop_what_guards() -> None:
    """Take away triggers, links and conditions, as who owns the database can."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA foreign_keys = OFF")
            cursor.execute("PRAGMA ignore_check_constraints = ON")
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            for (name,) in cursor.fetchall():
                cursor.execute(f'DROP TRIGGER "{name}"')
            return
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(
            "SELECT conrelid::regclass, conname FROM pg_constraint "
            "WHERE contype = 'c' AND conrelid <> 0"
        )
        for table, name in cursor.fetchall():
            cursor.execute(f'ALTER TABLE {table} DROP CONSTRAINT "{name}"')


@pytest.fixture
def everything(demo_db):
    """The demo without guards, and by hand a row of each table that it leaves empty."""
    drop_what_guards()
    with by_hand() as act:
        for model in all_models():
            if issubclass(model, Fact | Kept) and not model._base_manager.exists():
                row = model(**{f.name: made(f) for f in filled(model)})
                if issubclass(model, Fact):
                    act.record(row)
                else:
                    row.save()
    assert not [one for one in verify(most=None).faults if " says " in one]


@pytest.fixture
def everything_projected(demo_db):
    """The demo, whose plans stand, without guards; projections that hold."""
    drop_what_guards()
    assert StandingPlan.objects.exists()
    projections.rebuild()
    assert not [one for one in verify(most=None).faults if "guard" not in one]


def filled(model):
    ours = ("entry", model._meta.pk.name)
    return [field for field in model._meta.concrete_fields if field.name not in ours]


def made(field):
    if field.related_model:
        return field.related_model._base_manager.order_by("pk").last()
    return other(field, None)


def newest(kind) -> dict:
    """The last row of every model of a kind; a model without one fails."""
    rows = {m: m._base_manager.order_by("pk").last() for m in all_models()}
    rows = {model: row for model, row in rows.items() if issubclass(model, kind)}
    assert [m._meta.db_table for m, row in rows.items() if row is None] == []
    return rows


def unnamed(rows: dict, names_of) -> list[str]:
    """Change columns of each row; return those that verify does not name."""
    changed = []
    for row in rows.values():
        names = names_of(row)
        change(row, names)
        changed += [(row, row._meta.get_field(name).attname) for name in names]
    faults = verify(most=None).faults
    assert [
        one for one in faults if "cannot be read" in one and "qa_check" not in one
    ] == []
    missed = []
    for row, column in changed:
        start = f"{row._meta.db_table} {row.pk}: {column} is "
        if not any(fault.startswith(start) for fault in faults):
            missed.append(f"{row._meta.db_table}.{column}")
    return missed


def plain_columns(row) -> list[str]:
    """Columns beside the key, the link to the entry and what states nothing."""
    spared = {"entry"} if isinstance(row, Fact) else set(getattr(row, "not_bound", ()))
    keys = {
        name.removesuffix("_id")
        for family in projections.FAMILIES
        for name in family.keys.get(type(row), ())
    }
    return [
        field.name
        for field in row._meta.concrete_fields
        if not field.primary_key and field.name not in spared | keys
    ]


def test_each_column_of_a_fact_changed_by_hand_is_named(everything):
    assert unnamed(newest(Fact), plain_columns) == []


def test_each_column_of_a_row_that_acts_set_changed_by_hand_is_named(everything):
    assert unnamed(newest(Kept), plain_columns) == []


def test_each_column_of_a_projection_changed_by_hand_is_named(everything_projected):
    assert unnamed(newest(Projection), plain_columns) == []


@pytest.mark.parametrize("kind", [Fact, Kept])
def test_a_row_under_another_key_is_named(everything, kind):
    renumbered(kind)


def test_a_projection_of_another_thing_is_named(everything_projected):
    renumbered(Projection)


def renumbered(kind) -> None:
    rows = newest(kind)
    for row in rows.values():
        keys = [field.name for field in row._meta.concrete_fields if field.primary_key]
        for family in projections.FAMILIES:
            named = family.keys.get(type(row), ())
            keys = [name.removesuffix("_id") for name in named] or keys
        change(row, keys[-1:])
    faults = verify(most=None).faults
    tables = {row._meta.db_table for row in rows.values()}
    assert [t for t in tables if not any(f.startswith(f"{t}") for f in faults)] == []


def test_a_fact_that_points_at_another_entry_is_named(everything):
    act = Entry.objects.order_by("pk").values_list("act", flat=True).first()
    rows = newest(Fact).values()
    for row in rows:
        models.QuerySet(type(row)).filter(pk=row.pk).update(entry=act)
    faults = verify(most=None).faults
    for row in rows:
        start = f"{row._meta.db_table} {row.pk} points at another entry"
        assert any(fault.startswith(start) for fault in faults), start


def test_each_column_of_an_entry_and_of_a_seal_changed_by_hand_is_named(everything):
    verify()
    fields = [f.name for f in Entry._meta.concrete_fields if f.name != "id"]
    entries = list(Entry.objects.order_by("pk")[10 : 10 + len(fields)])
    for entry, name in zip(entries, fields, strict=True):
        change(entry, [name])
    faults = verify(most=None).faults
    for entry, name in zip(entries, fields, strict=True):
        found = [fault for fault in faults if f"entry {entry.pk} (" in fault]
        assert found, f"shop_entry.{name}"
    change(Seal.objects.get(position=3), ["digest"])
    assert "seal 3 does not follow" in " ".join(verify(most=None).faults)
