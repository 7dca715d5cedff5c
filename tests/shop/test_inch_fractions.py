"""Fractions of an inch where lengths are typed. 1 in = 25.4 mm exactly (1959)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.actions.trimming import Taken
from qa.forms.holes import StackForm, decimal_text
from qa.forms.layouts import LayoutForm
from qa.forms.plans import TrimForm
from qa.forms.shims import ShimStockForm
from shop.forms.materials import MaterialForm
from shop.forms.measures import Measure, length, parse_measure
from shop.numeric.units import LengthError, parse_typed


@pytest.mark.parametrize(
    ("typed", "nm", "kept"),
    [
        ("1/4 in", 6_350_000, "1/4 in"),
        ("1 1/2 in", 38_100_000, "1 1/2 in"),
        ("1-1/2in", 38_100_000, "1 1/2 in"),
        ("-3/64 in", -1_190_625, "-3/64 in"),
    ],
)
def test_a_fraction_of_an_inch_is_exact_and_kept_as_typed(typed, nm, kept):
    assert parse_measure(typed, "length", "mm") == Measure(nm, kept)
    assert parse_typed(typed, "mm") == parse_typed(typed, "in") == nm


@given(st.integers(0, 400), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_every_mark_of_a_rule_is_a_whole_nanometer(whole, over, under):
    typed = f"{whole} {over}/{under} in"
    exact = (whole + Fraction(over, under)) * 25_400_000
    assert parse_measure(typed, "length", "mm").amount == exact


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("1/3 in", "no whole nanometer"),
        ("1/128 in", "no whole nanometer"),
        ("1/0 in", "like this"),
        ("1/4/2 in", "like this"),
        ("1/4 mm", "of an inch"),
        ("1/4", "of an inch"),
    ],
)
def test_a_fraction_that_is_not_exact_or_no_inch_is_refused(typed, why):
    with pytest.raises(ValueError, match=why):
        parse_measure(typed, "length", "mm")
    with pytest.raises(LengthError, match=why):
        parse_typed(typed, "mm")


def test_masses_take_no_fractions():
    with pytest.raises(ValueError, match="number"):
        parse_measure("1/4 lb", "mass", "g")


def test_the_field_says_so_and_the_forms_of_thickness_take_them(db):
    assert "1/4 in" in str(length("Thickness").help_text)
    form = MaterialForm({"thickness_nm": "1/4 in"})
    form.is_valid()
    assert form.cleaned_data["thickness_nm"] == 6_350_000
    form = MaterialForm({"thickness_nm": "1/3 in"})
    assert "whole nanometer" in form.errors["thickness_nm"][0]
    assert "1/4 in" in str(ShimStockForm().fields["thickness_nm"].help_text)
    assert "1/4 in" in str(LayoutForm().fields["unit"].help_text)
    form = ShimStockForm({"unit": "mm", "thickness_nm": "1/16 in"})
    assert form.is_valid(), form.errors
    assert form.cleaned_data["thickness_nm"] == 1_587_500


def test_a_limit_typed_as_a_fraction_stands_exactly_in_the_text_of_stations():
    said = {"shape": "ellipse", "unit": "in", "width": "20", "height": "10 1/2"}
    said |= {"spacing": "even", "count": 8, "way": "ccw"}
    said |= {"gap_min": "1/64", "gap_max": "1/16", "flush_min": "", "flush_max": ""}
    form = LayoutForm(said)
    text = form.text(closed=True, part_inside=True)
    assert form.errors == {}
    names, first = (line.split(",") for line in text.splitlines()[:2])
    row = dict(zip(names, first, strict=True))
    assert (row["gap_min_mm"], row["gap_max_mm"]) == ("0.396875", "1.5875")


class Row:
    """A station of the form of a trim."""

    name, bite, bite_nm = "5", "0.25", 250_000


def test_a_depth_taken_off_is_read_as_a_fraction_of_an_inch():
    rows = [Row(), Row(), Row()]
    typed = {"taken_0": "1/16 in", "taken_1": "0.4", "taken_2": "1/3 in"}
    form = TrimForm({"unit": "mm", "moved": "no", **typed}, rows=rows)
    assert set(form.errors) == {"taken_2"}
    said = {(text, unit) for _row, text, unit in form.depths_typed()}
    assert {("1/16", "in"), ("0.4", "mm")} <= said
    cut = Taken(None, "5", "part", "1/16", "in")
    assert cut.depth_nm() == 1_587_500  # 25.4 mm / 16


@pytest.mark.parametrize(
    ("unit", "kept"), [("mm", "6.35"), ("in", "1/4")], ids=["mm", "in"]
)
def test_a_hole_is_measured_in_fractions_of_an_inch(unit, kept):
    assert decimal_text("1/4 in", unit) == kept
    assert parse_typed(kept, unit) == 6_350_000


def test_layers_of_a_stack_are_fractions_of_an_inch_too():
    form = StackForm({"unit": "in", "stack": "1/16 + 1 1/8 + 0.05", "grip": "1/4"})
    assert form.is_valid()
    assert form.cleaned_data["stack"] == [1.5875, 28.575, 1.27]
    assert form.cleaned_data["grip"] == [6.35]
