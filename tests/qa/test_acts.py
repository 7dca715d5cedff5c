"""Acts by JSON: one road, each act one fact, every answer one a tablet can act on."""

import json
import threading
import uuid

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from qa.models import CheckState, CurrentReading, Reading
from shop.models import Entry
from tests.conftest import make_people
from tests.qa.making import make_check, make_joint, read


def said(of, station="1", kind="gap", value="2.00", **more):
    plain = {
        "check": str(of.entry_id),
        "station": station,
        "kind": kind,
        "outcome": "value",
        "value": value,
        "unit": "mm",
        "supersedes": None,
        "reason": "",
    }
    return {**plain, **more}


def put(client, content, *, form="reading/1", by="builder", act=None, **headers):
    body = {"form": form, "by": by, "made_at": "2026-11-25T09:00:00Z", "said": content}
    return client.put(
        f"/api/acts/{act or uuid.uuid4()}",
        json.dumps(body),
        content_type="application/json",
        headers=headers,
    )


@pytest.fixture
def check(people):
    return make_check(people["engineer"])


@pytest.fixture
def builder(client_of):
    return client_of("builder")


def test_a_receipt_echoes_the_act_and_the_database(builder, check):
    act = uuid.uuid4()
    answer = put(builder, said(check), act=act)
    session = builder.get("/api/session").json()
    assert answer.status_code == 201
    assert answer.json()["act"] == str(act)
    assert answer.json()["database"] == session["database"]
    assert answer.json()["result"]["verdict"] == "conforms"


def test_the_same_act_again_is_the_same_answer_and_one_fact(builder, check):
    act = uuid.uuid4()
    first = put(builder, said(check), act=act)
    again = put(builder, said(check), act=act)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert Reading.objects.count() == 1


def test_many_acts_together_are_each_answered_as_if_alone(builder, check):
    def sent(station, value, act=None, by="builder"):
        body = {
            "form": "reading/1",
            "by": by,
            "said": said(check, station, value=value),
        }
        return {"id": str(act or uuid.uuid4()), "body": body}

    used = uuid.uuid4()
    put(builder, said(check, "1", value="2.00"), act=used)
    acts = [
        sent("1", "2.00", used),
        sent("1", "2.01", used),
        sent("2", "2.20"),
        sent("99", "2.00"),
        sent("3", "2.30", by="lead"),
        {"id": "no", "body": {}},
        sent("4", "2.40"),
    ]
    content = json.dumps({"acts": acts})
    answers = builder.post("/api/acts", content, content_type="application/json")
    told = [(one["status"], one["json"]) for one in answers.json()["answers"]]
    assert [status for status, _ in told] == [200, 422, 201, 422, 403, 400, 201]
    assert told[1][1]["error"]["code"] == "reused"
    assert told[3][1]["error"]["field"] == "station"
    assert told[6][1]["act"] == acts[6]["id"]
    assert Reading.objects.filter(fit_check=check).count() == 3
    again = builder.post("/api/acts", content, content_type="application/json")
    assert [one["status"] for one in again.json()["answers"]][2] == 200
    assert again.json()["answers"][6]["json"] == told[6][1]
    assert Reading.objects.filter(fit_check=check).count() == 3


def test_another_content_under_a_used_id_is_refused(builder, check):
    act = uuid.uuid4()
    put(builder, said(check), act=act)
    other = put(builder, said(check, value="2.01"), act=act)
    assert other.status_code == 422
    assert other.json()["error"]["code"] == "reused"
    assert Reading.objects.get().value == "2.00"


def test_nobody_is_given_another_persons_reading(builder, check):
    answer = put(builder, said(check), by="inspector")
    assert answer.status_code == 403
    assert answer.json()["error"]["code"] == "other_person"
    assert Reading.objects.count() == 0


def test_signed_out_is_401_in_json_and_never_a_redirect(check):
    answer = put(Client(), said(check))
    assert answer.status_code == 401
    assert answer.json()["error"]["code"] == "sign_in"


def test_a_visitor_may_not_measure(client_of, check):
    answer = put(client_of("visitor"), said(check), by="visitor")
    assert answer.status_code == 403
    assert "measure" in answer.json()["error"]["message"]


