"""Pages of sampling and of the risk of a whole check."""

import math
import re
from datetime import timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from scipy.stats import multivariate_normal, norm

from qa.actions.checks import finish_check
from qa.actions.gauges import record_calibration
from qa.actions.instruments import save_instrument
from qa.numeric.measuring.check_risk import Characteristic, whole_risks
from qa.numeric.measuring.risk import NormalProcess, guarded
from qa.wording.probabilities import fine_percent
from tests.qa.making import (
    make_check,
    make_fit_up,
    make_instrument,
    make_joint,
    make_stations,
    mm,
    read,
    read_all,
)

pytestmark = pytest.mark.django_db


def words_of(client, url):
    answer = client.get(url)
    assert answer.status_code == 200
    plain = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return " ".join(plain.split())


def test_a_published_plan_is_told_with_what_it_protects_from(client_of):
    client = client_of("visitor")
    words = words_of(client, "/sampling/?way=table&lot=1000&level=II&limit=1.0")
    assert "Look at 80 of the 1000; accept with at most 2 that do not conform." in words
    assert "As of a process: 1.03 % nonconforming is accepted 95 % of the time" in words
    assert "6.52 % still 10 %" in words  # ISO 2859-1 table X-J: 1.03 and 6.52 %
    assert "of this lot alone, in whole pieces" in words
    assert "65 of 1000 (6.5 %)" in words
    words = words_of(client, "/sampling/?way=table&lot=20&level=II&limit=4.0")
    assert "Accepted 1 of 20 (5 %)" in words  # no row of 0 of 20
    words = words_of(client, "/sampling/?way=table&lot=8&level=II&limit=0.65")
    assert "Look at all 8: every one that does not conform is found." in words
    words = words_of(client, "/sampling/?way=table&lot=8&level=II&limit=10")
    assert "Look at 5 of the 8; accept with at most 1 that" in words  # by letter C


def test_a_plan_of_two_risks_is_told_and_nonsense_beside_its_field(client_of):
    client = client_of("builder")
    asked = "/sampling/?way=risks&good=1&shop_risk=5&bad=6&customer_risk=10&pieces="
    assert "Look at 110; accept with at most 3 that do not conform." in words_of(
        client, asked
    )
    answer = client.get(asked.replace("good=1", "good=x"))
    assert answer.context["forms"]["risks"].errors["good"]
    answer = client.get(asked.replace("good=1", "good=7"))
    assert "must be less than bad" in str(answer.context["forms"]["risks"].errors)


@pytest.fixture
def three(people):
    """Three parts at one joint, each checked with the same gauge."""
    by = people["engineer"]
    gauge = make_instrument(by, u_nm=mm(0.06))
    first = make_fit_up(by)
    found = []
    for gap in ("2.00", "2.30", "2.60"):
        fit_up = first if not found else make_fit_up(by, first.joint)
        check = make_check(by, fit_up=fit_up, instrument=gauge)
        read_all(check, gap=gap, flush="0.10")
        finish_check(by=by, check=check)
        found.append(check)
    return found


def test_the_rule_of_a_check_is_weighed_by_what_parts_on_record_show(three, client_of):
    """By hand: 8 gaps of 1.5 to 3.0, three parts 0.3 apart: the numbers are those of
    JCGM 106 9.5 for one gap, to the power of 8."""
    client = client_of("inspector")
    url = f"/fit-checks/{three[-1].entry_id}/risk/"
    answer = client.get(url)
    page, form = answer.context["page"], answer.context["form"]
    assert page.parts == 3
    assert form.data["gap_off"] == "0.050"
    flush = form.data.get("flush_sd")
    assert flush is None  # it scatters less than the gauge: to be stated
    assert page.count == 8
    assert "it scatters: flushness with two limits. So these are not" in page.lacking
    assert page.lacking in words_of(client, url)
    asked = f"{url}?unit=mm&gap_off=0.05&gap_sd=0.3&flush_off=&flush_sd=&wish=1"
    page = client.get(asked).context["page"]
    one = Characteristic(NormalProcess(2.3, 0.3), 0.06, (1.5, 3.0))
    plain = whole_risks([one] * 8, [one.tolerance] * 8)
    both = client.get(asked.replace("flush_sd=", "flush_sd=0.2")).context["page"]
    assert (both.count, both.lacking) == (16, "")
    told = page.rows[0]
    assert float(told.customer.split()[0]) == pytest.approx(
        100 * plain.customer, rel=0.01
    )
    assert float(told.accepted.split()[0]) == pytest.approx(
        100 * plain.accepted, rel=0.01
    )
    wished = page.rows[-1]
    guard = float(re.search(r"drawn in by ([\d.]+) mm", wished.name)[1])
    ends = guarded(one.tolerance, 0.06, guard / 0.12)
    assert whole_risks([one] * 8, [ends] * 8).customer == pytest.approx(0.01, abs=3e-4)
    # Nonsense stands beside its field, and what was typed stays.
    answer = client.get(asked.replace("gap_sd=0.3", "gap_sd=abc"))
    assert answer.context["form"].errors["gap_sd"]
    assert "abc" in answer.content.decode()


def bivariate(mean, sd, u, low, high):
    """P(low < made <= high, and read within the same): by the normal distribution of
    two, written apart from the product's quadrature."""
    law = multivariate_normal(
        (mean, mean), [[sd**2, sd**2], [sd**2, sd**2 + u**2]], abseps=1e-10
    )
    low, high = (-50 if low is None else low), (50 if high is None else high)
    return law.cdf((high, high), lower_limit=(low, low))


