"""In work, offered, accepted: what is offered is frozen, judged by somebody else, and
voided by whatever happens to it after."""

import re
import threading
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.db.transaction import atomic, set_rollback
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from qa.actions import (
    checks,
    gauges,
    inspections,
    moves,
    nonconformances,
    offers,
    raising,
    shims,
    trimming,
)
from qa.actions.inspections import Remark
from qa.models import Check, Nonconformance, OfferedJoint
from qa.queries import offers as queries
from qa.queries.today import today
from qa.rules import acceptance, planning
from qa.rules.moved import Moved
from shop.actions import airframes, parts, suspects
from shop.ledger import Refused
from shop.ledger.verify import verify
from shop.models import Person
from shop.rules.signing import SIGNABLES
from tests.around import by_hand
from tests.conftest import make_people
from tests.qa.making import (
    make_airframe,
    make_check,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
    make_position,
    make_stations,
    make_type,
    mm,
    read,
    revise,
)
from tests.qa.test_item_life import do, make_person, more_people
from tests.shop.making import make_placement


def begun(people, fit_up, **more):
    gauge = make_instrument(people["engineer"])
    return make_check(people["builder"], fit_up=fit_up, instrument=gauge, **more)


def measured(people, fit_up=None, *, tight=(), skip=(), finish=True, **more):
    """A check by the builder, gaps 0.5 under at `tight`, none read at `skip`."""
    by, fit_up = people["builder"], fit_up or make_fit_up(people["engineer"])
    check = begun(people, fit_up, **more)
    for n in range(1, 9):
        if n not in skip:
            value = "1.00" if n in tight else "2.00"
            read(check, str(n), "gap", value, by=by)
            read(check, str(n), "flush", "0.00", by=by)
    if finish:
        checks.finish_check(by=by, check=check)
    return check


def offered(people, check, **more) -> OfferedJoint:
    fit_up = check.fit_up
    made = offers.offer(
        by=people["builder"], airframe=fit_up.airframe, joint=fit_up.joint, **more
    )
    return made.joints.get()


def inspect(people, row, outcome="accepted", remarks=(), by="inspector"):
    return inspections.inspect(
        by=people[by],
        offered=row,
        outcome=outcome,
        shown=row.digest,
        remarks=[Remark(*one) for one in remarks],
    )


def state(row) -> str:
    row = acceptance.newest().get(pk=row.pk)
    return acceptance.standings([row])[row.pk].state


def why(row) -> str:
    row = acceptance.newest().get(pk=row.pk)
    return acceptance.standings([row])[row.pk].why


@pytest.mark.either_database
def test_what_is_offered_is_frozen_and_accepted_by_an_inspector(people):
    check = measured(people)
    row = offered(people, check)
    assert state(row) == "offered"
    body = row.content
    assert [one["check"] for one in body["checks"]] == [check.label]
    assert {one["state"] for one in body["lines"]} == {"conforms"}
    told = inspect(people, row)
    assert (told.meaning, told.entry.by) == ("inspected", people["inspector"])
    assert state(row) == "accepted"
    assert not Nonconformance.objects.exists()
    assert verify().fault == ""


@pytest.mark.either_database
def test_findings_in_work_are_no_nonconformances_until_they_are_offered(
    people, client_of
):
    check = measured(people, tight=(3, 4))
    where = reverse(
        "joint_on_airframe", args=[check.fit_up.joint_id, check.fit_up.airframe_id]
    )
    page = client_of("builder").get(where).content.decode()
    assert "To do" in page and "too tight: stations 3, 4" in page
    assert not Nonconformance.objects.exists()
    row = offered(people, check)
    item = Nonconformance.objects.get()
    assert (item.stations, item.source) == (["3", "4"], "check")
    assert item.entry_id == row.offer.entry_id
    for outcome, remarks in (("accepted", ()), ("with_remarks", [("3", "tight")])):
        with pytest.raises(Refused, match="3 gap, 4 gap"):
            inspect(people, row, outcome, remarks)


def test_offered_again_the_same_finding_stays_one_item(people):
    check = measured(people, tight=(3, 4))
    inspect(people, offered(people, check), "rejected", [("3", "far too tight")])
    offered(people, check)
    fit = Nonconformance.objects.filter(kind="gap_tight")
    assert fit.count() == 1


def test_what_is_missing_is_shown_and_needs_a_word(people):
    check = measured(people, skip=(5,))
    row = offered(people, check)
    states = {(x["station"], x["kind"]): x["state"] for x in row.content["lines"]}
    assert states["5", "gap"] == "not_measured"
    with pytest.raises(Refused, match="Not shown to conform: 5") as no:
        inspect(people, row)
    assert no.value.field == "outcome"
    with pytest.raises(Refused, match="Not shown to conform: 5"):
        inspect(people, row, "with_remarks", [("4", "a scratch")])
    inspect(people, row, "with_remarks", [("5", "read it when the strut is off")])
    assert state(row) == "with_remarks"
    item = Nonconformance.objects.get()
    assert (item.source, item.stations) == ("inspection", ["5"])


