"""The chain with checks and items: on the page, on paper, as a file."""

import csv
import io

import pypdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from qa.actions import checks, raising
from qa.queries.chain import chain
from shop.actions import suspects
from shop.identifiers import KINDS
from shop.models import Person
from tests.shop.making_floor import make_demolded, make_mold, make_pulled_part

from .making import make_check, make_fit_up, make_joint, read_all


@pytest.fixture
def lead(people):
    return people["lead"]


def failing_check(part):
    by = Person.objects.get(role="engineer")
    check = make_check(by, make_fit_up(by, make_joint(by, 4), part=part))
    read_all(check, gap_at={"2": "0.4"})
    checks.finish_check(by=by, check=check)
    check.state.refresh_from_db()
    raising.raise_findings(by=by, check=check)
    return check


def row(kind, key):
    return KINDS[kind].rows().get(pk=key)


def of(groups, kind):
    return next((one for one in groups if one.kind == kind), None)


def test_a_mold_reaches_the_checks_and_items_of_its_parts(lead):
    mold = make_mold(lead)
    part = make_pulled_part(lead, pull=make_demolded(lead, tool=mold))
    check = failing_check(part)
    page = chain("tool", mold)
    assert [one.label for one in of(page.down, "check").rows] == [check.label]
    assert of(page.down, "check").rows[0].word == "1 not conforming"
    assert of(page.down, "nonconformance").count == 1
    assert [one.label for one in of(page.down, "part").rows] == [part.serial]


def test_an_item_leads_back_to_mold_and_lots(lead):
    mold = make_mold(lead)
    part = make_pulled_part(lead, pull=make_demolded(lead, tool=mold))
    check = failing_check(part)
    item = check.nonconformances.get()
    for kind, start in (("nonconformance", item), ("check", check)):
        page = chain(kind, row(kind, start.pk))
        assert [one.label for one in of(page.up, "tool").rows] == [mold.code]
        assert of(page.up, "part").rows[0].label == part.serial
        assert of(page.up, "lot").count == 3


def test_an_instrument_reaches_every_check_taken_with_it(lead):
    check = failing_check(make_pulled_part(lead))
    page = chain("instrument", check.instrument)
    assert of(page.down, "check").count == 1
    assert of(page.down, "nonconformance").count == 1


def test_a_hold_anywhere_above_is_said_on_the_page_of_the_part(lead, client_of):
    part = make_pulled_part(lead)
    pull = part.lineage.get().pull
    lot = pull.plies_laid.first().lot
    suspects.put_on_hold(by=lead, kind="lot", key=lot.pk, reason="wrong roll")
    page = chain("part", row("part", part.pk))
    assert [hold.reason for hold in page.holds] == ["wrong roll"]
    held = [one for one in of(page.up, "lot").rows if one.state == "held"]
    assert [one.id for one in held] == [lot.pk]
    below = chain("lot", row("lot", lot.pk))
    assert of(below.down, "part").rows[0].state == "suspect"
    shown = client_of("visitor").get(reverse("chain", args=["part", part.pk]))
    assert "wrong roll" in shown.content.decode()


@pytest.mark.either_database
def test_the_chain_takes_a_constant_number_of_statements(lead, client_of):
    mold = make_mold(lead)
    client = client_of("visitor")

    def statements():
        with CaptureQueriesContext(
            connection,
        ) as seen:
            answer = client.get(reverse("chain", args=["tool", mold.pk]))
        assert answer.status_code == 200
        return len(seen)

    def one_more():
        mold.refresh_from_db()
        pull = make_demolded(lead, tool=mold, reason="one of many")
        return make_pulled_part(lead, pull=pull)

    failing_check(one_more())
    first = statements()
    for _ in range(39):
        part = one_more()
    failing_check(part)
    assert statements() == first


def test_the_chain_as_csv_and_on_paper(lead, client_of):
    part = make_pulled_part(lead)
    client = client_of("builder")
    answer = client.get(reverse("chain_csv", args=["part", part.pk]))
    rows = list(csv.reader(io.StringIO(answer.content.decode())))
    assert rows[0] == ["direction", "kind", "name", "what is known", "state"]
    mold = part.lineage.get().pull.tool.code
    assert ["came from", "tool", mold] in [line[:3] for line in rows]
    answer = client.get(reverse("chain_pdf", args=["part", part.pk]))
    reader = pypdf.PdfReader(io.BytesIO(answer.content))
    words = " ".join(page.extract_text() for page in reader.pages)
    assert mold in words
    assert part.serial in words
    assert "Came from" in words


def test_a_name_that_looks_like_a_formula_is_text_in_the_csv(lead, client_of):
    mold = make_mold(lead, code="=1+1")
    part = make_pulled_part(lead, pull=make_demolded(lead, tool=mold))
    answer = client_of("builder").get(reverse("chain_csv", args=["part", part.pk]))
    assert "'=1+1" in answer.content.decode()


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_kind_has_a_chain_or_says_that_it_has_none(client_of, kind):
    answer = client_of("visitor").get(reverse("chain", args=[kind, 999_999]))
    assert answer.status_code == 404
