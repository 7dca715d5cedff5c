"""What a row is refused for is the same as if each check were asked by itself."""

import datetime as dt
import itertools
import random

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connection, models
from django.test.utils import CaptureQueriesContext, isolate_apps

from qa.models import Instrument
from shop.models.checked import Checked
from tests.shop.making import make_part


def told(field) -> list:
    """Values of a field, good and bad."""
    if field.remote_field:
        return [None, 1, 2]
    if isinstance(field, models.BooleanField):
        return [True, False]
    if isinstance(field, models.DateTimeField):
        moment = dt.datetime(2026, 11, 29, 22, 5, 7, tzinfo=dt.UTC)
        return [None, moment, moment.replace(microsecond=123_456)]
    if isinstance(field, models.CharField | models.TextField):
        return ["", "zzz", *(code for code, _ in field.choices or ())]
    if isinstance(field, models.IntegerField | models.FloatField):
        return [None, -(10**6), -1, 0, 1, 5]
    return [None]


def checks_of(model) -> list:
    rules = model._meta.constraints
    return [rule for rule in rules if isinstance(rule, models.CheckConstraint)]


def broken(row) -> set[str]:
    """Names of the checks that do not hold, each asked as Django asks."""
    names = set()
    for rule in checks_of(type(row)):
        try:
            rule.validate(type(row), row)
        except ValidationError:
            names.add(rule.name)
    return names


def test_all_checks_asked_at_once_refuse_what_each_refuses(db):
    dice, seen = random.Random(7), set()
    for model in apps.get_models():
        rules = checks_of(model)
        if not rules or not issubclass(model, Checked):
            continue
        asked = {
            name for x in rules for name, *_ in model._get_expr_references(x.condition)
        }
        row = model()
        for _, name in itertools.product(range(3), sorted(asked)):
            field = model._meta.get_field(name)
            setattr(row, field.attname, dice.choice(told(field)))
            names = broken(row)
            left = {rule.name for _, rules in row.get_constraints() for rule in rules}
            # Where one does not hold, all are left for Django to find which.
            checks = {rule.name for rule in rules}
            assert left & checks == (checks if names else set()), (model, names)
            seen.add(bool(names))
    assert seen == {True, False}


@pytest.mark.parametrize("number", [2**31, 2**63, -(2**63) - 1, 2**80])
def test_a_number_too_large_for_its_column_is_left_to_its_field(db, number):
    seen = 0
    for model in apps.get_models():
        row = model()
        for rule in checks_of(model) if isinstance(row, Checked) else ():
            for name, *_ in model._get_expr_references(rule.condition):
                field = model._meta.get_field(name)
                if not isinstance(field, models.IntegerField):
                    continue
                setattr(row, name, number)
                row.get_constraints()
                seen += 1
        if seen > 20:
            break
    assert seen
    gauge = Instrument(code="long", name="Long", u_nm=number)
    if number.bit_length() > 63:
        with pytest.raises(ValidationError) as refused:
            gauge.full_clean()
        assert list(refused.value.message_dict) == ["u_nm"]
    assert not Instrument.objects.exists()  # the transaction goes on


@isolate_apps("qa")
def test_a_proxy_is_held_to_the_checks_of_what_it_stands_for(db):
    class Gauge(Instrument):
        class Meta:
            app_label, proxy = "qa", True

    good, bad = (Gauge(code="g", name="Gauge", u_nm=u_nm) for u_nm in (1, 0))
    good.full_clean()
    with pytest.raises(ValidationError):
        bad.full_clean()


def test_a_row_that_was_read_is_not_asked_for_again(people):
    part = make_part(people["lead"])
    with CaptureQueriesContext(connection) as caught:
        part.full_clean()
    asked = [query["sql"] for query in caught if "shop_partdesign" in query["sql"]]
    assert asked == []
    part.design_id = 10**6
    try:
        part.full_clean()
    except ValidationError as error:
        assert list(error.message_dict) == ["design"]
    else:
        raise AssertionError("no design has that key")