def test_a_server_with_another_database_swallows_nothing(builder, check):
    answer = put(builder, said(check), **{"X-Database": str(uuid.uuid4())})
    assert answer.status_code == 409
    assert answer.json()["error"]["code"] == "other_database"
    assert Reading.objects.count() == 0


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"value": "two"}, "value"),
        ({"value": "1e3"}, "value"),
        ({"value": "1.2345678"}, "value"),
        ({"station": "99"}, "station"),
        ({"kind": "width"}, "kind"),
        ({"outcome": "guess"}, "outcome"),
        ({"outcome": "skipped", "value": ""}, "reason"),
        ({"unit": "cm"}, "value"),
        ({"check": str(uuid.uuid4())}, "check"),
        ({"supersedes": str(uuid.uuid4())}, "supersedes"),
    ],
)
def test_a_wrong_reading_is_refused_beside_its_field(builder, check, more, field):
    answer = put(builder, said(check, **more))
    assert answer.status_code == 422
    assert answer.json()["error"]["field"] == field
    assert answer.json()["error"]["message"]
    assert Reading.objects.count() == 0


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"{",
        b'{"form": "reading/1"}',
        b'{"form": "reading/1", "said": {"value": NaN}, "by": "builder"}',
        b"[" * 5000,
        b'{"form": "reading/1", "said": {}, "by": "builder", "seq": -1}',
        b"\xff\xfe",
    ],
)
def test_what_is_no_act_is_400_and_never_500(builder, body):
    answer = builder.put(
        f"/api/acts/{uuid.uuid4()}", body, content_type="application/json"
    )
    assert answer.status_code == 400
    assert answer.json()["error"]["code"] == "unreadable"
    assert answer.json()["error"]["message"]


def test_an_inch_reading_is_kept_as_typed_and_exact(builder, check):
    put(builder, said(check, value="0.0787", unit="in"))
    reading = Reading.objects.get()
    assert (reading.value, reading.unit) == ("0.0787", "in")
    assert reading.value_nm == 1_998_980


def test_a_correction_supersedes_with_a_reason_and_leaves_the_old_value(builder, check):
    first = put(builder, said(check, value="0.20")).json()["act"]
    bare = put(builder, said(check, value="2.00", supersedes=first))
    assert bare.json()["error"]["field"] == "reason"
    put(builder, said(check, value="2.00", supersedes=first, reason="slipped"))
    state = CheckState.objects.get(fit_check=check)
    assert (state.conforms, state.does_not_conform) == (1, 0)
    assert [one.value for one in Reading.objects.order_by("pk")] == ["0.20", "2.00"]


def test_a_cleared_station_counts_as_not_measured_and_can_be_read_again(builder, check):
    first = put(builder, said(check)).json()["act"]
    cleared = put(
        builder,
        said(check, outcome="cleared", value="", supersedes=first, reason="undo"),
    ).json()["act"]
    assert CheckState.objects.get(fit_check=check).conforms == 0
    answer = put(builder, said(check, value="1.90", supersedes=cleared))
    assert answer.status_code == 201
    assert CheckState.objects.get(fit_check=check).conforms == 1


def test_a_feeler_pair_is_judged_by_its_middle_with_its_width(builder, check):
    answer = put(
        builder,
        said(check, outcome="feeler", value="", goes="1.90", does_not_go="2.00"),
    )
    assert answer.json()["result"]["value_nm"] == 1_950_000
    # u = sqrt(0.02^2 + 0.1^2/12) mm, JCGM 100:2008 4.3.7
    assert Reading.objects.get().u_nm == 35_119


def test_two_values_for_one_station_are_both_kept_until_a_person_chooses(
    builder, check
):
    put(builder, said(check, value="2.00"))
    other = put(builder, said(check, value="2.40")).json()
    assert other["result"]["clash"] is True
    assert CurrentReading.objects.get().clash is True
    stuck = put(builder, {"check": str(check.entry_id)}, form="finish/1")
    assert (stuck.status_code, stuck.json()["error"]["code"]) == (409, "clash")
    choice = {
        "check": str(check.entry_id),
        "station": "1",
        "kind": "gap",
        "reading": other["act"],
        "reason": "the second was with the gauge square",
    }
    assert put(builder, choice, form="choose/1").status_code == 201
    current = CurrentReading.objects.get()
    assert (current.clash, current.reading.value) == (False, "2.40")