def test_what_was_measured_with_an_instrument_found_off_needs_a_word(people, client_of):
    check = measured(people)
    gauges.record_calibration(
        by=people["engineer"],
        instrument=check.instrument,
        laboratory="blocks",
        result="off",
        done_on=timezone.localdate(),
        due=None,
        error_nm=200_000,
    )
    row = offered(people, check)
    assert row.content["short"] == ["instrument"]
    listed = client_of("inspector").get(reverse("offers")).content.decode()
    assert "an instrument that was found off" in listed and row.joint.number in listed
    with pytest.raises(Refused, match="the joint whole") as no:
        inspect(people, row)
    assert no.value.field == "outcome"


def test_what_is_stale_is_never_shown_as_present(people):
    check = measured(people)
    fit_up = check.fit_up
    again = make_fit_up(
        people["builder"],
        fit_up.joint,
        airframe=fit_up.airframe,
        part=fit_up.part,
        reason="refit",
    )
    with pytest.raises(Refused, match="nothing was measured since"):
        offered(people, check)
    part = begun(people, again)
    read(part, "1", "gap", "2.00", by=people["builder"])
    checks.finish_check(by=people["builder"], check=part)
    row = offered(people, part)
    lines = {(x["station"], x["kind"]): x for x in row.content["lines"]}
    assert lines["1", "gap"]["state"] == "conforms"
    assert lines["2", "gap"]["state"] == "stale"
    assert lines["2", "gap"]["value_nm"] is None
    assert "taken off and refitted" in lines["2", "gap"]["why"]
    with pytest.raises(Refused, match="Not shown to conform"):
        inspect(people, row)


def test_another_condition_than_that_of_acceptance_needs_a_word(people):
    joint = make_joint(people["engineer"], acceptance_condition="latched")
    held = [{"kind": "latch", "where": "handle", "count": 1}]
    fit_up = make_fit_up(people["engineer"], joint, held=held)
    row = offered(people, measured(people, fit_up))
    assert row.content["short"] == ["condition"]
    with pytest.raises(Refused, match="the joint whole"):
        inspect(people, row)
    inspect(people, row, "with_remarks", [("", "latched it comes again")])
    (item,) = Nonconformance.objects.all()
    settle(people, item)
    right = measured(people, fit_up, in_acceptance_condition=True)
    row = offered(people, right)
    # The older check stands no more: all was read again, latched.
    assert row.content["short"] == []
    inspect(people, row)


def test_a_scrapped_part_is_not_offered(people):
    check = measured(people)
    part = check.fit_up.part
    parts.scrap_part(by=people["lead"], part=part, reason="a crack through the skin")
    with pytest.raises(Refused, match=f"{part} was scrapped, for good"):
        offered(people, check)


def settle(people, item):
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="rework", note="so"
    )
    nonconformances.work(by=people["builder"], item=item, note="done")
    nonconformances.verify(by=people["inspector"], item=item, note="seen")


def test_whoever_did_the_work_cannot_accept_it(people):
    check = measured(people)
    row = offered(people, check)
    for role in ("builder", "lead", "engineer", "visitor"):
        with pytest.raises(PermissionDenied):
            inspect(people, row, by=role)
    # An inspector who read one of the stations that stand did some of it.
    other = measured(people, finish=False)
    read(other, "1", "gap", "2.00", by=people["inspector"], outcome="value")
    reading = other.readings.latest("pk")
    checks.choose_reading(
        by=people["builder"],
        check=other,
        station=reading.station,
        kind="gap",
        reading=reading,
        reason="square",
    )
    checks.finish_check(by=people["builder"], check=other)
    mine = offered(people, other)
    with pytest.raises(Refused, match="somebody else inspects"):
        inspect(people, mine)
    with pytest.raises(Refused, match="somebody else inspects"):
        read_again(people, mine)


