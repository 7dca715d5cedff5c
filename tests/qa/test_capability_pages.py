"""The capability of a whole joint and of a characteristic over parts, as pages tell
it."""

from dataclasses import replace

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from scipy import stats

from qa.actions import characteristics as acts
from qa.actions.characteristics import Required
from qa.models import Characteristic, CharacteristicResult, Kind
from qa.numeric.measuring.capability import capability
from qa.numeric.measuring.joint_capability import (
    joint_capability,
    outside,
    place_level,
)
from qa.numeric.measuring.proportion import share_bounds
from qa.queries import characteristics as told
from qa.queries.joints import joint_capability as pages
from qa.queries.joints import over_parts as queries
from qa.rules.characteristics import Found
from qa.rules.over_parts import Which
from tests.qa.making import make_airframe, make_joint, make_stations, mm, revise
from tests.qa.molding import Shop, ripple


def wave(number: int) -> dict[str, float]:
    return {
        str(n): 0.05 * stats.norm.ppf(((7 * number + 3 * n) % 13 + 0.5) / 13)
        - (0.4 if n == 7 else 0.0)
        for n in range(1, 11)
    }


def steps(number: int) -> dict[str, float]:
    """No place reads the same on all parts."""
    return ripple(number) | {"7": ripple(number)["1"]}


def test_a_joint_is_as_good_as_its_worst_place_with_bounds_that_hold_for_all():
    """Independent: indices by hand, shares by SciPy's normal, bounds by chi-square and
    Bissell's formula at 1 - 0.05 / 2."""
    rows = [[float(v) for v in wave(k).values()] for k in range(12)]
    columns = list(zip(*rows, strict=True))[5:7]
    level = place_level(2)
    assert level == 0.975
    found = joint_capability([capability(c, -0.5, 0.5, level=level) for c in columns])
    each = []
    for column in columns:
        mean, sd = stats.tmean(column), stats.tstd(column)
        ppk = min(0.5 - mean, mean + 0.5) / (3 * sd)
        reach = stats.norm.ppf(0.9875) * (1 / 108 + ppk**2 / 22) ** 0.5
        outside = stats.norm.sf((0.5 - mean) / sd) + stats.norm.cdf((-0.5 - mean) / sd)
        each.append((ppk, ppk - reach, ppk + reach, outside))
    assert found.worst["ppk"].place == 1
    assert found.worst["ppk"].value == pytest.approx(each[1][0])
    lows, highs = ([one[k] for one in each] for k in (1, 2))
    assert found.worst["ppk"].interval == pytest.approx((min(lows), min(highs)))
    shares = [one[3] for one in each]
    assert (found.least, found.most) == pytest.approx((max(shares), sum(shares)))
    assert found.independent == pytest.approx(1 - (1 - shares[0]) * (1 - shares[1]))
    lone = capability([1, 2], 0, 3)
    assert joint_capability([lone]).worst == {}
    partly = joint_capability([capability(columns[0], -0.5, 0.5), lone])
    assert (partly.estimated, partly.least) == (1, pytest.approx(shares[0]))
    assert partly.most is partly.independent is None
    # What has no bounds, or is not told, leaves the joint none; one limit has no width.
    assert partly.worst["ppk"].interval is None
    upper = capability(columns[0], None, 0.5, level=level)
    both = joint_capability([capability(columns[1], -0.5, 0.5, level=level), upper])
    assert both.worst["pp"].interval == found.worst["pp"].interval
    assert both.worst["ppk"].interval is not None
    assert place_level(2000) == pytest.approx(1 - 0.05 / 2000)
    assert capability(columns[0], -0.5, 0.5, level=place_level(2000)).ppk_interval


def test_a_place_that_its_curve_does_not_reach_counts_with_what_was_seen():
    """Two heaps, and 3 of 203 far above: no curve of their moments reaches there."""
    heaps = [*np.linspace(-1, -0.9, 100), *np.linspace(0.9, 1, 100)]
    beyond = capability([*heaps, 2.5, 2.5, 2.5], -3, 2.4)
    assert (beyond.method, beyond.above) == ("percentile", None)
    least = 1 - 0.05 ** (1 / 203)  # none of 203 below, Clopper and Pearson
    told = outside(beyond)
    assert (told.share, told.most) == (pytest.approx(3 / 203), pytest.approx(least))
    unseen = capability([*heaps, 2.5, 2.5, 2.5], -3, 3)
    joint = joint_capability([beyond, unseen])
    assert (joint.least, joint.most) == (pytest.approx(3 / 203), None)
    assert (joint.seen, joint.unseen) == (1, 3)
    assert pages._place(beyond, False).outside == f"≥ {3 / 203:.2%}"
    assert pages._place(unseen, False).outside == f"< {least:.2%}"


def test_bounds_of_a_share_are_those_of_scipy():
    for count, n in ((0, 9), (3, 9), (9, 9), (1, 400)):
        law = stats.binomtest(count, n).proportion_ci(0.95, "exact")
        assert share_bounds(count, n) == pytest.approx((law.low, law.high))
    with pytest.raises(ValueError, match="no count"):
        share_bounds(4, 3)


