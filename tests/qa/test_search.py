"""The search: anything by its tag, serial, number, name or code."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from qa.actions import checks, raising
from qa.queries.search import MOST, look_for
from shop.identifiers import KINDS
from tests.shop.making_floor import make_laminate, make_lot, make_mold, make_pull

from .making import (
    make_airframe,
    make_check,
    make_design,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
    read_all,
)


@pytest.fixture
def by(people):
    return people["engineer"]


def found(words):
    groups = look_for(words).groups
    return {str(group.word): [row.label for row in group.rows] for group in groups}


def test_everything_is_found_by_its_number_or_name(by, people):
    lead = people["lead"]
    part, mold, lot = make_part(by), make_mold(lead), make_lot(lead)
    pull, laminate = make_pull(lead, tool=mold), make_laminate(lead)
    airframe, joint, gauge = make_airframe(by), make_joint(by, 4), make_instrument(by)
    assert found(part.serial)["Parts"] == [part.serial]
    assert found(mold.code.lower())["Tooling"] == [mold.code]
    assert found(str(pull))["Pulls"] == [str(pull)]
    assert found(lot.number)["Lots"] == [str(lot)]
    assert found(f"{lot.material.code} {lot.number}")["Lots"] == [str(lot)]
    assert found(laminate.code)["Laminates"] == [str(laminate)]
    assert found(airframe.serial)["Airframes"] == [airframe.serial]
    assert found(joint.number)["Joints"] == [joint.number]
    assert found(gauge.code)["Instruments"] == [gauge.code]
    assert found(part.design.number)["Part designs"] == [str(part.design)]
    assert found(lot.material.code)["Materials"] == [lot.material.code]
    assert found(lead.name)["People"] == [lead.name]


def test_checks_and_nonconformances_are_found_by_their_numbers(by):
    check = make_check(by, make_fit_up(by, make_joint(by, 4)))
    read_all(check, gap_at={"2": "0.4"})
    checks.finish_check(by=by, check=check)
    check.state.refresh_from_db()
    raising.raise_findings(by=by, check=check)
    item = check.nonconformances.get()
    assert found(check.label)["Fit checks"] == [check.label]
    assert found(check.label.lower())["Fit checks"] == [check.label]
    assert found(item.label)["Nonconformances"] == [item.label]
    assert found("gap tight")["Nonconformances"] == [item.label]


def test_a_code_from_a_label_leads_to_its_thing(by):
    part = make_part(by, serial="unlike-any-code")
    code = KINDS["part"].code(part.pk)
    assert look_for(code.lower()).code.label == part.serial
    assert look_for("PZZZZZ").code is None


def test_a_part_of_a_word_is_enough_and_every_word_must_be_there(by):
    part = make_part(by, serial="MG-1210-777", design=make_design(by, name="Door left"))
    assert found("1210 door")["Parts"] == [part.serial]
    assert "Parts" not in found("1210 hatch")


def test_many_are_cut_and_said_to_be_more(by):
    for _ in range(MOST + 2):
        make_part(by, design=make_design(by, name="Rib of many"))
    (group,) = [one for one in look_for("rib many").groups if one.word == "Parts"]
    assert len(group.rows) == MOST
    assert group.more


def test_the_search_page_says_what_it_found_and_what_not(by, client_of):
    part = make_part(by)
    client = client_of("visitor")
    page = client.get(reverse("search"), {"q": part.serial}).content.decode()
    assert reverse("part", args=[part.pk]) in page
    nothing = client.get(reverse("search"), {"q": "zzz%_'\"<b>"}).content.decode()
    assert "Nothing has these words" in nothing
    assert "<b>" not in nothing.split("<main")[1].split("</h1>")[0]
    assert "Type a tag" in client.get(reverse("search")).content.decode()


@pytest.mark.either_database
def test_the_search_takes_a_constant_number_of_statements(by, people, client_of):
    client = client_of("visitor")

    def statements():
        with CaptureQueriesContext(connection) as seen:
            answer = client.get(reverse("search"), {"q": "0"})
        assert answer.status_code == 200
        return len(seen)

    def fill():
        make_check(by, make_fit_up(by, make_joint(by, 4)))
        make_pull(people["lead"])

    fill()
    first = statements()
    for _ in range(29):
        fill()
    assert statements() == first