@pytest.mark.either_database
def test_everybody_who_had_a_hand_in_it_did_the_work(people):
    """One person for each kind of act: without that kind, its person is left out. The
    part was worked on at an earlier airframe, so that no fit-up here names who did."""
    names = ("mover", "shimmer", "cutter", "fitter", "reader", "offerer")
    hands = {name: make_person(name, "builder") for name in names}

    def acting(name):
        return {**people, "builder": hands[name]}

    corners = ("A1", (-300, -200)), ("A2", (300, -200)), ("A3", (0, 200))
    points = [{"name": name, "x_nm": mm(x), "y_nm": mm(y)} for name, (x, y) in corners]
    joint = make_joint(people["engineer"], attach_points=points)
    part = make_part(people["engineer"])
    for name, act in (("mover", set_otherwise), ("shimmer", shimmed), ("cutter", cut)):
        fit_up = make_fit_up(people["engineer"], joint, part=part)
        act(acting(name), None, measured(people, fit_up), ())
    frame = make_airframe(people["engineer"], type=joint.type)
    fit_up = make_fit_up(hands["fitter"], joint, airframe=frame, part=part)
    row = offered(acting("offerer"), measured(acting("reader"), fit_up))
    assert acceptance.doers(row) == {
        person.pk for name, person in hands.items() if name in names
    }
    item = raising.raise_by_hand(
        by=people["lead"], airframe=fit_up.airframe, joint=joint, title="chipped"
    )
    more = more_people(people)
    do("dispose", item, more["decider"])
    do("work", item, more["doer"])
    assert more["doer"].pk in acceptance.doers(row)


def shimmed(people, row, check, _placed):
    shims.record_shims(
        by=people["builder"],
        check=check,
        stacks={"A1": [mm(0.5)]},
        changes={str(n): [0, 0] for n in range(1, 9)},
    )


def read_again(people, row, value="2.00", **more):
    said = {"station": "2", "kind": "gap", "unit": "mm", **more}
    said.setdefault("instrument", make_instrument(people["engineer"]))
    return inspections.read_again(
        by=people["inspector"], offered=row, value=value, **said
    )


@pytest.mark.either_database
def test_a_second_reading_stands_beside_the_builders_and_judges_too(people, client_of):
    row = offered(people, measured(people))
    assert read_again(people, row, "2.05").verdict == "conforms"
    bad = read_again(people, row, "0.9", station="7")
    assert (bad.verdict, bad.deviation_nm) == ("does_not_conform", -600_000)
    assert state(row) == "offered"
    with pytest.raises(Refused, match="7 gap"):
        inspect(people, row)
    page = client_of("inspector").get(address(row)).content.decode()
    assert "2.05" in page and "0.90" in page and "2.00" in page
    inspect(people, row, "rejected", [("7", "I read 0.9 here")])
    with pytest.raises(Refused, match="already"):
        read_again(people, row)


def test_a_second_reading_outside_the_range_is_marked_and_needs_a_word(
    people, client_of
):
    row = offered(people, measured(people))
    gauge = make_instrument(people["engineer"], range_high_nm=mm(2))
    assert read_again(people, row, "2.00", instrument=gauge).verdict == "conforms"
    page = client_of("inspector").get(address(row)).content.decode()
    assert "read outside what the instrument reads" not in page
    assert read_again(people, row, "2.05", instrument=gauge).verdict == "conforms"
    gauge.range_high_nm = mm(9)  # what it is said to read later changes nothing
    with by_hand():
        gauge.save()
    page = client_of("inspector").get(address(row)).content.decode()
    assert page.count("read outside what the instrument reads") == 1
    with pytest.raises(Refused, match=r"Not shown to conform: 2\."):
        inspect(people, row)
    inspect(people, row, "with_remarks", [("2", "beyond the gauge")])


@pytest.mark.either_database
def test_a_second_reading_by_a_gauge_that_was_off_says_so_and_is_listed(
    people, client_of
):
    row = offered(people, measured(people))
    gauge = make_instrument(people["engineer"])
    read_again(people, row, "2.00", instrument=gauge)
    client, doubt = client_of("inspector"), f"{gauge.code} was found off on"
    assert doubt not in client.get(address(row)).content.decode()
    gauges.record_calibration(
        by=people["engineer"], instrument=gauge, result="off",
        done_on=timezone.localdate(), laboratory="blocks", due=None,
    )  # fmt: skip
    assert doubt in client.get(address(row)).content.decode()
    page = client.get(f"/instruments/{gauge.pk}/").content.decode()
    assert "Measured while it was off" in page and address(row) in page


def test_odd_second_readings_are_refused_beside_their_field(people):
    row = offered(people, measured(people))
    gauge = make_instrument(people["engineer"])
    for said, field in (
        ({"value": "x"}, "value"),
        ({"value": ""}, "value"),
        ({"station": "99"}, "station"),
        ({"kind": "hole"}, "kind"),
        ({"unit": "ft"}, "unit"),
        ({"instrument": None}, "instrument"),
    ):
        with pytest.raises(Refused) as no:
            read_again(people, row, **{"instrument": gauge, "value": "2", **said})
        assert no.value.field == field, said


def test_an_inspector_measures_with_nothing_that_the_shop_refuses(people):
    row = offered(people, measured(people))
    for status in ("lost", "damaged", "out"):
        gauge = make_instrument(people["engineer"], status=status)
        with pytest.raises(Refused) as no:
            read_again(people, row, instrument=gauge)
        assert no.value.field == "instrument", status


def address(row):
    return reverse("offered_joint", args=[row.offer.number, row.order])


