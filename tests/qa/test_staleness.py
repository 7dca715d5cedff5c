"""What goes stale when a part is touched, and what three witnesses keep.

The rules are the design's own (DEVELOPERS.md): common practice, no source.
"""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qa.models import FitUpReason, Joint
from qa.numeric.verdict import witness
from qa.rules import history, staleness
from tests.qa.making import make_fit_up, make_joint, mm, read, revise
from tests.qa.planned import a_check, a_joint, cut, even, make_check, read_at

pytestmark = pytest.mark.django_db


@pytest.fixture
def engineer(people):
    return people["engineer"]


def state_of(check):
    fit_up = check.fit_up
    return staleness.state_of_joint(fit_up.joint, fit_up.airframe)


def next_fit_up(by, check, reason, **said):
    one = check.fit_up
    joint = Joint.objects.select_related("current", "type").get(pk=one.joint_id)
    return make_fit_up(
        by, joint, airframe=one.airframe, part=said.pop("part", one.part),
        reason=reason, **said,
    )  # fmt: skip


def stale_labels(state):
    return {label for label, _kind in state.now.stale}


@pytest.mark.parametrize(
    "reason",
    [FitUpReason.REFIT, FitUpReason.MOVE, FitUpReason.SHIM, FitUpReason.HELD],
)
def test_every_station_is_stale_after_the_part_was_touched(engineer, reason):
    check = a_check(engineer)
    read_at(check, even())
    assert not stale_labels(state_of(check))
    next_fit_up(engineer, check, reason)
    state = state_of(check)
    assert stale_labels(state) == set(even())
    assert state.now.values == {}
    assert all(staleness.WORDS[reason] in one.why for one in state.now.stale.values())


