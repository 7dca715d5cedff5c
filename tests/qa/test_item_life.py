"""The life of a nonconformance: every state x act x role, from the printed table."""

import re
import threading
from itertools import product
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.db.transaction import atomic, set_rollback
from django.test import Client
from django.urls import reverse

from qa.actions import defects, nonconformances, raising
from qa.models import DefectKind, Nonconformance, NonconformanceState
from qa.rules import item_life
from shop.actions import suspects
from shop.ledger import Refused, perform, projections
from shop.ledger.verify import verify
from shop.models import Hold, Part, Person, Role
from tests.conftest import make_people
from tests.qa.making import (
    make_airframe,
    make_design,
    make_joint,
    make_part,
)
from tests.shop.making import make_placement

PRINTED = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
ROLES = ("builder", "lead", "engineer", "inspector", "visitor")
STATES = (
    *("found", "contained", "dispositioned", "used as is"),
    *("worked", "verified", "closed"),
)


def printed() -> dict:
    """{(state, act): (roles, states it leads to)} as DEVELOPERS.md says it."""
    text = PRINTED.read_text("utf-8").split("## States of a nonconformance")[1]
    found = {}
    for line in re.findall(r"^\|(.+)\|$", text.split("\n## ")[0], re.M)[2:]:
        states, acts, who, to = (
            [w.strip() for w in c.split(",")] for c in line.split("|")
        )
        for state, act in product(states, acts):
            ends = {state} if to == ["same"] else {w.removeprefix("or ") for w in to}
            assert (state, act) not in found
            found[state, act] = set(who), ends
    return found


SAID = {
    "contain": {"note": "tagged"},
    "dispose": {"disposition": "rework", "note": "sand it"},
    "work": {"note": "sanded"},
    "verify": {"note": "looked at"},
    "close": {},
    "explain": {"cause": "trim"},
    "assign": {},
    "remark": {"note": "tomorrow"},
    "reopen": {"note": "it is back"},
}
WAY = {
    "found": (),
    "contained": ("contain",),
    "dispositioned": ("dispose",),
    "used as is": ("use",),
    "worked": ("dispose", "work"),
    "verified": ("dispose", "work", "verify"),
    "closed": ("dispose", "work", "verify", "explain", "close"),
}


def people_of(role):
    """Two of each role: whoever did the work is another than who verifies it."""
    return Person.objects.get(username=role)


def do(verb, item, by, **more):
    said = {**SAID[verb], **more}
    if verb == "assign":
        said["holder"] = by if by.role != "visitor" else people_of("lead")
    getattr(nonconformances, verb)(by=by, item=item, **said)


def led_to(people, state, item):
    """The item brought to a state by people who do nothing else here."""
    doer, decider, checker = people["doer"], people["decider"], people["checker"]
    by = {"contain": doer, "work": doer, "dispose": decider}
    for verb in WAY[state]:
        if verb == "use":
            do("dispose", item, decider, disposition="use_as_is", concession="C-1")
        else:
            do(verb, item, by.get(verb, checker))
    standing = NonconformanceState.objects.get(pk=item.pk)
    assert item_life.place_of(standing) == state
    return item


def make_person(name, role):
    with perform("person_of_the_test/1", by=None):
        return Person.objects.create(username=name, name=name.title(), role=role)


def more_people(people):
    names = (("doer", "builder"), ("decider", "engineer"), ("checker", "inspector"))
    return people | {name: make_person(name, role) for name, role in names}


def test_the_printed_table_is_the_rule():
    table = printed()
    said = {
        (place, verb)
        for verb, move in item_life.MOVES.items()
        for place in move.come_from
    }
    assert set(table) == {(str(place), str(verb)) for place, verb in said}
    assert set(item_life.PLACES) == set(STATES)
    assert set(nonconformances.Verb.values) == set(SAID)


@pytest.mark.parametrize("state", STATES)
def test_every_act_of_every_role_does_what_the_table_says(people, state):
    people, table = more_people(people), printed()
    part = make_part(people["engineer"])
    frame = make_airframe(people["engineer"])
    item = raising.raise_by_hand(
        by=people["doer"], airframe=frame, part=part, title="scratch"
    )
    item = led_to(people, state, item)
    for verb, role in product(SAID, ROLES):
        who, ends = table.get((state, verb), (set(), set()))
        before = NonconformanceState.objects.get(pk=item.pk)
        with atomic():
            try:
                if verb == "close" and state == "verified":
                    do("explain", item, people["checker"])
                do(verb, item, people[role])
                done = True
            except (Refused, PermissionDenied) as no:
                done, why = False, no
            after = item_life.place_of(NonconformanceState.objects.get(pk=item.pk))
            set_rollback(True)
        assert done == (role in who), (state, verb, role)
        if done:
            assert after in ends, (state, verb, role, after)
        elif who:
            assert isinstance(why, PermissionDenied)
        else:
            # Nobody may: a visitor is told of the right, others of the state.
            assert isinstance(why, PermissionDenied) or why.code == "stale"
        assert NonconformanceState.objects.get(pk=item.pk).state == before.state
    shown_on_its_page(item, state, table)