def test_rejected_needs_a_line_and_a_reason_and_each_is_an_item(people):
    row = offered(people, measured(people))
    with pytest.raises(Refused, match="why it is rejected"):
        inspect(people, row, "rejected")
    with pytest.raises(Refused, match="There are remarks"):
        inspect(people, row, "accepted", [("2", "a scratch")])
    with pytest.raises(Refused, match="Write the remarks"):
        inspect(people, row, "with_remarks", [("2", " ")])
    with pytest.raises(Refused, match="was not offered"):
        inspect(people, row, "rejected", [("77", "no such")])
    told = inspect(people, row, "rejected", [("2", "chipped"), ("", "the seal is in")])
    assert state(row) == "rejected"
    texts = {one.station: one.item.title for one in told.remarks.all()}
    assert texts == {"2": "chipped", "": "the seal is in"}
    assert Nonconformance.objects.filter(source="inspection").count() == 2


def test_an_acceptance_with_an_open_item_waits_for_it(people):
    check = measured(people)
    raising.raise_by_hand(
        by=people["builder"],
        airframe=check.fit_up.airframe,
        joint=check.fit_up.joint,
        part=check.fit_up.part,
        title="scratch",
    )
    row = offered(people, check)
    with pytest.raises(Refused, match="NC-001"):
        inspect(people, row)
    settle(people, Nonconformance.objects.get())
    inspect(people, row)
    assert state(row) == "accepted"


def test_what_was_decided_since_is_offered_again_as_it_is_now(people):
    check = measured(people, tight=(3,))
    row = offered(people, check)
    item = Nonconformance.objects.select_related("part__design").get()
    nonconformances.dispose(
        by=people["engineer"], item=item, disposition="use_as_is", note="no load"
    )
    nonconformances.verify(by=people["inspector"], item=item, note="seen")
    # It was offered as something that fails: that is not accepted.
    with pytest.raises(Refused, match="3 gap"):
        inspect(people, row)
    inspect(people, offered(people, check))


def test_a_part_is_offered_where_it_is_fitted_now(people):
    frame, part, _bay, joints = two_joints(people)
    other = make_part(people["engineer"])
    make_fit_up(
        people["engineer"], joints[0], airframe=frame, part=other, reason="swap"
    )
    made = offers.offer(by=people["builder"], airframe=frame, part=part)
    assert [one.joint for one in made.joints.all()] == [joints[1]]


def used_as_is(people, check):
    """What does not conform at 3 was decided to stay so, and verified."""
    (item,) = raising.raise_findings(by=people["builder"], check=check)
    item = Nonconformance.objects.select_related("part__design").get(pk=item.pk)
    nonconformances.dispose(
        by=people["engineer"], item=item, disposition="use_as_is", note="no load"
    )
    nonconformances.verify(by=people["inspector"], item=item, note="seen")
    return item


def test_what_was_decided_to_stay_so_is_accepted_until_it_is_opened_again(people):
    check = measured(people, tight=(3,))
    item = used_as_is(people, check)
    row = offered(people, check)
    inspect(people, row)
    assert state(row) == "accepted"
    nonconformances.reopen(by=people["inspector"], item=item, note="it rubs")
    assert state(row) == "acceptance_void"
    assert "NC-001 was opened again" in why(row)


def test_a_concession_covers_nothing_worse_than_what_was_decided(people):
    check = measured(people, tight=(3,))
    used_as_is(people, check)
    worse = begun(people, check.fit_up)
    for n in range(1, 9):
        value = "0.70" if n == 3 else "2.00"
        read(worse, str(n), "gap", value, by=people["builder"])
        read(worse, str(n), "flush", "0.00", by=people["builder"])
    checks.finish_check(by=people["builder"], check=worse)
    row = offered(people, worse)
    with pytest.raises(Refused, match="3 gap"):
        inspect(people, row)
    assert Nonconformance.objects.count() == 2


# ---------------------------------------------------------------- what voids it


def accepted(people):
    """An accepted joint: the part placed, with a mold-less serial on both sides."""
    engineer = people["engineer"]
    joint = make_joint(engineer)
    frame = make_airframe(engineer, type=joint.type)
    part, shell = make_part(engineer), make_part(engineer)
    why_so = {"reason": "made for a test"}
    placed = [
        make_placement(engineer, airframe=frame, position=place, part=one, **why_so)
        for place, one in ((joint.position, part), (joint.surround, shell))
    ]
    fit_up = make_fit_up(people["builder"], joint, airframe=frame, part=part)
    check = measured(people, fit_up)
    row = offered(people, check)
    inspect(people, row)
    assert state(row) == "accepted"
    return row, check, placed


def refitted(people, row, check, _placed):
    fit_up = check.fit_up
    make_fit_up(
        people["builder"],
        fit_up.joint,
        airframe=fit_up.airframe,
        part=fit_up.part,
        reason="refit",
    )