def test_a_finished_check_takes_no_choice_and_no_second_finish(builder, check):
    put(builder, said(check))
    done = put(builder, {"check": str(check.entry_id)}, form="finish/1")
    assert done.json()["result"]["counts"]["not_measured"] == 15
    again = put(builder, {"check": str(check.entry_id)}, form="finish/1")
    assert (again.status_code, again.json()["error"]["code"]) == (409, "finished")


def test_a_check_can_be_started_and_chained_by_ids_made_on_the_tablet(builder, check):
    fit_up = check.fit_up
    fitup_id, check_id = uuid.uuid4(), uuid.uuid4()
    content = {
        "airframe": fit_up.airframe_id,
        "joint": fit_up.joint_id,
        "revision": str(fit_up.revision.uuid),
        "part": fit_up.part_id,
        "surround_part": None,
        "reason": "first",
        "held": [{"kind": "cleco", "where": "corners", "count": 4}],
        "note": "",
    }
    assert put(builder, content, form="fitup/1", act=fitup_id).status_code == 201
    start = {
        "fitup": str(fitup_id),
        "finish": "bare",
        "instrument": None,
        "temperature": "-3.5",
        "note": "",
    }
    answer = put(builder, start, form="check/1", act=check_id)
    assert answer.status_code == 201, answer.json()
    told = builder.get(f"/api/checks/{check_id}").json()
    assert told["temperature_c"] == "-3.5"
    # The second fit-up of this joint on this airframe cannot be the first.
    assert told["fitup"]["label"] == "fit-up 2"


def test_a_tablet_that_has_the_newest_check_is_not_told_it_again(builder, check):
    def ask(tag=""):
        headers = {"If-None-Match": tag}
        return builder.get(f"/api/checks/{check.entry_id}", headers=headers)

    whole = ask()
    with CaptureQueriesContext(connection) as captured:
        assert ask(whole["ETag"]).status_code == 304
    assert len(captured) <= 6
    # Something else happened: read again, and found to be the same.
    make_check(check.entry.by)
    same = ask(whole["ETag"])
    assert (same.status_code, same.content) == (304, b"")
    assert ask(same["ETag"])["ETag"] == same["ETag"] != whole["ETag"]
    put(builder, said(check))
    changed = ask(same["ETag"])
    assert changed.status_code == 200
    assert len(changed.json()["readings"]) == 1
    assert ask(changed["ETag"]).status_code == 304


def test_saving_a_reading_costs_the_same_however_many_are_there(builder, people):
    def cost(stations, already):
        joint = make_joint(people["engineer"], stations)
        check = make_check(people["engineer"], joint=joint)
        for n in range(already):
            read(check, str(n + 2), "gap", "2.00")
        with CaptureQueriesContext(connection) as captured:
            assert put(builder, said(check)).status_code == 201
        return len(captured)

    first, few, many = cost(8, 0), cost(8, 1), cost(60, 30)
    assert few == many
    # BEGIN, COMMIT (or SAVEPOINT and RELEASE in a test) aside: at most 16.
    assert few <= 18
    # Once a check: from its first value on the joint is measured, which is looked at.
    assert first <= few + 10


def test_one_act_sent_eight_times_at_once_is_one_fact(committed_db):
    people = make_people()
    check = make_check(people["engineer"])
    act, answers = uuid.uuid4(), []

    def send():
        client = Client()
        client.force_login(people["builder"])
        answers.append(put(client, said(check), act=act).status_code)
        connection.close()

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [200] * 7 + [201]
    assert Reading.objects.count() == 1
    assert Entry.objects.filter(act=act).count() == 1


def test_what_the_server_does_not_have_is_named(builder, check):
    act, lost = uuid.uuid4(), uuid.uuid4()
    put(builder, said(check), act=act)
    answer = builder.post(
        "/api/have",
        json.dumps({"ids": [str(act), str(lost)]}),
        content_type="application/json",
    )
    assert answer.json()["missing"] == [str(lost)]
