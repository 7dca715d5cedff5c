"""What is refused and no journey meets: each names what is wrong, beside its field."""

import pytest
from django.utils import timezone

from qa.actions import adjusters, characteristics, trimming
from qa.actions.adjusters import AdjusterDraft, DirectionDraft, HoldingDraft, PointDraft
from qa.models import CharacteristicResult, FitUp, InspectionOutcome
from qa.rules.characteristics import Found
from shop.actions import airframes, materials, pulls, second_factor, suspects
from shop.ledger import Refused
from shop.models import CureTrace, Hold, LotState, Position
from shop.rules import second_factor as codes
from tests.qa.making import (
    make_airframe,
    make_fit_up,
    make_joint,
    make_part,
    make_position,
    make_type,
)
from tests.qa.test_characteristics import planned
from tests.qa.test_cures_told import record as record_trace
from tests.qa.test_cures_told import trace_csv
from tests.qa.test_offers import inspect, measured, offered
from tests.qa.test_released_cuts import released
from tests.shop.making_floor import make_laminate, make_lot, make_pull, make_recipe

pytestmark = pytest.mark.django_db


def refused(field: str, words: str, act, **said):
    with pytest.raises(Refused, match=words) as no:
        act(**said)
    assert no.value.field == field


def test_a_position_lies_below_one_of_its_own_type(people):
    by, below = people["engineer"], make_position(people["engineer"])
    said = {"type": make_type(by), "code": "X-9", "name": "rib", "parent": below}
    refused("parent", "on another type", airframes.add_position, by=by, **said)
    assert not Position.objects.filter(code="X-9").exists()


def test_a_part_is_held_by_what_is_on_the_list(people):
    held = [{"kind": "by hand", "where": "front", "count": 1}]
    refused("held", "use one of", make_fit_up, by=people["engineer"], held=held)
    assert not FitUp.objects.exists()


def test_a_hold_needs_a_reason(people):
    said = {"kind": "part", "key": make_part(people["engineer"]).pk, "reason": " "}
    refused("reason", "Say why", suspects.put_on_hold, by=people["lead"], **said)
    assert not Hold.objects.exists()


def test_a_cut_is_released_once(people):
    _check, plan = released(people["engineer"])
    part = plan.releases.get().part
    said = {"by": people["engineer"], "plan": plan, "part": part}
    refused("", "released already", trimming.release_cut, **said)
    assert plan.releases.count() == 1


def test_an_adjuster_sits_at_a_place_that_was_named(people):
    draft = HoldingDraft(
        (DirectionDraft("up", "down", (0.0, 1.0, 0.0)),),
        (PointDraft("hinge", "hinge", (0, 0, 0)),),
        (AdjusterDraft(point="latch", direction=0, min_nm=-1, max_nm=1, step_nm=1),),
    )
    said = {"position": make_position(people["engineer"]), "draft": draft}
    act = adjusters.define_holding
    refused("adjusters_0", "this name", act, by=people["engineer"], **said)


def test_accepted_with_remarks_has_one(people):
    row = offered(people, measured(people))
    outcome = InspectionOutcome.WITH_REMARKS
    refused("remarks", "Write", inspect, people=people, row=row, outcome=outcome)


def test_a_lot_that_is_used_up_takes_no_act(people):
    lot, by = make_lot(people["lead"]), people["lead"]
    materials.act_on_lot(by=by, lot=lot, kind="used_up")
    said = {"lot": lot, "kind": "opened"}
    refused("kind", "used up", materials.act_on_lot, by=by, **said)
    lot.refresh_from_db()
    assert lot.opened_on is None and lot.state == LotState.USED_UP


def test_a_pull_that_was_given_up_takes_no_trace(people):
    by = people["lead"]
    pull = make_pull(by, laminate=make_laminate(by, recipe=make_recipe(by)))
    pulls.void_pull(by=by, pull=pull, reason="the bag burst")
    said = {"pull": pull, "content": trace_csv()}
    refused("", "given up", record_trace, by=by, **said)
    assert not CureTrace.objects.exists()


def test_a_joint_mirrors_one_other(people):
    by = people["engineer"]
    left = make_joint(by)
    make_joint(by, type=left.type, mirror=left)
    said = {"type": left.type, "mirror": left}
    refused("mirror", "mirrors another joint already", make_joint, by=by, **said)


def test_a_characteristic_is_of_its_own_type_of_airframe(people):
    row, other = planned(people), make_airframe(people["engineer"])
    said = {"characteristic": row, "airframe": other, "found": Found("yes")}
    act = characteristics.record
    refused("airframe", "another type", act, by=people["builder"], **said)
    assert not CharacteristicResult.objects.exists()


def test_a_second_factor_is_set_once(people):
    by = people["lead"]
    first, later = codes.offer(by), codes.offer(by)
    step = int(timezone.now().timestamp()) // codes.STEP_SECONDS
    code = codes.code_at(codes.opened(by, first), step)
    second_factor.set_second_factor(by=by, offered=first, code=code)
    said = {"offered": later, "code": codes.code_at(codes.opened(by, later), step)}
    refused("", "already", second_factor.set_second_factor, by=by, **said)
