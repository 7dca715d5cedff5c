"""A nonconformance: raised, decided, re-checked by somebody else, closed."""

import threading

import pytest
from django.db import IntegrityError, connection
from django.db.transaction import atomic
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from qa.actions import checks, nonconformances, raising, rebuilding
from qa.models import Nonconformance, NonconformanceState
from qa.queries.nonconformances.item_pages import place_of
from qa.queries.nonconformances.rechecks import possible_rechecks
from shop.ledger import Refused
from shop.models import Person
from tests.around import by_hand
from tests.conftest import make_people
from tests.qa.making import (
    make_airframe,
    make_check,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
    mm,
    read,
    read_all,
)
from tests.qa.many import MANY, alike, multiplied


def finished(people, *, tight=(), fit_up=None, by="builder"):
    """A finished check whose gaps at the stations `tight` are 0.5 under."""
    check = make_check(people["engineer"], fit_up=fit_up)
    for n in range(1, 9):
        value = "1.00" if n in tight else "2.00"
        read(check, str(n), "gap", value, by=people[by])
        read(check, str(n), "flush", "0.00", by=people[by])
    checks.finish_check(by=people[by], check=check)
    return check


@pytest.fixture
def item(people):
    check = finished(people, tight=(3, 4))
    (raised,) = raising.raise_findings(by=people["builder"], check=check)
    return Nonconformance.objects.select_related("part__design").get(pk=raised.pk)


def again(item, people, *, tight=(), by="builder"):
    return finished(people, tight=tight, fit_up=item.fit_check.fit_up, by=by)


def test_neighbors_become_one_item_in_a_builders_words(item):
    assert item.title == "gap tight, stations 3, 4, worst 0.50 mm under at 3"
    assert item.requirement == "gap 1.50 to 3.00 mm"
    assert item.label == "NC-001"
    assert item.part_id == item.fit_check.fit_up.part_id


def test_numbers_run_by_airframe(item, people):
    other = finished(people, tight=(1,))
    (raised,) = raising.raise_findings(by=people["lead"], check=other)
    assert raised.airframe_id != item.airframe_id
    assert raised.label == "NC-001"


def test_the_same_finding_is_raised_once(item, people):
    with pytest.raises(Refused, match="NC-001 was raised"):
        raising.raise_findings(by=people["builder"], check=item.fit_check)
    assert Nonconformance.objects.count() == 1


def test_use_as_is_is_the_engineers_to_decide(item, people):
    with pytest.raises(Refused, match="engineer"):
        nonconformances.dispose(
            by=people["lead"], item=item, disposition="use_as_is", note="fine"
        )
    nonconformances.dispose(
        by=people["engineer"], item=item, disposition="use_as_is", note=""
    )
    assert NonconformanceState.objects.get().state == "dispositioned"


def test_use_as_is_is_verified_by_another_than_who_decided_it(item, people):
    engineer = people["engineer"]
    nonconformances.dispose(
        by=engineer, item=item, disposition="use_as_is", note="no load there"
    )
    with pytest.raises(Refused, match="somebody else verifies"):
        nonconformances.verify(by=engineer, item=item, note="seen")
    with pytest.raises(IntegrityError, match="standing_use_as_is"), atomic():
        NonconformanceState.objects.update(state="verified", verified_by=engineer)
    nonconformances.verify(by=people["inspector"], item=item, note="seen")
    assert NonconformanceState.objects.get().verified_by == people["inspector"]


def test_on_primary_structure_a_justification_is_stated(item, people):
    design = item.part.design
    design.structural_class = "primary"
    with by_hand():
        design.save(update_fields=["structural_class"])
    with pytest.raises(Refused, match="justification") as no:
        nonconformances.dispose(
            by=people["engineer"], item=item, disposition="repair", note=" "
        )
    assert no.value.field == "note"


@pytest.fixture
def reworked(item, people):
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="rework", note="trim"
    )
    nonconformances.work(by=people["lead"], item=item, note="trimmed")
    return item


