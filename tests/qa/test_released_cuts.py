"""What a release allows and refuses: its cuts, along the edge, and no others."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from qa.actions import fit_plans, trimming
from qa.models import CutDeviation, FitUp, PlanEnd, Side, TrimCut
from qa.rules import cut_allowance, plan_records
from shop.ledger import Refused, verify
from shop.models import Person, StructuralClass
from tests.conftest import make_people
from tests.qa.making import (
    make_design,
    make_fit_up,
    make_part,
    make_stations,
    mm,
    revise,
)
from tests.qa.planned import a_check, cut, even, read_at, take

pytestmark = pytest.mark.django_db


@pytest.fixture
def engineer(people):
    return people["engineer"]


@pytest.fixture
def builder(people):
    return people["builder"]


def primary(by):
    design = make_design(by, structural_class=StructuralClass.PRIMARY)
    return make_part(by, design=design)


def tight(by, **said):
    """1.10 mm too tight at 3 and 4: 0.75 mm is asked for at both, nothing elsewhere."""
    check = a_check(by, **said)
    read_at(check, even(s3="0.40", s4="0.40"))
    return check


def released(engineer, **said):
    """A tight part of primary structure, its plan, released."""
    said.setdefault("part", primary(engineer))
    check = tight(engineer, **said)
    plan = take(engineer, check)
    trimming.release_cut(by=engineer, plan=plan, part=check.fit_up.part)
    return check, plan


# What a builder records by a plan released for 0.75 mm at 3 and 4, act by act, and
# whether it is taken or refused.
CASES = {
    "as released": ([{"3": "0.75", "4": "0.75"}], [True]),
    "less than released": ([{"3": "0.10"}], [True]),
    "one nanometer more": ([{"3": "0.750001"}], [False]),
    "deeper": ([{"3": "0.80"}], [False]),
    "at another station": ([{"5": "0.10"}], [False]),
    "beside it, where the cut runs out": ([{"2": "0.01"}], [False]),
    "at stations far away": ([{"1": "9"}, {"5": "30"}], [False, False]),
    "two cuts, each within": ([{"3": "0.50"}, {"3": "0.50"}], [True, False]),
    "two cuts that make it up": ([{"3": "0.50"}, {"3": "0.25"}], [True, True]),
    "the rest after all of it": ([{"3": "0.75"}, {"3": "0.01"}], [True, False]),
    "a ridge left in between": ([{"3": "0.75"}, {"4": "0.75"}], [True, True]),
}


@pytest.mark.either_database
@pytest.mark.parametrize("name", CASES)
def test_a_release_allows_its_cuts_and_no_others(engineer, builder, name):
    check, plan = released(engineer)
    acts, expected = CASES[name]
    done = []
    for depths in acts:
        try:
            cut(builder, check, depths, plan=plan, more=True)
            done.append(True)
        except Refused as no:
            assert "primary structure" in no.message
            done.append(False)
    assert done == expected
    assert not CutDeviation.objects.exists()
    assert FitUp.objects.count() == 1 + sum(done)


def test_what_a_release_still_allows_goes_down_with_what_was_cut(engineer, builder):
    check, plan = released(engineer)
    cut(builder, check, {"3": "0.50"}, plan=plan, more=True)
    left = cut_allowance.remaining_nm(plan)
    assert left[check.pk, Side.PART, "3"] == mm(0.25)
    assert left[check.pk, Side.PART, "4"] == mm(0.75)


def test_a_builders_reason_does_not_make_a_release(engineer, builder):
    check, plan = released(engineer)
    with pytest.raises(Refused, match="Only the engineer"):
        cut(builder, check, {"3": "0.90"}, plan=plan, reason="the saw slipped")
    assert not TrimCut.objects.exists()


@pytest.mark.either_database
def test_the_engineer_records_a_deeper_cut_as_a_deviation_with_a_reason(engineer):
    check, plan = released(engineer)
    with pytest.raises(Refused, match="Only the engineer"):
        cut(engineer, check, {"3": "0.90"}, plan=plan)
    cut(engineer, check, {"3": "0.90"}, plan=plan, reason="the saw slipped")
    row = CutDeviation.objects.get()
    assert (row.cut_nm, row.allowed_nm) == (mm(0.9), mm(0.75))
    assert row.authorized and row.reason == "the saw slipped" and row.plan == plan
    assert verify.verify().fault == ""


def test_a_cut_by_another_check_is_by_no_release_or_counts_for_this_one(
    engineer, builder
):
    check, plan = released(engineer)
    again = a_check(engineer, fit_up=check.fit_up)
    with pytest.raises(Refused, match="primary structure"):
        cut(builder, again, {"3": "0.10"})
    cut(builder, again, {"3": "0.50"}, plan=plan, more=True)
    with pytest.raises(Refused, match="primary structure"):
        cut(builder, check, {"3": "0.50"}, plan=plan)


def test_a_release_does_not_reach_the_other_side_of_the_edge(engineer, builder):
    surround = primary(engineer)
    check, plan = released(engineer, surround_part=surround)
    with pytest.raises(Refused, match=f"{surround.serial} is primary structure"):
        cut(builder, check, {"3": "0.10"}, side="surround", plan=plan)


def test_a_release_does_not_reach_another_serial(engineer, builder):
    check, plan = released(engineer)
    design = check.fit_up.part.design
    other = make_fit_up(
        engineer, check.fit_up.joint, airframe=check.fit_up.airframe,
        part=make_part(engineer, design=design), reason="swap",
    )  # fmt: skip
    second = a_check(engineer, fit_up=other)
    with pytest.raises(Refused, match="primary structure"):
        cut(builder, second, {"3": "0.10"}, plan=plan)
    with pytest.raises(Refused, match="fit-up 2 was opened since"):
        cut(builder, check, {"3": "0.10"}, plan=plan)


@pytest.mark.either_database
def test_a_release_is_over_when_its_plan_is_done_replaced_withdrawn_or_overtaken(
    engineer, builder
):
    def refused(check, plan, match):
        with pytest.raises(Refused, match=match):
            cut(builder, check, {"3": "0.10"}, plan=plan)

    check, plan = released(engineer)
    cut(builder, check, {"3": "0.10"}, plan=plan)
    refused(check, plan, f"{plan.label} is done")

    check, plan = released(engineer)
    take(engineer, check, {"max_move_mm": 0.0, "max_turn_deg": 0.0, "aim_mm": 0.05})
    refused(check, plan, f"{plan.label} is replaced")

    check, plan = released(engineer)
    fit_plans.withdraw(by=builder, plan=plan, reason="the edge is cracked")
    refused(check, plan, f"{plan.label} is withdrawn")

    check, plan = released(engineer)
    trimming.withdraw_release(
        by=engineer, release=plan.releases.get(), reason="edge distance"
    )
    refused(check, plan, "primary structure")

    check, plan = released(engineer)
    again = a_check(engineer, fit_up=check.fit_up)
    read_at(again, {"3": "0.50"})
    refused(check, plan, f"{plan.label} is overtaken")


@pytest.mark.either_database
def test_a_cut_under_another_revision_counts_where_it_lies_along_the_edge(engineer):
    """The same edge told from another station on, so that every name and every position
    is another: what was cut there is counted where it lies."""
    check, plan = released(engineer)
    drafts = make_stations(8, trim_max_nm=mm(2))
    turned = [
        replace(one, label=str(row))
        for row, one in enumerate(drafts[5:] + drafts[:5], start=1)
    ]
    newer = revise(engineer, check.fit_up.joint, turned)
    fit_up = make_fit_up(
        engineer, check.fit_up.joint, airframe=check.fit_up.airframe,
        part=check.fit_up.part, reason="refit", revision=newer,
    )  # fmt: skip
    later = a_check(engineer, fit_up=fit_up)
    # Station 3 of before is the sixth now.
    cut(engineer, later, {"6": "0.30"}, reason="found too long on the bench")
    left = cut_allowance.remaining_nm(plan)
    assert left[check.pk, Side.PART, "3"] == pytest.approx(mm(0.45), abs=2)
    assert left[check.pk, Side.PART, "4"] == mm(0.75)


def test_on_secondary_structure_a_deeper_cut_asks_for_a_reason(engineer, builder):
    check = tight(engineer)
    plan = take(engineer, check)
    with pytest.raises(Refused, match="say why") as no:
        cut(builder, check, {"3": "0.80"}, plan=plan)
    assert no.value.field == "reason"
    cut(builder, check, {"3": "0.80"}, plan=plan, reason="the line was thick")
    row = CutDeviation.objects.get()
    assert not row.authorized and row.allowed_nm == mm(0.75)
    assert PlanEnd.objects.get(plan=plan).how == "done"


def test_a_cut_by_an_overtaken_plan_asks_for_a_reason(engineer, builder, client_of):
    check = tight(engineer)
    plan = take(engineer, check)
    read_at(a_check(engineer, fit_up=check.fit_up), {"3": "0.50"})
    overtaken = f"{plan.label} is overtaken.* measured again at 3. Say why"
    with pytest.raises(Refused, match=overtaken) as no:
        cut(builder, check, {"3": "0.10"}, plan=plan)
    assert (no.value.field, no.value.code) == ("reason", "reason")
    form = {"unit": "mm", "moved": "no", "as_asked": "on", "note": "by the old sheet"}
    client, where = client_of("builder"), f"/fit-checks/{check.entry_id}/trim/"
    page = client.post(where, {**form, "reason": " "})
    words = "The plan is overtaken: say why it was cut by it."
    assert page.context["form"].errors == {"reason": [words]}
    assert "by the old sheet" in page.content.decode()
    assert not TrimCut.objects.exists()
    assert client.post(where, {**form, "reason": "cut before"}).status_code == 302
    rows = CutDeviation.objects.all()
    assert {(row.part, row.allowed_nm, row.reason) for row in rows} == {
        (check.fit_up.part, 0, "cut before")
    }
    assert not any(row.authorized for row in rows)


def test_two_builders_with_one_released_cut(people, client_of):
    """Both hold the work order. One cuts all of it; what the other cut is refused, and
    becomes a deviation only by the engineer."""
    engineer = people["engineer"]
    check, plan = released(engineer)
    one, other = client_of("builder"), client_of("lead")
    where = f"/fit-checks/{check.entry_id}/"
    orders = [c.get(f"{where}plan/work-order.pdf") for c in (one, other)]
    assert orders[0].content == orders[1].content
    stale = {"unit": "mm", "moved": "no", "as_asked": "on"}
    page = one.get(f"{where}trim/").content.decode()
    assert plan.label in page and '<td class="num">0.75</td>' in page
    done = one.post(f"{where}trim/", stale, follow=True).content.decode()
    assert "Recorded. Measure again" in done
    told = other.post(f"{where}trim/", stale, follow=True).content.decode()
    assert "Take the plan first" in told and f"{plan.label}" in told
    assert TrimCut.objects.filter(depth_nm=mm(0.75)).count() == 2
    # What the second one really took off is on record, by the engineer, with why.
    again = a_check(engineer, fit_up=FitUp.objects.get(number=2))
    with pytest.raises(Refused, match="primary structure"):
        cut(people["lead"], again, {"3": "0.75"}, reason="cut twice by two")
    cut(engineer, again, {"3": "0.75"}, reason="cut twice by two")
    assert CutDeviation.objects.get(authorized=True).allowed_nm == 0
    assert verify.verify().fault == ""


DEPTH = st.sampled_from(["0", "0.05", "0.25", "0.30", "0.75", "0.76", "1.20"])
ACT = st.tuples(
    st.dictionaries(st.sampled_from(["2", "3", "4", "5"]), DEPTH, min_size=1),
    st.booleans(),  # whether by the engineer, who gives a reason
)


class Sums(TestCase):
    """However cuts are recorded one after the other, nowhere do they sum beyond what
    was released without a deviation on record that says so."""

    def setUp(self):
        make_people()

    @settings(max_examples=12, deadline=None)
    @given(st.lists(ACT, min_size=1, max_size=4))
    def test_no_cuts_sum_beyond_the_release_without_a_deviation(self, acts):
        engineer = Person.objects.get(username="engineer")
        builder = Person.objects.get(username="builder")
        check, plan = released(engineer)
        for depths, by_engineer in acts:
            said = {"reason": "as it came"} if by_engineer else {}
            try:
                cut(engineer if by_engineer else builder, check, depths, plan=plan,
                    more=True, **said)  # fmt: skip
            except Refused:
                continue
        allowed = {row.s_nm: row.bite_nm for row in plan.cuts.all()}
        total: dict = {}
        for row in TrimCut.objects.filter(plan=plan):
            total[row.s_nm] = total.get(row.s_nm, 0) + row.depth_nm
        told: dict = {}
        for row in CutDeviation.objects.filter(plan=plan):
            told[row.s_nm] = max(told.get(row.s_nm, 0), row.cut_nm)
        for place, depth in total.items():
            assert depth <= max(allowed.get(place, 0), told.get(place, 0))
        assert plan_records.standing(plan)
