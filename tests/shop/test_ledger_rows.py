"""Rows that acts set: each entry binds the columns that its act left."""

import json

import pytest
from django.db import transaction

from shop.actions import people as of_people
from shop.actions import tooling
from shop.ledger import acts, perform
from shop.ledger.verify import verify
from shop.models import Entry, Person, RouteStep, Tool
from shop.models.kept import OutsideAnAct
from tests.shop.making_floor import make_tool
from tests.shop.test_ledger import unguarded

pytestmark = pytest.mark.django_db


def test_the_entry_of_an_act_holds_the_columns_that_it_left_of_each_row(people):
    tool = make_tool(people["lead"])
    tooling.act_on_tool(by=people["lead"], tool=tool, kind="moved", note="hall 2")
    body = json.loads(Entry.objects.latest("pk").body)
    (row,) = body["rows"]
    assert (row["table"], row["id"]) == ("shop_tool", tool.pk)
    assert row["columns"]["code"] == tool.code
    assert row["columns"]["place"] == "hall 2"
    assert verify().fault == ""


def test_a_row_that_an_entry_must_bind_is_not_changed_outside_of_an_act(people):
    tool, lead = make_tool(people["lead"]), people["lead"]
    before = Tool.objects.values().get()
    for change in (
        lambda: Tool(kind="mold", code="X", name="x").save(),
        lambda: tool.save(update_fields=["code"]),
        lambda: Tool.objects.update(code="X"),
        lambda: Tool.objects.bulk_create([Tool(kind="mold", code="X", name="x")]),
        lambda: Tool.objects.bulk_update([tool], ["code"]),
        lambda: tool.delete(),
        lambda: Tool.objects.all().delete(),
        lambda: lead.save(),
    ):
        tool.code = "X"
        with pytest.raises(OutsideAnAct), transaction.atomic():
            change()
        assert Tool.objects.values().get() == before
    lead.last_login = None
    lead.save(update_fields=["last_login"])  # no statement of anybody


def test_an_act_that_sets_more_rows_than_a_statement_takes_binds_each(
    people, monkeypatch
):
    monkeypatch.setattr(acts, "MOST_KEYS", 2)
    with perform("routes/1", by=people["lead"]):
        steps = [RouteStep(kind="mold", order=n, name=f"s{n}") for n in range(5)]
        RouteStep.objects.bulk_create(steps)
    rows = json.loads(Entry.objects.latest("pk").body)["rows"]
    bound = [(row["id"], row["columns"]["name"]) for row in rows]
    assert bound == [*RouteStep.objects.order_by("pk").values_list("pk", "name")]
    assert len(bound) == 5 and verify().fault == ""


def test_what_many_rows_became_in_one_statement_is_bound_too(people):
    with perform("routes/1", by=people["lead"]):
        steps = [RouteStep(kind="mold", order=n, name=f"s{n}") for n in (8, 9)]
        RouteStep.objects.bulk_create(steps)
    with perform("routes/2", by=people["lead"]):
        RouteStep.objects.filter(order__gt=7).update(name="sand")
    with perform("routes/3", by=people["lead"]):
        RouteStep.objects.filter(order=9).delete()
    assert verify().fault == ""
    key = RouteStep.objects.get(order=8).pk
    entry = Entry.objects.get(form="routes/2")
    unguarded("UPDATE shop_routestep SET name = 'fill' WHERE id = %s", key)
    assert verify().fault == (
        f"shop_routestep {key}: name is 'fill', entry {entry.pk} says 'sand'"
    )


@pytest.mark.parametrize(
    ("column", "value"),
    [("name", "Somebody"), ("role", "engineer"), ("password", "x"), ("pin", "y")],
)
def test_a_person_changed_by_hand_is_named_and_no_secret_is_told(people, column, value):
    person = people["builder"]
    of_people.set_units(person, units="in")
    entry = Entry.objects.latest("pk")
    assert person.password not in entry.body
    unguarded(f"UPDATE shop_person SET {column} = %s WHERE id = %s", value, person.pk)
    fault = verify().fault
    assert fault.startswith(f"shop_person {person.pk}: {column} is ")
    assert str(entry.pk) in fault
    assert person.password not in fault


def test_a_row_put_in_or_taken_out_by_hand_is_named(people):
    tool, other = make_tool(people["lead"]), make_tool(people["lead"])
    names = ", ".join(
        f'"{field.column}"'
        for field in Person._meta.concrete_fields
        if field.name not in ("id", "username")
    )
    unguarded(
        f"INSERT INTO shop_person ({names}, username) "
        f"SELECT {names}, 'ghost' FROM shop_person WHERE id = %s",
        people["lead"].pk,
    )
    unguarded("DELETE FROM shop_toolstep WHERE tool_id = %s", tool.pk)
    unguarded("DELETE FROM shop_tool WHERE id = %s", tool.pk)
    ghost = Person.objects.get(username="ghost")
    faults = verify().faults
    assert f"shop_person {ghost.pk} is in no entry" in faults
    assert any(f.startswith(f"shop_tool {tool.pk} of entry ") for f in faults)
    assert not any(f"shop_tool {other.pk} " in f for f in faults)
