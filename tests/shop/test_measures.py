"""Measurements as typed: kept as text, and exact beside it; and plain numbers."""

import re
from decimal import Decimal
from pathlib import Path

import pytest
from django import forms
from hypothesis import given
from hypothesis import strategies as st

from shop.forms.measures import MeasureField, mass, parse_measure
from shop.forms.numbers import NumberField, PercentField

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    ("text", "dimension", "unit", "amount", "kept"),
    [
        ("412", "mass", "g", 412_000, "412 g"),
        ("0,412 kg", "mass", "g", 412_000, "0.412 kg"),
        # 1 lb = 453.59237 g by definition: 453592.37 mg.
        ("1 lb", "mass", "g", 453_592, "1 lb"),
        ("1oz", "mass", "g", 28_350, "1 oz"),
        ("0.5 in", "length", "mm", 12_700_000, "0.5 in"),
        ("−420", "length", "mm", -420_000_000, "−420 mm"),
        ("21.5", "temperature", "c", 21_500, "21.5 °C"),
        ("212 °F", "temperature", "c", 100_000, "212 °F"),
        ("-40 F", "temperature", "c", -40_000, "-40 °F"),
        ("95", "pressure", "kPa", 95_000, "95 kPa"),
        ("28 inHg", "pressure", "kPa", 94_819, "28 inHg"),
    ],
)
def test_a_number_with_its_unit_is_read(text, dimension, unit, amount, kept):
    measure = parse_measure(text, dimension, unit)
    assert (measure.amount, measure.text) == (amount, kept)


@pytest.mark.parametrize(
    "text", ["", "NaN", "inf", "1e3", "1.2.3", "1,2,3", "12 furlong", "g", "--1", "1 2"]
)
def test_what_is_no_measurement_is_refused(text):
    with pytest.raises(ValueError):
        parse_measure(text, "length", "mm")


@given(st.integers(min_value=0, max_value=10**9))
def test_milligrams_come_back_as_they_went_in(mg):
    text = f"{mg // 1000}.{mg % 1000:03d} g"
    assert parse_measure(text, "mass", "g").amount == mg


@given(st.integers(min_value=0, max_value=10**7))
def test_inches_to_five_decimals_are_exact_nanometers(n):
    text = f"{n // 100_000}.{n % 100_000:05d} in"
    assert parse_measure(text, "length", "mm").amount == n * 254


def test_a_field_refuses_a_mass_of_nothing():
    field: MeasureField = mass("Mass")
    with pytest.raises(Exception, match="too small"):
        field.clean("0")


@pytest.mark.parametrize("text", ["1.5", "1,5", " 1,5 ", "+1,5"])
def test_a_number_takes_a_decimal_comma(text):
    number = NumberField().clean(text)
    assert (number, type(number)) == (Decimal("1.5"), Decimal)
    assert type(NumberField(to=float).clean(text)) is float
    assert NumberField().clean("−0,25") == Decimal("-0.25")


@pytest.mark.parametrize("text", ["95", "95%", "95 %", "95,0 %"])
def test_a_percentage_may_have_its_sign(text):
    assert PercentField().clean(text) == 9_500
    assert PercentField(per=10_000, max_value=99).clean(text) == 950_000
    assert PercentField(to=float).clean(text) == 95.0


@pytest.mark.parametrize(
    "text", ["words", "1.234,5", "1,2,3", "NaN", "inf", "%", "5 %%", "5 mm"]
)
def test_what_is_no_number_is_refused_and_stays_as_typed(text):
    class Asked(forms.Form):
        share = PercentField()
        factor = NumberField()

    form = Asked({"share": text, "factor": text})
    assert form.errors["share"] == form.errors["factor"] == ["Write a number."]
    # A box for numbers would come back empty: a browser shows no words in it.
    assert str(form).count(f'<input type="text" name="factor" value="{text}"') == 1
    assert NumberField(required=False).clean("") is None


def test_a_percent_sign_is_refused_where_no_percentage_is_meant():
    with pytest.raises(forms.ValidationError, match="Write a number"):
        NumberField().clean("5 %")
    with pytest.raises(forms.ValidationError, match="At most 100"):
        PercentField().clean("101 %")


def test_every_number_in_a_form_is_one_that_takes_a_comma():
    own = ROOT / "shop/forms/numbers.py"
    sources = [*ROOT.glob("shop/forms/*.py"), *ROOT.glob("qa/forms/*.py")]
    plain = [
        str(path.relative_to(ROOT))
        for path in sources
        if path != own
        and re.search(r"\b(Decimal|Float)Field\b(?!\.default)", path.read_text())
    ]
    assert plain == []
