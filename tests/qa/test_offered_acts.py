"""What a page offers is what its action takes: over the states of the demo, person by
person, nothing is offered that would be refused whatever is said with it, and nothing
that would be taken is withheld.

Each act is tried by the action itself, and taken back.
"""

import re
from contextlib import contextmanager

import pytest
from django.apps import apps
from django.core.exceptions import PermissionDenied
from django.db.transaction import atomic, set_rollback
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from qa.actions import (
    close_outs,
    inspections,
    nonconformances,
    offers,
    packs,
    temporary,
)
from qa.actions.inspections import Remark
from qa.models import CloseOut, FitUp, Nonconformance
from qa.queries import close_out
from qa.queries.nonconformances.rechecks import possible_rechecks
from qa.queries.offers import about_to_offer
from qa.rules import acceptance, item_life, offering
from qa.rules.signed_close_outs import address_of
from shop.ledger import Refused
from shop.models import Airframe, Meaning, Person, Role, TemporaryItem, TemporaryVerb
from shop.queries.signatures import panel_of
from shop.rules import signing

pytestmark = pytest.mark.either_database

NOTE = "said for a test"
LINK = re.compile(r'href="(/[^"#?]*)')


@contextmanager
def tried():
    """What is done in it is taken back; gives why it was refused."""
    told = []
    with atomic():
        try:
            yield told
        except (Refused, PermissionDenied) as no:
            told.append(str(no) or "may not")
        set_rollback(True)


@pytest.fixture
def crew(demo_db):
    return list(Person.objects.filter(is_active=True).exclude(role="visitor"))


def page_of(person, address: str) -> str:
    client = Client()
    client.force_login(person)
    return client.get(address).content.decode()


def every_item():
    """One of each state, disposition and way of being found, and what bars an act."""
    rows = Nonconformance.objects.select_related(
        "standing", "part__design", "joint", "airframe", "fit_check__fit_up"
    )
    seen = {}
    for row in rows.order_by("pk"):
        now = row.standing
        what = (now.state, now.disposition, bool(now.cause), bool(row.part_id))
        seen.setdefault((*what, item_life.scrapped(row), row.of_fit), row)
    return list(seen.values())


def doing(item, verb: str, person) -> list[dict]:
    """Everything that could be said with an act."""
    if verb == "dispose":
        every = item_life.decidable(item, person)
        return [{"note": NOTE, "disposition": x, "concession": "C-1"} for x in every]
    if verb == "verify":
        checks = [None, *possible_rechecks(item)]
        return [{"note": NOTE, "recheck": check} for check in checks]
    if verb == "explain":
        return [{"cause": "trim", "note": NOTE}]
    if verb == "assign":
        of = {"severity": "minor", "due": timezone.localdate()}
        return [{"holder": person, "note": NOTE, **of}]
    return [{"note": NOTE}]


def test_an_item_offers_what_can_be_done_with_it(crew):
    offered, withheld = set(), set()
    items = every_item()
    for item in items:
        look_at(item, crew, offered, withheld)
    waits = next(x for x in items if x.standing.state == "verified")
    lead = next(one for one in crew if one.role == "lead")
    nonconformances.explain(by=lead, item=waits, cause="trim")
    waits.standing.refresh_from_db()
    look_at(waits, crew, offered, withheld)
    assert offered == set(item_life.MOVES)
    assert {"verify", "close", "dispose"} <= withheld


def look_at(item, crew, offered, withheld) -> None:
    """Compare the page of one item with its acts, for everybody."""
    for person in crew:
        text = page_of(person, reverse("nonconformance", args=[item.pk]))
        for verb in item_life.offered(item.standing):
            address = reverse("nonconformance_act", args=[item.pk, verb])
            there = f'"{address}"' in text
            why = []
            for said in doing(item, verb, person):
                with tried() as told:
                    getattr(nonconformances, verb)(by=person, item=item, **said)
                why.append("".join(told))
            at = (item.label, person.role, verb, why)
            if verb == "dispose" and there:
                assert not any(why), at
            elif verb == "verify" and there:
                # A re-check that shows it may still have to be made.
                assert not any("somebody else verifies it" in one for one in why), at
            else:
                assert there == (not all(why)), at
            (offered if there else withheld).add(verb)


def test_an_offer_lets_an_inspector_say_what_can_be_said(crew):
    rows = acceptance.whole()
    could = set()
    for row in rows.order_by("pk"):
        body = row.content
        lines = {line["station"] for line in offering.open_lines(body)}
        lines |= {""} if body["short"] else set()
        remarks = [Remark(line, NOTE) for line in sorted(lines)]
        outcome = "with_remarks" if remarks else "accepted"
        for person in crew:
            page = reverse("offered_joint", args=[row.offer.number, row.order])
            text = page_of(person, page)
            said = {"by": person, "offered": row, "shown": row.digest}
            with tried() as no_good:
                inspections.inspect(**said, outcome=outcome, remarks=remarks)
            with tried() as no_bad:
                remark = [Remark("", NOTE)]
                inspections.inspect(**said, outcome="rejected", remarks=remark)
            at = (row.offer.label, person.role, no_good, no_bad)
            assert (f'value="{outcome}"' in text) == (not no_good), at
            assert ('value="rejected"' in text) == (not no_bad), at
            could.add((not no_good, not no_bad))
    assert could >= {(False, False), (False, True)}


