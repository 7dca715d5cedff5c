"""Instruments: what makes up their uncertainty, whether they may be used, and what they
measured while they were off."""

import datetime as dt
import math
import uuid

import pytest
from django.urls import reverse
from django.utils import timezone
from lxml.html import document_fromstring
from scipy import stats

from qa.actions import gauge_studies, gauges, instruments
from qa.models import Check, CheckState, Instrument, Reading
from qa.queries.instruments import instrument_page
from qa.queries.tablet.studies import studies_to_carry
from qa.rules import gauge_doubts, gauge_due, requirements
from qa.rules import gauges as rules
from qa.rules.judging import receipt_of
from qa.rules.measured_off import measured_while_off
from shop.ledger import Refused
from tests.around import by_hand
from tests.qa.gauge_history import calibrated, received
from tests.qa.making import (
    make_airframe,
    make_check,
    make_fit_up,
    make_instrument,
    mm,
    read,
    read_all,
)
from tests.qa.test_characteristics import found as proven
from tests.qa.test_characteristics import planned
from tests.qa.test_gauge_studies import plan as plan_study
from tests.qa.test_holes_pages import a_pattern
from tests.qa.test_holes_pages import measured as measured_holes


@pytest.fixture
def by(people):
    return people["engineer"]


def day(ago: int) -> dt.date:
    return timezone.localdate() - dt.timedelta(days=ago)


def clock(ago: float | str) -> str:
    """What a tablet's clock says so many days before now, or just that; the zone is
    written out where the days are a broken number."""
    if isinstance(ago, str):
        return ago
    told = (timezone.now() - dt.timedelta(days=ago)).isoformat()
    return told if isinstance(ago, float) else told.replace("+00:00", "Z")


def found(by, instrument, result, ago, **said):
    said = {"laboratory": "blocks", "due": None, **said}
    return gauges.record_calibration(
        by=by, instrument=instrument, result=result, done_on=day(ago), **said
    )


LINES = [
    {"name": "resolution", "kind": "resolution", "value_nm": mm(0.01)},
    {"name": "calibration", "kind": "expanded", "value_nm": mm(0.02), "k_e3": 2000},
    {"name": "repeatability", "kind": "repeats", "value_nm": mm(0.03), "df": 9},
    {"name": "operator", "kind": "sd", "value_nm": mm(0.02), "df": 2},
    {"name": "temperature", "kind": "half_width", "value_nm": mm(0.012)},
]


def test_a_budget_is_the_root_of_its_squares_and_what_is_judged_by(by):
    """By hand, JCGM 100: 4.3.7, 5.1.2 and the Welch-Satterthwaite formula of G.4.1."""
    gauge = make_instrument(by, u_nm=mm(0.5))
    row = gauges.save_budget(by=by, instrument=gauge, rows=LINES)
    parts = [0.01 / math.sqrt(12), 0.01, 0.03, 0.02, 0.012 / math.sqrt(3)]
    u = math.sqrt(sum(part**2 for part in parts))
    assert row.u_nm == mm(u)
    degrees = u**4 / (0.03**4 / 9 + 0.02**4 / 2)
    assert row.df_e3 == pytest.approx(degrees * 1000, abs=1)
    # What 95 % need at a limit is Student's t of 12 degrees of freedom (JCGM 106,
    # 8.3.3), of which a guard takes 1.6449 times what is judged by.
    judged = u * stats.t.ppf(0.95, 12) / stats.norm.ppf(0.95)
    gauge.refresh_from_db()
    assert gauge.u_nm == row.judges_nm == pytest.approx(mm(judged), abs=1)
    check = make_check(by, instrument=gauge)
    assert check.u_nm == row.judges_nm
    limits = requirements.acceptance(
        requirements.Requirement(0, None), check.u_nm, "guarded", "2017"
    )
    assert limits.low_in == pytest.approx(stats.t.ppf(0.95, 12) * row.u_nm, abs=2)
    page = instrument_page(gauge, "mm")
    assert [line.name for line in page.lines] == [row["name"] for row in LINES]
    told = f"k = {stats.t.ppf(0.975, 12):.2f} of 12 degrees of freedom (12.5 effective)"
    assert page.expanded.endswith(told)
    assert f"k = {stats.t.ppf(0.95, 12):.2f} of it (Student's t)" in page.judged
    assert page.lines[2].share == f"{0.03**2 / u**2:.0%}"


