"""A hole or another characteristic that does not conform: it is raised, somebody who
may decides, somebody else verifies, and what was decided to stay so is closed."""

import pytest
from django.contrib.messages.storage.fallback import FallbackStorage
from django.core.exceptions import ValidationError
from django.urls import reverse

from qa.actions import holes, nonconformances, raising
from qa.actions.holes import HoleDraft, MeasuredHole, PatternHead
from qa.models import CharacteristicResult, HoleCheck, HolePattern, Nonconformance
from qa.queries.holes import hole_view
from qa.rules import close_out, close_out_records, close_out_stands, decided
from qa.rules.close_out_stands import Scope
from shop.actions import airframes
from shop.ledger import Refused
from shop.ledger.verify import verify
from shop.views.acting import pressed
from tests.conftest import make_people
from tests.qa.making import fresh, make_instrument, make_part, make_position, mm
from tests.qa.test_characteristics import found, planned
from tests.qa.test_close_out import WHOLE, Ready, patterned, read_holes
from tests.qa.test_item_life import more_people
from tests.qa.test_temporary import at_once
from tests.shop.making import make_placement


def newest(model, **of):
    return model.objects.filter(**of).order_by("-pk")[0]


def decide(people, item, disposition="use_as_is", concession="C-7") -> None:
    nonconformances.dispose(
        by=people["engineer"],
        item=item,
        disposition=disposition,
        note="carries no load",
        concession=concession,
    )


def verified(people, item, by="checker", note="seen") -> None:
    nonconformances.verify(by=people[by], item=item, note=note)


def finish(people, item) -> None:
    nonconformances.explain(by=people["checker"], item=item, cause="trim")
    nonconformances.close(by=people["checker"], item=item)


@pytest.fixture
def ready(people) -> Ready:
    return Ready(more_people(people))


def stands(ready, kind) -> list[str]:
    groups = ready.view(joint=ready.joint).groups
    return [line.why for group in groups if group.kind == kind for line in group.lines]


@pytest.mark.either_database
@pytest.mark.django_db
def test_a_hole_is_used_as_it_is_until_it_is_worse_than_what_was_decided(ready):
    people, pattern = ready.people, patterned(ready, joint=ready.joint)
    shell = ready.placed[1].part
    read_holes(ready, pattern, shell, **{**WHOLE, "h2": "20.4", "h3": "40.5"})
    check = newest(HoleCheck)
    item = raising.raise_holes(by=people["builder"], check=check)
    assert item.holes == ["2", "3"] and item.part == shell and item.label in str(item)
    assert "1.000 mm" in item.found and "0.300 mm allowed" in item.found
    with pytest.raises(Refused) as no:
        raising.raise_holes(by=people["builder"], check=check)
    assert no.value.code == "done"
    assert stands(ready, "holes") and stands(ready, "item")
    decide(people, item)
    assert stands(ready, "holes"), "decided is not verified yet"
    verified(people, item)
    finish(people, item)
    assert (stands(ready, "holes"), stands(ready, "item")) == ([], [])
    # Read again, no worse: decided. A little worse in one: that one is new.
    read_holes(ready, pattern, shell, h3="40.5")
    assert stands(ready, "holes") == []
    read_holes(ready, pattern, shell, h3="40.501")
    worse = newest(HoleCheck)
    assert stands(ready, "holes") == [f"{worse.label}: hole 3 does not conform"]
    again = raising.raise_holes(by=people["builder"], check=worse)
    assert (again.holes, again.pk != item.pk) == (["3"], True)
    # Opened again, what it allowed does not stay so.
    read_holes(ready, pattern, shell, h3="40.5")
    nonconformances.reopen(by=people["checker"], item=item, note="cracked")
    assert len(stands(ready, "holes")) == 2
    assert verify().fault == ""


@pytest.mark.either_database
@pytest.mark.django_db
def test_rework_of_a_hole_is_shown_by_reading_it_again_and_by_another(ready):
    people, pattern = ready.people, patterned(ready, joint=ready.joint)
    shell = ready.placed[1].part
    read_holes(ready, pattern, shell, **{**WHOLE, "h3": "40.5"})
    item = raising.raise_holes(by=people["builder"], check=newest(HoleCheck))
    decide(people, item, "rework")
    nonconformances.work(by=people["doer"], item=item, note="filled, drilled anew")
    with pytest.raises(Refused, match="not shown: 3"):
        verified(people, item)
    read_holes(ready, pattern, shell, h3="40.4")
    with pytest.raises(Refused, match="full conformity"):
        verified(people, item)
    read_holes(ready, pattern, shell, by="doer", h3="40")
    with pytest.raises(Refused, match="somebody else finds it again"):
        verified(people, item)
    # Who verifies may have read it: a shop of two can.
    read_holes(ready, pattern, shell, by="checker", h3="40")
    verified(people, item, note="")
    last = item.steps.order_by("-pk")[0]
    assert last.told == newest(HoleCheck).label
    finish(people, item)
    # It was put right: that it fails later is found anew, not decided.
    read_holes(ready, pattern, shell, h3="40.4")
    assert stands(ready, "holes")


