"""A gauge and a script: what they may, what they are told, what is kept of it once."""

import functools
import json
import os
import uuid
from copy import deepcopy

import pytest
from django.core.exceptions import PermissionDenied
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qa.actions.raising import raise_by_hand
from qa.models import Calibration, Check, Joint, Nonconformance, Reading
from qa.views.about_api import description
from shop.actions import devices
from shop.actions.people import set_active
from shop.ledger import Refused
from shop.ledger.verify import verify
from shop.models import Device, Entry, Opens, SignInTry
from tests.around import by_hand
from tests.conftest import PASSWORD
from tests.qa.making import (
    fresh,
    make_airframe,
    make_check,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
)
from tests.shop.making_floor import make_tool

ROOT = "/api/1"
LISTS = [
    "airframes",
    "parts",
    "tools",
    "pulls",
    "joints",
    "fit-ups",
    "checks",
    "instruments",
    "nonconformances",
]
EXAMPLES = int(os.environ.get("FAYLINE_API_CASES", "8"))


def with_password(person):
    """As the tests hash it."""
    with by_hand():
        person.set_password(PASSWORD)
        person.save(update_fields=["password"])
    return person


class Gauge:
    """A device with its token, which speaks as a script does."""

    def __init__(self, by, person, opens=Opens.WRITES):
        self.device, self.token = devices.make_device(
            by=by,
            name="Gauge",
            person=with_password(person),
            opens=opens,
            password=PASSWORD,
        )
        self.client = Client(headers={"Authorization": f"Bearer {self.token}"})

    def get(self, path, **asked):
        return self.client.get(f"{ROOT}{path}", asked)

    def put(self, path, **said):
        return self.client.put(f"{ROOT}{path}", said, content_type="application/json")


@pytest.fixture
def gauge(people):
    return Gauge(people["lead"], people["builder"])


def field_of(answer) -> tuple[int, str]:
    return answer.status_code, answer.json()["error"]["field"]


def test_a_gauge_starts_a_check_sends_readings_once_and_finishes_it(people, gauge):
    joint = make_joint(people["engineer"], 3)
    fit_up = make_fit_up(people["engineer"], joint)
    instrument = make_instrument(people["engineer"])
    told = gauge.get(f"/joints/{joint.uuid}").json()
    assert [one["station"] for one in told["stations"]] == ["1", "2", "3"]
    gap = {"min": "1.5", "max": "3", "unit": "mm"}
    assert told["stations"][0]["gap"] == gap
    [standing] = gauge.get(f"/joints/{joint.uuid}/standing").json()
    assert standing["fit_up"] == str(fit_up.entry_id) and standing["check"] is None

    check = uuid.uuid4()
    said = {"fit_up": standing["fit_up"], "finish": "finished"}
    said |= {"instrument": str(instrument.uuid), "temperature_c": "21,5"}
    answer = gauge.put(f"/checks/{check}", **said)
    assert answer.status_code == 201, answer.content
    assert answer["Cache-Control"].find("no-store") >= 0
    again = gauge.put(f"/checks/{check}", **said)
    assert again.status_code == 200 and again.json() == answer.json()
    other = gauge.put(f"/checks/{check}", **{**said, "finish": "bare"})
    assert other.status_code == 422 and other.json()["error"]["code"] == "reused"

    one = uuid.uuid4()
    value = {"station": "1", "kind": "gap", "value": "0.0805", "unit": "in"}
    first = gauge.put(f"/checks/{check}/readings/{one}", **value)
    assert first.status_code == 201
    assert first.json()["result"]["verdict"] == "conforms"
    assert gauge.put(f"/checks/{check}/readings/{one}", **value).status_code == 200
    outside = {"station": "2", "kind": "gap", "value": "3.01", "unit": "mm"}
    gauge.put(f"/checks/{check}/readings/{uuid.uuid4()}", **outside)
    page = gauge.get(f"/checks/{check}/readings").json()
    [near, far] = page["items"]
    assert (near["value"], near["unit"], near["judged"]) == ("0.0805", "in", "2.0447")
    assert near["stands"] and near["by"] == people["builder"].name
    assert far["verdict"] == "does_not_conform" and page["next"] is None
    assert Reading.objects.count() == 2
    [entry] = Entry.objects.filter(act=one)
    assert entry.device == str(gauge.device.pk) and not entry.claimed
    assert entry.by == people["builder"]

    ended = gauge.put(f"/checks/{check}/finish/{uuid.uuid4()}", note="from a script")
    assert ended.status_code == 201, ended.content
    row = gauge.get(f"/checks/{check}").json()
    assert (row["state"], row["conforms"], row["does_not_conform"]) == (
        "finished",
        1,
        1,
    )
    [standing] = gauge.get(f"/joints/{joint.uuid}/standing").json()
    assert standing["check"]["check"] == str(check)
    assert standing["changed_since"] == []
    assert verify().faults == ()