def test_lines_without_a_calibration_make_it_smaller_only_where_that_is_ticked(
    by, client_of
):
    gauge = make_instrument(by, u_nm=mm(0.05))
    at, client = reverse("gauge_budget", args=[gauge.pk]), client_of("engineer")
    said = {"unit": "mm", "resolution_nm": "0.01", "repeats_nm": "0.02", "note": "x"}
    words = client.post(at, said).content.decode()
    assert "smaller with no calibration in it" in words and 'value="0.02"' in words
    assert not gauge.budgets.exists()
    client.post(at, said | {"expanded_nm": "0.02", "k_e3": "2"})
    assert gauge.budgets.get().judges_nm < mm(0.05)
    client.post(at, said | {"repeats_nm": "0.01", "smaller": "on"})
    assert gauge.budgets.count() == 2
    client.post(at, said | {"repeats_nm": "0.3"})  # larger needs no tick
    assert gauge.budgets.count() == 3


def test_a_budget_of_nothing_is_refused(by):
    with pytest.raises(Refused, match="one contribution above 0"):
        gauges.save_budget(
            by=by,
            instrument=make_instrument(by),
            rows=[{"name": "operator", "kind": "sd", "value_nm": 0, "df": None}],
        )


@pytest.mark.parametrize("status", ["lost", "damaged"])
def test_what_is_lost_or_damaged_is_refused_or_warned_of_as_the_shop_sets(by, status):
    gauge = make_instrument(by, status=status)
    with pytest.raises(Refused, match=status):
        make_check(by, instrument=gauge)
    gauges.set_gauge_rules(by=by, overdue="warn", unfit="warn")
    check = make_check(by, instrument=gauge)
    assert check.instrument == gauge
    assert any(status in doubt for doubt in instrument_page(gauge, "mm").doubts)


def test_one_found_off_is_refused_or_warned_of_from_that_moment_until_it_is_good(
    people, by, client_of
):
    gauge = make_instrument(by)
    running, before = make_check(by, instrument=gauge), clock(0.01)
    study = plan_study(people, [by, people["lead"]], instrument=gauge, repeats=2)
    found(by, gauge, "off", 0)
    off = f"This instrument was found off on {day(0)}."

    def tried(act, *args, **said):
        with pytest.raises(Refused) as no:
            act(*args, **said)
        assert off in no.value.message

    def all_tried():
        gauge.refresh_from_db()
        with_it = {"instrument": gauge}
        tried(make_check, by, **with_it)
        tried(measured_holes, by, a_pattern(by), ("0", "0"), **with_it)
        tried(plan_study, people, [by, people["lead"]], repeats=2, **with_it)
        tried(read, Check.objects.get(pk=running.pk), "1", "gap", "2.00")

    all_tried()
    read(running, "1", "gap", "2.00", made_at=before)
    assert gauge_doubts.doubt_of(running)
    # Whatever day is said to be due, it is off; it is told where it is chosen.
    instruments.save_instrument(by=by, instrument=gauge, due=day(-300))
    all_tried()
    client = client_of("builder")
    assert "found off" in client.get("/instruments/").content.decode()
    assert off in client.get(f"/instruments/{gauge.pk}/").content.decode()
    # Whoever opens the check that runs reads it before trying.
    at = reverse("check", args=[running.entry_id])
    told = client.get(at).content.decode()
    assert f"{off} Finish this check without it" in told
    new = f"/fit-checks/new/?joint={running.fit_up.joint_id}"
    assert f"{gauge.code} ({off.rstrip('.')})" in client.get(new).content.decode()
    assert off.rstrip(".") in studies_to_carry()[0]["what"]
    gauges.set_gauge_rules(by=by, unfit="warn")
    warned = make_check(by, instrument=gauge)
    assert off in instrument_page(gauge, "mm").doubts and gauge_doubts.doubt_of(warned)
    gauges.set_gauge_rules(by=by, unfit="refuse")
    # An older certificate does not make it good, nor one that was good before that day.
    found(by, gauge, "good", 1)
    all_tried()
    found(by, gauge, "adjusted", 0)
    gauge.refresh_from_db()
    make_check(by, instrument=gauge)
    assert instrument_page(gauge, "mm").doubts == []
    assert studies_to_carry()[0]["what"] == f"{study.what}, {gauge}"


