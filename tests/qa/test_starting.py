"""What a check begins with: the right serial in its place, and all of it or nothing."""

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from qa.actions import check_starts, checks, moves
from qa.models import Check, FitUp, FitUpReason
from qa.rules.moved import Moved
from shop.actions import airframes
from shop.ledger import Refused
from shop.models import Entry, Hand, PlacementAct
from tests.qa.making import (
    make_design,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
    make_type,
)
from tests.qa.planned import a_check, even, planned, read_at
from tests.qa.test_place_and_fit import Door
from tests.qa.test_staleness import state_of
from tests.shop.making import make_airframe, make_position

pytestmark = pytest.mark.django_db
HINGES = [{"kind": "hinge", "where": "both", "count": 2}]


@pytest.fixture
def engineer(people):
    return people["engineer"]


@pytest.fixture
def door(engineer):
    return Door(engineer)


def place(by, airframe, position, part, reason=""):
    return airframes.place_part(
        by=by, airframe=airframe, position=position, part=part, reason=reason
    )


# ------------------------------------------------------------------- where it sits


def handed(by, hand, **said):
    return make_part(by, design=make_design(by, hand=hand, **said))


def test_a_right_hand_part_never_goes_into_a_left_hand_position(engineer):
    kind = make_type(engineer)
    left = make_position(engineer, type=kind, hand=Hand.LEFT)
    airframe = make_airframe(engineer, type=kind)
    part = handed(engineer, Hand.RIGHT)
    with pytest.raises(Refused) as no:
        place(engineer, airframe, left, part, reason="All the same.")
    assert no.value.field == "part" and "right-hand" in no.value.message
    joint = make_joint(engineer, position=left)
    with pytest.raises(Refused) as no:
        make_fit_up(engineer, joint, airframe=airframe, part=part, why="Really.")
    assert no.value.field == "part"
    place(engineer, airframe, left, handed(engineer, Hand.LEFT))


def test_where_no_hand_is_stated_what_sat_there_before_tells(engineer):
    kind = make_type(engineer)
    position = make_position(engineer, type=kind)
    first, second = (make_airframe(engineer, type=kind) for _ in range(2))
    place(engineer, first, position, handed(engineer, Hand.LEFT))
    part = handed(engineer, Hand.RIGHT)
    with pytest.raises(Refused) as no:
        place(engineer, second, position, part, reason="All the same.")
    assert no.value.field == "part"
    # Were the first one wrong, the position says so and is believed.
    airframes.change_position(
        by=engineer, position=position, code=position.code, name=position.name,
        hand=Hand.RIGHT, part_number=part.design.number,
    )  # fmt: skip
    position.refresh_from_db()
    place(engineer, second, position, part)


def test_another_design_asks_for_a_reason_that_is_kept(engineer):
    kind = make_type(engineer)
    position = make_position(engineer, type=kind, part_number="D-KNOWN")
    airframe, part = make_airframe(engineer, type=kind), make_part(engineer)
    with pytest.raises(Refused) as no:
        place(engineer, airframe, position, part)
    assert no.value.field == "reason" and "D-KNOWN" in no.value.message
    place(engineer, airframe, position, part, reason="Trial door.")
    act = PlacementAct.objects.get(part=part)
    assert (act.questions, act.note) == ("design", "Trial door.")
    joint = make_joint(engineer, position=position)
    with pytest.raises(Refused) as no:
        make_fit_up(engineer, joint, airframe=airframe, part=part, why="")
    assert no.value.field == "reason"
    fit_up = make_fit_up(
        engineer, joint, airframe=airframe, part=part, why="Trial door."
    )
    assert (fit_up.questions, fit_up.why) == ("design", "Trial door.")
    # Asked once a serial: a refit, and what a trim opens, keep the answer.
    again = make_fit_up(
        engineer, joint, airframe=airframe, part=part, reason=FitUpReason.REFIT, why=""
    )
    assert again.why == "Trial door."


