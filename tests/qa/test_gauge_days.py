"""A gauge that is lost, damaged or overdue on the day of use: what it may not measure,
and what stays marked of what it did measure, whatever it is now."""

from datetime import timedelta

import pytest
from django.apps import apps
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.db.models.signals import post_init
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from qa.actions import first_standings, gauge_studies, gauges, instruments
from qa.models import Calibration, Check, GaugeStanding, Instrument
from qa.queries.checks import unconfirmed
from qa.queries.packs.instruments import _doubts as told_in_pack
from qa.queries.tablet.carried_checks import check_for_tablet
from qa.rules import gauge_doubts, gauge_due
from qa.rules.gauges import standing_at
from qa.rules.measured_off import measured_while_off
from shop.ledger import Refused, perform
from shop.models import Entry
from tests.around import by_hand
from tests.qa.gauge_history import again, clock_of, received, stand
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


@pytest.mark.either_database
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
    carried, name = check_for_tablet(again(check)), check.fit_up.joint.name
    refused = f"no readings with {gauge}: This instrument is lost."
    assert carried["label"] == f"{check.label} · {refused}"
    assert carried["joint"]["name"] == f"{gauge} refused · {name}"
    client, page = client_of("inspector"), f"/fit-checks/{check.entry_id}/"
    came = f"Came in after {gauge} was marked lost on {day(0)}"
    told = words_of(client, page)
    assert came in told and ": 4 gap; by the clock of the tablet that was" in told
    assert "gauge in doubt" in words_of(client, "/fit-checks/")
    assert measured_while_off(gauge).checks == [check]
    assert gauge_doubts.doubt_of(whole) is None
    # In use again, the mark stays; nothing that is measured now gets one.
    gauge = status(by, gauge, "in_use")
    carried = check_for_tablet(again(check))
    assert (carried["label"], carried["joint"]["name"]) == (check.label, name)
    assert sent("2").status_code == 201
    after = make_check(by, instrument=gauge)
    told = words_of(client, page)
    assert came in told and ": 4 gap; by the clock" in told
    assert gauge_doubts.doubt_of(check) and not gauge_doubts.doubt_of(after)
    # Found good on that same day, it may have been before it fell.
    found(by, gauge, "good", 0)
    assert came in words_of(client, page) and gauge_doubts.doubt_of(check)


@pytest.mark.either_database
def test_only_that_it_was_found_good_on_a_later_day_clears_what_was_read_while_lost(
    by, client_of
):
    gauge, other = make_instrument(by), make_instrument(by)
    old, other_old = received(by, gauge, 800, 3), received(by, other, 801, 2)
    stand(gauge, "lost", 4)
    stand(other, "lost", 4)
    stand(other, "in_use", 1)
    for one in (gauge, other):
        found(by, one, "good", 2)
    assert {*gauge_doubts.found_off([old, other_old])} == {other_old.pk}
    client, page = client_of("visitor"), f"/fit-checks/{old.entry_id}/"
    good = f"{gauge} was found good on {day(2)} (blocks): what it read holds"
    assert good in words_of(client, page)
    found(by, other, "good", 1)
    assert not gauge_doubts.found_off([old, other_old])


def test_a_check_asks_no_more_the_oftener_its_gauge_was_lost(by):
    gauge = make_instrument(by)
    check, costs = make_check(by, instrument=gauge, made_at=clock(-2)), []
    for ago in (9, 8, 7):
        stand(gauge, "lost", ago)
        stand(gauge, "in_use", ago - 0.5)
        with CaptureQueriesContext(connection) as asked:
            told = unconfirmed.doubts_of(again(check), "mm")
        assert len(told.with_gauge) == len(costs) + 1
        costs.append(len(asked))
    assert len(set(costs)) == 1


def test_a_station_skipped_after_the_gauge_was_lost_puts_nothing_in_doubt(by):
    lost, late = make_instrument(by), make_instrument(by)
    checks = [received(by, gauge, 800 + gauge.pk, 2) for gauge in (lost, late)]
    status(by, lost, "lost")
    instruments.save_instrument(by=by, instrument=late, due=day(1))
    checks = [again(check) for check in checks]
    for check in checks:
        read(check, "1", "gap", by=by, outcome="skipped", reason="no way in")
    assert not gauge_doubts.found_off(checks) and not measured_while_off(lost)
    assert not gauge_due.overdue(checks)
    gauges.set_gauge_rules(by=by, unfit="warn")
    for check in checks:
        read(check, "2", "gap", "2.00", by=by)
    assert {*gauge_doubts.found_off(checks)} == {checks[0].pk}
    assert measured_while_off(lost).checks == checks[:1]
    assert {*gauge_due.overdue(checks)} == {checks[1].pk}