def test_what_a_tablet_read_while_it_was_on_record_as_off_is_refused_when_it_comes(by):
    gauge = make_instrument(by)
    calibrated(gauge, "off", day(6), 6)
    found(by, gauge, "good", 2)
    gauge.refresh_from_db()
    with pytest.raises(Refused, match=f"found off on {day(6)}"):
        make_check(by, instrument=gauge, made_at=clock(4))
    # Before it was on record, and once it was good though nobody had entered that.
    for ago in (7, 1, ""):
        make_check(by, instrument=gauge, made_at=clock(ago))


def test_an_overdue_one_is_warned_of_or_refused_as_the_shop_sets(by):
    gauge = make_instrument(by, due=day(1))
    make_check(by, instrument=gauge)
    gauges.set_gauge_rules(by=by, overdue="refuse", unfit="refuse")
    with pytest.raises(Refused, match="was due"):
        make_check(by, instrument=gauge)
    due_today = make_instrument(by, due=day(0))
    make_check(by, instrument=due_today)


def test_one_out_of_use_is_refused_whatever_is_set(by):
    gauges.set_gauge_rules(by=by, overdue="warn", unfit="warn")
    with pytest.raises(Refused, match="out of use"):
        make_check(by, instrument=make_instrument(by, status="out"))


def test_a_reading_outside_the_range_is_marked_or_refused_as_the_shop_sets(
    people, by, client_of
):
    gauge = make_instrument(by, range_low_nm=mm(-5), range_high_nm=mm(5))
    check = make_check(by, instrument=gauge)
    read(check, "1", "gap", "5.00")
    read(check, "2", "gap", "5.01")
    read(check, "2", "flush", "-5.001")
    told = Reading.objects.get(value="5.01")
    told = receipt_of(told, told.station)
    assert told["message"].endswith("outside what the instrument reads")
    said = f"{gauge} reads −5.00 to 5.00 mm; read outside of it: 2 flush, 2 gap."
    client = client_of("inspector")
    assert said in client.get(f"/fit-checks/{check.entry_id}/").content.decode()
    # What it reads is frozen: a later range says nothing of this check.
    gauge.range_high_nm = mm(9)
    with by_hand():
        gauge.save()
    assert len(rules.read_outside(check)) == 2
    gauges.set_gauge_rules(by=by, outside="refuse")
    assert rules.rules_now().unfit == "refuse"
    with pytest.raises(Refused, match="reads −5.00 to 5.00 mm: take another"):
        read(check, "3", "gap", "5.01")
    with pytest.raises(Refused, match="take another"):
        read(check, "3", "gap", outcome="feeler", goes="4.9", does_not_go="5.1")
    read(check, "3", "gap", outcome="feeler", goes="4.9", does_not_go="5.0")
    study = gauge_studies.plan_study(
        by=by, instrument=gauge, what="x", places=["1", "2"], repeats=2,
        people=[people["builder"], people["lead"]],
    )  # fmt: skip
    with pytest.raises(Refused, match="take another"):
        gauge_studies.record_value(by=by, study=study, turn=0, value="9.1", unit="mm")


