"""A gauge that is lost, damaged or overdue on the day of use: what it may not measure,
and what stays marked of what it did measure, whatever it is now."""

import datetime as dt
import uuid

import pytest
from django.db import connection
from django.db.models.signals import post_init
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from qa.actions import gauge_studies, gauges, instruments
from qa.models import Check, CheckState
from qa.queries.packs.instruments import _doubts as told_in_pack
from qa.rules import gauge_doubts, gauge_due
from qa.rules.measured_off import measured_while_off
from shop.ledger import Refused
from tests.around import by_hand
from tests.qa.making import make_airframe, make_check, make_instrument, read
from tests.qa.test_acts import said
from tests.qa.test_characteristics import found as proven
from tests.qa.test_characteristics import planned
from tests.qa.test_claims import Sender
from tests.qa.test_close_out import Ready
from tests.qa.test_gauge_studies import plan as plan_study
from tests.qa.test_holes_pages import a_pattern
from tests.qa.test_holes_pages import measured as measured_holes
from tests.qa.test_instruments import clock, day, found


@pytest.fixture
def by(people):
    return people["engineer"]


def status(by, gauge, now):
    return instruments.save_instrument(by=by, instrument=gauge, status=now)


def words_of(client, address) -> str:
    return " ".join(client.get(address).content.decode().split())


def test_a_gauge_lost_while_a_check_runs_is_refused_and_marks_what_comes_in_after(
    people, by, client_of
):
    tablet, gauge = Sender(people), make_instrument(by)
    check, whole = (make_check(by, instrument=gauge) for _n in range(2))
    before = clock(0.01)

    def sent(station, **more):
        made_at = more.pop("made_at", clock(0))
        content = said(check, station, **more)
        return tablet.put("reading/1", "builder", content, made_at=made_at)

    assert sent("1").status_code == 201
    read(whole, "1", "gap", "2.00")
    status(by, gauge, "lost")
    answer = sent("2")
    assert answer.status_code == 422
    message = answer.json()["error"]["message"]
    assert message.startswith("This instrument is lost. Finish this check without it")
    assert sent("2", outcome="feeler", goes="1", does_not_go="2").status_code == 422
    assert sent("3", outcome="skipped", value="", reason="no way in").status_code == 201
    assert sent("4", made_at=before).status_code == 201
    client, page = client_of("inspector"), f"/fit-checks/{check.entry_id}/"
    came = f"Came in after {gauge} was marked lost on {day(0)}"
    told = words_of(client, page)
    assert came in told and ": 4 gap; by the clock of the tablet that was" in told
    assert "gauge in doubt" in words_of(client, "/fit-checks/")
    assert measured_while_off(gauge).checks == [check]
    assert gauge_doubts.doubt_of(whole) is None
    # In use again, the mark stays; nothing that is measured now gets one.
    gauge = status(by, gauge, "in_use")
    assert sent("2").status_code == 201
    after = make_check(by, instrument=gauge)
    told = words_of(client, page)
    assert came in told and ": 4 gap; by the clock" in told
    assert gauge_doubts.doubt_of(check) and not gauge_doubts.doubt_of(after)
    # Only that it was found good since clears it, and that is said.
    found(by, gauge, "good", 0)
    told = words_of(client, page)
    assert f"{came}" in told and f"{gauge} was found good on {day(0)} (blocks)" in told
    assert gauge_doubts.doubt_of(check) is None and not measured_while_off(gauge)


def test_what_is_measured_with_a_damaged_one_under_a_warning_is_marked_and_listed(
    people, by, client_of
):
    gauges.set_gauge_rules(by=by, unfit="warn")
    ready = Ready(people)
    gauge = status(by, ready.check.instrument, "damaged")
    row = planned(people, "dimension", low="3", unit="mm", bay=ready.joint.position)
    result = proven(people, row, ready.airframe, "4", unit="mm", instrument=gauge)
    holes = measured_holes(by, a_pattern(by), ("0", "0"), instrument=gauge)
    check = make_check(by, instrument=gauge)
    read(check, "1", "gap", "2.00")
    status(by, gauge, "in_use")
    elsewhere = make_airframe(by, type=ready.joint.type)
    proven(people, row, elsewhere, "4", unit="mm", instrument=gauge)
    told = measured_while_off(gauge)
    assert (told.checks, told.holes, told.results) == ([check], [holes], [result])
    assert "by the clock" not in words_of(
        client_of("visitor"), f"/fit-checks/{check.entry_id}/"
    )
    (stand,) = [
        line for group in ready.view().groups for line in group.lines
        if group.kind == "instrument"
    ]  # fmt: skip
    assert "found off since, or was lost or damaged" in stand.why
    (line,) = told_in_pack([check])[Check, check.pk]
    assert line.startswith(f"{gauge.code} was marked damaged on {day(0)}")