def test_what_has_one_limit_is_weighed_inside_of_it_and_by_its_own_scatter(
    people, client_of
):
    """Flushness of 1 to 5 within 0.5 and read about 0.2; 6 to 8 must not stand proud by
    more than 0.3 and lie 0.5 below that, gaps of 1 to 4 be 2.0 or more. Nothing of that
    is made about a limit, where half of it would fail."""
    by = people["engineer"]
    gauge = make_instrument(by, u_nm=mm(0.06))
    two = make_stations(8, gap=(2.0, None))[:4] + make_stations(8)[4:5]
    joint = make_joint(by, two + make_stations(8, flush=(None, 0.3))[5:])
    for off in (-0.1, 0.0, 0.1):
        check = make_check(by, make_fit_up(by, joint), instrument=gauge)
        for label in map(str, range(1, 9)):
            middle = -0.2 if label > "5" else 0.2
            read(check, label, "flush", f"{middle + 2 * off:.2f}")
            read(check, label, "gap", f"{(2.3 if label > '4' else 2.5) + off:.2f}")
        finish_check(by=by, check=check)
    url = f"/fit-checks/{check.entry_id}/risk/"
    answer = client_of("visitor").get(url)
    data, page = answer.context["form"].data, answer.context["page"]
    assert (data["flush_one_off"], data["gap_one_off"]) == ("0.500", "0.500")
    assert (data["flush_off"], data["gap_off"]) == ("0.200", "0.050")

    def made(step, count):
        return math.sqrt(step**2 * 2 * count / (3 * count - 1) - 0.06**2)

    kinds = [
        (4, 2.5, made(0.1, 4), 2.0, None),
        (4, 2.3, made(0.1, 4), 1.5, 3.0),
        (5, 0.2, made(0.2, 5), -0.5, 0.5),
        (3, -0.2, made(0.2, 3), None, 0.3),
    ]
    conforming, accepted, both = 1.0, 1.0, 1.0
    for count, mean, sd, low, high in kinds:
        ends = [-math.inf if low is None else low, math.inf if high is None else high]
        right = np.diff(norm(mean, sd).cdf(ends))[0]
        read_in = np.diff(norm(mean, math.hypot(sd, 0.06)).cdf(ends))[0]
        conforming, accepted = conforming * right**count, accepted * read_in**count
        both *= bivariate(mean, sd, 0.06, low, high) ** count
    told = [float(w.split()[0]) for w in (page.conforming, *vars(page.rows[0]).values())
            if w[0].isdigit()]  # fmt: skip
    expected = [conforming, accepted, accepted - both, conforming - both]
    assert told == pytest.approx([100 * share for share in expected], rel=0.01)
    assert page.assumed.startswith("7 of these have one limit")
    # What is not known of them is left out by itself, and said beside its field.
    asked = f"{url}?unit=mm&gap_sd=0.1&flush_sd=0.1&gap_one_off=&gap_one_sd=0.1&wish=1"
    answer = client_of("visitor").get(asked)
    assert answer.context["form"].errors["gap_one_off"]
    page = client_of("visitor").get(asked.replace("gap_one_sd=0.1", "")).context["page"]
    assert "scatters: gaps with one limit, flushness with one limit." in page.lacking
    assert (page.count, page.assumed) == (9, "")


def test_what_a_gauge_read_that_is_off_or_overdue_is_said_beside_its_risks(
    people, three, client_of
):
    by, (*_others, check) = people["engineer"], three
    gauge, url = check.instrument, f"/fit-checks/{check.entry_id}/risk/"
    parts = [one.fit_up.part.serial for one in three]
    today = timezone.localdate()
    save_instrument(by=by, instrument=gauge, due=today - timedelta(days=2))
    late = f"was due {today - timedelta(days=2)}, before this was read. It read"
    off = f"found off on {today}: what it read is in doubt. It read"
    said = words_of(client_of("visitor"), url)
    assert said.count(f"{late} {parts[-1]}:") == 1 and off not in said
    assert said.count(f"{late} {', '.join(parts)}:") == 1
    record_calibration(
        by=by, instrument=gauge, done_on=today, laboratory="blocks", result="off"
    )
    said = words_of(client_of("visitor"), url)
    for read_by_it in (parts[-1], ", ".join(parts)):
        assert said.count(f"{off} {read_by_it}:") == 1


@pytest.mark.either_database
def test_the_page_takes_as_many_statements_for_three_parts_as_for_one(
    people, three, client_of
):
    client = client_of("visitor")

    def statements(check):
        with CaptureQueriesContext(connection) as said:
            client.get(f"/fit-checks/{check.entry_id}/risk/")
        return len(said)

    alone = make_check(people["engineer"], instrument=three[0].instrument)
    read_all(alone)
    statements(alone)
    assert statements(three[0]) <= statements(alone) + 1


def test_what_floats_make_certain_is_not_told_as_certain():
    assert fine_percent(1.0) == fine_percent(1 + 1e-15)
    assert fine_percent(1.0) == "above 99.999 %"
    assert fine_percent(0.0) == fine_percent(-1e-12) == "below 0.001 %"
    assert fine_percent(0.00012) == "0.012 %"
