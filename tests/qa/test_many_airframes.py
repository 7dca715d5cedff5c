"""A shop that built many airframes: pages and tablets get those that are worked on."""

import pytest
from django.urls import reverse

from qa.actions.instruments import save_instrument
from qa.models import Instrument, InstrumentStatus
from qa.queries.joints.joint_pages import MOST_CHOICES
from qa.queries.tablet.offline_copy import MOST_AIRFRAMES, MOST_GAUGES, carry
from shop.models import Airframe
from tests.around import by_hand
from tests.qa.making import make_check, make_fit_up, make_instrument, make_joint
from tests.shop.making import make_airframe

MANY = 100


@pytest.fixture
def joint(people):
    return make_joint(people["engineer"], 4)


@pytest.fixture
def built(joint):
    with by_hand():
        return Airframe.objects.bulk_create(
            Airframe(type=joint.type, serial=f"A-{n:03}", line_number=n)
            for n in range(1, MANY + 1)
        )


def shown(client, **asked) -> str:
    return client.get(reverse("new_check"), asked).content.decode()


def test_a_check_begins_at_the_newest_airframes_or_at_one_that_is_typed(
    built, joint, client_of
):
    lead = client_of("lead")
    page = shown(lead)
    assert page.count('<li class="card">') == MOST_CHOICES
    assert "A-100" in page and "A-041" in page and "A-040" not in page
    assert 'name="airframe-typed"' in page
    # One joint on one airframe: there is nothing left to choose.
    page = shown(lead, **{"airframe-typed": "a-007"})
    assert 'name="instrument"' in page and "A-007" in page
    page = shown(lead, **{"airframe-typed": "A-0"})
    assert "Several are called that" in page and 'value="A-0"' in page


def test_with_two_joints_each_those_of_the_newest_airframes_are_shown(
    people, built, joint, client_of
):
    make_joint(people["engineer"], 4, position=joint.position, surround=joint.surround)
    page = shown(client_of("lead"))
    assert page.count('<li class="card">') == MOST_CHOICES
    assert "A-100" in page and "A-071" in page and "A-070" not in page
    assert page.index("A-071") < page.index("A-100")


def test_with_few_airframes_all_can_be_clicked(people, joint, client_of):
    frames = [make_airframe(people["engineer"], type=joint.type) for _ in range(2)]
    page = shown(client_of("lead"))
    assert all(frame.serial in page for frame in frames)
    assert "airframe-typed" not in page and 'class="filters"' not in page


def test_the_map_of_a_joint_is_found_by_its_number(people, joint, built, client_of):
    lead = client_of("lead")
    found = lead.get(reverse("raise_by_hand"), {"joint-typed": joint.number})
    assert f"{joint.number} {joint.name}" in found.content.decode()
    assert 'name="first"' in found.content.decode()


def test_a_tablet_carries_the_newest_airframes_and_those_worked_on(
    people, joint, built
):
    make_fit_up(people["engineer"], joint, airframe=built[2])
    told = carry()
    keys = {one["id"] for one in told["airframes"]}
    assert len(told["airframes"]) == MOST_AIRFRAMES
    assert {built[2].pk, built[-1].pk} <= keys and built[3].pk not in keys
    (carried,) = told["joints"]
    assert set(carried["airframes"]) == keys


def test_a_tablet_carries_the_newest_gauges_in_use_and_says_that_others_are_left_out(
    people, joint
):
    by = people["engineer"]
    used, other, gone = (make_instrument(by) for _ in range(3))
    for instrument in (used, gone):
        make_check(by, make_fit_up(by, joint), instrument=instrument)
    save_instrument(by=by, instrument=gone, status=InstrumentStatus.OUT)
    with by_hand():
        many = Instrument.objects.bulk_create(
            Instrument(code=f"G-{n:03}", name="Gauge") for n in range(MOST_GAUGES)
        )
    *carried, last = carry()["instruments"]
    told = {one["id"] for one in carried}
    assert len(carried) == MOST_GAUGES
    assert {used.pk, many[-1].pk} <= told and not told & {other.pk, gone.pk}
    # No check begins with what stands for the others.
    assert last["id"] not in {*told, other.pk} and "page" in last["refused"]
    for instrument in (*many[:2], other):
        save_instrument(by=by, instrument=instrument, status=InstrumentStatus.OUT)
    told = [one["id"] for one in carry()["instruments"]]
    assert sorted(told) == sorted([used.pk, *(one.pk for one in many[2:])])