@pytest.mark.parametrize("result", ["good", "adjusted"])
@pytest.mark.parametrize("rule", ["warn", "refuse"])
def test_a_check_begun_overdue_and_sent_after_a_calibration_is_told_by_its_day_of_use(
    people, by, client_of, rule, result
):
    gauges.set_gauge_rules(by=by, overdue=rule)
    gauge = make_instrument(by, due=day(6))
    found(by, gauge, result, 3, due=day(-300))
    if (rule, result) == ("refuse", "adjusted"):
        with pytest.raises(Refused, match=f"was due {day(6)}"):
            make_check(by, instrument=gauge, made_at=clock(5))
        return
    check = make_check(by, instrument=gauge, made_at=clock(5))
    read(check, "1", "gap", "2.00", made_at=clock(5))
    assert check.calibration_due == day(6)
    cleared = result == "good"
    assert bool(gauge_due.standing_overdue([check])) is not cleared
    told = words_of(client_of("visitor"), f"/fit-checks/{check.entry_id}/")
    assert f"was due {day(6)}, and this was measured on {day(5)}; " in told
    good = f"{gauge} was found good on {day(3)} (blocks): what it read holds"
    assert (good in told) is cleared
    # The day of use is after the calibration: in date, and nothing to say.
    innocent = make_check(by, instrument=gauge, made_at=clock(2))
    assert innocent.calibration_due == day(-300)
    assert not gauge_due.overdue([innocent])
    gauge.refresh_from_db()
    study = plan_study(people, [by, people["lead"]], instrument=gauge, repeats=2)
    for turn, ago in enumerate((5, 2)):
        gauge_studies.record_value(
            by=by, study=study, turn=turn, value="2", unit="mm", made_at=clock(ago)
        )
    overdue, _in_date = study.values.select_related("entry")
    late = gauge_due.overdue(study.values.select_related("entry"))
    assert {key: one.due for key, one in late.items()} == {overdue.pk: day(6)}


def test_readings_of_a_running_check_are_refused_when_its_gauge_falls_due(by):
    gauge = make_instrument(by, due=day(0))
    gauges.set_gauge_rules(by=by, overdue="refuse")
    check = make_check(by, instrument=gauge)
    instruments.save_instrument(by=by, instrument=gauge, due=day(1))
    check = Check.objects.select_related("fit_up__revision").get(pk=check.pk)
    with pytest.raises(Refused, match="was due"):
        read(check, "1", "gap", "2.00")
    read(check, "1", "gap", "2.00", made_at=clock(0.05))


def test_values_of_a_study_read_overdue_stay_marked_after_the_calibration(
    people, by, client_of
):
    gauge = make_instrument(by, due=day(1))
    study = plan_study(people, [by, people["lead"]], instrument=gauge, repeats=2)
    value = {"by": by, "study": study, "value": "2", "unit": "mm"}
    gauge_studies.record_value(**value, turn=0)
    gauges.set_gauge_rules(by=by, overdue="refuse")
    client, page = client_of("builder"), f"/gauge-studies/{study.number}/"
    measure = reverse("measure_study", args=[study.number, by.pk])
    # What is not allowed is not offered.
    told = words_of(client, measure)
    assert "Nothing is read with it or corrected now" in told
    assert "The last was wrong" not in told and 'name="value"' not in told
    again = client.get(reverse("read_again", args=[study.number, by.pk]), follow=True)
    assert again.redirect_chain and "was due" in again.content.decode()
    assert measure not in words_of(client, page)
    found(by, gauge, "adjusted", 0, due=day(-300))
    told = words_of(client, page)
    assert f"was due {day(1)}, and this was measured on {day(0)}" in told
    assert "That holds for 1 of 1 values here" in told
    assert "The last was wrong" in words_of(client, measure)


def test_a_clock_that_is_ahead_tells_nothing_of_when_it_was_measured(by):
    gauge = make_instrument(by)
    ahead = make_check(by, instrument=gauge, made_at=clock(-1.5))
    right = make_check(by, instrument=gauge, made_at=clock(0.001))
    found(by, gauge, "good", 400)
    found(by, gauge, "off", 300)
    assert set(gauge_doubts.found_off([ahead, right])) == {ahead.pk}
    assert measured_while_off(gauge).checks == [ahead]


def received(by, gauge, number, ago):
    """A check as though it had been received, read and left so many days ago, a day
    after its tablet began it."""
    check = make_check(by, instrument=make_instrument(by))
    at = timezone.now() - dt.timedelta(days=ago)
    check.entry.pk, check.entry.act = None, uuid.uuid4()
    check.entry.received_at, check.entry.made_at = at, clock(ago + 1)
    check.used_from = at - dt.timedelta(days=1)
    check.pk, check.number, check.instrument = None, number, gauge
    with by_hand():
        check.entry.save(force_insert=True)
        check.entry_id = check.entry.act
        check.save(force_insert=True)
        CheckState(fit_check=check, wanted=9, started_at=at).save()
    return check


def test_what_was_measured_off_is_listed_without_reading_what_was_measured_before(by):
    gauge = make_instrument(by)
    found(by, gauge, "good", 10)
    found(by, gauge, "off", 3)

    def cost() -> tuple[int, int]:
        made = []

        def count(instance, **_named):
            made.append(instance)

        post_init.connect(count, sender=Check)
        try:
            with CaptureQueriesContext(
                connection,
            ) as asked:
                told = measured_while_off(gauge).checks
        finally:
            post_init.disconnect(count, sender=Check)
        assert len(told) == 1
        return len(made), len(asked)

    received(by, gauge, 800, 5)
    received(by, gauge, 801, 50)
    few = cost()
    assert few[0] == 1
    for number in range(12):
        received(by, gauge, 810 + number, 20 + 3 * number)
    assert cost() == few