def taken_off(people, row, check, placed):
    airframes.remove_part(by=people["builder"], placement=placed[0], reason="paint")


def surround_off(people, row, check, placed):
    airframes.remove_part(by=people["builder"], placement=placed[1], reason="crack")


def cut(people, row, check, _placed):
    loaded = Check.objects.select_related(*planning.RELATED).get(pk=check.pk)
    taken = [trimming.Taken(loaded, "3", "part", "0.20", "mm")]
    trimming.record_trim(
        by=people["builder"], checks=[loaded], taken=taken, reason="by eye"
    )


def set_otherwise(people, row, check, _placed):
    loaded = Check.objects.select_related(*planning.RELATED).get(pk=check.pk)
    amounts = [{"name": "x", "amount": "0.3", "unit": "mm"}]
    labels = [str(n) for n in range(1, 9)]
    changes = {loaded.fit_up_id: dict.fromkeys(labels, [0, 0])}
    moved = Moved("moved 0.3 mm", amounts, changes)
    moves.record_move(by=people["builder"], checks=[loaded], moved=moved)


def revised(people, row, check, _placed):
    revise(people["engineer"], check.fit_up.joint)


def held_serial(people, row, check, _placed):
    told = {"kind": "part", "key": check.fit_up.part_id, "reason": "dropped"}
    suspects.put_on_hold(by=people["lead"], **told)


def held_surround(people, row, check, placed):
    told = {"kind": "part", "key": placed[1].part_id, "reason": "crack"}
    suspects.put_on_hold(by=people["lead"], **told)


def read_once_more(people, row, check, _placed):
    more = begun(people, check.fit_up)
    read(more, "2", "gap", "2.10", by=people["builder"])


def finish_last(people):
    check = Check.objects.latest("number")
    checks.finish_check(by=people["builder"], check=check)


def found_after(people, row, check, _placed):
    raising.raise_by_hand(
        by=people["builder"],
        airframe=check.fit_up.airframe,
        joint=check.fit_up.joint,
        title="chipped",
    )


def instrument_found_off(people, row, check, _placed):
    gauges.record_calibration(
        by=people["engineer"],
        instrument=check.instrument,
        done_on=timezone.localdate(),
        laboratory="calibration room",
        result="off",
    )


CHANGES = {
    refitted: "taken off and refitted",
    taken_off: "was taken off (paint)",
    surround_off: "was taken off (crack)",
    cut: "trimmed",
    set_otherwise: "moved",
    revised: "has revision 2 now: the note",
    held_serial: "was put on hold: dropped",
    held_surround: "was put on hold: crack",
    read_once_more: "measured again at 2",
    found_after: "NC-001 was raised",
    instrument_found_off: "was found off on",
}


@pytest.mark.either_database
@pytest.mark.parametrize("change", CHANGES, ids=lambda one: one.__name__)
def test_any_later_change_voids_the_acceptance_and_says_what(people, client_of, change):
    row, check, placed = accepted(people)
    change(people, row, check, placed)
    assert state(row) == "acceptance_void"
    assert CHANGES[change] in why(row)
    page = client_of("inspector").get(address(row)).content.decode()
    assert "The acceptance does not hold any more" in page
    where = reverse("joint_on_airframe", args=[row.joint_id, row.offer.airframe_id])
    page = client_of("builder").get(where).content.decode()
    assert "acceptance void" in page and CHANGES[change].split(":")[0] in page


def test_a_revision_that_voids_an_acceptance_tells_what_it_requires_otherwise(people):
    row, check, _placed = accepted(people)
    stations = make_stations(9)[1:]
    stations[1] = replace(stations[1], gap_max_nm=mm(2.5))
    stations[2] = replace(stations[2], laminar=True)
    revise(people["engineer"], row.joint, stations, note="", rule="guarded")
    told = why(row)
    assert "limits at 3; what else is required at" in told
    assert "new: 9; not there any more: 1; how it is judged" in told
    assert "the note" not in told


@pytest.mark.either_database
@pytest.mark.parametrize("change", CHANGES, ids=lambda one: one.__name__)
def test_what_changed_before_the_inspector_came_is_not_accepted(people, change):
    engineer = people["engineer"]
    joint = make_joint(engineer)
    frame = make_airframe(engineer, type=joint.type)
    placed = [
        make_placement(
            engineer,
            airframe=frame,
            position=place,
            part=make_part(engineer),
            reason="made for a test",
        )
        for place in (joint.position, joint.surround)
    ]
    fit_up = make_fit_up(people["builder"], joint, airframe=frame, part=placed[0].part)
    check = measured(people, fit_up)
    row = offered(people, check)
    change(people, row, check, placed)
    with pytest.raises(Refused, match="changed since it was offered"):
        inspect(people, row)
    assert state(row) == "in_work"
    assert queries.queue() == []