@pytest.mark.either_database
def test_a_gauge_of_a_release_that_kept_no_standings_is_read_as_it_was(by, client_of):
    said = {"name": "Step gauge", "u_nm": 20_000}
    with by_hand():
        due, never, fell = (
            Instrument.objects.create(code=f"OLD-{n}", due=day, **said)
            for n, day in enumerate((day(5), None, day(-9)))
        )
    # The lists open where one was calibrated and another never was.
    found(by, make_instrument(by), "good", 3)
    rows = [
        received(by, due, 801, 2, calibration_due=day(5)),
        received(by, never, 802, 2),
        received(by, fell, 803, 2),
        received(by, never, 804, 2, used_from=None),
    ]
    make_check(by, instrument=Calibration.objects.get().instrument)
    assert client_of("lead").get("/fit-checks/").status_code == 200
    assert not gauge_doubts.found_off(rows)
    for _twice in range(2):
        first_standings.record_first_standings()
    assert GaugeStanding.objects.filter(instrument=due).count() == 1
    # Overdue then: that it was adjusted since, with another day, leaves it so.
    found(by, due, "adjusted", 1, due=day(-300))
    assert {*gauge_due.standing_overdue([again(row) for row in rows])} == {rows[0].pk}
    assert standing_at(Instrument.objects.get(pk=due.pk), clock_of(3)).due == day(5)
    # Lost now: what was read an hour ago was read with one in use.
    status(by, fell, "lost")
    running = again(rows[2])
    with pytest.raises(Refused, match="lost"):
        read(running, "1", "gap", "2.00", by=by)
    read(running, "1", "gap", "2.00", by=by, made_at=clock(0.05))
    # When a check of before was begun, its clock says.
    found(by, never, "good", 12)
    found(by, never, "off", 3)
    assert measured_while_off(never).checks == [rows[3], rows[1]]
    for row in (rows[1], rows[3]):
        assert gauge_doubts.doubt_of(again(row))


def test_what_came_in_with_one_damaged_before_standings_were_kept_is_marked(by):
    gauge = Instrument(code="OLD", name="Step gauge", status="damaged")
    for status_then in ("lost", "in_use", "damaged"):
        said = {"status": status_then}
        with perform("instrument/1", by=by, said=said) as act:
            gauge.save()
            act.result = {"instrument": gauge.pk}
    at = act.now
    ago = (timezone.now() - at).total_seconds() / 86_400
    check = received(by, gauge, 800, ago / 2)
    # Off by then, of a release that did not say so with the gauge itself.
    off, good = make_instrument(by), make_instrument(by)
    for one in (off, good):
        found(by, one, "off", 3)
    found(by, good, "good", 2)
    with by_hand():
        off.found_off_on = off.stands_since = None
        off.save()
    before = off.calibrations.get().entry.received_at - timedelta(seconds=1)
    # Not while tables are as some migration before the last leaves them.
    recorder = MigrationRecorder(connection)
    for last in (("qa", "0025_found_off"), ("shop", "0013_growth_indexes")):
        recorder.record_unapplied(*last)
        first_standings.record_after_migrate(apps.get_app_config("qa"))
        recorder.record_applied(*last)
    off.refresh_from_db()
    assert off.found_off_on is None
    # Whatever migrate did, and also where it did nothing; once.
    for _twice in range(2):
        first_standings.record_after_migrate(apps.get_app_config("qa"))
    off.refresh_from_db()
    assert off.found_off_on == day(3)
    # What was read before anybody knew is taken, and what after is not.
    assert standing_at(off, before).off is None
    assert standing_at(off, timezone.now()).off == day(3)
    assert Entry.objects.filter(form="gauge_standings/1").count() == 1
    with pytest.raises(Refused, match="found off"):
        make_check(by, instrument=off)
    first, then = gauge.standings.all()
    assert (first.status, then.status, then.begins) == ("in_use", "damaged", at)
    assert [*gauge_doubts.found_off([check])] == [check.pk]
    assert measured_while_off(gauge).checks == [check]


def test_a_certificate_entered_late_clears_overdue_and_a_wrong_clock_clears_nothing(by):
    def overdue_check():
        gauge = make_instrument(by, due=day(15))
        due = {"calibration_due": day(15)}
        return gauge, received(by, gauge, 800 + gauge.pk, 10, **due)

    cases = {  # (what was found, how many days ago, next due): whether it is cleared
        (("good", 20, -300),): True,
        (("good", 20, 12),): False,  # due again before it was used
        (("good", 20, -300), ("off", 12, 12)): False,
        (("good", 20, -300), ("off", 5, 5)): False,  # used while it was off
        (("good", 20, 12), ("good", 400, None)): False,  # an old paper, filed late
    }
    for calibrations, cleared in cases.items():
        gauge, check = overdue_check()
        for result, ago, due in calibrations:
            found(by, gauge, result, ago, due=None if due is None else day(due))
        late = gauge_due.standing_overdue([again(check)])
        assert (check.pk not in late) is cleared
    # On record when it was used, it was not enough: the shop had set the day before.
    gauge = make_instrument(by)
    found(by, gauge, "good", 20, due=day(-300))
    instruments.save_instrument(by=by, instrument=gauge, due=day(15))
    check = make_check(by, instrument=gauge, made_at=clock(-2))
    assert check.used_from.year == 1970
    assert {*gauge_due.standing_overdue([check])} == {check.pk}


def test_a_value_by_a_wrong_clock_is_held_to_the_day_due_when_it_came_in(people, by):
    gauge = make_instrument(by, due=day(20))
    instruments.save_instrument(by=by, instrument=gauge, due=day(-300))
    study = plan_study(people, [by, people["lead"]], instrument=gauge, repeats=2)
    gauge_studies.record_value(
        by=by, study=study, turn=0, value="2", unit="mm", made_at=clock(-2)
    )
    values = study.values.select_related("entry", "study__instrument")
    assert not gauge_due.overdue(values)


@pytest.mark.either_database
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
    read_it = f"came in after that is in doubt. It read {result.part}: read them"
    assert read_it in words_of(client_of("visitor"), f"/characteristics/{row.pk}/")
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


@pytest.mark.either_database
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
    found(by, gauge, "good", 200)
    assert set(gauge_doubts.found_off([ahead, right])) == {ahead.pk}
    assert measured_while_off(gauge).checks == [ahead]


@pytest.mark.either_database
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
