"""What the tablet is told beside the field: the value before, what a cut or a move
should have made of it, the witnesses; and which stations have a photo."""

import pytest

from qa.actions import moves
from qa.queries.tablet.carried_checks import check_for_tablet
from qa.queries.tablet.offline_copy import carry
from qa.rules.moved import Moved
from tests.qa.making import make_check, make_fit_up, make_joint, read
from tests.qa.planned import a_check, cut, even, planned, read_at

pytestmark = pytest.mark.django_db


@pytest.fixture
def engineer(people):
    return people["engineer"]


def beside(check):
    rows = check_for_tablet(check)["beside"]
    return {(one["station"], one["kind"]): one for one in rows}


def test_a_first_check_has_nothing_beside_its_fields(engineer):
    assert beside(make_check(engineer, make_fit_up(engineer))) == {}


def test_after_a_cut_the_value_before_what_is_expected_and_the_witnesses_are_told(
    engineer,
):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    told = beside(again)
    assert told["3", "gap"]["before"]["value"] == "0.90"
    assert told["3", "gap"]["before"]["check"] == check.label
    assert told["3", "gap"]["expected_nm"] == 1_500_000
    assert not told["3", "gap"]["witness"]
    # Where nothing was cut nothing is expected but that it stands.
    witnesses = {label for (label, _), one in told.items() if one["witness"]}
    assert len(witnesses) == 3 and "3" not in witnesses
    assert all(told[one, "gap"]["expected_nm"] is None for one in witnesses)
    assert check_for_tablet(again)["first"][:4] == [
        *(x for x in check_for_tablet(again)["first"] if x in witnesses),
        "3",
    ]
    # What is measured now is no value before of itself.
    read(again, "3", "gap", "1.48")
    assert beside(again)["3", "gap"]["before"]["value"] == "0.90"


def test_after_a_move_each_station_is_expected_where_the_move_puts_it(engineer):
    check = a_check(engineer)
    read_at(check, even())
    loaded = planned(check)
    amounts = [{"name": "right", "amount": "0.30", "unit": "mm"}]
    changes = {"1": [300_000, -20_000], "5": [-300_000, 0]}
    moved = Moved("0.30 mm to the right", amounts, {loaded.fit_up_id: changes})
    opened = moves.record_move(by=engineer, checks=[loaded], moved=moved)[0]
    told = beside(a_check(engineer, fit_up=opened))
    before = even()["1"]
    assert told["1", "gap"]["before"]["value"] == before
    assert told["1", "gap"]["expected_nm"] == told["1", "gap"]["before"]["nm"] + 300_000
    assert (
        told["1", "flush"]["expected_nm"] == told["1", "flush"]["before"]["nm"] - 20_000
    )
    assert told["5", "gap"]["expected_nm"] == told["5", "gap"]["before"]["nm"] - 300_000
    assert told["2", "gap"]["expected_nm"] is None
    assert not any(one["witness"] for one in told.values())


def test_a_second_check_of_the_same_state_tells_the_first(engineer):
    check = a_check(engineer)
    read_at(check, even())
    again = a_check(engineer, fit_up=check.fit_up)
    one = beside(again)["1", "gap"]
    assert (one["before"]["value"], one["expected_nm"]) == (even()["1"], None)


def test_the_holding_of_the_last_check_is_carried(engineer):
    joint = make_joint(engineer)
    clecos = [{"kind": "cleco", "where": "1, 4, 7", "count": 3}]
    hinges = [{"kind": "hinge", "where": "", "count": 2}]
    first = make_check(engineer, make_fit_up(engineer, joint, held=clecos))
    airframe = first.fit_up.airframe
    told = {one["id"]: one["held_last"] for one in carry()["joints"]}
    assert told[joint.pk] == {str(airframe.pk): clecos}
    part = first.fit_up.part
    again = make_fit_up(
        engineer, joint, airframe=airframe, part=part, reason="refit", held=hinges
    )
    make_check(engineer, again)
    told = {one["id"]: one["held_last"] for one in carry()["joints"]}
    assert told[joint.pk] == {str(airframe.pk): hinges}