def test_rework_is_verified_with_a_recheck_that_somebody_else_took(reworked, people):
    good = again(reworked, people)
    with pytest.raises(Refused, match="Link the check"):
        nonconformances.verify(by=people["inspector"], item=reworked, note="seen")
    nonconformances.verify(by=people["inspector"], item=reworked, recheck=good)
    standing = NonconformanceState.objects.get(pk=reworked.pk)
    assert (standing.state, standing.recheck_id) == ("verified", good.pk)
    assert standing.verified_by == people["inspector"]


def refused_recheck(people, item, recheck, words):
    with pytest.raises(Refused, match=words) as no:
        nonconformances.verify(by=people["inspector"], item=item, recheck=recheck)
    assert no.value.field == "recheck"


def test_rework_that_still_deviates_cannot_close(reworked, people):
    refused_recheck(
        people, reworked, again(reworked, people, tight=(4,)), "not shown at 4"
    )


def test_two_people_are_enough_one_works_and_the_other_measures_and_verifies(
    reworked, people
):
    refused_recheck(
        people, reworked, again(reworked, people, by="lead"), "did the work"
    )
    own = again(reworked, people, by="inspector")
    nonconformances.verify(by=people["inspector"], item=reworked, recheck=own)
    assert NonconformanceState.objects.get().verified_by == people["inspector"]


def test_a_check_from_before_the_finding_is_no_recheck(reworked, people):
    refused_recheck(people, reworked, reworked.fit_check, "after the finding")


def test_a_check_of_another_joint_is_no_recheck(reworked, people):
    refused_recheck(people, reworked, finished(people), "another joint")


def test_what_changed_since_the_recheck_is_measured_again(reworked, people):
    good = again(reworked, people)
    found = good.fit_up
    make_fit_up(
        people["engineer"],
        found.joint,
        airframe=found.airframe,
        part=found.part,
        reason="refit",
    )
    refused_recheck(people, reworked, good, "taken off and refitted")


def test_of_what_was_seen_a_linked_recheck_must_conform_too(people, reworked):
    """By hand, without stations: a check that fails anywhere shows nothing."""
    where = reworked.fit_check.fit_up
    item = raising.raise_by_hand(
        by=people["lead"],
        airframe=where.airframe,
        joint=where.joint,
        part=where.part,
        title="edge is rough",
    )
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="rework", note="sand"
    )
    nonconformances.work(by=people["lead"], item=item, note="sanded")
    refused_recheck(people, item, again(reworked, people, tight=(7,)), "at 7")
    nonconformances.verify(
        by=people["inspector"], item=item, recheck=again(reworked, people)
    )


def test_reopening_needs_a_reason_and_clears_the_decision(reworked, people):
    with pytest.raises(Refused, match="why"):
        nonconformances.reopen(by=people["lead"], item=reworked, note="")
    nonconformances.reopen(by=people["lead"], item=reworked, note="wrong side")
    standing = NonconformanceState.objects.get(pk=reworked.pk)
    assert (standing.state, standing.disposition) == ("found", "")


def test_of_two_people_who_decide_at_once_one_wins(committed_db):
    people = make_people()
    check = finished(people, tight=(1,))
    (item,) = raising.raise_findings(by=people["lead"], check=check)
    told = []

    def decide(role):
        try:
            nonconformances.dispose(
                by=Person.objects.get(username=role),
                item=Nonconformance.objects.get(pk=item.pk),
                disposition="scrap",
                note="cracked through",
            )
            told.append("won")
        except Refused as no:
            told.append(no.code)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=decide, args=(role,)) for role in ("lead", "engineer")
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(told) == ["stale", "won"]
    assert item.steps.count() == 1


def test_not_proven_is_measured_again_and_never_nonconforming(people):
    joint = make_joint(people["engineer"], rule="guarded")
    gauge = make_instrument(people["engineer"], u_nm=mm(0.05))
    check = make_check(
        people["engineer"],
        fit_up=make_fit_up(people["engineer"], joint),
        instrument=gauge,
    )
    read(check, "1", "gap", "1.45", by=people["builder"])
    read(check, "1", "flush", "0.00", by=people["builder"])
    done = checks.finish_check(by=people["builder"], check=check)
    assert done.counts["not_proven"] == 1
    assert raising.raise_findings(by=people["lead"], check=check) == []