def settled(people, item, *, disposition="rework", close=True):
    lead, engineer, inspector = (people[x] for x in ("lead", "engineer", "inspector"))
    act, it = nonconformances, {"item": item}
    act.dispose(by=engineer, **it, disposition=disposition, note="so", concession="C-1")
    if disposition != "use_as_is":
        act.work(by=lead, **it, note="sanded")
    act.verify(by=inspector, **it, note="seen")
    if close:
        act.explain(by=lead, **it, cause="handling")
        act.close(by=inspector, **it)


@pytest.mark.either_database
@pytest.mark.parametrize(
    ("disposition", "close"), [("rework", True), ("repair", False), ("use_as_is", True)]
)
def test_an_item_opened_again_voids_whatever_was_accepted_with_it(
    people, disposition, close
):
    """Of a bay: raised before the offer or as its remark, however decided, and also
    after it was decided otherwise and closed anew."""
    frame, _part, bay, joints = two_joints(people)
    items = [
        raising.raise_by_hand(
            by=people["builder"], airframe=frame, joint=joint, title="chipped"
        )
        for joint in joints[:2]
    ]
    for item in items:
        settled(people, item, disposition=disposition, close=close)
    rows = list(
        offers.offer(by=people["builder"], airframe=frame, bay=bay).joints.all()
    )
    inspect(people, rows[0])
    inspect(people, rows[1], "with_remarks", [("2", "a run of paint")])
    remark = Nonconformance.objects.latest("pk")
    settled(people, remark, close=close)
    assert [state(row) for row in rows] == ["accepted", "with_remarks"]
    signed = SIGNABLES["inspection"].contents([row.inspection.pk for row in rows])
    assert not any(content.since for content in signed.values())
    for item, void in ((items[0], rows[0]), (remark, rows[1])):
        nonconformances.reopen(by=people["inspector"], item=item, note="it is back")
        for _again in range(2):
            assert state(void) == "acceptance_void"
            assert why(void) == f"{item.label} was opened again"
            content = SIGNABLES["inspection"].contents([void.inspection.pk])
            assert content[void.inspection.pk].since
            if item.standing.state != "closed":
                settled(people, item, disposition="repair")
                item.standing.refresh_from_db()
    assert verify().fault == ""


def test_a_lifted_hold_does_not_bring_the_acceptance_back(people):
    row, check, placed = accepted(people)
    held_serial(people, row, check, placed)
    hold = check.fit_up.part.suspicions.get().hold
    suspects.lift_hold(by=people["lead"], hold=hold, reason="sound")
    assert state(row) == "acceptance_void"


# ------------------------------------------------------------- what can be offered


def test_offered_is_what_was_shown(people):
    check = measured(people)
    fit_up = check.fit_up
    what = {"airframe": fit_up.airframe, "joint": fit_up.joint}
    shown = queries.about_to_offer(fit_up.airframe, "mm", joint=fit_up.joint).digests
    read_once_more(people, None, check, None)
    with pytest.raises(Refused, match="changed while you looked") as no:
        offers.offer(by=people["builder"], shown=shown, **what)
    assert no.value.code == "stale"


def test_an_open_check_or_an_offer_that_waits_is_not_offered_again(people):
    check = measured(people, finish=False)
    with pytest.raises(Refused, match="finish its check"):
        offered(people, check)
    checks.finish_check(by=people["builder"], check=check)
    offered(people, check)
    with pytest.raises(Refused, match="offered already, as OF-0001"):
        offered(people, check)
    with pytest.raises(PermissionDenied):
        fit_up = check.fit_up
        offers.offer(
            by=people["inspector"], airframe=fit_up.airframe, joint=fit_up.joint
        )


def two_joints(people):
    """Two joints of one part below one position, a third never fitted."""
    engineer = people["engineer"]
    kind = make_type(engineer)
    bay = make_position(engineer, type=kind, name="Cabin")
    door = make_position(engineer, type=kind, parent=bay)
    shell = make_position(engineer, type=kind)
    frame = make_airframe(engineer, type=kind)
    part = make_part(engineer)
    joints = [
        make_joint(engineer, position=door, surround=shell, number=f"J-{n}")
        for n in (1, 2, 3)
    ]
    for joint in joints[:2]:
        fit_up = make_fit_up(people["builder"], joint, airframe=frame, part=part)
        measured(people, fit_up)
    return frame, part, bay, joints


