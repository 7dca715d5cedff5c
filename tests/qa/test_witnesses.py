"""What witness stations may say, and what they never saw.

The rules are the design's own (DEVELOPERS.md): common practice, no source.
"""

import pytest

from qa.actions import moves, trimming
from qa.actions.trimming import Taken
from qa.models import FitUpReason
from qa.rules.moved import Moved
from tests.qa.making import make_check, make_fit_up, make_instrument, mm, read
from tests.qa.planned import a_check, a_joint, cut, even, planned, read_at
from tests.qa.test_staleness import next_fit_up, stale_labels, state_of

pytestmark = pytest.mark.django_db
CLECOS = [{"kind": "cleco", "where": "1, 4, 7", "count": 3}]
HINGES = [{"kind": "hinge", "where": "", "count": 2}]
THREE = {"1": "2.20", "4": "2.20", "6": "2.20"}


@pytest.fixture
def engineer(people):
    return people["engineer"]


def current(state, kind):
    return {label for (label, of), _ in state.now.values.items() if of == kind}


def moved_by(check, millimeters="0.30"):
    amounts = [{"name": "right", "amount": millimeters, "unit": "mm"}]
    return Moved("0.30 mm to the right", amounts, {check.fit_up_id: {}})


def record_move(by, check):
    loaded = planned(check)
    return moves.record_move(by=by, checks=[loaded], moved=moved_by(loaded))[0]