def test_found_off_is_said_in_lists_at_the_joint_and_in_the_plan(by, client_of):
    gauge = make_instrument(by)
    check = make_check(by, instrument=gauge)
    read_all(check)
    found(by, gauge, "good", 400)
    found(by, gauge, "off", 0)
    fit_up = check.fit_up
    joint = f"/joints/{fit_up.joint_id}/on/{fit_up.airframe_id}/"
    client = client_of("engineer")
    for url in ("/fit-checks/", joint, f"/fit-checks/{check.entry_id}/plan/"):
        words = client.get(url).content.decode()
        assert "found off" in words, url


def test_found_off_marks_what_was_measured_since_the_last_good_check(by, client_of):
    gauge, other = make_instrument(by), make_instrument(by)
    check = make_check(by, instrument=gauge)
    innocent = make_check(by, instrument=other)
    read(check, "1", "gap", "2.00")
    found(by, gauge, "good", 400)
    assert gauge_doubts.doubt_of(check) is None
    found(by, gauge, "off", 0, error_nm=mm(0.2))
    gauge.refresh_from_db()
    assert gauge.due == day(0)
    assert measured_while_off(gauge).checks == [check]
    assert gauge_doubts.doubt_of(innocent) is None
    client = client_of("visitor")
    words = client.get(f"/fit-checks/{check.entry_id}/").content.decode()
    assert "was found off on" in words
    page = client.get(f"/instruments/{gauge.pk}/").content.decode()
    assert "Measured while it was off" in page
    assert check.label in page


def test_values_of_gauge_studies_read_while_it_was_off_are_listed_and_marked(
    people, by, client_of
):
    gauge = make_instrument(by)
    study = gauge_studies.plan_study(
        by=by, instrument=gauge, what="a block", places=["1", "2"], repeats=2,
        people=[people["builder"], people["lead"]],
    )  # fmt: skip
    for turn in range(3):
        gauge_studies.record_value(
            by=by, study=study, turn=turn, value=f"2.{turn}", unit="mm"
        )
    found(by, gauge, "good", 400)
    assert not measured_while_off(gauge)
    found(by, gauge, "off", 0)
    (told,) = measured_while_off(gauge).studies
    assert (told.study, len(told.values)) == (study, 3)
    client = client_of("visitor")
    page = " ".join(client.get(f"/instruments/{gauge.pk}/").content.decode().split())
    assert "Measured while it was off" in page
    assert f">{study.label}</a> a block: 3 values" in page
    words = client.get(f"/gauge-studies/{study.number}/").content.decode()
    assert f"{gauge.code} was found off on" in words
    assert "That holds for 3 of 3 values here" in words
    good = make_instrument(by)
    assert not measured_while_off(good)


@pytest.mark.parametrize(
    ("ago", "off"),
    [
        (5, True),
        (9.9, True),
        (12, True),  # sent today: what it read may be of any day since
        (2, True),  # not good again since
        ("", True),
        ("yesterday", True),
        (-3, True),
        (900, True),
        ("0001-01-01T00:00:00+14:00", True),
    ],
)
def test_what_waited_on_a_tablet_is_in_doubt_by_the_days_on_which_it_may_be_measured(
    people, by, ago, off
):
    """Good 10 days ago, found off 3 days ago, sent today."""
    made_at = clock(ago)
    gauge = make_instrument(by)
    check = make_check(by, instrument=gauge, made_at=made_at)
    study = plan_study(people, [by, people["lead"]], instrument=gauge, repeats=2)
    gauge_studies.record_value(
        by=by, study=study, turn=0, value="2", unit="mm", made_at=made_at
    )
    found(by, gauge, "good", 10)
    found(by, gauge, "off", 3)
    told = measured_while_off(gauge)
    assert told.checks == [check] * off
    assert [len(one.values) for one in told.studies] == [1] * off
    assert bool(gauge_doubts.doubt_of(check)) is off
    values = study.values.select_related("entry")
    assert sum(len(one.values) for one in gauge_doubts.study_doubts(values)) == off


def test_what_is_measured_after_it_was_found_off_is_in_doubt_until_it_is_good_again(by):
    gauge = make_instrument(by)
    found(by, gauge, "good", 10)
    found(by, gauge, "off", 3)
    between, since = (
        make_check(by, instrument=gauge, made_at=clock(ago)) for ago in (2, "")
    )
    found(by, gauge, "good", 1)
    assert gauge_doubts.doubt_of(between) and not gauge_doubts.doubt_of(since)
    assert measured_while_off(gauge).checks == [between]