def test_a_part_and_a_bay_are_offered_joint_by_joint(people):
    frame, part, bay, joints = two_joints(people)
    made = offers.offer(by=people["builder"], airframe=frame, part=part)
    rows = list(made.joints.all())
    assert [one.joint for one in rows] == joints[:2]
    inspect(people, rows[0])
    inspect(people, rows[1], "rejected", [("1", "no")])
    assert [state(one) for one in rows] == ["accepted", "rejected"]
    made = offers.offer(by=people["builder"], airframe=frame, bay=bay)
    assert [one.joint for one in made.joints.all()] == joints[:2]
    assert made.left_out == ["J-3"]
    with pytest.raises(Refused, match="accepted already"):
        inspect(people, OfferedJoint.objects.get(pk=rows[0].pk))
    changed = Check.objects.select_related("fit_up__joint").earliest("number")
    read_once_more(people, None, changed, None)
    finish_last(people)
    again = offered(people, changed)
    with pytest.raises(Refused, match="offered again since"):
        inspect(people, made.joints.get(joint=changed.fit_up.joint))
    inspect(people, again)


def test_what_is_not_measured_since_is_left_out_of_a_bay_and_said(people, client_of):
    frame, _part, bay, joints = two_joints(people)
    other = make_part(people["engineer"])
    make_fit_up(
        people["engineer"], joints[0], airframe=frame, part=other, reason="swap"
    )
    ask = f"?airframe={frame.pk}&bay={bay.pk}"
    page = client_of("builder").get(reverse("new_offer") + ask).content.decode()
    assert "so not offered: J-1, J-3." in " ".join(page.split())
    made = offers.offer(by=people["builder"], airframe=frame, bay=bay)
    assert [one.joint for one in made.joints.all()] == [joints[1]]
    assert made.left_out == ["J-1", "J-3"]


def test_the_offer_binds_its_joints_in_the_ledger(people):
    row = offered(people, measured(people))
    inspect(people, row, "rejected", [("1", "no")])
    assert verify().fault == ""


# ---------------------------------------------------------------------- the pages


@pytest.mark.either_database
def test_the_inspectors_queue_is_on_today_and_leads_to_the_offer(people, client_of):
    check = measured(people, tight=(3,))
    builder, inspector = client_of("builder"), client_of("inspector")
    ask = f"?airframe={check.fit_up.airframe_id}&joint={check.fit_up.joint_id}"
    url = reverse("new_offer") + ask
    page = builder.get(url).content.decode()
    assert "These become nonconformances" in page and check.label in page
    shown = queries.about_to_offer(
        check.fit_up.airframe, "mm", joint=check.fit_up.joint
    ).digests
    answer = builder.post(url, {"shown": shown, "note": "the lot"}, follow=True)
    assert "Offered as OF-0001" in answer.content.decode()
    row = OfferedJoint.objects.get()
    page = inspector.get("/").content.decode()
    assert "To inspect" in page and address(row) in page
    page = inspector.get(address(row)).content.decode()
    assert "Read again yourself" in page and "the lot" in page
    said = {"shown": row.digest, "outcome": "accepted", "line_2": "", "note": ""}
    page = inspector.post(address(row), said).content.decode()
    assert "is decided and verified before it is accepted" in page
    said |= {"outcome": "rejected", "line_3": "much too tight", "note": "try again"}
    page = inspector.post(address(row), said, follow=True).content.decode()
    assert "much too tight" in page and "try again" in page
    assert state(row) == "rejected"
    assert address(row) not in inspector.get("/").content.decode()


@pytest.mark.either_database
def test_what_is_typed_is_not_lost_when_it_is_refused(people, client_of):
    row = offered(people, measured(people))
    said = {"shown": row.digest, "outcome": "accepted", "line_2": "a long scratch"}
    page = client_of("inspector").post(address(row), said).content.decode()
    assert "There are remarks" in page and "a long scratch" in page
    said = {"second-station": "2", "second-kind": "gap", "second-value": "abc"}
    url = reverse("second_reading", args=[row.offer.number, row.order])
    page = client_of("inspector").post(url, said | {"second-unit": "mm"})
    assert 'value="abc"' in page.content.decode()


@pytest.mark.either_database
def test_lists_of_offers_cost_the_same_for_one_and_for_thirty(people, client_of):
    client = client_of("inspector")

    def cost():
        with CaptureQueriesContext(connection) as captured:
            assert client.get(reverse("offers")).status_code == 200
            today(people["inspector"])
        return len(captured)

    offered(people, measured(people, tight=(3,)))
    first = cost()
    engineer = people["engineer"]
    joint = make_joint(engineer, stations=3)
    for _ in range(29):
        frame = make_airframe(engineer, type=joint.type)
        fit_up = make_fit_up(engineer, joint, airframe=frame)
        check = begun(people, fit_up)
        read(check, "1", "gap", "2.00", by=people["builder"])
        checks.finish_check(by=people["builder"], check=check)
        offered(people, check)
    assert len(queries.queue()) == 30
    assert cost() == first


