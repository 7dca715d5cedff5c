"""Characteristics beside gap and flushness, in exact units, by the same acceptance.

Reference verdicts are worked out here in fractions, apart from the code.
"""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.actions import characteristics as acts
from qa.actions.characteristics import Required
from qa.models import Characteristic, CharacteristicRevision
from qa.numeric.verdict import ratio
from qa.queries import characteristics as queries
from qa.rules import characteristics as rules
from qa.rules.characteristics import Found
from shop.actions import airframes
from shop.ledger import Refused
from shop.ledger.verify import verify
from tests.qa.making import (
    fresh,
    make_airframe,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
    make_position,
    mm,
)
from tests.shop.making import make_placement


def planned(people, quality="ratio", bay=None, joint=None, **required):
    required = required or {"low": "150", "unit": "cm²"}
    by = people["engineer"]
    row = acts.define(
        by=by,
        number=fresh("C"),
        name="Exit over inlet",
        quality=quality,
        bay=bay or make_position(by),
        joint=joint,
        required=Required(**required),
    )
    rows = Characteristic.objects.select_related("bay__type", "joint", "current")
    return rows.get(pk=row.pk)


def found(people, row, airframe, value, by="builder", instrument=None, **more):
    return acts.record(
        by=people[by],
        characteristic=row,
        airframe=airframe,
        found=Found(value, **more),
        instrument=instrument,
    )


# --------------------------------------------------------------------------- numbers


def unsaved(quality, **limits):
    """A requirement that is not on record, to judge by."""
    row = Characteristic(quality=quality)
    said = {"low": None, "high": None, "rule": "simple", "edition": "2017"}
    return row, CharacteristicRevision(**{**said, **limits})


areas = st.decimals(min_value="0.001", max_value="99999", places=3)


@given(areas, areas, st.integers(1, 4_000_000))
def test_a_ratio_conforms_exactly_where_the_fractions_say_so(upper, lower, low):
    row, revision = unsaved("ratio", low=low)
    told = rules.judged(row, revision, Found(str(upper), "cm²", under=str(lower)))
    really = Fraction(upper) * 1_000_000 >= low * Fraction(lower)
    assert (told.verdict == "conforms") == really
    # What is shown stands on the same side of the limit.
    assert (told.exact >= low) == really
    assert (told.deviation < 0) != really


def test_a_ratio_just_under_its_limit_is_not_rounded_up_to_it():
    row, revision = unsaved("ratio", low=1_500_000)
    told = rules.judged(row, revision, Found("14999999", "mm²", under="10000000"))
    assert (told.verdict, told.exact, told.deviation) == (
        *("does_not_conform", 1_499_999),
        -1,
    )
    told = rules.judged(row, revision, Found("15000000", "mm²", under="10000000"))
    assert told.verdict == "conforms"


def test_the_uncertainty_of_a_ratio_is_that_of_a_quotient():
    # u(a/b) = a/b sqrt((ua/a)^2 + (ub/b)^2), JCGM 100:2008 5.1.6: 2 % and 1 %.
    u = ratio.ratio_u_ppm(*map(Fraction, (300, 200, 6, 2)))
    assert u == math.ceil(1_500_000 * math.sqrt(0.02**2 + 0.01**2))


@pytest.mark.parametrize("bad", ["nan", "inf", "x"])
def test_what_is_no_area_has_no_ratio(bad):
    with pytest.raises(ValueError, match="number"):
        ratio.ratio_ppm(bad, Fraction(1))
    with pytest.raises(ValueError, match="more than 0"):
        ratio.ratio_ppm(Fraction(1), Fraction(0))
    with pytest.raises(ValueError, match="negative"):
        ratio.ratio_ppm(Fraction(-1), Fraction(1))
    with pytest.raises(ValueError, match="negative"):
        ratio.ratio_u_ppm(*map(Fraction, (1, 1, -1, 0)))


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("12.032898", "conforms"),
        ("12.032897", "not_proven"),
        ("12.0", "not_proven"),
        ("11.967102", "not_proven"),
        ("11.967101", "does_not_conform"),
    ],
)
def test_a_dimension_is_guarded_as_a_gap_is(value, verdict):
    # u 0.02 mm, one side: guard 1.644854 u = 0.032898 mm rounded up (ISO 14253-1:2017).
    row, revision = unsaved("dimension", low=mm(12), rule="guarded")
    told = rules.judged(row, revision, Found(value, "mm"), mm(0.02))
    assert told.verdict == verdict