def test_a_check_begun_before_the_last_good_calibration_and_read_after_it_is_in_doubt(
    by,
):
    gauge = make_instrument(by)
    begun = []
    for number in (901, 902):  # as though they had been received 12 days ago
        check = make_check(by, instrument=make_instrument(by))
        check.entry.pk, check.entry.act = None, uuid.uuid4()
        check.entry.received_at = timezone.now() - dt.timedelta(days=12)
        check.pk, check.number, check.instrument = None, number, gauge
        with by_hand():
            check.entry.save(force_insert=True)
            check.entry_id = check.entry.act
            check.save(force_insert=True)
            state = CheckState(fit_check=check, wanted=9, started_at=timezone.now())
            state.save()
        begun.append(Check.objects.select_related("fit_up__revision").get(pk=check.pk))
    check, _none_read = begun
    read(check, "1", "gap", "2.00", made_at=clock(5))
    found(by, gauge, "good", 10)
    found(by, gauge, "off", 3)
    rows = list(Check.objects.select_related("entry"))
    assert set(gauge_doubts.found_off(rows)) == {check.pk}
    assert measured_while_off(gauge).checks == [check]


@pytest.mark.parametrize(
    ("ago", "kept"),
    [
        (5, True),
        (1, False),
        ("", False),
        (-5, False),
        (400, False),
        ("not a day", False),
    ],
)
def test_work_begun_in_date_is_kept_when_it_is_sent_overdue_and_told(
    by, client_of, ago, kept
):
    made_at = clock(ago)
    gauges.set_gauge_rules(by=by, overdue="refuse")
    gauge = make_instrument(by, due=day(2))
    if not kept:
        with pytest.raises(Refused, match="was due"):
            make_check(by, instrument=gauge, made_at=made_at)
        return
    check = make_check(by, instrument=gauge, made_at=made_at)
    words = f"after the calibration of {gauge} was due ({day(2)}); by the clock of the"
    page = client_of("visitor").get(f"/fit-checks/{check.entry_id}/").content.decode()
    assert f"This came in on {day(0)}, {words}" in page
    assert f"tablet it was measured on {day(5)}, in date" in page
    assert set(gauge_due.standing_overdue([check])) == {check.pk}


def test_a_gauge_lost_in_a_running_study_is_refused_and_what_came_before_is_kept(
    people, by, client_of
):
    gauge = make_instrument(by)
    study = plan_study(people, [by, people["lead"]], instrument=gauge, repeats=2)
    before = clock(0.01)
    gauge = instruments.save_instrument(by=by, instrument=gauge, status="lost")
    instruments.save_instrument(by=by, instrument=gauge, status="damaged")
    study = type(study).objects.select_related("instrument").get(pk=study.pk)
    said = {"by": by, "study": study, "value": "2", "unit": "mm"}
    for made_at in ("", clock(0)):
        with pytest.raises(Refused, match="damaged"):
            gauge_studies.record_value(**said, turn=0, made_at=made_at)
    gauge_studies.record_value(**said, turn=0, made_at=before)
    words = "This instrument is damaged."
    came = f"{gauge.code} was marked lost on {day(0)}: what came in after that is in "
    came += "doubt. That holds for 1 of 1 values here."
    client = client_of("builder")
    page = client.get(f"/gauge-studies/{study.number}/").content.decode()
    assert words in page and came in page
    page = client.get(reverse("measure_study", args=[study.number, by.pk]))
    assert words in page.content.decode()
    (carried,) = studies_to_carry()
    assert carried["what"].endswith("(This instrument is damaged)")
    gauges.set_gauge_rules(by=by, unfit="warn")
    gauge_studies.record_value(**said, turn=1)
    instruments.save_instrument(by=by, instrument=gauge, status="in_use")
    page = client.get(f"/gauge-studies/{study.number}/").content.decode()
    assert "That holds for 2 of 2 values here" in page and words not in page
    gauge_studies.record_value(**said, turn=2)
    page = client.get(f"/gauge-studies/{study.number}/").content.decode()
    assert "That holds for 2 of 3 values here" in page