@pytest.mark.either_database
def test_the_lists_cost_the_same_for_one_row_and_for_thirty(client_of, people):
    client = client_of("lead")

    def cost():
        with CaptureQueriesContext(connection) as captured:
            assert client.get("/nonconformances/").status_code == 200
            assert client.get("/fit-checks/").status_code == 200
        return len(captured)

    check = finished(people, tight=(1,))
    raising.raise_findings(by=people["lead"], check=check)
    first = cost()
    for n in range(29):
        raising.raise_by_hand(
            by=people["lead"],
            airframe=check.fit_up.airframe,
            title=f"scratch {n}",
            part=make_part(people["engineer"]),
        )
        make_check(people["engineer"], fit_up=check.fit_up)
    assert cost() == first


def test_the_pages_offer_each_role_only_its_verbs(client_of, item):
    def buttons(role):
        page = client_of(role).get(f"/nonconformances/{item.pk}/").content.decode()
        return [
            verb for verb in ("dispose", "remark", "contain") if f"/{verb}/" in page
        ]

    assert buttons("visitor") == []
    assert buttons("builder") == ["remark", "contain"]
    assert buttons("lead") == ["dispose", "remark", "contain"]


def test_the_place_of_a_defect_is_chosen_on_the_map_and_told_with_the_item(
    client_of, people
):
    joint = make_joint(people["engineer"])
    airframe = make_airframe(people["engineer"], type=joint.type)
    client, new = client_of("builder"), "/nonconformances/new/"
    assert 'name="stations"' in client.get(new).content.decode()
    there = f"{new}?joint={joint.pk}"
    assert "first=3" in client.get(there).content.decode()
    tapped = client.get(f"{there}&first=6").content.decode()
    assert "first=6&amp;joint" in tapped and "last=4" in tapped
    said = {"airframe": airframe.pk, "title": "void", "place": "inner face"}
    open_end = client.post(there, {**said, "last": "4"}).content.decode()
    assert "where the stretch begins" in open_end and "inner face" in open_end
    assert not Nonconformance.objects.exists()
    ends = {"first": "6", "last": "4"}
    page = client.post(there, {**said, **ends}, follow=True).content.decode()
    item = Nonconformance.objects.get()
    assert (item.joint, item.stations) == (joint, ["4", "5", "6"])
    assert "stations 4–6, inner face" in page and "drawing-view" in page
    told = {
        ("2", ""): "station 2",
        ("7", "3"): "stations 1–3, 7, 8",
        ("8", "2"): "stations 1, 2, 8",  # round a closed seam, over the first
    }
    for (first, last), words in told.items():
        client.post(there, {**said, "first": first, "last": last})
        assert place_of(Nonconformance.objects.first()) == f"{words}, inner face"


def test_one_form_is_open_and_the_other_verbs_are_a_touch_away(client_of, item):
    client = client_of("lead")
    page = client.get(f"/nonconformances/{item.pk}/").content.decode()
    assert "dispose-note" in page and "remark-note" not in page
    there = f"/nonconformances/{item.pk}/remark/"
    page = client.get(there).content.decode()
    assert "remark-note" in page and "dispose-note" not in page
    page = client.post(there, {"remark-note": "ask Ines"}, follow=True).content.decode()
    assert "ask Ines" in page
    # What the state does not offer leads back to the item.
    answer = client.get(f"/nonconformances/{item.pk}/close/")
    assert answer.url == f"/nonconformances/{item.pk}/"


def test_each_is_offered_the_dispositions_that_are_theirs(client_of, item):
    def offered(role):
        page = client_of(role).get(f"/nonconformances/{item.pk}/").content.decode()
        names = ("use_as_is", "rework", "repair", "scrap", "return")
        return [name for name in names if f'value="{name}"' in page]

    assert offered("lead") == ["rework", "scrap", "return"]
    assert offered("engineer") == ["use_as_is", "rework", "repair", "scrap", "return"]