def test_the_page_of_a_joint_tells_each_place_the_worst_and_the_whole(
    people, client_of
):
    shop = Shop(people["lead"])
    for number in range(3):
        shop.fit(shop.pull(), shop.airframes[number % 3], wave(number), steps(number))
    page = queries.over_page(shop.joint, Which.FIRST, "mm")
    assert page.capability.rows == [] and "at least 8 are needed" in page.capability.why
    with CaptureQueriesContext(
        connection,
    ) as few:
        queries.over_page(shop.joint, Which.FIRST, "mm")
    for number in range(3, 12):
        shop.fit(shop.pull(), shop.airframes[number % 3], wave(number), steps(number))
    with CaptureQueriesContext(connection) as many:
        page = queries.over_page(shop.joint, Which.FIRST, "mm")
    assert len(few) == len(many)
    by_name = {row.name: row for row in page.capability.rows}
    assert by_name["Ppk"].place == "7, gap" and by_name["Ppk"].bounds
    assert [row.label for row in page.rows if row.gap_figures.worst] == ["7"]
    one = queries.place_page(shop.joint, "7", Kind.GAP, Which.FIRST, "mm")
    ppk = next(index.value for index in one.indices if index.name == "Ppk")
    assert page.rows[6].gap_figures.ppk == by_name["Ppk"].value == ppk
    words = client_of("visitor").get(f"/joints/{shop.joint.pk}/over-parts/")
    words = " ".join(words.content.decode().split())
    assert "Capability of the whole joint" in words
    assert "Parts expected with something outside" in words
    assert "estimates from 12 parts" in words
    # Limits of one value at a place are told on its page, and the others stand.
    drafts = make_stations(10, trim_max_nm=mm(4))
    drafts[2] = replace(drafts[2], gap_min_nm=mm(2), gap_max_nm=mm(2))
    revise(shop.by, shop.joint, drafts)
    shop.joint.refresh_from_db()
    page = queries.over_page(shop.joint, Which.FIRST, "mm")
    assert (page.rows[2].gap_figures.ppk, page.rows[6].gap_figures.ppk) == ("", ppk)
    assert {row.bounds for row in page.capability.rows} == {""}
    one = queries.place_page(shop.joint, "3", Kind.GAP, Which.FIRST, "mm")
    assert one.capability_why == "the limits are one value: no spread fits between them"


@pytest.fixture
def planned(people):
    joint = make_joint(people["lead"])

    def plan(number, quality, *required):
        return acts.define(
            by=people["engineer"],
            number=number,
            name="made up",
            quality=quality,
            bay=joint.position,
            joint=None,
            required=Required(*required),
        )

    return plan


def found_on(people, row, airframes, values, unit):
    for airframe, value in zip(airframes, values, strict=True):
        acts.record(
            by=people["builder"],
            characteristic=row,
            airframe=airframe,
            found=Found(value, unit),
        )


def test_a_characteristic_tells_its_capability_over_parts(people, planned, client_of):
    """The newest result of each airframe counts, in the reader's unit; what is counted
    has a share with bounds."""
    row = planned("C-9", "dimension", "12", "12.8", "mm")
    frames = [make_airframe(people["lead"], type=row.bay.type) for _ in range(12)]
    values = [f"{12.3 + off / 100:.2f}" for off in (4, -3, 9, 1, -7, 6, -2, 12, 0, -5)]
    page = told.page_of(row, "mm")
    assert page.capability.capability_why == "nothing was found of it yet"
    found_on(people, row, frames[:1], ["14"], "mm")  # read again below
    with CaptureQueriesContext(connection) as few:
        told.page_of(Characteristic.objects.get(pk=row.pk), "mm")
    found_on(people, row, frames[:10], values, "mm")
    with CaptureQueriesContext(connection) as many:
        page = told.page_of(Characteristic.objects.get(pk=row.pk), "mm")
    assert len(few) == len(many)
    wanted = capability([float(value) for value in values], 12, 12.8)
    shown = {one.name: one.value for one in page.capability.indices}
    assert shown["Ppk"] == f"{wanted.ppk:.2f}"
    assert dict(page.capability.facts)["Mean"] == f"{wanted.mean:.3f} mm"
    inches = told.page_of(row, "in").capability
    assert {one.name: one.value for one in inches.indices} == shown
    assert dict(inches.facts)["Mean"] == f"{wanted.mean / 25.4:.5f} in"
    words = client_of("visitor").get(f"/characteristics/{row.pk}/").content.decode()
    assert "Capability over parts" in words and shown["Ppk"] in words
    counted = planned("C-10", "count", "2", "2")
    found_on(people, counted, frames[:10], ["2"] * 9 + ["3"], "")
    facts = dict(told.page_of(counted, "mm").capability.facts)
    law = stats.binomtest(9, 10).proportion_ci(0.95, "exact")
    assert facts["As required"] == "9 of 10"
    bounds = facts["95 % bounds of that share"]
    assert bounds == f"{law.low:.2%} to {law.high:.2%}"
    # Against what is required now, and a part that went elsewhere counts once.
    acts.revise(
        by=people["engineer"],
        characteristic=counted,
        required=Required("2", "3"),
        based_on=1,
    )
    counted = Characteristic.objects.get(pk=counted.pk)
    facts = dict(told.page_of(counted, "mm").capability.facts)
    assert facts["As required"] == "10 of 10"
    results = list(CharacteristicResult.objects.filter(revision__number=1, unit=""))
    results[0].part_id = results[1].part_id = 7
    facts = dict(told.over_parts(counted, results, "mm").facts)
    assert facts["As required"] == "9 of 9"
    for quality, limits, value, unit in (
        ("weight", ("", "120", "g"), "118", "g"),
        ("attribute", (), "yes", ""),
    ):
        more = planned(f"C-{quality}", quality, *limits)
        found_on(people, more, frames[:1], [value], unit)
        assert (
            told.page_of(more, "in").capability.capability_why or quality == "attribute"
        )