@pytest.mark.either_database
def test_one_joint_or_several_are_offered_in_as_many_statements(people, client_of):
    engineer, builder = people["engineer"], people["builder"]
    kind = make_type(engineer)
    bay = make_position(engineer, type=kind, name="Cabin")
    door = make_position(engineer, type=kind, parent=bay)
    shell = make_position(engineer, type=kind)
    frame, part = make_airframe(engineer, type=kind), make_part(engineer)
    ask = f"?airframe={frame.pk}&bay={bay.pk}"
    client = client_of("builder")
    counts = []
    for numbers in ("1", "234"):
        for number in numbers:
            joint = make_joint(
                engineer, 3, position=door, surround=shell, number=f"J-{number}"
            )
            fit_up = make_fit_up(builder, joint, airframe=frame, part=part)
            check = begun(people, fit_up)
            read(check, "1", "gap", "1.00", by=builder)
            checks.finish_check(by=builder, check=check)
            offered(people, check)
        with CaptureQueriesContext(connection) as said:
            page = client.get(reverse("new_offer") + ask).content.decode()
        assert all(f"J-{number}" in page for number in numbers)
        counts.append(len(said))
    assert counts[0] == counts[1]


# ------------------------------------------------------------------ the whole table

PLACES = {
    "in work": acceptance.IN_WORK,
    "offered": acceptance.OFFERED,
    "accepted": "accepted",
    "accepted with remarks": "with_remarks",
    "rejected": "rejected",
    "no longer accepted": acceptance.VOID,
}
ACTS = {
    "accept": ("accepted", ()),
    "accept with remarks": ("with_remarks", [("3", "wipe it")]),
    "reject": ("rejected", [("3", "a step can be felt")]),
}


def printed() -> dict:
    """{(state, act): (roles, the state it leads to)} as DEVELOPERS.md says it."""
    text = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text("utf-8")
    text = text.split("## In work, offered, accepted")[1].split("\n## ")[0]
    found = {}
    for line in re.findall(r"^\|(.+)\|$", text, re.M)[2:]:
        states, act, who, to = (
            [x.strip() for x in c.split(",")] for c in line.split("|")
        )
        found |= {(place, act[0]): (set(who), to[0]) for place in states}
    return found


def led_to(people, check, place):
    """What was offered last, once a joint is in that state; None where never."""
    if place == "in work":
        return None
    row = offered(people, check)
    outcome, remarks = {
        "no longer accepted": ACTS["accept"],
        "accepted": ACTS["accept"],
        "accepted with remarks": ACTS["accept with remarks"],
        "rejected": ACTS["reject"],
    }.get(place, ("", ()))
    if outcome:
        inspect(people, row, outcome, remarks)
    if place == "no longer accepted":
        at = {"airframe": check.fit_up.airframe, "joint": check.fit_up.joint}
        raising.raise_by_hand(by=people["builder"], **at, title="scratch")
    return row


@pytest.mark.either_database
@pytest.mark.django_db
def test_every_act_of_every_role_does_what_the_printed_table_says(people):
    table, check = printed(), measured(people)
    assert {place for place, _act in table} == set(PLACES)
    for place in PLACES:
        with atomic():
            row = led_to(people, check, place)
            assert row is None or state(row) == PLACES[place]
            for act, role in product(("offer", *ACTS), people):
                with atomic():
                    who, to = table.get((place, act), (set(), ""))
                    done = attempted(people, check, row, act, role)
                    assert done == (role in who), (place, act, role)
                    if done:
                        newest = OfferedJoint.objects.latest("pk")
                        assert state(newest) == PLACES[to], (place, act)
                    set_rollback(True)
            set_rollback(True)


def attempted(people, check, row, act, role) -> bool:
    """Whether it was done; what is in work has nothing to be accepted."""
    try:
        if act == "offer":
            offers.offer(
                by=people[role],
                airframe=check.fit_up.airframe,
                joint=check.fit_up.joint,
            )
        elif row is None:
            return False
        else:
            inspect(people, row, *ACTS[act], by=role)
    except (Refused, PermissionDenied):
        return False
    return True


# ------------------------------------------------------------------ two at once


@pytest.mark.parametrize("verb", ["accept", "offer"])
def test_of_two_people_at_once_one_wins(committed_db, verb):
    people = make_people()
    from tests.qa.test_item_life import make_person

    role = {"accept": "inspector", "offer": "builder"}[verb]
    names = [role, make_person("second", role).username]
    check = measured(people)
    row = offered(people, check) if verb == "accept" else None
    told = []

    def act(name):
        by = Person.objects.get(username=name)
        try:
            if verb == "accept":
                mine = OfferedJoint.objects.get(pk=row.pk)
                inspect({"inspector": by}, mine)
            else:
                mine = Check.objects.select_related("fit_up__joint__current").get()
                offered({"builder": by}, mine)
            told.append("won")
        except Refused as no:
            told.append(no.code)
        finally:
            connection.close()

    threads = [threading.Thread(target=act, args=(name,)) for name in names]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(told) in (["stale", "won"], ["done", "won"])
    assert OfferedJoint.objects.count() == 1
