"""The pages that show joints: map, limits, revisions, and what they cost."""

import pytest
from django.urls import reverse

from qa.queries.joints.joint_pages import joint_view
from shop.ledger import Refused

from .making import (
    fresh,
    make_check,
    make_instrument,
    make_joint,
    make_stations,
    make_type,
    mm,
    revise,
)


@pytest.fixture
def engineer(people):
    return people["engineer"]


@pytest.fixture
def client(client_of):
    return client_of("engineer")


def test_the_joint_page_shows_map_limits_and_revisions(client, engineer):
    joint = make_joint(engineer, rule="guarded", flow_mdeg=0, finish_part_nm=mm(0.1))
    revise(engineer, joint, make_stations(8, gap=(2, 4)), rule="guarded", note="seal")
    page = client.get(reverse("joint", args=[joint.pk])).content.decode()
    for words in ("<svg", "2.00 to 4.00 mm", "Revision 1", "seal", "guarded"):
        assert words in page
    older = client.get(reverse("joint_revision", args=[joint.pk, 1])).content.decode()
    assert "1.50 to 3.00 mm" in older
    assert "part 0.10 mm, surround 0.00 mm" in older
    assert "the newest is 2" in older


def test_the_page_says_how_uncertain_a_gauge_may_be(client, engineer):
    """The narrowest limits are 1.0 mm wide; 1.0 / 3.92 is 0.255 mm (ISO 14253-1:2017,
    where limits nearer than 3.92 u prove nothing), 1.0 / 4 by the edition of 1998."""
    joint = make_joint(engineer, rule="guarded")
    page = client.get(reverse("joint", args=[joint.pk])).content.decode()
    assert "standard uncertainty at most 0.255 mm" in page
    make_check(
        engineer, joint=joint, instrument=make_instrument(engineer, u_nm=255_000)
    )
    rough = make_instrument(engineer, u_nm=256_000)
    with pytest.raises(Refused):
        make_check(engineer, joint=joint, instrument=rough)
    old = make_joint(engineer, rule="guarded", edition="1998")
    assert joint_view(old, old.current, "mm").greatest_u == "0.250 mm"


def queries_of(client, url, counted):
    client.get(url)
    with counted as context:
        assert client.get(url).status_code == 200
    return len(context)


@pytest.mark.either_database
def test_the_list_takes_as_many_statements_for_30_joints_as_for_one(
    client, engineer, django_assert_max_num_queries
):
    kind = make_type(engineer)
    make_joint(engineer, type=kind)
    one = queries_of(client, reverse("joints"), django_assert_max_num_queries(20))
    for _ in range(29):
        make_joint(engineer, type=kind, number=fresh("J"))
    many = queries_of(client, reverse("joints"), django_assert_max_num_queries(20))
    assert many == one


def test_a_joint_takes_as_many_statements_with_60_stations_as_with_three(
    client, engineer, django_assert_max_num_queries
):
    small = make_joint(engineer, 4)
    large = make_joint(engineer, 60)
    counts = [
        queries_of(
            client, reverse("joint", args=[one.pk]), django_assert_max_num_queries(20)
        )
        for one in (small, large)
    ]
    assert counts[0] == counts[1]


def test_pages_hold_no_inline_script_or_style(client, engineer):
    joint = make_joint(engineer)
    for url in (
        reverse("new_joint"),
        reverse("joint", args=[joint.pk]),
        reverse("revise_joint", args=[joint.pk]),
    ):
        page = client.get(url).content.decode()
        assert " style=" not in page
        assert "<style" not in page
        assert "<script>" not in page