@pytest.mark.either_database
@pytest.mark.django_db
def test_another_characteristic_is_decided_of_the_same_part_and_requirement(ready):
    people, row = ready.people, ready.characteristic("count", low="4", high="4")
    found(people, row, ready.airframe, "3")
    result = newest(CharacteristicResult)
    item = raising.raise_result(by=people["builder"], result=result)
    assert (item.found, item.requirement) == ("3", "4 to 4")
    with pytest.raises(Refused):
        raising.raise_result(by=people["builder"], result=result)
    decide(people, item)
    verified(people, item)
    finish(people, item)
    assert stands(ready, "characteristic") == []
    for value, left in (("3", True), ("2", False), ("5", False)):
        found(people, row, ready.airframe, value)
        assert (stands(ready, "characteristic") == []) == left, value
    # Repair asks that it was found again, not that it conforms; rework does.
    other = ready.characteristic("count", low="4", high="4")
    found(people, other, ready.airframe, "3")
    item = raising.raise_result(
        by=people["builder"], result=newest(CharacteristicResult)
    )
    decide(people, item, "repair")
    nonconformances.work(by=people["doer"], item=item, note="one put in")
    with pytest.raises(Refused, match="was not found again"):
        verified(people, item)
    found(people, other, ready.airframe, "3")
    verified(people, item)
    assert other.number not in str(stands(ready, "characteristic"))


def raised_of(ready, row, value, **said):
    """The item of what was found of a characteristic."""
    found(ready.people, row, ready.airframe, value, **said)
    result = newest(CharacteristicResult)
    return raising.raise_result(by=ready.people["builder"], result=result)


def settled(ready, item, disposition="use_as_is"):
    decide(ready.people, item, disposition)
    verified(ready.people, item)
    finish(ready.people, item)


@pytest.mark.either_database
@pytest.mark.django_db
def test_what_is_not_so_again_is_decided_again(ready):
    row = ready.characteristic("attribute", photo=False)
    settled(ready, raised_of(ready, row, "no"))
    assert stands(ready, "characteristic") == []
    settled(ready, raised_of(ready, row, "no"))
    found(ready.people, row, ready.airframe, "no")
    assert stands(ready, "characteristic") == ["does not conform"]
    assert decided.result_to_raise(row, newest(CharacteristicResult))


@pytest.mark.either_database
@pytest.mark.django_db
def test_not_proven_is_decided_for_no_less_than_was_left_of_the_limit(ready):
    gauge = make_instrument(ready.people["engineer"], u_nm=50_000)
    row = ready.characteristic(
        "dimension", low="12", high="13", unit="mm", rule="guarded"
    )
    said = {"unit": "mm", "instrument": gauge}
    settled(ready, raised_of(ready, row, "12.05", **said))
    finer = make_instrument(ready.people["engineer"], u_nm=40_000)
    for value, by, left in (
        ("12.05", gauge, True),
        ("12.06", gauge, True),
        ("12.04", gauge, False),
        ("12.04", finer, False),
        ("12", gauge, False),
        ("11.95", gauge, False),
        ("12.95", gauge, False),
        ("13.04", gauge, False),
    ):
        found(ready.people, row, ready.airframe, value, unit="mm", instrument=by)
        assert newest(CharacteristicResult).verdict == "not_proven", value
        assert (stands(ready, "characteristic") == []) == left, value


@pytest.mark.django_db
def test_work_on_one_serial_is_shown_by_that_serial_and_after_the_work(ready):
    people, row = (
        ready.people,
        planned(ready.people, "count", ready.joint.position, low="4", high="4"),
    )
    item = raised_of(ready, row, "3")
    decide(people, item, "rework")
    found(people, row, ready.airframe, "4")
    nonconformances.work(by=people["doer"], item=item, note="one put in")
    with pytest.raises(Refused, match="not shown"):
        verified(people, item)
    # Another door in its place: it conforms, and what it fails is raised of itself.
    door = ready.placed[0]
    airframes.remove_part(by=people["builder"], placement=door, reason="swapped")
    of = {"airframe": ready.airframe, "position": door.position, "reason": "swapped"}
    other = make_placement(people["engineer"], part=make_part(people["engineer"]), **of)
    found(people, row, ready.airframe, "4")
    with pytest.raises(Refused, match="not shown"):
        verified(people, item)
    assert raised_of(ready, row, "2").part == other.part
    # Back again, found after the work.
    airframes.remove_part(by=people["builder"], placement=other, reason="swapped")
    make_placement(people["engineer"], part=door.part, **of)
    found(people, row, ready.airframe, "4")
    verified(people, item)
    # Opened again and worked on again, that does not show it any more.
    nonconformances.reopen(by=people["checker"], item=item, note="one fell out")
    decide(people, item, "rework")
    nonconformances.work(by=people["doer"], item=item, note="put in anew")
    with pytest.raises(Refused, match="not shown"):
        verified(people, item)