def test_every_station_is_stale_after_a_trim(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    cut(engineer, check, {"3": "0.60"})
    state = state_of(check)
    assert stale_labels(state) == set(even())
    assert state.now.cut == {"3"}


def test_three_well_spread_witnesses_keep_the_uncut_stations(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    opened = cut(engineer, check, {"3": "0.60"})
    again = a_check(engineer, fit_up=opened)
    # u is 0.02 mm: readings within 0.04 mm of each other repeat.
    read_at(again, {"1": "2.22", "4": "2.18", "6": "2.20"})
    state = state_of(again)
    assert state.now.witnesses.keep
    assert stale_labels(state) == {"3"}
    kept = {label for (label, _), one in state.now.values.items() if one.carried}
    assert kept == {"2", "5", "7", "8"}


def test_two_witnesses_keep_nothing(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    read_at(again, {"1": "2.20", "5": "2.20"})
    assert stale_labels(state_of(again)) == {"2", "3", "4", "6", "7", "8"}


def test_three_witnesses_side_by_side_keep_nothing(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    read_at(again, {"5": "2.20", "6": "2.20", "7": "2.20"})
    state = state_of(again)
    assert state.now.witnesses.repeated == ("5", "6", "7")
    assert not state.now.witnesses.spread
    assert "1" in stale_labels(state)


def test_one_witness_that_does_not_repeat_keeps_nothing(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    read_at(again, {"1": "2.20", "4": "2.20", "6": "2.25"})
    state = state_of(again)
    assert state.now.witnesses.apart == (("6", "gap", mm(0.05)),)
    assert stale_labels(state) == {"2", "3", "5", "7", "8"}


def test_what_was_cut_is_no_witness_and_is_never_kept(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90", s1="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.6", "1": "0.6"}))
    # Station 1 was cut: that it reads as before proves nothing.
    read_at(again, {"1": "0.90", "4": "2.20", "6": "2.20"})
    state = state_of(again)
    assert state.now.witnesses.repeated == ("4", "6")
    assert "3" in stale_labels(state) and "2" in stale_labels(state)


def test_the_stated_repeatability_goes_before_twice_the_uncertainty(engineer):
    joint = a_joint(engineer, repeatability_nm=mm(0.10))
    check = a_check(engineer, joint)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    read_at(again, {"1": "2.30", "4": "2.20", "6": "2.11"})
    assert state_of(again).now.witnesses.keep


def test_nothing_repeats_where_nothing_says_how_well(engineer):
    joint = a_joint(engineer)
    fit_up = make_fit_up(engineer, joint)
    check = make_check(engineer, fit_up, instrument=None)
    read_at(check, even(s3="0.90"))
    opened = cut(engineer, check, {"3": "0.60"})
    again = make_check(engineer, opened, instrument=None)
    read_at(again, {"1": "2.20", "4": "2.20", "6": "2.20"})
    state = state_of(again)
    assert state.now.witnesses.repeatability_nm is None
    assert "2" in stale_labels(state)


def test_flushness_is_not_kept_by_witnesses_of_the_gap(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    read_at(again, {"1": "2.20", "4": "2.20", "6": "2.20"}, flush=None)
    state = state_of(again)
    assert ("2", "gap") in state.now.values
    assert ("2", "flush") in state.now.stale


def test_another_serial_starts_from_nothing(engineer):
    from tests.qa.making import make_part

    check = a_check(engineer)
    read_at(check, even())
    other = make_part(engineer, design=check.fit_up.part.design)
    next_fit_up(engineer, check, FitUpReason.SWAP, part=other)
    state = state_of(check)
    assert state.now.values == {} and state.now.stale == {} and not state.proposed


def test_another_revision_keeps_nothing(engineer):
    check = a_check(engineer)
    read_at(check, even())
    revise(engineer, check.fit_up.joint, 8)
    again = a_check(engineer, fit_up=next_fit_up(engineer, check, FitUpReason.REFIT))
    read_at(again, {"1": "2.20", "4": "2.20", "6": "2.20"})
    state = state_of(again)
    assert stale_labels(state) == {"2", "3", "5", "7", "8"}


def test_a_move_at_one_joint_makes_the_part_stale_at_another(engineer):
    check = a_check(engineer)
    read_at(check, even())
    first = check.fit_up
    hinge = make_joint(engineer, 6, position=first.joint.position, name="To hinge")
    make_fit_up(engineer, hinge, airframe=first.airframe, part=first.part)
    assert not stale_labels(state_of(check))
    make_fit_up(
        engineer, hinge, airframe=first.airframe, part=first.part, reason="move"
    )
    state = state_of(check)
    assert stale_labels(state) == set(even())
    assert hinge.number in state.now.why
    # Measured again in the same fit-up, after the move, it stands.
    again = a_check(engineer, fit_up=first)
    read_at(again, even())
    assert not stale_labels(state_of(check))


def test_the_same_part_held_another_way_at_another_joint_is_stale(engineer):
    check = a_check(engineer, held=[{"kind": "cleco", "where": "1, 4", "count": 2}])
    read_at(check, even())
    first = check.fit_up
    hinge = make_joint(engineer, 6, position=first.joint.position)
    make_fit_up(
        engineer, hinge, airframe=first.airframe, part=first.part,
        held=[{"kind": "hinge", "where": "", "count": 2}],
    )  # fmt: skip
    assert stale_labels(state_of(check)) == set(even())


def test_two_cuts_without_a_reading_between_add_up(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    opened = cut(engineer, check, {"3": "0.30"})
    between = a_check(engineer, fit_up=opened)
    opened = cut(engineer, between, {"4": "0.30"})
    again = a_check(engineer, fit_up=opened)
    read_at(again, {"1": "2.20", "5": "2.20", "7": "2.20"})
    state = state_of(again)
    assert state.now.cut == {"3", "4"}
    assert stale_labels(state) == {"3", "4"}


def test_what_to_measure_begins_with_three_uncut_witnesses(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    cut(engineer, check, {"3": "0.60", "4": "0.20"})
    state = state_of(check)
    assert len(state.proposed) == 3 and not {"3", "4"} & set(state.proposed)
    assert state.to_measure[:5] == [*state.proposed, "3", "4"]
    assert sorted(state.to_measure) == sorted(even())


def test_the_tablet_is_told_what_to_measure_first(engineer, client_of):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    client = client_of("builder")
    told = client.get(f"/api/checks/{again.entry_id}").json()
    assert told["first"][3] == "3" and len(told["first"]) == 8
    read(again, told["first"][0], "gap", "2.20")
    read(again, told["first"][0], "flush", "0.00")
    told_next = client.get(f"/api/checks/{again.entry_id}").json()
    assert told["first"][0] not in told_next["first"]


def test_a_first_check_has_nothing_to_measure_first(engineer, client_of):
    check = a_check(engineer)
    told = client_of("builder").get(f"/api/checks/{check.entry_id}").json()
    assert told["first"] == []


@pytest.mark.either_database
def test_the_number_of_statements_does_not_grow_with_rounds(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    counts = []
    for _ in range(3):
        again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.10"}))
        read_at(again, even())
        check = again
        fit_up = check.fit_up
        with CaptureQueriesContext(connection) as caught:
            joints = history.joints_of_part(fit_up.airframe, fit_up.part_id)
            staleness.states(history.load(fit_up.airframe, joints))
        counts.append(len(caught))
    assert counts[0] == counts[-1] <= 13


@pytest.mark.parametrize(
    ("places", "closed", "spread"),
    [
        ([0, 1000, 2000], True, True),
        ([0, 500, 1000], True, False),  # 2000 of 3000 mm without a witness
        ([0, 0, 1500], True, False),  # two places are not three
        ([500, 1500, 2500], False, True),
        ([0, 100, 200], False, False),
        ([1400, 1500, 1600], False, True),  # no more than half to either end
    ],
)
def test_witnesses_are_well_spread_when_no_half_of_the_seam_lacks_one(
    places, closed, spread
):
    assert witness.well_spread(places, 3000, closed) is spread


def test_chosen_witnesses_are_well_spread_wherever_that_can_be():
    for count in range(3, 40):
        places = [3000 * k / count for k in range(count)]
        chosen = witness.choose(places, 3000, True)
        assert witness.well_spread([places[k] for k in chosen], 3000, True)
    assert witness.choose([1.0, 2.0], 3000, True) == ()
