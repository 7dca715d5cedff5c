"""Holds: what is downstream of a thing that is not trusted waits for a decision."""

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from shop.actions import suspects
from shop.ledger import Refused
from shop.models import HoldAct, Part, PartState, Suspect
from shop.queries.suspects import holds

from .making import make_part, make_placement
from .making_floor import make_demolded, make_lot, make_mold, make_pulled_part


@pytest.fixture
def lead(people):
    return people["lead"]


@pytest.fixture
def pulled(lead):
    """Two parts of one pull, and one of another mold."""
    pull = make_demolded(lead)
    return make_pulled_part(lead, pull=pull), make_pulled_part(lead, pull=pull)


def hold_lot_of(lead, part, **said):
    lot = part.lineage.get().pull.plies_laid.first().lot
    said = {"reason": "wrong roll", **said}
    return suspects.put_on_hold(by=lead, kind="lot", key=lot.pk, **said)


def states(*parts):
    keys = [part.pk for part in parts]
    return set(Part.objects.filter(pk__in=keys).values_list("state", flat=True))


def test_a_held_lot_makes_every_part_of_it_suspect_and_no_other(lead, pulled):
    other = make_part(lead)
    hold = hold_lot_of(lead, pulled[0])
    assert states(*pulled) == {PartState.SUSPECT}
    assert states(other) == {PartState.GOOD}
    assert hold.suspects.count() == 2
    assert HoldAct.objects.get().reason == "wrong roll"


def test_a_hold_that_does_not_spread_leaves_the_parts(lead, pulled):
    hold = hold_lot_of(lead, pulled[0], spreads=False)
    assert states(*pulled) == {PartState.GOOD}
    assert not hold.suspects.exists()


def test_a_suspect_part_is_good_only_when_no_doubt_is_left(lead, pulled):
    part = pulled[0]
    mold = part.lineage.get().pull.tool
    hold_lot_of(lead, part)
    suspects.put_on_hold(by=lead, kind="tool", key=mold.pk, reason="crack")
    first, second = part.suspicions.order_by("pk")
    said = {"by": lead, "decision": "good", "reason": "coupon tested"}
    suspects.decide(suspect=first, **said)
    assert states(part) == {PartState.SUSPECT}
    suspects.decide(suspect=second, **said)
    assert states(part) == {PartState.GOOD}


def test_lifting_a_hold_decides_nothing_on_the_parts(lead, pulled):
    hold = hold_lot_of(lead, pulled[0])
    suspects.lift_hold(by=lead, hold=hold, reason="label was swapped")
    assert states(*pulled) == {PartState.SUSPECT}
    assert Suspect.objects.filter(decided_entry=None).count() == 2


def test_a_part_born_below_a_hold_is_suspect_from_the_start(lead, pulled):
    pull = pulled[0].lineage.get().pull
    hold_lot_of(lead, pulled[0])
    late = make_pulled_part(lead, pull=pull)
    assert states(late) == {PartState.SUSPECT}
    assert late.suspicions.count() == 1


def test_a_part_bonded_from_parts_in_doubt_waits_for_its_own_decision(lead, pulled):
    hold = hold_lot_of(lead, pulled[0])
    said = {"by": lead, "decision": "good", "reason": "tested"}
    suspects.decide(suspect=pulled[1].suspicions.get(), **said)
    clean = make_part(lead, origin="cut", sources=[pulled[1]])
    assert states(clean) == {PartState.GOOD}
    bonded = make_part(lead, origin="bonded", sources=[*pulled])
    assert states(bonded) == {PartState.SUSPECT}
    (doubt,) = bonded.suspicions.all()
    assert doubt.hold == hold
    suspects.decide(suspect=doubt, **said)
    assert states(bonded) == {PartState.GOOD}


def test_a_scrapped_part_leaves_its_place_first(lead, pulled):
    make_placement(lead, part=pulled[0])
    hold_lot_of(lead, pulled[0])
    suspect = pulled[0].suspicions.get()
    with pytest.raises(Refused, match="sits on an airframe"):
        suspects.decide(by=lead, suspect=suspect, decision="scrap", reason="x")
    other = pulled[1].suspicions.get()
    suspects.decide(by=lead, suspect=other, decision="scrap", reason="burnt")
    assert states(pulled[1]) == {PartState.SCRAPPED}