@pytest.mark.parametrize(
    ("quality", "limits", "said", "verdict"),
    [
        ("count", {"low": 2, "high": 2}, Found("2"), "conforms"),
        ("count", {"low": 2, "high": 2}, Found("3"), "does_not_conform"),
        ("weight", {"high": 120_000}, Found("120", "g"), "conforms"),
        ("weight", {"high": 120_000}, Found("0.120001", "kg"), "does_not_conform"),
        ("weight", {"high": 120_000}, Found("120.0004", "g"), "does_not_conform"),
        ("weight", {"low": 120_000}, Found("119.9996", "g"), "does_not_conform"),
        ("weight", {"high": 56_699}, Found("2", "oz"), "does_not_conform"),
        ("clearance", {"low": 25_400_000}, Found("1.000", "in"), "conforms"),
        (
            "clearance",
            {"low": 25_400_000},
            Found("25.399999", "mm"),
            "does_not_conform",
        ),
        ("attribute", {}, Found("yes"), "conforms"),
        ("attribute", {}, Found("no"), "does_not_conform"),
        (
            "weight",
            {"high": 120_000, "rule": "guarded"},
            Found("119.5", "g", u="0.5"),
            "not_proven",
        ),
    ],
)
def test_each_quality_is_judged_in_its_exact_unit(quality, limits, said, verdict):
    row, revision = unsaved(quality, **limits)
    assert rules.judged(row, revision, said).verdict == verdict


MG = {
    "g": Fraction(1000),
    "kg": Fraction(10**6),
    "oz": Fraction("28349.523125"),
    "lb": Fraction("453592.37"),
}
weights = st.decimals(min_value="0.0001", max_value="9999", places=5)
units_of_mass = st.sampled_from(list(MG))


@given(weights, units_of_mass, weights, units_of_mass, st.sampled_from(["low", "high"]))
def test_a_weight_conforms_exactly_where_the_fractions_say_so(
    value, unit, limit, limit_unit, side
):
    text = str(limit)
    whole = rules.limit_of("weight", text, limit_unit, side)
    required = {side: whole, f"{side}_text": text, "unit": limit_unit}
    row, revision = unsaved("weight", **required)
    exact = Fraction(limit) * MG[limit_unit]
    # Never less strict than what was typed.
    assert whole >= exact if side == "low" else whole <= exact
    for typed, in_unit in ((value, unit), (limit, limit_unit)):
        mg = Fraction(typed) * MG[in_unit]
        really = mg >= exact if side == "low" else mg <= exact
        told = rules.judged(row, revision, Found(str(typed), in_unit))
        assert (told.verdict == "conforms") == really
        assert (told.deviation == 0) == really


def test_the_uncertainty_of_a_weight_is_rounded_up():
    row, revision = unsaved("weight", high=120_000, rule="guarded")
    # u 1.4 mg, as 2 mg: guard 1.644854 u = 3.29 mg, rounded up to 4.
    told = rules.judged(row, revision, Found("119.9965", "g", u="0.0014"))
    assert (told.verdict, told.u, told.guard) == ("not_proven", 2, 4)


@pytest.mark.parametrize(
    ("quality", "said", "field"),
    [
        ("count", Found("2.5"), "value"),
        ("count", Found("-1"), "value"),
        ("weight", Found("12", "mm"), "unit"),
        ("weight", Found("0", "g"), "value"),
        ("dimension", Found("1.0000001", "mm"), "value"),
        ("ratio", Found("1", "cm²", under="0"), "under"),
        ("ratio", Found("1", "cm²", under="1e3"), "under"),
        ("ratio", Found("-1", "cm²", under="2"), "value"),
        ("ratio", Found("1", "cm²", under="2", u="-1"), "u"),
        ("attribute", Found("maybe"), "value"),
    ],
)
def test_what_cannot_be_read_is_refused_beside_its_field(quality, said, field):
    row, revision = unsaved(quality, low=1)
    with pytest.raises(Refused) as no:
        rules.judged(row, revision, said)
    assert no.value.field == field