def test_a_good_calibration_in_between_clears_what_came_before_it(by):
    gauge = make_instrument(by)
    check = received(by, gauge, 800, 20)
    found(by, gauge, "good", 10)
    found(by, gauge, "off", 3)
    assert gauge_doubts.doubt_of(check) is None
    assert not measured_while_off(gauge)


def test_only_a_good_calibration_takes_away_that_it_was_overdue(by):
    gauge = make_instrument(by, due=day(1))
    check = make_check(by, instrument=gauge)

    def told():
        row = Check.objects.select_related("instrument", "entry").get(pk=check.pk)
        return set(gauge_due.standing_overdue([row])) == {check.pk}

    assert told()
    instruments.save_instrument(by=by, instrument=gauge, due=day(-300))
    assert told()
    for result, ago, due in (("good", 1, 1), ("adjusted", 0, -300), ("off", 0, -300)):
        found(by, gauge, result, ago, due=day(due))
        assert told(), result
    found(by, gauge, "good", 0, due=day(-300))
    assert told()  # it was found off meanwhile
    row = Check.objects.select_related("instrument", "entry").get(pk=check.pk)
    words = gauge_due.overdue_words(gauge.code, gauge_due.overdue([row])[row.pk])
    assert words.endswith(
        f"; {gauge} was found off on {day(0)}, so no calibration clears this: measure "
        "it again"
    )
    gauge = make_instrument(by, due=day(1))
    check = make_check(by, instrument=gauge)
    assert told()
    found(by, gauge, "good", 0, due=day(-300))
    assert not told()
    innocent = make_check(by, instrument=make_instrument(by, due=day(0)))
    assert not gauge_due.standing_overdue([innocent])


def test_what_was_found_with_it_is_held_to_its_range_and_told_while_it_was_off(
    people, by, client_of
):
    gauge = make_instrument(by, range_high_nm=mm(5))
    row = planned(people, "dimension", low="3", unit="mm")
    airframe = make_airframe(by, type=row.bay.type)
    said = {"unit": "mm", "instrument": gauge}
    proven(people, row, airframe, "4", **said)
    holes = measured_holes(by, a_pattern(by), ("0", "0"), instrument=gauge)
    gauges.set_gauge_rules(by=by, outside="refuse")
    with pytest.raises(Refused, match="take another") as no:
        proven(people, row, airframe, "5.000001", **said)
    assert no.value.field == "value"
    found(by, gauge, "off", 0)
    page = client_of("visitor").get(f"/instruments/{gauge.pk}/").content.decode()
    assert holes.label in page and row.number in page


def test_adjusted_is_off_before_and_good_after(by):
    gauge = make_instrument(by)
    check = received(by, gauge, 800, 20)
    found(by, gauge, "adjusted", 5, due=day(-365))
    assert gauge_doubts.doubt_of(check) is not None
    gauge.refresh_from_db()
    assert gauge.due == day(-365)
    spans = gauge_doubts.spans_off(list(gauge.calibrations.all()))
    assert len(spans) == 1
    found(by, gauge, "off", 0)
    assert gauge_doubts.spans_off(list(gauge.calibrations.all()))[1][0] == day(5)


def test_an_older_certificate_entered_late_does_not_move_the_due_date(by):
    gauge = make_instrument(by)
    found(by, gauge, "good", 10, due=day(-300))
    found(by, gauge, "good", 400, due=day(30))
    gauge.refresh_from_db()
    assert gauge.due == day(-300)