def test_a_temporary_item_offers_what_can_be_done_with_its_pieces(crew):
    items = TemporaryItem.objects.select_related("state", "entry").order_by("pk")
    seen = {
        (x.kind == "hole", bool(x.state.spots), x.state.inside > 0, x.state.missing > 0,
         x.state.released > 0): x
        for x in items
    }  # fmt: skip
    for item in seen.values():
        for person in crew:
            text = page_of(person, reverse("temporary_item", args=[item.pk]))
            for verb in TemporaryVerb.values:
                address = reverse("temporary_act", args=[item.pk, verb])
                state = item.state
                spots = state.spots[:1] if verb in ("take_out", "miss") else ()
                said = {"count": 1, "spots": spots, "note": NOTE}
                said["based_on"] = state.last_entry_id
                with tried() as told:
                    temporary.step(by=person, item=item, verb=verb, **said)
                offered = f'"{address}"' in text
                assert offered == (not told), (item.label, person.role, verb, told)


def test_a_close_out_is_offered_to_whom_it_is_not_refused(demo_db):
    """Of the demo's, one that is closed, one that is void and one where a thing stands
    in the way; what is ready is tried in test_close_out."""
    rows = CloseOut.objects.select_related("airframe__type", "bay", "joint__position")
    rows = rows.order_by("pk")
    found = set()
    for row in {(x.airframe_id, x.bay_id, x.joint_id): x for x in rows}.values():
        scope = {"airframe": row.airframe, "bay": row.bay, "joint": row.joint}
        standing = close_out.view_of(**scope).standing
        if standing.state in found:
            continue
        found.add(standing.state)
        for role in ("lead", "builder"):
            person = Person.objects.filter(role=role).first()
            text = page_of(person, address_of(standing.scope))
            with tried() as told:
                close_outs.close(by=person, shown=standing.digest, **scope)
            assert told and 'name="shown"' not in text, (row, role)
    assert {"closed", "close_out_void"} <= found


def test_a_signature_is_offered_where_somebody_could_give_it(demo_db):
    models = {
        "check": "qa.Check", "offered": "qa.OfferedJoint", "plan": "qa.FitPlan",
        "inspection": "qa.Inspection", "disposition": "qa.Nonconformance",
        "correction": "qa.ToolCorrection", "close_out": "qa.CloseOut",
        "pack": "qa.IssuedPack", "ply": "shop.PlyLaid", "pull": "shop.Pull",
        "step": "shop.StepDone",
    }  # fmt: skip
    assert set(models) == set(signing.SIGNABLES)
    refused = set()
    fresh = [Person(pk=2**40, name=role, role=role) for role in Role.values]
    for kind, name in models.items():
        for key in apps.get_model(name).objects.values_list("pk", flat=True)[:6]:
            signable, content = signing.content_of(kind, key)
            could = any(
                not signing.refusal(signable, content, meaning, one)
                for meaning in Meaning
                for one in [*fresh, *content.only.values()]
            )
            panel = panel_of(kind, key)
            assert could == (not panel.refused), (kind, key, panel.refused)
            if panel.refused:
                refused.add(kind)
                text = page_of(Person.objects.get(role="engineer"), content.address)
                assert f'"{panel.sign_at}"' not in text, (kind, key)
    assert {"close_out", "disposition", "plan"} <= refused


def test_what_would_not_be_offered_or_issued_has_no_button(demo_db):
    builder = Person.objects.get(username="bea")
    seen = set()
    for row in FitUp.objects.order_by("joint", "airframe", "-number"):
        at = {"airframe": row.airframe, "joint": row.joint}
        if tuple(at.values()) in seen:
            continue
        seen.add(tuple(at.values()))
        query = f"?airframe={row.airframe_id}&joint={row.joint_id}"
        text = page_of(builder, reverse("new_offer") + query)
        shown = about_to_offer(row.airframe, "mm", joint=row.joint).digests
        with tried() as told:
            offers.offer(by=builder, shown=shown, **at)
        assert ('name="shown"' in text) == (not told), (str(row.joint), told)
        seen.add(bool(told))
    assert seen >= {True, False}
    lead = Person.objects.get(username="lena")
    for airframe in Airframe.objects.all():
        text = page_of(lead, reverse("airframe", args=[airframe.pk]))
        with tried() as told:
            packs.order_pack(by=lead, airframe=airframe)
        assert (reverse("new_pack") in text) == (not told), airframe


def test_today_leads_a_visitor_nowhere_that_is_shut(demo_db):
    visitor = Person.objects.get(role="visitor")
    client = Client()
    client.force_login(visitor)
    main = page_of(visitor, "/").partition("<main")[2]
    links = set(LINK.findall(main))
    assert len(links) > 10
    assert {client.get(link).status_code for link in links} <= {200, 302}
