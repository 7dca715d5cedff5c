"""What is refused and no journey meets: each names what is wrong, beside its field."""

import pytest

from qa.actions import adjusters, trimming
from qa.actions.adjusters import AdjusterDraft, DirectionDraft, HoldingDraft, PointDraft
from qa.models import FitUp, InspectionOutcome
from shop.actions import airframes, suspects
from shop.ledger import Refused
from shop.models import Hold, Position
from tests.qa.making import make_fit_up, make_part, make_position, make_type
from tests.qa.test_offers import inspect, measured, offered
from tests.qa.test_released_cuts import released

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
