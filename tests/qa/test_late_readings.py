"""A finish that comes in before its readings: they are kept, and a person decides."""

import uuid

import pytest

from qa.actions import checks, claims, late_readings, nonconformances, raising
from qa.models import CheckState, Nonconformance, NonconformanceState, Reading
from shop.ledger import Refused
from shop.models import Entry
from tests.qa.making import make_check, read
from tests.qa.test_acts import put, said
from tests.qa.test_claims import Sender, same_rebuilt

pytestmark = pytest.mark.django_db


@pytest.fixture
def check(people):
    return make_check(people["engineer"])


@pytest.fixture
def builder(client_of):
    return client_of("builder")


def finish(client, check):
    answer = put(client, {"check": str(check.entry_id)}, form="finish/1")
    assert answer.status_code == 201


def decide(people, reading, counted=True, reason="read before the finish"):
    return late_readings.decide_late(
        by=people["lead"],
        check=reading.fit_check,
        reading=reading,
        counted=counted,
        reason=reason,
    )


def state_of(check):
    return CheckState.objects.get(fit_check=check)


def test_readings_that_come_after_the_finish_are_kept_and_counted_in_by_a_person(
    builder, people, check
):
    finish(builder, check)
    act = uuid.uuid4()
    answers = [put(builder, said(check, "2"), act=act) for _ in range(2)]
    assert [one.status_code for one in answers] == [201, 200]
    result = answers[0].json()["result"]
    assert (result["late"], result["current"], result["clash"]) == (True, False, False)
    assert "a person decides" in result["message"]
    put(builder, said(check, "3", value="1.00"))
    state = state_of(check)
    assert (state.late, state.conforms, state.does_not_conform) == (2, 0, 0)
    first, second = Reading.objects.order_by("pk")
    decide(people, first)
    decide(people, second)
    state = state_of(check)
    assert (state.late, state.conforms, state.does_not_conform) == (0, 1, 1)
    assert check.finished.counts["not_measured"] == 16
    (raised,) = raising.raise_findings(by=people["lead"], check=check)
    assert raised.stations == ["3"]
    same_rebuilt()


def test_a_late_reading_that_is_left_out_changes_nothing_and_says_why(
    builder, people, check
):
    put(builder, said(check, "2"))
    finish(builder, check)
    put(builder, said(check, "2", value="1.00"))
    reading = Reading.objects.get(late=True)
    with pytest.raises(Refused, match="why") as no:
        decide(people, reading, counted=False, reason=" ")
    assert no.value.field == "reason"
    decide(people, reading, counted=False, reason="the gauge had slipped")
    state = state_of(check)
    assert (state.late, state.conforms, state.does_not_conform) == (0, 1, 0)
    with pytest.raises(Refused, match="decided"):
        decide(people, reading)
    same_rebuilt()


def test_counted_in_it_stands_in_the_place_of_what_stood(builder, people, check):
    put(builder, said(check, "2"))
    finish(builder, check)
    put(builder, said(check, "2", value="1.00"))
    decide(people, Reading.objects.get(late=True))
    state = state_of(check)
    assert (state.conforms, state.does_not_conform, state.clashes) == (0, 1, 0)
    assert check.current.get().reading.late
    same_rebuilt()


def test_a_check_with_late_readings_is_no_recheck_until_they_are_decided(
    builder, people, check
):
    read(check, "3", "gap", "1.00")
    checks.finish_check(by=people["engineer"], check=check)
    (raised,) = raising.raise_findings(by=people["engineer"], check=check)
    item = Nonconformance.objects.select_related("part__design").get(pk=raised.pk)
    nonconformances.dispose(by=people["lead"], item=item, disposition="rework", note="")
    nonconformances.work(by=people["engineer"], item=item, note="trimmed")
    again = make_check(people["engineer"], fit_up=check.fit_up)
    put(builder, said(again, "3"))
    finish(builder, again)
    put(builder, said(again, "3", value="1.00"))
    with pytest.raises(Refused, match="came in after"):
        nonconformances.verify(by=people["lead"], item=item, recheck=again)
    reading = Reading.objects.get(late=True)
    decide(people, reading, counted=False, reason="slipped")
    nonconformances.verify(by=people["lead"], item=item, recheck=again)
    # One more comes in late and is counted in: the item is open again.
    put(builder, said(again, "3", value="1.10"))
    decide(people, Reading.objects.latest("pk"))
    standing = NonconformanceState.objects.get()
    assert (standing.state, standing.closed_at) == ("found", None)
    assert "does not show it any more" in item.steps.latest("pk").note
    same_rebuilt()


def test_a_late_reading_that_is_disowned_waits_for_nobody(people, check):
    tablet = Sender(people)
    checks.finish_check(by=people["engineer"], check=check)
    entry = tablet.reading(check, "1")
    assert state_of(check).late == 1
    assert Entry.objects.get(pk=entry.pk).authorship == "claimed"
    claims.answer_claim(
        by=people["builder"], entry=entry, verdict="disowned", reason="not me"
    )
    assert state_of(check).late == 0
    with pytest.raises(Refused, match="disowned"):
        decide(people, Reading.objects.get())
    same_rebuilt()


def test_at_the_desk_a_finished_check_takes_no_reading(people, check):
    checks.finish_check(by=people["engineer"], check=check)
    with pytest.raises(Refused, match="finished"):
        read(check, "1", "gap", "2.00")