def test_items_and_calibrations_by_script_once_with_its_persons_rights(people, gauge):
    airframe = make_airframe(people["engineer"])
    act = uuid.uuid4()
    said = {"airframe": str(airframe.uuid), "title": "Scratch at the hinge"}
    raised = gauge.put(f"/nonconformances/new/{act}", **said)
    assert raised.status_code == 201, raised.content
    assert gauge.put(f"/nonconformances/new/{act}", **said).status_code == 200
    item = Nonconformance.objects.get()
    remark = f"/nonconformances/{item.pk}/remarks/{uuid.uuid4()}"
    assert gauge.put(remark, note="seen on the screen too").status_code == 201
    assert gauge.put(remark, note="seen on the screen too").status_code == 200
    told = gauge.get(f"/nonconformances/{item.pk}").json()
    assert [step["note"] for step in told["steps"]] == ["seen on the screen too"]

    instrument = make_instrument(people["engineer"])
    address = f"/instruments/{instrument.uuid}/calibrations/{uuid.uuid4()}"
    found = {"done_on": "2026-11-20", "laboratory": "Here", "result": "good"}
    found |= {"due": "2027-11-20", "error": "0.0005", "unit": "in"}
    assert gauge.put(address, **found).status_code == 403
    engineer = Gauge(people["lead"], people["engineer"])
    assert field_of(engineer.put(address, **{**found, "due": "2020-01-01"})) == (
        422,
        "due",
    )
    ahead = {**found, "done_on": "2099-01-01", "due": "2099-01-02"}
    assert field_of(engineer.put(address, **ahead)) == (422, "done_on")
    assert engineer.put(address, **found).status_code == 201
    assert engineer.put(address, **found).status_code == 200
    calibration = Calibration.objects.get()
    assert calibration.error_nm == 12_700
    told = engineer.get(f"/instruments/{instrument.uuid}").json()
    assert told["due"] == "2027-11-20"
    assert told["calibrations"][0]["error"] == "0.0127"
    assert verify().faults == ()


def test_what_is_wrong_is_said_beside_its_field(people, gauge):
    check = make_check(people["engineer"])
    address = f"/checks/{check.entry_id}/readings/{uuid.uuid4()}"
    good = {"station": "1", "kind": "gap", "value": "2.00", "unit": "mm"}
    for change, field in (
        ({"value": 2.0}, "value"),
        ({"value": "2.00 mm"}, "value"),
        ({"value": "1e3"}, "value"),
        ({"unit": "cm"}, "unit"),
        ({"unit": None}, "unit"),
        ({"kind": "hole"}, "kind"),
        ({"station": "99"}, "station"),
        ({"station": ""}, "station"),
        ({"outcome": "skipped", "value": None}, "reason"),
        ({"colour": "red"}, "colour"),
        ({"supersedes": "x"}, "supersedes"),
    ):
        answer = gauge.put(address, **{**good, **change})
        assert field_of(answer) == (422, field), (change, answer.content)
    for body in (b"{", b'"x"', b'{"station": "\\ud800"}', b"\xff"):
        answer = gauge.client.put(
            f"{ROOT}{address}", body, content_type="application/json"
        )
        assert answer.status_code in (400, 422), body
        assert answer.json()["error"]["message"]
    vast = gauge.put(address, **{**good, "reason": "x" * 3_000_000})
    assert (vast.status_code, vast.json()["error"]["code"]) == (413, "too_large")
    assert Reading.objects.count() == 0
    assert gauge.get("/parts", most=0).json()["error"]["field"] == "most"
    assert field_of(gauge.get("/checks", airfame=uuid.uuid4())) == (422, "airfame")
    assert field_of(gauge.get("/joints", state="open")) == (422, "state")
    assert gauge.get("/nowhere").status_code == 404
    assert gauge.client.delete(f"{ROOT}/parts").json()["error"]["code"] == "method"