def test_one_flushness_at_the_cut_station_brings_no_flushness_back(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    read_at(again, THREE, flush=None)
    read(again, "3", "flush", "0.00")
    state = state_of(again)
    assert current(state, "gap") == {"1", "2", "4", "5", "6", "7", "8"}
    assert current(state, "flush") == {"3"}


def test_three_witnesses_of_one_kind_and_two_of_the_other_keep_one_kind(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    read_at(again, THREE, flush=None)
    for label in ("1", "4"):
        read(again, label, "flush", "0.00")
    state = state_of(again)
    assert state.now.witnesses.kinds == {"gap"}
    assert current(state, "flush") == {"1", "4"}


def test_witnesses_of_two_kinds_at_different_places_are_not_added_up(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    again = a_check(engineer, fit_up=cut(engineer, check, {"3": "0.60"}))
    for label, kind in (("1", "gap"), ("4", "gap"), ("6", "flush")):
        read(again, label, kind, "2.20" if kind == "gap" else "0.00")
    assert not state_of(again).now.witnesses.keep


def test_no_witness_speaks_after_a_move(engineer):
    check = a_check(engineer)
    read_at(check, even())
    opened = record_move(engineer, check)
    state = state_of(check)
    assert state.now.values == {} and state.proposed == ()
    assert state.to_measure == list(even())
    again = a_check(engineer, fit_up=opened)
    read_at(again, THREE)
    state = state_of(again)
    assert current(state, "gap") == set(THREE) and not state.now.witnesses.keep


def test_no_witness_speaks_after_a_cut_with_a_move(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.90"))
    loaded = planned(check)
    taken = [Taken(loaded, "3", "part", "0.60", "mm", mm(0.6))]
    opened = trimming.record_trim(
        by=engineer,
        checks=[loaded],
        taken=taken,
        moved=moved_by(loaded),
        reason="by eye",
    )[0]
    again = a_check(engineer, fit_up=opened)
    read_at(again, THREE)
    assert current(state_of(again), "gap") == set(THREE)


def test_a_refit_after_a_move_does_not_let_witnesses_speak_again(engineer):
    check = a_check(engineer)
    read_at(check, even())
    record_move(engineer, check)
    opened = next_fit_up(engineer, check, FitUpReason.REFIT)
    again = a_check(engineer, fit_up=opened)
    read_at(again, THREE)
    assert current(state_of(again), "gap") == set(THREE)


def test_a_move_at_another_joint_silences_witnesses_here(engineer):
    from tests.qa.making import make_joint

    check = a_check(engineer)
    read_at(check, even())
    first = check.fit_up
    hinge = make_joint(engineer, 6, position=first.joint.position)
    where = {"airframe": first.airframe, "part": first.part}
    make_fit_up(engineer, hinge, **where)
    make_fit_up(engineer, hinge, reason="move", **where)
    again = a_check(engineer, fit_up=first)
    read_at(again, THREE)
    assert current(state_of(again), "gap") == set(THREE)


@pytest.mark.parametrize("reason", [FitUpReason.REFIT, FitUpReason.HELD])
def test_witnesses_held_another_way_vouch_for_nothing(engineer, reason):
    check = a_check(engineer, held=CLECOS)
    read_at(check, even())
    opened = next_fit_up(engineer, check, reason, held=HINGES)
    again = a_check(engineer, fit_up=opened)
    read_at(again, THREE)
    assert current(state_of(again), "gap") == set(THREE)


def test_held_another_way_moved_and_refitted_in_one_go_keeps_nothing(engineer):
    check = a_check(engineer, held=CLECOS)
    read_at(check, even())
    next_fit_up(engineer, check, FitUpReason.HELD, held=HINGES)
    record_move_of = next_fit_up(engineer, check, FitUpReason.MOVE, held=HINGES)
    assert record_move_of.number == 3
    opened = next_fit_up(engineer, check, FitUpReason.REFIT, held=CLECOS)
    again = a_check(engineer, fit_up=opened)
    read_at(again, THREE)
    assert current(state_of(again), "gap") == set(THREE)


def test_witnesses_of_painted_edges_say_nothing_of_bare_ones(engineer):
    joint = a_joint(engineer)
    check = make_check(engineer, make_fit_up(engineer, joint), finish="bare")
    read_at(check, even())
    opened = next_fit_up(engineer, check, FitUpReason.REFIT)
    again = make_check(engineer, opened, finish="finished")
    read_at(again, THREE)
    assert current(state_of(again), "gap") == set(THREE)


def test_a_skipped_or_a_cleared_station_is_no_witness(engineer):
    check = a_check(engineer)
    read_at(check, even())
    opened = next_fit_up(engineer, check, FitUpReason.REFIT)
    again = a_check(engineer, fit_up=opened)
    read_at(again, {"1": "2.20", "4": "2.20"}, flush=None)
    read(again, "6", "gap", outcome="skipped", unit="", reason="Strap in the way.")
    assert not state_of(again).now.witnesses.keep
    first = read(again, "7", "gap", "2.20")
    assert state_of(again).now.witnesses.keep
    read(
        again, "7", "gap", outcome="cleared", unit="", supersedes=first,
        reason="Wrong station.",
    )  # fmt: skip
    assert not state_of(again).now.witnesses.keep


def test_two_values_that_clash_are_no_witness_until_one_is_chosen(engineer):
    check = a_check(engineer)
    read_at(check, even())
    again = a_check(engineer, fit_up=next_fit_up(engineer, check, "refit"))
    read_at(again, THREE, flush=None)
    assert state_of(again).now.witnesses.keep
    assert read(again, "6", "gap", "2.90").clash
    assert not state_of(again).now.witnesses.keep


def feeler(check, label, goes, stops):
    read(check, label, "gap", outcome="feeler", goes=goes, does_not_go=stops)


def test_feeler_leaves_far_apart_are_no_witness_and_near_ones_are(engineer):
    joint = a_joint(engineer, repeatability_nm=mm(0.15))
    check = a_check(engineer, joint)
    for label in even():
        feeler(check, label, "2.15", "2.20")
    again = a_check(engineer, fit_up=next_fit_up(engineer, check, "refit"))
    for label in THREE:
        feeler(again, label, "2.00", "2.35")  # the same middle, half way known
    state = state_of(again)
    assert not state.now.witnesses.keep and not state.now.witnesses.apart
    third = a_check(engineer, fit_up=again.fit_up)
    for label in THREE:
        feeler(third, label, "2.15", "2.20")
    assert state_of(third).now.witnesses.keep


def test_a_coarse_gauge_is_no_easy_witness(engineer):
    check = a_check(engineer)
    read_at(check, even())
    opened = next_fit_up(engineer, check, FitUpReason.REFIT)
    ruler = make_instrument(engineer, u_nm=mm(0.5))
    again = make_check(engineer, opened, instrument=ruler)
    read_at(again, {"1": "2.90", "4": "2.90", "6": "2.90"}, flush=None)
    state = state_of(again)
    assert not state.now.witnesses.keep and state.now.witnesses.apart
    assert stale_labels(state) == set(even())


def test_the_page_after_a_recorded_move_promises_no_witness(engineer, client_of):
    check = a_check(engineer)
    read_at(check, even())
    opened = record_move(engineer, check)
    url = f"/joints/{opened.joint_id}/on/{opened.airframe_id}/"
    page = client_of("builder").get(url).content.decode()
    assert "every station has to be measured again" in page
    assert "are witnesses" not in page and "witnesses repeat" not in page
    read_at(a_check(engineer, fit_up=opened), THREE)
    page = client_of("builder").get(url).content.decode()
    assert "No witness can speak" in page and "are kept" not in page
