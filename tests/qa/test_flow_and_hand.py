"""A flow that runs from tail to nose is questioned when a joint is drawn."""

import pytest
from django.urls import reverse

from qa.actions.joints import flow_doubt
from qa.models import Joint
from shop.ledger import Refused
from shop.models import Entry, Hand, Position
from tests.shop.making import make_design, make_part, make_placement, make_position

from .making import make_joint, revise

# Seen from outside the nose is left on the left side and right on the right side
# (geometry). Angles run counter-clockwise from +x, to the right.
DOUBTED = {
    ("left", 0): False,
    ("left", 180): True,
    ("left", -170): True,
    ("left", 30): False,
    ("left", 90): False,
    ("left", -90): False,
    ("right", 180): False,
    ("right", 0): True,
    ("right", 350): True,
    ("right", 270): False,
    ("none", 0): False,
    ("none", 180): False,
}


@pytest.mark.django_db
@pytest.mark.parametrize(("hand", "degrees"), DOUBTED)
def test_the_flow_runs_away_from_the_nose(hand, degrees):
    doubt = flow_doubt(Position(hand=hand), degrees * 1000)
    assert bool(doubt) is DOUBTED[hand, degrees]


HEAD = "station,x_mm,y_mm,normal_x,normal_y,gap_min_mm,gap_max_mm\n"
# Eight places round a circle, counter-clockwise: the surround lies on the right.
CIRCLE = [(50, 0), (35, 35), (0, 50), (-35, 35), (-50, 0), (-35, -35), (0, -50)]
CIRCLE += [(35, -35)]


@pytest.fixture
def door(people):
    """A place where a left-hand part sits; the place itself says nothing of a hand."""
    lead = people["lead"]
    part = make_part(lead, design=make_design(lead, hand=Hand.LEFT))
    return make_placement(lead, part=part).position


def test_a_joint_against_its_hand_is_drawn_with_a_reason_only(people, door):
    engineer = people["engineer"]
    with pytest.raises(Refused, match="nose of the left side") as no:
        make_joint(engineer, position=door, flow_mdeg=180_000)
    assert no.value.field == "reason"
    assert not Joint.objects.exists()
    joint = make_joint(
        engineer, position=door, flow_mdeg=180_000, reason="the cooling air turns"
    )
    assert "the cooling air turns" in Entry.objects.get(form="joint/1").body
    with pytest.raises(Refused, match="nose of the left side"):
        revise(engineer, joint, flow_mdeg=180_000)
    revise(engineer, joint, flow_mdeg=0)


def test_the_page_asks_for_the_reason_beside_the_flow(people, client_of):
    at = make_position(people["lead"], hand=Hand.RIGHT)
    around = make_position(people["lead"], type=at.type)
    said = {"position": at.pk, "surround": around.pk, "number": "J-1", "name": "door"}
    said |= {"first_line": 1, "closed": "closed", "part_inside": "inside"}
    said |= {"marks_on": "surround", "rule": "simple", "edition": "2017"}
    said |= {"units": "mm", "acceptance_finish": "any", "flow": "0", "do": "save"}
    said["stations"] = HEAD + "\n".join(
        f"{n},{x},{y},{x},{y},1,2" for n, (x, y) in enumerate(CIRCLE, 1)
    )
    client = client_of("engineer")
    page = client.post(reverse("new_joint"), said)
    assert list(page.context["form"].errors) == ["reason"]
    assert "nose of the right side" in page.content.decode()
    assert client.post(reverse("new_joint"), {**said, "reason": "ram air"})["Location"]
    assert Joint.objects.get().current.flow_mdeg == 0


def test_the_flow_of_the_demo_comes_from_the_nose(demo_db):
    joints = Joint.objects.select_related("position", "current").exclude(
        current__flow_mdeg=None
    )
    assert joints.count() >= 3
    for joint in joints:
        assert flow_doubt(joint.position, joint.current.flow_mdeg) == ""
    for number, front in (("J-101", -1), ("J-102", 1)):
        current = Joint.objects.get(number=number).current
        hinges = [p for p in current.attach_points if "hinge" in p["name"]]
        assert all(point["x_nm"] * front > 0 for point in hinges)
        upstream = current.stations.filter(edge="upstream")
        assert upstream and all(one.x_nm * front > 0 for one in upstream)
