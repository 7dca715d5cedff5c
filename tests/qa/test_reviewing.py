"""Reviewing many nonconformances: groups, what comes most often, what repeats."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from qa.actions import defects, nonconformances, raising
from qa.drawing.pareto import Bar, shares
from qa.models import DefectKind, Nonconformance, NonconformanceState
from qa.queries.nonconformances import item_pages, reviewing
from qa.views import reviewing as views
from shop.actions import pulls
from tests.qa.making import (
    make_airframe,
    make_design,
    make_joint,
    make_part,
    make_type,
)
from tests.shop.making_floor import make_laminate, make_mold

LIST = "/nonconformances/"


def hurt(people, **more):
    said = {"airframe": make_airframe(people["engineer"]), "title": "void"}
    said["part"] = make_part(people["engineer"])
    return raising.raise_by_hand(by=people["builder"], **{**said, **more})


def labels(rows):
    return [one.pk for one in rows]


def test_the_stand_up_begins_with_what_blocks_and_is_severe(people):
    lead, today = people["lead"], date.today()
    items = [hurt(people) for _ in range(5)]
    said = (
        (items[4], {"severity": "minor", "blocking": True}),
        (items[2], {"severity": "critical"}),
        (items[3], {"severity": "major", "due": today}),
        (items[0], {"severity": "major", "due": today + timedelta(days=3)}),
    )
    for item, more in said:
        nonconformances.assign(by=lead, item=item, holder=lead, **more)
    wanted = [one.pk for one, _more in said] + [items[1].pk]
    rows = reviewing.for_the_stand_up(item_pages.nonconformances(state="unclosed"))
    assert labels(rows) == wanted


def test_a_filter_is_a_link_that_shows_what_was_asked(people, client_of):
    lead = people["lead"]
    defects.add_usual(by=lead)
    void, hole = (DefectKind.objects.get(name=name) for name in ("void", "hole"))
    late, other = hurt(people, defect=void), hurt(people, defect=hole)
    yesterday = date.today() - timedelta(days=2)
    nonconformances.assign(
        by=lead, item=late, holder=people["builder"], due=yesterday, blocking=True
    )
    nonconformances.explain(
        by=lead, item=late, cause="cure", origin=f"part:{late.part_id}"
    )
    client = client_of("visitor")

    def shown(ask):
        page = client.get(f"{LIST}?{ask}").content.decode()
        return [one for one in (late, other) if f'{LIST}{one.pk}/"' in page]

    assert shown("") == [late, other]
    for ask in (
        f"defect={void.pk}",
        "cause=cure",
        "due=overdue",
        "blocking=yes",
        f"person={people['builder'].pk}&due=week",
        f"origin=part:{late.part_id}",
    ):
        assert shown(ask)[0] == late, ask
        if "person" not in ask:
            assert shown(ask) == [late], ask
    assert shown("cause=trim") == []
    # Nonsense in an address counts as not asked.
    assert shown("origin=x&due=never&severity=odd&mold=0") == [late, other]


def test_groups_name_what_the_items_have_in_common(people, client_of):
    joint = make_joint(people["engineer"])
    frame = make_airframe(people["engineer"], type=joint.type)
    first = [hurt(people, airframe=frame, joint=joint) for _ in range(2)]
    alone = hurt(people)
    nonconformances.explain(by=people["lead"], item=alone, cause="handling")
    rows = item_pages.nonconformances(state="unclosed")
    groups = reviewing.grouped(rows, "joint", {"state": "unclosed"})
    assert [(g.name, len(g.rows)) for g in groups] == [
        (f"{joint.number} {joint.name}", 2),
        ("no joint", 1),
    ]
    assert {row.pk for row in groups[0].rows} == {one.pk for one in first}
    for by in reviewing.GROUPS:
        page = client_of("visitor").get(f"{LIST}?state=unclosed&group={by}")
        assert page.status_code == 200
        told = reviewing.grouped(rows, by, {})
        assert sum(len(g.rows) for g in told) == 3
    # The heading of a group is a link to its own list.
    page = client_of("visitor").get(groups[0].url).content.decode()
    assert page.count("/small>") == 2


def test_most_often_counts_and_says_the_same_in_a_table(people, client_of):
    for cause, times in (("trim", 3), ("cure", 1)):
        for _ in range(times):
            item = hurt(people)
            nonconformances.explain(by=people["lead"], item=item, cause=cause)
    url = reverse("most_often")
    page = client_of("visitor").get(f"{url}?state=unclosed&by=cause").content.decode()
    assert "<svg" in page and "75.0 %" in page and "100.0 %" in page
    assert "cause=trim" in page
    empty = client_of("visitor").get(f"{url}?state=closed&by=cause").content.decode()
    assert "Nothing nonconforming" in empty


@given(st.lists(st.integers(1, 500), min_size=1, max_size=12))
def test_shares_run_up_to_the_whole(counts):
    told = shares([Bar(f"b{n}", count) for n, count in enumerate(counts)])
    assert [one.bar.count for one in told] == sorted(counts, reverse=True)
    ups = [one.up_to for one in told]
    assert ups == sorted(ups) and ups[-1] == 1000
    for one in told:
        exact = 1000 * one.bar.count / sum(counts)
        assert abs(one.permille - exact) <= 0.5 + 1e-9


def pulled(people, mold, laminate, design, serial):
    """A part out of the next pull of a mold."""
    by = people["lead"]
    mold.refresh_from_db()
    why = {"reason": "made for a test"}
    pull = pulls.start_pull(by=by, tool=mold, laminate=laminate, **why)
    pulls.close_layup(by=by, pull=pull, **why)
    pulls.demold(by=by, pull=pull, release="clean", **why)
    pull.refresh_from_db()
    return pulls.yield_part(by=by, pull=pull, design=design, serial=serial)


def test_what_repeats_on_one_mold_is_told_by_its_pulls(people, client_of):
    engineer, lead = people["engineer"], people["lead"]
    defects.add_usual(by=lead)
    bridging = DefectKind.objects.get(name="bridging")
    joint = make_joint(engineer)
    frame = make_airframe(engineer, type=joint.type)
    mold, laminate = make_mold(lead), make_laminate(engineer)
    design = make_design(engineer)
    parts = [pulled(people, mold, laminate, design, f"R-{n}") for n in (1, 2, 3)]
    where = ("2 to 4", "3, 4, 7", "8")
    for part, stations in zip(parts, where, strict=True):
        hurt(
            people,
            airframe=frame,
            joint=joint,
            part=part,
            defect=bridging,
            stations=stations,
        )
    # Another defect at the same place, and the same from another mold: no repeats.
    hurt(people, airframe=frame, joint=joint, part=parts[1], stations="8")
    hurt(people, airframe=frame, joint=joint, defect=bridging, stations="3")
    rows = item_pages.nonconformances()
    (told,) = reviewing.repeats(rows)
    assert (told.mold, told.what) == (mold.code, "bridging")
    assert told.where == f"{joint.number}, stations 3, 4"
    assert told.pulls == [f"{mold.code}-1", f"{mold.code}-2"]
    assert [label for _pk, label, _frame in told.items] == ["NC-001", "NC-002"]
    page = client_of("visitor").get(reverse("repeats")).content.decode()
    assert "stations 3, 4" in page and f"{mold.code}-2" in page
    by_mold = reviewing.grouped(rows, "mold", {})
    assert {g.name: len(g.rows) for g in by_mold} == {
        f"mold {mold.code}": 4,
        "no mold": 1,
    }
    ask = f"{LIST}?mold={mold.pk}"
    page = client_of("visitor").get(ask).content.decode()
    assert page.count("</small>") == 4


def test_several_are_decided_in_one_act_from_the_list(people, client_of):
    client = client_of("lead")
    items = [hurt(people) for _ in range(3)]
    page = client.get(LIST).content.decode()
    assert "Decide the chosen ones together" in page
    ask = "&".join(f"item={one.pk}" for one in items[:2])
    url = f"{reverse('together')}?{ask}"
    page = client.get(url).content.decode()
    assert items[0].label in page and items[2].title in page
    said = {"disposition": "rework", "note": "one lot of bad resin"}
    answer = client.post(url, said, follow=True)
    assert "Decided: NC-001, NC-001." in answer.content.decode()
    states = NonconformanceState.objects.order_by("pk").values_list("state", flat=True)
    assert list(states) == ["dispositioned", "dispositioned", "found"]
    again = client.post(url, said).content.decode()
    assert "is dispositioned now" in again and "one lot of bad resin" in again
    assert client_of("builder").get(url).status_code == 403
    odd = client.get(reverse("together") + "?item=x&item=99999")
    assert "Nothing chosen" in odd.content.decode()


def test_those_of_a_group_are_chosen_where_they_stand_and_decided_in_one_act(
    people, client_of, monkeypatch
):
    client, items = client_of("lead"), [hurt(people) for _ in range(3)]
    boxes = [f'name="item" value="{item.pk}"' for item in items]
    for by in reviewing.GROUPS:
        page = client.get(f"{LIST}?group={by}").content.decode()
        assert all(box in page for box in boxes), by
        forms = page.count(f'action="{reverse("together")}"')
        assert forms == page.count("Decide the chosen ones together") > 0, by
    page = client_of("builder").get(f"{LIST}?group=joint").content.decode()
    assert items[0].label in page and boxes[0] not in page
    # More than are decided at once are not left out without a word.
    monkeypatch.setattr(views, "MOST_TOGETHER", 2)
    ask = "&".join(f"item={item.pk}" for item in items)
    url = f"{reverse('together')}?{ask}"
    assert "these are the first 2" in client.get(url).content.decode()
    client.post(url, {"disposition": "rework", "note": "one lot of bad resin"})
    assert NonconformanceState.objects.filter(state="found").count() == 1
    # Where all are decided there is nothing to choose.
    url = f"{reverse('together')}?item={items[2].pk}"
    page = client.get(url).content.decode()
    assert "these are the first" not in page
    client.post(url, {"disposition": "rework", "note": "one lot of bad resin"})
    page = client.get(f"{LIST}?group=joint").content.decode()
    assert items[0].label in page and "Decide the chosen ones" not in page


@pytest.mark.either_database
def test_reviewing_costs_the_same_for_one_item_and_for_thirty(people, client_of):
    client = client_of("lead")
    asks = [LIST, LIST + "?order=stand-up", reverse("repeats")]
    asks += [f"{LIST}?group={by}" for by in reviewing.GROUPS]
    asks += [f"{reverse('most_often')}?by={by}" for by in reviewing.GROUPS]

    def cost():
        found = {}
        for ask in asks:
            with CaptureQueriesContext(connection) as captured:
                assert client.get(ask).status_code == 200
            found[ask] = len(captured)
        return found

    kind = make_type(people["engineer"])

    def one():
        frame = make_airframe(people["engineer"], type=kind)
        item = hurt(people, airframe=frame)
        nonconformances.explain(
            by=people["lead"], item=item, cause="trim", origin=f"part:{item.part_id}"
        )

    one()
    first = cost()
    for _ in range(29):
        one()
    assert Nonconformance.objects.count() == 30
    assert cost() == first