@pytest.mark.parametrize("role", ["builder", "visitor"])
def test_who_may_not_hold_or_decide(people, lead, pulled, role):
    with pytest.raises(PermissionDenied):
        hold_lot_of(people[role], pulled[0])
    hold = hold_lot_of(lead, pulled[0])
    with pytest.raises(PermissionDenied):
        suspects.lift_hold(by=people[role], hold=hold, reason="x")
    with pytest.raises(PermissionDenied):
        suspects.decide(
            by=people[role], suspect=hold.suspects.first(), decision="good", reason="x"
        )


def test_who_may_decide_may_not_scrap_by_it(people, lead, pulled):
    suspect = hold_lot_of(lead, pulled[0]).suspects.get(part=pulled[0])
    said = {"by": people["inspector"], "suspect": suspect, "reason": "x"}
    with pytest.raises(PermissionDenied):
        suspects.decide(**said, decision="scrap")
    suspects.decide(**said, decision="good")
    assert states(pulled[0]) == {PartState.GOOD}


def test_what_is_refused(lead, pulled):
    hold = hold_lot_of(lead, pulled[0])
    with pytest.raises(Refused):
        hold_lot_of(lead, pulled[0])  # on hold already
    with pytest.raises(Refused, match="Say why"):
        suspects.lift_hold(by=lead, hold=hold, reason=" ")
    for kind in ("airframe", "person", "nonsense"):
        with pytest.raises(Refused, match="cannot be held"):
            suspects.put_on_hold(by=lead, kind=kind, key=1, reason="x")
    suspects.lift_hold(by=lead, hold=hold, reason="ok")
    with pytest.raises(Refused, match="lifted already"):
        suspects.lift_hold(by=lead, hold=hold, reason="ok")
    suspect = hold.suspects.first()
    said = {"by": lead, "suspect": suspect, "decision": "good", "reason": "ok"}
    suspects.decide(**said)
    with pytest.raises(Refused, match="decided already"):
        suspects.decide(**said)


def test_open_holds_are_those_not_lifted_or_with_parts_undecided(lead, pulled):
    hold = hold_lot_of(lead, pulled[0])
    suspects.put_on_hold(by=lead, kind="lot", key=make_lot(lead).pk, reason="y")
    suspects.lift_hold(by=lead, hold=hold, reason="ok")
    assert len(holds(state="open").object_list) == 2
    for suspect in hold.suspects.all():
        suspects.decide(by=lead, suspect=suspect, decision="good", reason="ok")
    (row,) = holds(state="open").object_list
    assert row.reason == "y"


def test_holding_lifting_and_deciding_from_the_pages(lead, pulled, client_of):
    client = client_of("lead")
    mold = make_mold(lead)
    url = reverse("put_on_hold", args=["tool", mold.pk])
    assert client.get(url).status_code == 200
    empty = client.post(url, {"reason": ""})
    assert "This is missing" in empty.content.decode()
    made = client.post(url, {"reason": "cracked flange", "spreads": "on"})
    page = client.get(made["Location"]).content.decode()
    assert "cracked flange" in page
    assert "It reached no part." in page
    hold = hold_lot_of(lead, pulled[0])
    page = client.get(reverse("hold", args=[hold.pk])).content.decode()
    assert pulled[0].serial in page
    decide = reverse("decide", args=[pulled[0].suspicions.get().pk])
    client.post(decide, {"decision": "good", "reason": "tested"})
    page = client.get(reverse("hold", args=[hold.pk])).content.decode()
    assert "tested" in page
    lift = reverse("lift_hold", args=[hold.pk])
    client.post(lift, {"reason": "was another roll"})
    page = client.get(reverse("hold", args=[hold.pk])).content.decode()
    assert "was another roll" in page
    assert "lifted" in client.get(reverse("holds")).content.decode()