def test_a_guard_band_asks_for_an_uncertainty():
    row, revision = unsaved("ratio", low=1, rule="guarded")
    with pytest.raises(Refused) as no:
        rules.judged(row, revision, Found("3", "cm²", under="2"))
    assert no.value.field == "u"


# ---------------------------------------------------------------------------- records


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("quality", "required", "field"),
    [
        ("ratio", {"low": "", "unit": "cm²"}, "low"),
        ("ratio", {"low": "150", "unit": "mm"}, "unit"),
        ("ratio", {"low": "150.00001", "unit": "cm²"}, "low"),
        ("dimension", {"low": "3", "high": "2", "unit": "mm"}, "high"),
        ("count", {"low": "1.5"}, "low"),
        ("count", {"low": "1", "rule": "guarded"}, "rule"),
        ("attribute", {"low": "1"}, "low"),
        ("weight", {"high": "1", "unit": "g", "rule": "odd"}, "rule"),
        ("smell", {"low": "1"}, "quality"),
    ],
)
def test_a_requirement_that_cannot_be_is_refused(people, quality, required, field):
    with pytest.raises(Refused) as no:
        planned(people, quality, **required)
    assert no.value.field == field


def shown(row, airframe):
    rows = Characteristic.objects.select_related("bay__type", "joint", "current")
    return queries.on_airframe(rows.get(pk=row.pk), airframe, "mm")


@pytest.mark.django_db
def test_a_result_is_judged_by_its_revision_for_ever_and_asked_for_again(people):
    row = planned(people)
    airframe = make_airframe(people["engineer"], type=row.bay.type)
    result = found(people, row, airframe, "301", unit="cm²", under="200")
    assert shown(row, airframe).newest.found == "150.5 % (301 over 200 cm²)"
    acts.revise(
        by=people["engineer"],
        characteristic=row,
        required=Required(low="160", unit="cm²"),
        based_on=1,
    )
    with pytest.raises(Refused, match="Nothing was changed"):
        acts.revise(
            by=people["engineer"],
            characteristic=row,
            required=Required(low=" 160", unit="cm²"),
            based_on=2,
        )
    with pytest.raises(Refused, match="meanwhile"):
        acts.revise(
            by=people["engineer"],
            characteristic=row,
            required=Required(low="170", unit="cm²"),
            based_on=1,
        )
    result.refresh_from_db()
    newest = shown(row, airframe).newest
    assert (result.verdict, newest.limits) == ("conforms", "at least 150 %")
    assert newest.stale == "revision 2 is required now"
    found(people, row, airframe, "301", unit="cm²", under="200")
    view = shown(row, airframe)
    assert (view.newest.verdict, view.newest.stale) == ("does_not_conform", "")
    assert len(view.earlier) == 1
    assert verify().fault == ""


@pytest.mark.django_db
def test_a_result_tells_nothing_of_another_part_or_another_fit_up(people):
    engineer = people["engineer"]
    joint = make_joint(engineer)
    airframe = make_airframe(engineer, type=joint.type)
    said = {"low": "3", "unit": "mm", "bay": joint.position}
    alone = planned(people, "clearance", **said)
    at_joint = planned(people, "clearance", joint=joint, **said)
    gauge = make_instrument(engineer)

    def measure():
        for row in (alone, at_joint):
            found(people, row, airframe, "4", unit="mm", instrument=gauge)
        return [shown(row, airframe).newest.stale for row in (alone, at_joint)]

    placed = make_placement(
        engineer,
        airframe=airframe,
        position=joint.position,
        part=make_part(engineer),
        reason="made for a test",
    )
    assert measure() == ["", ""]
    make_fit_up(engineer, joint, airframe=airframe, part=placed.part)
    assert [bool(shown(r, airframe).newest.stale) for r in (alone, at_joint)] == [
        *(False, True)
    ]
    assert measure() == ["", ""]
    airframes.remove_part(by=engineer, placement=placed, reason="paint")
    assert "taken out" in shown(alone, airframe).newest.stale
    assert measure()[0] == ""
    # What lies below its bay counts as the bay does.
    below = make_position(engineer, type=joint.type, parent=joint.position)
    of = {"airframe": airframe, "part": make_part(engineer), "position": below}
    make_placement(engineer, reason="made for a test", **of)
    assert "put in" in shown(alone, airframe).newest.stale
    assert shown(at_joint, airframe).newest.stale