def test_a_token_opens_what_its_person_may_and_nothing_once_withdrawn(people):
    lead, builder, visitor = (people[r] for r in ("lead", "builder", "visitor"))
    said = {"name": "X", "person": builder, "opens": Opens.WRITES}
    with pytest.raises(PermissionDenied):
        devices.make_device(by=builder, password=PASSWORD, **said)
    with pytest.raises(Refused) as no:
        devices.make_device(by=lead, password="Not-this-1", **said)
    assert no.value.field == "password"
    with pytest.raises(Refused) as no:
        Gauge(lead, visitor)
    assert no.value.field == "opens"
    screen = Gauge(lead, visitor, Opens.READS)
    gauge = Gauge(lead, builder)
    calendar = Gauge(lead, lead, Opens.CALENDAR)
    check = make_check(people["engineer"])
    address = f"/checks/{check.entry_id}/finish/{uuid.uuid4()}"
    assert screen.get("/parts").status_code == 200
    assert screen.put(address).status_code == 403
    assert calendar.get("/parts").status_code == 401
    assert gauge.token not in json.dumps(list(Entry.objects.values_list("body")))
    set_active(by=lead, person=builder, active=False)
    assert gauge.get("/parts").status_code == 401
    set_active(by=lead, person=builder, active=True)
    assert gauge.get("/parts").status_code == 200
    devices.withdraw_device(by=builder, device=gauge.device)
    answer = gauge.get("/parts")
    assert answer.status_code == 401 and answer["WWW-Authenticate"] == "Bearer"
    assert answer.json()["error"]["code"] == "token"
    with pytest.raises(PermissionDenied):
        devices.withdraw_device(by=builder, device=screen.device)
    told = Client(headers={"Authorization": f"bearer {screen.token}"})
    assert told.get(f"{ROOT}/openapi.json").json()["paths"]
    assert told.get(f"{ROOT}/").json()["error"]["code"] == "unknown"
    # A cookie counts for nothing here, so no other site can use it.
    client = Client()
    client.force_login(lead)
    assert client.get(f"{ROOT}/parts").status_code == 401
    assert client.get(f"{ROOT}/openapi.json").status_code == 200
    page = client.get("/devices/api/").content.decode()
    assert "/api/1/checks/{check}/readings/{act}" in page and "decimal number" in page


CREW = {"builder", "lead", "engineer", "inspector"}
DEFINES = {"lead", "engineer"}


def test_each_role_records_by_script_what_it_may_on_pages(people):
    check = make_check(people["engineer"])
    known = known_ids(people)
    reading = {"station": "1", "kind": "gap", "value": "2", "unit": "mm"}
    calibration = {"done_on": "2026-11-20", "laboratory": "Here", "result": "good"}
    acts = {
        "/checks/{act}": ({"fit_up": known["fit_up"], "finish": "bare"}, CREW),
        f"/checks/{check.entry_id}/readings/{{act}}": (reading, CREW),
        f"/checks/{check.entry_id}/finish/{{act}}": ({}, CREW),
        "/nonconformances/new/{act}": (
            {"airframe": known["airframe"], "title": "Scratch"},
            CREW,
        ),
        f"/nonconformances/{known['item']}/remarks/{{act}}": ({"note": "x"}, CREW),
        f"/instruments/{known['instrument']}/calibrations/{{act}}": (
            calibration,
            DEFINES,
        ),
    }
    wrong = []
    for role, person in people.items():
        gauge = Gauge(people["lead"], person, Opens.READS)
        # One that could record before its person became a visitor.
        with by_hand():
            Device.objects.filter(pk=gauge.device.pk).update(opens=Opens.WRITES)
        for address, (said, who) in acts.items():
            answer = gauge.put(address.format(act=uuid.uuid4()), **said)
            if (answer.status_code != 403) != (role in who):
                wrong.append((role, address, answer.status_code, answer.content))
        looks = {gauge.get(f"/{name}").status_code for name in LISTS}
        wrong += [] if looks == {200} else [(role, looks)]
    assert wrong == []