def test_a_part_before_the_thing_it_sits_in_asks_for_a_reason(engineer):
    kind = make_type(engineer)
    shell = make_position(engineer, type=kind)
    opening = make_position(engineer, type=kind, parent=shell)
    airframe, part = make_airframe(engineer, type=kind), make_part(engineer)
    with pytest.raises(Refused) as no:
        place(engineer, airframe, opening, part)
    assert no.value.field == "reason" and shell.path in no.value.message
    place(engineer, airframe, opening, part, reason="Mock-up frame.")
    assert PlacementAct.objects.get(part=part).questions == "before"


def test_what_was_questioned_has_a_reason_in_the_database_too(door):
    act = PlacementAct(
        part=door.door, airframe=door.airframe, position=door.opening, placed=True,
        questions="design", entry_id=Entry.objects.first().act,
    )  # fmt: skip
    with pytest.raises(IntegrityError), transaction.atomic():
        act.save(force_insert=True)
    fit_up = FitUp.objects.get(pk=door.check.fit_up_id)
    fit_up.pk, fit_up.number, fit_up.questions = None, 99, "design"
    with pytest.raises(IntegrityError), transaction.atomic():
        fit_up.save(force_insert=True)


def test_a_door_that_sits_on_one_airframe_is_not_checked_on_another(door):
    second = make_airframe(door.by, type=door.airframe.type)
    with pytest.raises(Refused) as no:
        door.fit(airframe=second, why="It is the same.")
    assert no.value.field == "part" and door.airframe.serial in no.value.message
    with pytest.raises(Refused) as no:
        make_fit_up(
            door.by, door.joint, airframe=second, part=make_part(door.by),
            surround_part=door.shell, why="Another door.",
        )  # fmt: skip
    assert no.value.field == "surround_part"


def test_a_place_that_another_serial_holds_takes_no_other(door):
    with pytest.raises(Refused) as no:
        door.fit(part=make_part(door.by, design=door.door.design))
    assert no.value.field == "part" and door.door.serial in no.value.message


def test_the_surround_is_what_sits_there_and_an_empty_one_is_questioned(door):
    assert door.check.fit_up.surround_part == door.shell
    door.off(door.around)
    with pytest.raises(Refused) as no:
        door.fit(reason=FitUpReason.REFIT, why="")
    assert no.value.field == "reason"
    fit_up = door.fit(reason=FitUpReason.REFIT, why="Against the jig.")
    assert (fit_up.questions, fit_up.why) == ("surround", "Against the jig.")


@pytest.mark.parametrize("form", ["fitup/1", "fitup/2"])
def test_an_act_of_a_tablet_meets_the_same_rules(door, client_of, form):
    import json
    import uuid

    def said(**but):
        key = "pk" if form == "fitup/1" else "uuid"
        name = lambda row: row.pk if key == "pk" else str(row.uuid)  # noqa: E731
        told = {
            "airframe": name(door.airframe), "joint": name(door.joint),
            "revision": str(door.joint.current.uuid), "part": name(door.door),
            "surround_part": None, "reason": "refit", "held": [], "note": "",
        }  # fmt: skip
        told |= {k: v if isinstance(v, str) else name(v) for k, v in but.items()}
        envelope = {
            "form": form, "by": "builder", "said": told, "made_at": "", "device": "t",
        }  # fmt: skip
        url = f"/api/acts/{uuid.uuid4()}"
        data = json.dumps(envelope)
        return client.put(url, data=data, content_type="application/json")

    client = client_of("builder")
    second = make_airframe(door.by, type=door.airframe.type)
    other = make_part(door.by)
    answer = said(airframe=second)
    assert answer.status_code == 422 and "sits in" in answer.content.decode()
    door.off(door.placement)
    answer = said(part=other)
    assert answer.status_code == 422 and "belongs in" in answer.content.decode()
    answer = said(part=other, why="Trial door.")
    assert answer.status_code in (200, 201), answer.content
    assert FitUp.objects.latest("pk").why == "Trial door."