def shown_on_its_page(item, state, table):
    """Each state shows who can move it on."""
    client = Client()
    client.force_login(people_of("visitor"))
    page = client.get(reverse("nonconformance", args=[item.pk])).content.decode()
    moves = ("dispose", "work", "verify", "close")
    who = next((table[state, one][0] for one in moves if (state, one) in table), None)
    assert ("It is moved on by" in page) == bool(who)
    told = re.search(r"It is moved on by: ([^.]*)\.", page)
    words = {str(Role(role).label) for role in who or ()}
    assert set(told[1].split(", ") if told else ()) == words


def hurt(people, **more):
    """A defect of a serial, decided by nobody yet."""
    said = {"airframe": make_airframe(people["engineer"]), "title": "void"}
    said["part"] = make_part(people["engineer"])
    return raising.raise_by_hand(by=people["builder"], **{**said, **more})


@pytest.mark.parametrize("structure", ["primary", ""])
@pytest.mark.parametrize("way", ["use_as_is", "repair"])
def test_primary_structure_asks_for_justification_and_concession(
    people, structure, way
):
    engineer = people["engineer"]
    design = make_design(engineer, structural_class="primary")
    part = make_part(engineer, design=design) if structure else None
    item = hurt(people, part=part)
    said = {"by": engineer, "item": item, "disposition": way}
    for note, concession, field in (
        ("", "C-1", "note"),
        (" ", "C-1", "note"),
        ("no load", " ", "concession"),
    ):
        with pytest.raises(Refused) as no:
            nonconformances.dispose(**said, note=note, concession=concession)
        assert no.value.field == field
    nonconformances.dispose(**said, note="no load", concession="C-1")
    assert NonconformanceState.objects.get(pk=item.pk).concession == "C-1"


def test_scrap_marks_the_serial_for_good(people):
    item = hurt(people)
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="scrap", note="cracked"
    )
    assert Part.objects.get(pk=item.part_id).state == "scrapped"
    nonconformances.reopen(by=people["lead"], item=item, note="not that one")
    for way in ("use_as_is", "rework", "repair", "return"):
        with pytest.raises(Refused, match="for good"):
            nonconformances.dispose(
                by=people["engineer"], item=item, disposition=way, note="so"
            )
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="scrap", note="cracked"
    )
    assert Part.objects.get(pk=item.part_id).state == "scrapped"


def test_what_sits_on_an_airframe_or_has_no_serial_is_not_scrapped(people):
    lead, part = people["lead"], make_part(people["engineer"])
    make_placement(people["engineer"], part=part, reason="made for a test")
    for item in (hurt(people, part=part), hurt(people, part=None)):
        with pytest.raises(Refused) as no:
            nonconformances.dispose(
                by=lead, item=item, disposition="scrap", note="cracked"
            )
        assert no.value.field == "disposition"
        assert not item.steps.exists()


def test_whoever_did_the_work_does_not_verify_it(people):
    item, lead = hurt(people), people["lead"]
    nonconformances.dispose(by=lead, item=item, disposition="rework", note="sand")
    nonconformances.work(by=lead, item=item, note="sanded")
    with pytest.raises(Refused, match="somebody else verifies"):
        nonconformances.verify(by=lead, item=item, note="fine")
    nonconformances.reopen(by=people["inspector"], item=item, note="still rough")
    nonconformances.dispose(by=lead, item=item, disposition="rework", note="again")
    nonconformances.work(by=people["builder"], item=item, note="sanded again")
    # It was the lead's work too, before it was opened again.
    with pytest.raises(Refused, match="somebody else verifies"):
        nonconformances.verify(by=lead, item=item, note="fine")
    nonconformances.verify(by=people["inspector"], item=item, note="smooth")


def test_nothing_closes_without_a_cause(people):
    item = hurt(people)
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="rework", note="fill"
    )
    nonconformances.work(by=people["builder"], item=item, note="filled")
    nonconformances.verify(by=people["inspector"], item=item, note="tapped")
    with pytest.raises(Refused, match="cause"):
        nonconformances.close(by=people["inspector"], item=item)
    part = f"part:{item.part_id}"
    nonconformances.explain(
        by=people["lead"], item=item, cause="layup", origin=part, note="dry"
    )
    nonconformances.close(by=people["inspector"], item=item)
    with pytest.raises(Refused, match="closed now"):
        nonconformances.explain(by=people["lead"], item=item, cause="cure")