def test_wrong_tokens_are_slowed_and_lock_nobody_out(gauge):
    wrong = Client(headers={"Authorization": "Bearer nonsense"})
    codes = [wrong.get(f"{ROOT}/parts").status_code for _ in range(22)]
    assert codes == [401] * 20 + [429] * 2
    assert wrong.get("/calendar/nonsense.ics").status_code == 429
    assert SignInTry.objects.count() == 21  # one right password
    assert gauge.get("/parts").status_code == 200


def rows_of_everything(people, count: int) -> None:
    by = people["engineer"]
    for _ in range(count):
        check = make_check(by)
        make_tool(people["lead"], code=fresh("M"))
        airframe = check.fit_up.airframe
        raise_by_hand(by=by, airframe=airframe, title="Scratch", part=make_part(by))


@pytest.mark.either_database
def test_lists_take_as_many_statements_for_30_rows_as_for_1_and_go_on_by_a_cursor(
    people, gauge
):
    counts = {}
    gauge.get("/parts")  # notes that it was seen
    for size in (1, 11):
        rows_of_everything(people, size)
        for name in LISTS:
            with CaptureQueriesContext(connection) as ran:
                answer = gauge.get(f"/{name}")
            assert answer.status_code == 200, (name, answer.content)
            counts.setdefault(name, set()).add(len(ran))
        joint, check = Joint.objects.first(), Check.objects.first()
        for address in (
            f"/joints/{joint.uuid}",
            f"/joints/{joint.uuid}/standing",
            f"/checks/{check.entry_id}/readings",
        ):
            with CaptureQueriesContext(connection) as ran:
                assert gauge.get(address).status_code == 200
            counts.setdefault(address, set()).add(len(ran))
    assert all(len(some) == 1 for some in counts.values()), counts
    seen, after = [], None
    while True:
        page = gauge.get("/checks", most=5, **({"after": after} if after else {}))
        seen += [row["check"] for row in page.json()["items"]]
        after = page.json()["next"]
        if after is None:
            break
    assert seen == [
        str(one)
        for one in Check.objects.order_by("pk").values_list("entry_id", flat=True)
    ]


# ------------------------------------------------------------ held to its description


@functools.cache
def described():
    """The description, read by who tests by it, and what is looked at in an answer. Its
    import takes a second, of each worker that only looks which tests there are."""
    import schemathesis
    from schemathesis import checks
    from schemathesis.specs.openapi import checks as openapi

    # A copy of its own: it writes into what it is given.
    return schemathesis.openapi.from_dict(deepcopy(description())), [
        checks.not_a_server_error,
        openapi.status_code_conformance,
        openapi.content_type_conformance,
        openapi.response_headers_conformance,
        openapi.response_schema_conformance,
    ]


def known_ids(people) -> dict:
    check = make_check(people["engineer"])
    airframe = check.fit_up.airframe
    item = raise_by_hand(by=people["engineer"], airframe=airframe, title="Scratch")
    return {
        "check": str(check.entry_id),
        "fit_up": str(check.fit_up.entry_id),
        "station": "1",
        "joint": str(check.fit_up.joint.uuid),
        "airframe": str(airframe.uuid),
        "part": str(check.fit_up.part.uuid),
        "instrument": str(check.instrument.uuid),
        "item": item.pk,
    }


OPERATIONS = [
    (path, method)
    for path, methods in description()["paths"].items()
    for method in methods
]


@pytest.fixture
def one_connection():
    """The application would close the connection that the test rolls back."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.mark.either_database
@pytest.mark.usefixtures("one_connection")
@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_the_api_answers_as_it_is_described_whatever_is_asked(people, path, method):
    from schemathesis.generation import GenerationMode

    schema, looks = described()
    operation = schema[path][method]
    gauge, known = Gauge(people["lead"], people["engineer"]), known_ids(people)
    operation.app = operation.schema.app = get_wsgi_application()
    headers = {"Authorization": f"Bearer {gauge.token}"}
    turns = iter(range(10**6))

    def cases(mode):
        """As the description allows, and as it does not."""
        return operation.as_strategy(generation_mode=mode)

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        database=None,
    )
    @given(case=st.one_of(*map(cases, GenerationMode)))
    def ask(case):
        # Every second time of something that is there.
        if next(turns) % 2:
            for said in (case.path_parameters, case.body):
                if isinstance(said, dict):
                    said |= {name: known[name] for name in said.keys() & known.keys()}
        answer = case.call(headers=headers)
        case.validate_response(answer, checks=looks, headers=headers)

    ask()
    assert verify().faults == ()
