"""Pages of sampling and of the risk of a whole check."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qa.actions.checks import finish_check
from qa.numeric.measuring.check_risk import Characteristic, whole_risks
from qa.numeric.measuring.risk import NormalProcess, guarded
from tests.qa.making import make_check, make_fit_up, make_instrument, mm, read_all

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
    assert "As of a process: 1 % nonconforming is accepted 95 % of the time" in words
    assert "6.5 % still 10 %" in words  # ISO 2859-1 table X-J: 1.03 and 6.52 %
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
    assert "how it scatters: flushness. So these are not the risks" in page.lacking
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
