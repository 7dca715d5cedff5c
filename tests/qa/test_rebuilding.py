"""What pages read can be made again from the facts, row for row."""

import pytest
from django.db.models import F

from qa.actions import checks, nonconformances, raising
from qa.models import CheckState, CurrentReading, Nonconformance, NonconformanceState
from shop.actions import airframes
from shop.ledger import projections
from shop.models import Placement
from tests.qa.making import (
    make_airframe,
    make_check,
    make_part,
    make_position,
    make_type,
    read,
)

pytestmark = pytest.mark.django_db


def rows(model, without=("id",)) -> list[dict]:
    names = [
        field.attname
        for field in model._meta.concrete_fields
        if field.attname not in without
    ]
    return sorted(model.objects.values(*names), key=str)


def test_states_and_current_readings_come_back_as_they_were(people):
    open_one = make_check(people["engineer"])
    first = read(open_one, "1", "gap", "1.00")
    read(open_one, "1", "gap", "2.00", supersedes=first, reason="slipped")
    read(open_one, "2", "gap", "2.00")
    read(open_one, "2", "gap", "2.30")  # another tablet: two values
    skipped = {"outcome": "skipped", "reason": "hinge in the way"}
    read(open_one, "3", "gap", **skipped)
    done = make_check(people["engineer"])
    read(done, "5", "gap", "1.00")
    rival = read(done, "5", "gap", "1.20")
    checks.choose_reading(
        by=people["lead"],
        check=done,
        station=rival.station,
        kind="gap",
        reading=rival,
        reason="square",
    )
    checks.finish_check(by=people["lead"], check=done)
    raised = raising.raise_findings(by=people["lead"], check=done)
    item = Nonconformance.objects.get(pk=raised[0].pk)
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="rework", note="trim"
    )
    nonconformances.remark(by=people["builder"], item=item, note="tomorrow")
    models = (CheckState, CurrentReading, NonconformanceState)
    before = [rows(model) for model in models]
    assert projections.rebuild() == {}
    CurrentReading.objects.filter(clash=True).update(clash=False)
    CheckState.objects.filter(fit_check=done).delete()
    NonconformanceState.objects.all().delete()
    told = projections.rebuild()
    assert told == {
        "qa_checkstate": 1,
        "qa_currentreading": 1,
        "qa_nonconformancestate": 1,
    }
    assert [rows(model) for model in models] == before


def test_placements_come_back_as_they_were(people):
    lead, kind = people["lead"], make_type(people["engineer"])
    frame = make_airframe(people["engineer"], type=kind)
    position = make_position(people["engineer"], type=kind)
    for _ in range(2):
        placed = airframes.place_part(
            by=lead,
            airframe=frame,
            position=position,
            part=make_part(people["engineer"]),
            reason="Another design, to try.",
        )
        airframes.remove_part(by=lead, placement=placed, reason="refit")
    airframes.place_part(
        by=lead,
        airframe=frame,
        position=position,
        part=make_part(people["engineer"]),
        reason="Another design, to try.",
    )
    before = rows(Placement)
    assert projections.rebuild() == {}
    Placement.objects.filter(removed_at=None).update(part=placed.part)
    Placement.objects.filter(pk=placed.pk).update(removed_at=F("placed_at"))
    Placement.objects.order_by("placed_at").first().delete()
    assert projections.rebuild() == {"shop_placement": 4}
    assert rows(Placement) == [
        {k: v for k, v in row.items() if k != "id"} for row in before
    ]