@pytest.mark.either_database
@pytest.mark.django_db
def test_a_hole_that_is_too_large_stays_so_until_its_size_is_read_again(ready):
    people, pattern = ready.people, patterned(ready, joint=ready.joint)
    shell, door = ready.placed[1].part, ready.placed[0].part

    def read(x, size, part=shell):
        holes.record_holes(
            by=people["builder"],
            revision=pattern.current,
            part=part,
            measured=[MeasuredHole("3", x, "0", size)],
        )
        return newest(HoleCheck)

    read_holes(ready, pattern, shell, **WHOLE)
    read_holes(ready, pattern, door, **WHOLE)
    read("40", "4.30")
    assert len(stands(ready, "holes")) == 1
    again = read("40", "")
    assert stands(ready, "holes")[-1] == f"{again.label}: hole 3 does not conform"
    # Neither its size nor its place hides behind the other, decided or not.
    item = raising.raise_holes(by=people["builder"], check=again)
    assert item.found == "3: hole 4.300 mm"
    settled(ready, item)
    assert stands(ready, "holes") == []
    worse = read("40.5", "")
    assert stands(ready, "holes")[-1] == f"{worse.label}: hole 3 does not conform"
    read("40", "4.31")
    assert len(stands(ready, "holes")) == 1
    read("40", "4.1")
    assert stands(ready, "holes") == []
    # Repaired is found again with its size, after the work.
    item = raising.raise_holes(by=people["builder"], check=read("40", "4.30"))
    decide(people, item, "repair")
    read("40", "4.25")
    nonconformances.work(by=people["doer"], item=item, note="bushed")
    with pytest.raises(Refused, match="not found again since: 3"):
        verified(people, item)
    read("40", "")
    with pytest.raises(Refused, match="its size"):
        verified(people, item)
    read("40", "4.25")
    verified(people, item)
    assert newest(HoleCheck).label in item.steps.order_by("-pk")[0].told


@pytest.mark.django_db
def test_an_item_counts_wherever_it_excuses_something(ready):
    """A bay without a part, a joint seen from its surround, holes in the mate."""
    people = ready.people
    empty = make_position(people["engineer"], type=ready.joint.type)
    around = ready.joint.surround
    door, shell = (placement.part for placement in ready.placed)
    pattern = patterned(ready, design=door.design, mate=shell.design)
    of = {"low": "4", "high": "4"}
    bare = raised_of(ready, planned(people, "count", empty, **of), "3")
    beside = planned(people, "count", around, ready.joint, **of)
    beside = raised_of(ready, beside, "3")
    read_holes(ready, pattern, door, **WHOLE)
    read_holes(ready, pattern, shell, **{**WHOLE, "h3": "40.5"})
    mate = raising.raise_holes(by=people["builder"], check=newest(HoleCheck))
    decide(people, bare, "repair")
    nonconformances.work(by=people["doer"], item=bare, note="one put in")
    found(people, bare.result.revision.characteristic, ready.airframe, "3")
    verified(people, bare)
    for item in (beside, mate):
        decide(people, item)
        verified(people, item)
    at = ((bare, empty), (beside, around), (mate, ready.joint.position))

    def standing(bay):
        gathered = close_out_stands.gather(close_out_records.load(ready.airframe))
        return gathered, close_out.standing_of(gathered, Scope(ready.airframe, bay=bay))

    for item, bay in at:
        _, before = standing(bay)
        told = [(stand.kind, stand.why) for stand in before.stands]
        assert ("item", "verified") in told, item.title
        assert not {kind for kind, _ in told} & {"holes", "characteristic"}
        finish(people, item)
        gathered, after = standing(bay)
        assert item.label in after.body["items"]
        assert item.label not in " ".join(stand.what for stand in after.stands)
    gathered, _ = standing(empty)
    doers = close_out.doers(gathered, Scope(ready.airframe, bay=empty))
    assert people["doer"].pk in doers


