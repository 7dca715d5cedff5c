"""Acts that no tablet of ours sends: each refused in words that park it, none kept."""

import json
import uuid

import pytest
from django.db import connection

from qa import sync
from qa.models import Check, FitUp, Reading
from shop.models import Entry
from tests.qa.making import make_check, read
from tests.qa.test_acts import put, said

pytestmark = pytest.mark.django_db
PARKING = {400, 403, 404, 409, 413, 422}


@pytest.fixture
def check(people):
    return make_check(people["engineer"])


@pytest.fixture
def builder(client_of):
    return client_of("builder")


def a_fit_up(check, **more):
    fit_up = check.fit_up
    plain = {
        "airframe": fit_up.airframe_id,
        "joint": fit_up.joint_id,
        "revision": str(fit_up.revision.uuid),
        "part": fit_up.part_id,
        "reason": "refit",
        "held": [],
    }
    return {**plain, **more}


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"held": ["x"]}, "held"),
        ({"held": "x"}, "held"),
        ({"held": {"kind": "cleco"}}, "held"),
        ({"held": [{"kind": ["cleco"]}]}, "held"),
        ({"held": [{"kind": "cleco", "count": True}]}, "held"),
        ({"held": [{"kind": "cleco", "where": 4}]}, "held"),
        ({"part": True}, "part"),
        ({"airframe": True}, "airframe"),
        ({"part": 1.0}, "part"),
        ({"part": 10**30}, "part"),
        ({"part": -1}, "part"),
        ({"part": "1"}, "part"),
        ({"revision": 5}, "revision"),
        ({"note": ["x"]}, "note"),
        ({"note": 0}, "note"),
        ({"reason": {}}, "reason"),
    ],
)
def test_a_fit_up_that_says_nonsense_opens_none(builder, check, more, field):
    answer = put(builder, a_fit_up(check, **more), form="fitup/1")
    assert answer.status_code == 422
    assert answer.json()["error"]["field"] == field
    assert FitUp.objects.count() == 1


@pytest.mark.parametrize(
    ("more", "field"),
    [
        *[({"temperature": text}, "temperature") for text in ("+-5", "--5", "1e1")],
        *[({"temperature": text}, "temperature") for text in ("5.1.2", "٢١", "5-")],
        ({"temperature": 21}, "temperature"),
        ({"in_acceptance_condition": "yes"}, "in_acceptance_condition"),
        ({"in_acceptance_condition": 1}, "in_acceptance_condition"),
        ({"instrument": True}, "instrument"),
        ({"finish": []}, "finish"),
    ],
)
def test_a_check_that_says_nonsense_is_not_started(builder, check, more, field):
    content = {"fitup": str(check.fit_up.entry_id), "finish": "bare", **more}
    answer = put(builder, content, form="check/1")
    assert answer.status_code == 422
    assert answer.json()["error"]["field"] == field
    assert Check.objects.count() == 1


def test_a_gap_supersedes_no_flushness(builder, check):
    gap = read(check, "1", "gap", "2.00")
    content = said(check, kind="flush", value="0.1", reason="slipped")
    answer = put(builder, {**content, "supersedes": str(gap.entry_id)})
    assert answer.status_code == 422
    assert answer.json()["error"]["field"] == "supersedes"
    assert Reading.objects.count() == 1


@pytest.mark.parametrize("findings", [[True], ["0"], [0.0], {"0": 0}, "0", [10**40]])
def test_findings_are_chosen_by_whole_numbers(builder, check, findings):
    content = {"check": str(check.entry_id), "findings": findings}
    answer = put(builder, content, form="raise/1")
    assert answer.status_code == 422
    assert answer.json()["error"]["field"] == "findings"


ODD = ['"\\ud800"', '"a\\u0000b"', "1e999", "-1e999", "Infinity", "NaN", '["\\udfff"]']


@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("where", ["value", "by", "new"])
def test_what_no_database_keeps_is_refused_when_the_envelope_is_read(
    builder, check, odd, where
):
    body = {"form": "reading/1", "by": "builder", "said": said(check)}
    (body if where == "by" else body["said"])[where] = "ODD"
    text = json.dumps(body).replace('"ODD"', odd)
    address, kind = f"/api/acts/{uuid.uuid4()}", "application/json"
    alone = builder.put(address, text, content_type=kind)
    assert (alone.status_code, alone.json()["error"]["code"]) == (400, "unreadable")
    good = json.dumps({"form": "reading/1", "by": "builder", "said": said(check)})
    both = [f'{{"id": "{uuid.uuid4()}", "body": {one}}}' for one in (text, good)]
    many = builder.post(
        "/api/acts", f'{{"acts": [{",".join(both)}]}}', content_type=kind
    )
    if odd in ("Infinity", "NaN"):
        # No JSON at all: the tablet then sends each by itself.
        assert many.status_code == 400
    else:
        statuses = [one["status"] for one in many.json()["answers"]]
        assert statuses == [400, 201]


def test_a_mistake_of_ours_is_told_in_json_logged_and_parks_that_act_alone(
    builder, check, monkeypatch, caplog
):
    def broken(by, said, envelope):
        raise ZeroDivisionError

    monkeypatch.setitem(sync.FORMS, "broken/1", broken)
    builder.raise_request_exception = False
    alone = put(builder, {}, form="broken/1")
    assert (alone.status_code, alone.json()["error"]["code"]) == (500, "fault")
    assert "ZeroDivisionError" in caplog.text
    bodies = [
        {"form": form, "by": "builder", "said": content}
        for form, content in (("reading/1", said(check)), ("broken/1", {}))
    ]
    acts = [{"id": str(uuid.uuid4()), "body": body} for body in bodies]
    many = builder.post("/api/acts", {"acts": acts}, content_type="application/json")
    # Nothing of the batch was kept; the tablet sends each by itself.
    assert (many.status_code, many.json()["error"]["code"]) == (500, "fault")
    assert not Reading.objects.exists()
    assert put(builder, bodies[0]["said"]).status_code == 201
    assert connection.is_usable()


def test_an_act_of_any_form_with_nothing_in_it_is_refused_in_words(builder, check):
    before = Entry.objects.count()
    for form in sync.FORMS:
        answer = put(builder, {}, form=form)
        assert answer.status_code in PARKING
        assert answer.json()["error"]["message"]
    assert Entry.objects.count() == before