def test_an_origin_is_something_the_serial_came_from(people):
    item, other = hurt(people), make_part(people["engineer"])
    for odd in (f"part:{other.pk}", "tool:1", "part:", "person:1", "part:x", "junk"):
        with pytest.raises(Refused) as no:
            nonconformances.explain(
                by=people["lead"], item=item, cause="mold", origin=odd
            )
        assert no.value.field == "origin"


def test_containment_holds_the_part_and_lifts_with_its_hold(people):
    item = hurt(people)
    part = f"part:{item.part_id}"
    with pytest.raises(PermissionDenied):
        nonconformances.contain(
            by=people["builder"], item=item, note="tagged", holds=[part]
        )
    nonconformances.contain(
        by=people["lead"], item=item, note="tagged", holds=[part], spreads=True
    )
    hold = Hold.objects.get()
    assert item.label in hold.reason
    assert Part.objects.get(pk=item.part_id).state == "suspect"
    with pytest.raises(Refused, match="on hold already") as no:
        nonconformances.contain(
            by=people["lead"], item=item, note="again", holds=[part]
        )
    assert no.value.field == "holds"
    suspects.lift_hold(by=people["lead"], hold=hold, reason="looked at")
    assert verify().fault == ""


def test_several_items_are_decided_in_one_act_or_none_of_them(people):
    frame = make_airframe(people["engineer"])
    items = [hurt(people, airframe=frame) for _ in range(3)]
    said = {"disposition": "rework", "note": "one run of resin"}
    nonconformances.dispose(by=people["lead"], item=items[2], **said)
    with pytest.raises(Refused, match=f"{items[2].label} is dispositioned now"):
        nonconformances.dispose_all(by=people["lead"], items=items, **said)
    assert NonconformanceState.objects.filter(state="found").count() == 2
    nonconformances.dispose_all(by=people["lead"], items=items[:2], **said)
    entries = {item.steps.get().entry_id for item in items[:2]}
    assert len(entries) == 1
    assert not list(projections.differences())


def test_stations_of_a_joint_are_named_as_a_person_writes_them(people):
    joint = make_joint(people["engineer"])
    frame = make_airframe(people["engineer"], type=joint.type)

    def at(text):
        item = hurt(people, airframe=frame, joint=joint, stations=text)
        return item.stations

    assert at("3") == ["3"]
    assert at("5, 3; 4") == ["3", "4", "5"]
    assert at("2 to 4, 8") == ["2", "3", "4", "8"]
    assert at("7-1") == ["1", "7", "8"]
    for odd in ("9", "x", "1 to 9", "1-2-3"):
        with pytest.raises(Refused) as no:
            at(odd)
        assert no.value.field == "stations"
    with pytest.raises(Refused):
        hurt(people, stations="3")


def test_the_shop_keeps_its_list_of_defects(people, client_of):
    client = client_of("lead")
    client.post(reverse("usual_defects"))
    assert DefectKind.objects.filter(name="bridging").exists()
    with pytest.raises(Refused):
        defects.add_usual(by=people["lead"])
    page = client.post(reverse("new_defect_kind"), {"name": "bridging"})
    assert page.status_code == 200 and "exists" in page.content.decode()
    row = DefectKind.objects.get(name="void")
    client.post(reverse("defect_kind", args=[row.pk]), {"name": "void, tapped"})
    assert DefectKind.objects.get(pk=row.pk).in_use is False
    form = client.get(reverse("raise_by_hand")).content.decode()
    assert "bridging" in form and "void, tapped" not in form


ENDS = {
    "dispose": ("found", "engineer", {"disposition": "rework", "note": "so"}),
    "verify": ("worked", "inspector", {"note": "seen"}),
    "close": ("closing", "inspector", {}),
    "work": ("dispositioned", "builder", {"note": "done"}),
}


@pytest.mark.parametrize("verb", sorted(ENDS))
def test_of_two_people_at_once_one_wins(committed_db, verb):
    people = more_people(make_people())
    state, role, said = ENDS[verb]
    item = led_to(people, "verified" if state == "closing" else state, hurt(people))
    if state == "closing":
        do("explain", item, people["checker"])
    names = [people[role].username, make_person("second", role).username]
    before, told = item.steps.count(), []

    def act(name):
        try:
            getattr(nonconformances, verb)(
                by=Person.objects.get(username=name),
                item=Nonconformance.objects.get(pk=item.pk),
                **said,
            )
            told.append("won")
        except Refused as no:
            told.append(no.code)
        finally:
            connection.close()

    threads = [threading.Thread(target=act, args=(name,)) for name in names]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(told) == ["stale", "won"]
    assert item.steps.count() == before + 1