def test_pages_keep_what_was_typed_and_say_what_is_wrong(by, client_of):
    gauge = make_instrument(by)
    client = client_of("lead")
    base = f"/instruments/{gauge.pk}"
    said = {
        "done_on": "2026-03-01",
        "laboratory": "room",
        "result": "good",
        "unit": "mm",
    }
    answer = client.post(f"{base}/calibrated/", {**said, "due": "2026-02-01"})
    assert "before it was done" in answer.content.decode()
    assert "room" in answer.content.decode()
    answer = client.post(f"{base}/calibrated/", {**said, "due": "2027-03-01"})
    assert answer.status_code == 302
    assert gauge.calibrations.get().certificate == ""
    line = {"unit": "mm", "resolution_nm": "0.01", "repeats_nm": "x"}
    answer = client.post(f"{base}/budget/", line)
    assert answer.context["form"].errors["repeats_nm"]
    line |= {"repeats_nm": "0.03", "repeats_df": "9"}
    assert client.post(f"{base}/budget/", line).status_code == 302
    (budget,) = gauge.budgets.all()
    assert budget.u_nm == mm(math.hypot(0.03, 0.01 / math.sqrt(12)))
    assert Instrument.objects.get(pk=gauge.pk).u_nm == budget.judged_nm
    assert (
        client.post(
            "/instruments/rules/",
            {"overdue": "warn", "unfit": "warn", "outside": "refuse"},
        ).status_code
        == 302
    )


def sent_by(answer) -> dict:
    """What a browser sends of the page of an instrument that nobody changed."""
    forms = document_fromstring(answer.content).forms
    (fields,) = [form.fields for form in forms if "code" in form.fields]
    return {name: fields[name] or "" for name in fields}


def test_a_page_opened_before_a_calibration_sets_nothing_back_that_it_left(
    by, client_of
):
    gauge = make_instrument(by, due=day(1), range_low_nm=mm(0), range_high_nm=mm(5))
    client, page = client_of("engineer"), f"/instruments/{gauge.pk}/change/"
    said = sent_by(client.get(page)) | {"name": "Step gauge, blue"}
    found(by, gauge, "good", 0, due=day(-300))
    gauges.save_budget(by=by, instrument=gauge, rows=LINES)
    u_nm, kept = Instrument.objects.get(pk=gauge.pk).u_nm, gauge.standings.count()
    # What is wrong is said, and the page still knows what it began with.
    said = sent_by(client.post(page, said | {"range_high_nm": "x"}))
    assert client.post(page, said | {"range_high_nm": "6"}).status_code == 302
    row = Instrument.objects.get(pk=gauge.pk)
    assert (row.name, row.due, row.u_nm) == ("Step gauge, blue", day(-300), u_nm)
    assert (row.range_low_nm, row.range_high_nm) == (mm(0), mm(6))
    assert gauge.standings.count() == kept
    # What makes sense together only is said together: 4 to 3 is no range.
    first = second = sent_by(client.get(page))
    assert client.post(page, first | {"range_low_nm": "4"}).status_code == 302
    assert client.post(page, second | {"range_high_nm": "3"}).status_code == 302
    row = Instrument.objects.get(pk=gauge.pk)
    assert (row.range_low_nm, row.range_high_nm) == (mm(0), mm(3))
    second = sent_by(client.get(page)) | {"range_high_nm": "6"}
    assert client.post(page, second).status_code == 302
    # Another unit means other lengths, as they stand; a day and a loss are said.
    said = sent_by(client.get(page)) | {"due": str(day(-9)), "status": "lost"}
    assert client.post(page, said | {"unit": "in", "u_nm": "0.001"}).status_code == 302
    row = Instrument.objects.get(pk=gauge.pk)
    assert (row.due, row.status, row.range_high_nm) == (day(-9), "lost", mm(6 * 25.4))
    assert gauge.standings.count() == kept + 1


def test_the_choice_of_a_new_check_says_what_is_in_doubt(by, client_of):
    gauge = make_instrument(by, due=day(3))
    fit_up = make_fit_up(by)
    url = f"/fit-checks/new/?joint={fit_up.joint_id}&airframe={fit_up.airframe_id}"
    words = client_of("builder").get(url).content.decode()
    assert f"{gauge.code} (The calibration of this instrument was due" in words