@pytest.mark.either_database
@pytest.mark.django_db
def test_the_pages_raise_it_by_one_press_and_show_what_became_of_it(ready, client_of):
    people, pattern = ready.people, patterned(ready, joint=ready.joint)
    read_holes(ready, pattern, ready.placed[1].part, **{**WHOLE, "h3": "40.5"})
    check = newest(HoleCheck)
    row = ready.characteristic()
    found(people, row, ready.airframe, "3")
    result = newest(CharacteristicResult)
    at = reverse("characteristic_on_airframe", args=[row.pk, ready.airframe.pk])
    ways = (
        (reverse("hole_check", args=[check.entry_id]), "raise_holes", check.entry_id),
        (at, "raise_result", result.pk),
    )
    builder = client_of("builder")
    for page, name, key in ways:
        button = f'action="{reverse(name, args=[key])}"'
        assert button in builder.get(page).content.decode()
        assert button not in client_of("visitor").get(page).content.decode()
        made = builder.post(reverse(name, args=[key]))
        item = newest(Nonconformance)
        assert made["Location"] == reverse("nonconformance", args=[item.pk])
        told = builder.get(page).content.decode()
        assert button not in told and made["Location"] in told
        assert page in builder.get(made["Location"], follow=True).content.decode() or (
            reverse("characteristic_result", args=[result.pk])
            in builder.get(made["Location"]).content.decode()
        )
        again = builder.post(reverse(name, args=[key]), follow=True)
        assert "left to be raised" in again.content.decode()


@pytest.mark.either_database
@pytest.mark.django_db
def test_nothing_is_offered_to_be_raised_that_cannot_be(ready, client_of, rf):
    people, client = ready.people, client_of("builder")
    drafts = [
        HoleDraft(f"{n}" * 40, mm(20 * n), 0, mm(0.3), None, None, None, None)
        for n in range(1, 9)
    ]
    pattern = holes.define_pattern(
        by=people["engineer"],
        number=fresh("HP"),
        name="Hinge",
        joint=ready.joint,
        holes=drafts,
        says=PatternHead(),
    )
    holes.record_holes(
        by=people["builder"],
        revision=HolePattern.objects.get(pk=pattern.pk).current,
        part=ready.placed[1].part,
        measured=[MeasuredHole(one.label, "0", "9", "") for one in drafts],
    )
    check = newest(HoleCheck)
    client.post(reverse("raise_holes", args=[check.entry_id]))
    item = newest(Nonconformance)
    assert len(item.holes) == 8 and len(item.title) == 200
    # Sent back and verified: it fails as before, and has its item.
    row = ready.characteristic()
    for one in (item, raised_of(ready, row, "3")):
        decide(people, one, "return")
        nonconformances.work(by=people["doer"], item=one, note="sent back")
        verified(people, one)
    assert hole_view(check, "mm").raise_words == ""
    assert not decided.result_to_raise(row, newest(CharacteristicResult))
    assert stands(ready, "holes") and stands(ready, "characteristic")

    # What a model says against it is told as a refusal is.
    def made():
        raise ValidationError({"title": ["Too long."], "note": ["Missing."]})

    request = rf.post("/")
    request.session = {}
    request._messages = FallbackStorage(request)
    assert pressed(request, made, str, "/back/")["Location"] == "/back/"
    assert [str(one) for one in request._messages] == ["Too long. Missing."]


@pytest.mark.django_db
def test_a_serial_that_sits_nowhere_has_no_item(people):
    ready = Ready(people)
    pattern = patterned(ready, design=ready.placed[0].part.design)
    part = make_part(people["engineer"])
    read_holes(ready, pattern, part, h1="0.5")
    with pytest.raises(Refused, match="sits on no airframe"):
        raising.raise_holes(by=people["builder"], check=newest(HoleCheck))


def test_of_two_who_raise_at_once_one_wins(committed_db):
    ready = Ready(make_people())
    pattern = patterned(ready, joint=ready.joint)
    read_holes(ready, pattern, ready.placed[1].part, h3="40.5")
    check = newest(HoleCheck)
    found(ready.people, ready.characteristic(), ready.airframe, "3")
    result = newest(CharacteristicResult)
    by = ready.people["builder"]

    def of_holes():
        raising.raise_holes(by=by, check=HoleCheck.objects.get(pk=check.pk))

    def other():
        fresh = CharacteristicResult.objects.get(pk=result.pk)
        raising.raise_result(by=by, result=fresh)

    assert at_once(of_holes, of_holes) == ["done", "won"]
    assert at_once(other, other) == ["done", "won"]
    assert hole_view(check, "mm").raise_words == ""
