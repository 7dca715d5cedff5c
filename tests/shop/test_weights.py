"""Weights: against the laminate, estimates, the roll-up with what is missing."""

import datetime as dt
import re

import pytest
from django.urls import reverse

from shop.actions import people as of_people
from shop.actions import weights
from shop.ledger import Refused
from shop.models import Weighing
from shop.queries.weights import balance_page, part_floor, to_weigh
from shop.rules.mass import expectation_of
from shop.wording import masses

from .making import (
    make_airframe,
    make_design,
    make_part,
    make_placement,
    make_position,
)
from .making_floor import (
    grams,
    make_demolded,
    make_laminate,
    make_material,
    make_pulled_part,
    mm,
)

DAY = dt.date(2026, 11, 20)


@pytest.fixture
def lead(people):
    return people["lead"]


def weigh(by, part, mass, **said):
    said = {"stage": "trimmed", "weighed_on": DAY, "scale": "bench", **said}
    return weights.weigh_part(by=by, part=part, mass=grams(mass), **said)


@pytest.fixture
def pulled(lead):
    """A part of two plies of 200 g/m2 carbon on 0.5 m2 at 45 % fiber by volume."""
    design = make_design(lead)
    laminate = make_laminate(lead, design=design, fiber=make_material(lead))
    pull = make_demolded(lead, laminate=laminate)
    return make_pulled_part(lead, pull=pull, design=design)


def test_the_expectation_follows_from_the_laminate(pulled):
    # Fiber 2 x 200 x 0.5 = 200 g. Vf 0.45, densities 1.78 and 1.18:
    # Wf = 0.45 x 1.78 / (0.45 x 1.78 + 0.55 x 1.18) = 0.801 / 1.450 = 0.55241,
    # so the part weighs 200 / 0.55241 = 362.05 g (worked by hand).
    expected = expectation_of(pulled)
    assert expected.fiber_mg == 200_000
    assert expected.mass_mg / 1000 == pytest.approx(362.05, abs=0.01)
    assert expected.low_mg < expected.mass_mg < expected.high_mg


def test_a_weight_implies_its_resin_fraction(lead, pulled):
    weigh(lead, pulled, "370 g")
    floor = part_floor(pulled)
    # (370 - 200) / 370
    assert floor.resin_fraction == pytest.approx(170 / 370)


def test_a_weight_outside_asks_why_and_inside_does_not(lead, pulled):
    with pytest.raises(Refused) as no:
        weigh(lead, pulled, "480 g")
    assert (no.value.field, no.value.code) == ("reason", "reason")
    assert weigh(lead, pulled, "480 g", reason="a ply too many").reason
    assert weigh(lead, pulled, "365 g").reason == ""


def test_other_stages_are_not_held_against_the_trimmed_laminate(lead, pulled):
    assert weigh(lead, pulled, "480 g", stage="untrimmed").expected_mg is None


def test_a_weight_names_its_scale_or_is_an_estimate(lead):
    part = make_part(lead)
    with pytest.raises(Refused) as no:
        weigh(lead, part, "1 kg", scale="")
    assert no.value.field == "scale"
    weigh(lead, part, "1 kg", scale="", estimate=True)
    part.refresh_from_db()
    assert part.mass_is_estimate
    assert [row.pk for row in to_weigh()] == [part.pk]
    weigh(lead, part, "1.02 kg")
    part.refresh_from_db()
    assert (part.mass_mg, part.mass_is_estimate) == (1_020_000, False)
    assert list(to_weigh()) == []


def test_the_newest_day_counts_not_the_last_entered(lead):
    part = make_part(lead)
    weigh(lead, part, "900 g", weighed_on=dt.date(2026, 11, 21))
    weigh(lead, part, "1100 g", weighed_on=dt.date(2026, 11, 3))
    part.refresh_from_db()
    assert part.mass_mg == 900_000
    assert Weighing.objects.count() == 2


def test_coupons_and_scrap_wait_for_no_scale(lead):
    from shop.actions import parts

    make_part(lead, design=make_design(lead, is_coupon=True))
    parts.scrap_part(by=lead, part=make_part(lead), reason="cracked")
    assert list(to_weigh()) == []
    assert to_weigh().paginator.count == 0
    part = make_part(lead)
    for page in (to_weigh(), to_weigh(q=part.serial)):
        assert [row.pk for row in page] == [part.pk]
        assert page.paginator.count == 1


def test_the_roll_up_tells_weighed_estimated_and_missing_apart(lead):
    airframe = make_airframe(lead)
    # 100 kg at 50, 100 at 90, 200 at 150: CG 110.0 (reference, trade.md 9 CHECK).
    rows = (("100", "50", False), ("100", "90", True), ("200", "150", False))
    for mass, arm, estimate in rows:
        position = make_position(lead, type=airframe.type)
        weights.set_arm(by=lead, position=position, arm=mm(arm))
        part = make_part(lead)
        weigh(lead, part, f"{mass} kg", estimate=estimate)
        make_placement(lead, airframe=airframe, position=position, part=part)
    unknown = make_position(lead, type=airframe.type)
    weights.set_arm(by=lead, position=unknown, arm=mm("10"))
    light = make_placement(lead, airframe=airframe, position=unknown)
    far = make_placement(lead, airframe=airframe)
    shown = balance_page(airframe)
    assert shown.total.arm == pytest.approx(110.0)
    assert (shown.total.weighed, shown.total.estimated) == (300, 100)
    assert shown.total.missing == (light.part.serial,)
    assert [line.part for line in shown.no_arm] == [far.part]
    assert shown.residual is None


def test_what_is_not_itemized_stands_on_its_own_line(lead):
    airframe = make_airframe(lead)
    position = make_position(lead, type=airframe.type)
    weights.set_arm(by=lead, position=position, arm=mm("100"))
    part = make_part(lead)
    weigh(lead, part, "80 kg")
    make_placement(lead, airframe=airframe, position=position, part=part)
    weights.weigh_airframe(
        by=lead,
        airframe=airframe,
        mass=grams("100 kg"),
        arm=mm("120"),
        scale="three pads",
        weighed_on=DAY,
    )
    left = balance_page(airframe).residual
    # 100 kg at 120 less 80 kg at 100: 20 kg at (12000 - 8000) / 20 = 200.
    assert (left.mass, left.arm) == (pytest.approx(20), pytest.approx(200))


def test_who_reads_inches_has_the_sum_in_pounds_and_its_arm_in_inches(
    people, client_of
):
    """1 lb = 0.45359237 kg and 1 in = 25.4 mm, exactly."""
    lead = people["lead"]
    airframe = make_airframe(lead)
    position = make_position(lead, type=airframe.type)
    weights.set_arm(by=lead, position=position, arm=mm("254"))
    part = make_part(lead)
    weigh(lead, part, "4.5359237 kg")
    make_placement(lead, airframe=airframe, position=position, part=part)
    address = reverse("balance", args=[airframe.pk])

    def told():
        words = re.sub("<[^>]+>", " ", client_of("lead").get(address).content.decode())
        return " ".join(words.split())

    assert "4.536 kg" in told() and "254.0 mm" in told() and "Mass, kg" in told()
    of_people.set_units(lead, units="in")
    assert "10.000 lb" in told() and "10.00 in" in told() and "Mass, lb" in told()
    assert "kg" not in told()
    assert masses.moment(4.5359237, -254, "in") == "\N{MINUS SIGN}100.0"