def test_a_refused_verb_keeps_what_was_typed_beside_its_message(client_of, item):
    answer = client_of("lead").post(
        f"/nonconformances/{item.pk}/dispose/",
        {"dispose-disposition": "repair", "dispose-note": "glass over it"},
    )
    page = answer.content.decode()
    assert "engineer&#x27;s to decide" in page
    assert "glass over it" in page


def test_the_same_list_gives_the_same_bytes_and_a_csv_runs_nothing(client_of, people):
    check = finished(people)
    raising.raise_by_hand(
        by=people["lead"], airframe=check.fit_up.airframe, title="=1+1"
    )
    client = client_of("lead")
    first, again = (client.get("/nonconformances/list.pdf").content for _ in range(2))
    assert first == again
    assert "'=1+1" in client.get("/nonconformances/", {"as": "csv"}).content.decode()


# ------------------------------------------------------------- the same serials again


def measured_right(by, joint, airframe, found, **said):
    """A finished check of the joint with everything right, `said` of its fit-up."""
    fit_up = make_fit_up(
        by,
        joint,
        airframe=airframe,
        reason="refit",
        **{"part": found.fit_up.part} | said,
    )
    check = make_check(by, fit_up)
    read_all(check)
    checks.finish_check(by=by, check=check)
    return check


def test_rework_closes_only_with_a_re_check_of_the_same_serial_and_surround(people):
    engineer, inspector = people["engineer"], people["inspector"]
    joint = make_joint(engineer)
    shell = make_part(engineer)
    found = make_check(engineer, make_fit_up(engineer, joint, surround_part=shell))
    read_all(found, gap_at={"4": "0.90"})
    checks.finish_check(by=engineer, check=found)
    (item,) = raising.raise_findings(by=engineer, check=found)
    nonconformances.dispose(
        by=engineer, item=item, disposition="rework", note="Trim it."
    )
    nonconformances.work(by=people["builder"], item=item, note="trimmed")
    place = joint, found.fit_up.airframe, found
    another = measured_right(
        engineer, *place, part=make_part(engineer), surround_part=shell
    )
    elsewhere = measured_right(engineer, *place, surround_part=make_part(engineer))
    unstated = measured_right(engineer, *place)
    for wrong in (another, elsewhere, unstated):
        with pytest.raises(Refused) as no:
            nonconformances.verify(by=inspector, item=item, recheck=wrong)
        assert no.value.field == "recheck"
    assert not possible_rechecks(item).exists()
    right = measured_right(engineer, *place, surround_part=shell)
    assert list(possible_rechecks(item)) == [right]
    nonconformances.verify(by=inspector, item=item, recheck=right)


def test_one_raised_finding_hides_none_of_the_rest(people, client_of):
    check = finished(people, tight=(2, 6))
    raising.raise_findings(by=people["builder"], check=check, chosen=[0])
    client, url = client_of("builder"), reverse("check", args=[check.entry_id])
    page = client.get(url).content.decode()
    assert "NC-001" in page and "station 6" in page and "Raise these" in page
    address = reverse("raise_findings", args=[check.entry_id])
    page = client.post(address, follow=True).content.decode()
    assert "Raised: NC-002." in page and "Raise these" not in page
    assert Nonconformance.objects.count() == 2
    page = client.post(address, follow=True).content.decode()
    assert "NC-001 was raised for this already" in page


def test_a_thousand_items_are_printed_and_a_thousand_steps_followed(
    item, people, client_of
):
    nonconformances.remark(by=people["builder"], item=item, note="tomorrow")
    multiplied(item.steps.get())
    [state] = rebuilding.items()
    assert state.nonconformance_id == item.pk
    multiplied(item, number=int, stations_key=str)
    first = Nonconformance.objects.get(number=10)
    NonconformanceState.objects.bulk_create(
        alike(item.standing, nonconformance_id=first.pk + at) for at in range(MANY)
    )
    printed = client_of("lead").get(reverse("nonconformances_pdf"))
    assert printed.status_code == 200 and b"%PDF" in printed.content[:8]