# --------------------------------------------------------------- all of it or nothing


def begin(door, refit="refit", **said):
    last = FitUp.objects.filter(joint=door.joint).latest("number")
    given = {
        "held": [], "held_note": "", "part": door.door, "surround_part": None,
        "temperature": None, "finish": "finished", "instrument": None,
    } | said  # fmt: skip
    return check_starts.start(
        by=door.by, airframe=door.airframe, joint=door.joint, last=last, refit=refit,
        **given,
    )  # fmt: skip


def test_a_check_that_is_refused_leaves_no_fit_up_and_nothing_stale(door):
    before = FitUp.objects.count(), Entry.objects.count()
    out = make_instrument(door.by, status="out")
    with pytest.raises(Refused):
        begin(door, instrument=out)
    assert (FitUp.objects.count(), Entry.objects.count() - 1) == before
    assert len(door.state.now.values) == 16


def test_the_desk_tells_a_refused_check_and_leaves_nothing(door, client_of):
    out = make_instrument(door.by)
    page = client_of("builder")
    said = {
        "airframe": door.airframe.pk, "joint": door.joint.pk, "part": door.door.pk,
        "refit": "refit", "finish": "finished", "instrument": out.pk,
        "temperature": "900",
    }  # fmt: skip
    count = FitUp.objects.count()
    assert page.post(reverse("new_check"), said).status_code == 200
    assert FitUp.objects.count() == count


def test_measure_again_with_nothing_changed_keeps_the_holding_that_was_ticked(door):
    check = begin(door, "same", held=["hinge", "latch"], held_note="as flown")
    assert check.fit_up == door.check.fit_up
    assert check.held_text == "hinge as flown; latch"
    assert Check.objects.get(pk=check.pk).held[0]["kind"] == "hinge"


def test_nothing_changed_is_refused_where_it_is_held_another_way(door):
    door.fit(reason=FitUpReason.REFIT, held=HINGES)
    with pytest.raises(Refused) as no:
        begin(door, "same", held=["cleco"])
    assert no.value.field == "held" and "hinge" in no.value.message
    assert begin(door, "same", held=["hinge"], held_note="both").held == []


def test_nothing_changed_is_refused_for_another_serial_and_for_a_part_that_is_off(door):
    with pytest.raises(Refused) as no:
        begin(door, "same", part=make_part(door.by))
    assert no.value.field == "part"
    door.off(door.placement)
    with pytest.raises(Refused) as no:
        begin(door, "same")
    assert no.value.field == "refit" and "was taken off" in no.value.message


def test_readings_of_what_is_not_in_place_are_not_current(door):
    door.off(door.placement)
    late = checks.start_check(
        by=door.by, fit_up=door.check.fit_up, finish="finished", instrument=None
    )
    read_at(planned(late), even())
    assert state_of(late).now.values == {}


# ------------------------------------------------------------------- for which reason


def record_move(door):
    loaded = planned(door.check)
    amounts = [{"name": "right", "amount": "0.30", "unit": "mm"}]
    moved = Moved("0.30 mm right", amounts, {loaded.fit_up_id: {}})
    return moves.record_move(by=door.by, checks=[loaded], moved=moved)[0]


def test_first_time_on_after_a_recorded_move_is_moved(door):
    record_move(door)
    first = door.fit(reason=FitUpReason.FIRST)
    assert first.reason == FitUpReason.MOVE
    a_check(door.by, fit_up=first)
    assert door.fit(reason=FitUpReason.FIRST).reason == FitUpReason.REFIT


def test_another_serial_is_a_swap_whatever_was_said(door):
    door.off(door.placement)
    other = make_part(door.by, design=door.door.design)
    assert door.fit(part=other, reason=FitUpReason.FIRST).reason == FitUpReason.SWAP
