"""Left and right: what is mirrored, side by side, station by station."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from qa.queries.joints import mirrored_joints as pairs
from shop.actions import weights
from tests.around import by_hand
from tests.shop.making_floor import grams, make_tool

from .making import (
    make_airframe,
    make_check,
    make_design,
    make_fit_up,
    make_joint,
    make_part,
    read,
)


@pytest.fixture
def by(people):
    return people["engineer"]


@pytest.fixture
def hands(by):
    left = make_design(by, hand="left", name="Door left")
    right = make_design(by, hand="right", name="Door right", mirror=left)
    return left, right


def mirrored_joints(by, stations=4, mirror=True):
    left = make_joint(by, stations)
    right = make_joint(by, stations, type=left.type, mirror=mirror and left)
    left.refresh_from_db()
    return left, right


def fit(by, joint, airframe, design):
    part = make_part(by, design=design)
    return make_check(by, make_fit_up(by, joint, airframe=airframe, part=part))


@pytest.fixture
def measured(by, hands):
    """Both doors of one airframe: station 1 on both sides, station 2 on the left."""
    joints = mirrored_joints(by)
    airframe = make_airframe(by, type=joints[0].type)
    checks = [
        fit(by, joint, airframe, design)
        for joint, design in zip(joints, hands, strict=True)
    ]
    read(checks[0], 1, "gap", "2.40")
    read(checks[1], 1, "gap", "1.90")
    read(checks[0], 1, "flush", "-0.20")
    read(checks[1], 1, "flush", "0.10")
    read(checks[0], 2, "gap", "0.40")
    return joints, checks


def test_stations_pair_by_label_and_the_difference_is_left_minus_right(measured):
    (joint, _right), checks = measured
    (on,) = pairs.joint_pair(joint, "mm").airframes
    assert [on.left.pk, on.right.pk] == [check.pk for check in checks]
    first, second = on.lines[:2]
    assert (first.gap_left, first.gap_right, first.gap_apart) == (
        "2.40",
        "1.90",
        "+0.50",
    )
    assert first.flush_apart == "−0.30"
    assert (second.gap_left, second.gap_right, second.gap_apart) == ("0.40", "", "")
    assert second.gap_left_state == "below"
    assert on.worst == {"gap": "+0.50 mm at 1", "flush": "−0.30 mm at 1"}


def test_the_newest_check_of_each_hand_stands(by, hands, measured):
    (left, _right), checks = measured
    frame = checks[0].fit_up.airframe
    newer = make_check(by, checks[0].fit_up)
    read(newer, 1, "gap", "2.00")
    (on,) = pairs.joint_pair(left, "mm").airframes
    assert on.lines[0].gap_apart == "+0.10"
    assert on.airframe == frame


def test_a_design_shows_both_sides_parts_weights_and_joints(
    by, hands, measured, people
):
    left, right = hands
    for design, mass in ((left, "2400 g"), (right, "2300 g")):
        part = design.parts.get()
        weights.weigh_part(
            by=people["lead"],
            part=part,
            stage="trimmed",
            mass=grams(mass),
            scale="K1",
            weighed_on=part.fit_ups.get().entry.received_at.date(),
        )
    for design in hands:
        design.refresh_from_db()
        shown = pairs.design_pair(design, "mm")
        assert shown.sides.left.design == left
        assert shown.sides.right.design == right
        assert shown.sides.difference_g == pytest.approx(100)
        assert len(shown.joints) == 1
        assert shown.joints[0].airframes[0].lines[0].gap_apart == "+0.50"


def test_the_list_has_each_pair_once_the_left_hand_first(by, hands, people):
    lead = people["lead"]
    right = make_tool(lead, hand="right", code="B-R")
    left = make_tool(lead, hand="left", code="B-L", mirror=right)
    mirrored_joints(by)
    (row,) = pairs.designs().object_list
    assert (row.left, row.right) == hands
    (tool,) = pairs.tools()
    assert (tool.left, tool.right) == (left, right)
    assert len(pairs.joints()) == 1


def test_the_pages_in_inches_and_millimeters(hands, measured, client_of, people):
    (joint, _right), _checks = measured
    client = client_of("visitor")
    assert "Side by side" in client.get(reverse("pairs")).content.decode()
    page = client.get(reverse("joint_pair", args=[joint.pk])).content.decode()
    assert "+0.50" in page
    people["visitor"].units = "in"
    with by_hand():
        people["visitor"].save()
    page = client.get(reverse("sides", args=[hands[1].pk])).content.decode()
    assert "+0.020" in page  # 0.50 mm in inches, to a thousandth
    lonely = client.get(reverse("sides", args=[10**6]))
    assert lonely.status_code == 404


@pytest.mark.either_database
def test_a_pair_takes_a_constant_number_of_statements(by, hands, client_of):
    left, right = mirrored_joints(by, 3)
    client = client_of("visitor")

    def statements():
        with CaptureQueriesContext(connection) as seen:
            url = reverse("sides", args=[hands[0].pk])
            assert client.get(url).status_code == 200
        return len(seen)

    def one_more():
        airframe = make_airframe(by, type=left.type)
        for joint, design in zip((left, right), hands, strict=True):
            read(fit(by, joint, airframe, design), 1, "gap", "2.0")

    one_more()
    first = statements()
    for _ in range(9):
        one_more()
    assert statements() == first


def test_joints_without_a_mirror_on_record_pair_by_the_names_of_their_stations(
    by, hands
):
    joints = mirrored_joints(by, mirror=False)
    airframe = make_airframe(by, type=joints[0].type)
    for joint, design in zip(joints, hands, strict=True):
        read(fit(by, joint, airframe, design), 1, "gap", "2.0")
    hands[0].refresh_from_db()
    (pair,) = pairs.design_pair(hands[0], "mm").joints
    assert (pair.left, pair.right) == joints
