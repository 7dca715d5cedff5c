"""Acts that were claimed to be somebody's: marked, no proof, confirmed or disowned."""

import json
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client

from qa.actions import checks, claims, nonconformances, raising, trimming
from qa.models import (
    CheckState,
    CurrentReading,
    CutRelease,
    Nonconformance,
    NonconformanceState,
)
from shop.actions import tablets
from shop.ledger import Refused, projections, verify
from shop.models import Confirmation, Entry, Person
from tests.qa.making import make_check, read
from tests.qa.planned import a_check, even, read_at, take
from tests.qa.test_rebuilding import rows
from tests.qa.test_released_cuts import primary
from tests.qa.test_tablets import prove, set_pin

pytestmark = pytest.mark.django_db


class Sender:
    """An enrolled tablet that says who did it, with or without a PIN."""

    def __init__(self, people):
        _row, token = tablets.enroll(by=people["lead"], name="Hangar 1")
        self.headers = {"Authorization": f"Bearer {token}"}
        self.client = Client()

    def put(self, form, by, said, act=None, **more):
        body = {"form": form, "by": by, "said": said, **more}
        address = f"/api/acts/{act or uuid.uuid4()}"
        kind = "application/json"
        return self.client.put(
            address, json.dumps(body), content_type=kind, headers=self.headers
        )

    def reading(self, check, station, value="2.00", by="builder", kind="gap", **more):
        said = {"check": str(check.entry_id), "station": station, "kind": kind}
        said |= {"outcome": "value", "value": value, "unit": "mm"}
        answer = self.put("reading/1", by, {**said, **more})
        assert answer.status_code == 201, answer.content
        return Entry.objects.get(act=answer.json()["act"])

    def prove(self, username, pin="4711"):
        return prove(self.client, self.headers, username, pin)


@pytest.fixture
def tablet(people):
    return Sender(people)


@pytest.fixture
def check(people):
    return make_check(people["engineer"])


def state_of(check):
    return CheckState.objects.get(fit_check=check)


def disown(entry, reason="I was at home"):
    return claims.answer_claim(
        by=entry.by, entry=entry, verdict="disowned", reason=reason
    )


def confirm(entry):
    return claims.answer_claim(by=entry.by, entry=entry, verdict="confirmed")


def same_rebuilt():
    """The projections are what the facts say, and the ledger holds."""
    models = (CheckState, CurrentReading, NonconformanceState)
    before = [rows(model) for model in models]
    assert projections.rebuild() == {}
    assert [rows(model) for model in models] == before
    assert not verify.verify().fault


def reworked(people, tablet, by="builder"):
    """An item to rework, and a re-check whose 16 readings are claimed of `by`."""
    found = make_check(people["engineer"])
    read(found, "3", "gap", "1.00")
    checks.finish_check(by=people["engineer"], check=found)
    (raised,) = raising.raise_findings(by=people["engineer"], check=found)
    item = Nonconformance.objects.select_related("part__design").get(pk=raised.pk)
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="rework", note="trim"
    )
    nonconformances.work(by=people["engineer"], item=item, note="trimmed")
    again = make_check(people["engineer"], fit_up=found.fit_up)
    for n in range(1, 9):
        tablet.reading(again, str(n), by=by)
    checks.finish_check(by=people["engineer"], check=again)
    return item, again


def test_what_a_tablet_sends_without_a_pin_closes_nothing_until_it_is_confirmed(
    people, tablet
):
    item, again = reworked(people, tablet)
    with pytest.raises(Refused, match=r"8 acts .*\(claimed\)") as no:
        nonconformances.verify(by=people["lead"], item=item, recheck=again)
    assert no.value.field == "recheck"
    entries = list(Entry.objects.filter(claimed=True))
    for entry in entries[:-1]:
        confirm(entry)
    with pytest.raises(Refused, match="1 acts"):
        nonconformances.verify(by=people["lead"], item=item, recheck=again)
    confirm(entries[-1])
    nonconformances.verify(by=people["lead"], item=item, recheck=again)
    assert NonconformanceState.objects.get().state == "verified"
    same_rebuilt()


def test_a_finish_or_a_start_that_is_only_claimed_closes_nothing_either(people, tablet):
    item, _again = reworked(people, tablet)
    last = make_check(people["engineer"], fit_up=item.fit_check.fit_up)
    read(last, "3", "gap", "2.00", by=people["builder"])
    said = {"check": str(last.entry_id)}
    assert tablet.put("finish/1", "builder", said).status_code == 201
    with pytest.raises(Refused, match=r"1 acts .*\(claimed\)"):
        nonconformances.verify(by=people["lead"], item=item, recheck=last)
    disown(Entry.objects.get(form="finish/1", claimed=True))
    with pytest.raises(Refused, match=r"1 acts .*\(disowned\)"):
        nonconformances.verify(by=people["lead"], item=item, recheck=last)


def test_use_as_is_is_not_closed_with_a_claimed_check_either(people, tablet):
    item, again = reworked(people, tablet)
    nonconformances.reopen(by=people["lead"], item=item, note="no")
    nonconformances.dispose(
        by=people["engineer"], item=item, disposition="use_as_is", note="ok"
    )
    with pytest.raises(Refused, match="8 acts"):
        nonconformances.verify(by=people["lead"], item=item, recheck=again, note="seen")


def test_a_plan_made_from_a_claimed_reading_is_not_released_until_it_is_confirmed(
    people, tablet
):
    part = primary(people["engineer"])
    check = a_check(people["engineer"], part=part)
    gaps = even(s3="0.40")
    claimed = tablet.reading(check, "1", gaps.pop("1"))
    read_at(check, gaps)
    plan = take(people["engineer"], check)
    said = {"by": people["engineer"], "plan": plan, "part": part}
    with pytest.raises(Refused, match="1 acts") as no:
        trimming.release_cut(**said)
    assert no.value.code == "claimed"
    assert not CutRelease.objects.exists()
    confirm(claimed)
    assert trimming.release_cut(**said).plan == plan


def test_a_disowned_reading_does_not_stand_and_its_station_is_to_be_measured(
    people, tablet, check
):
    mine = tablet.reading(check, "1")
    tablet.reading(check, "2")
    assert state_of(check).conforms == 2
    disown(mine)
    state = state_of(check)
    assert (state.conforms, state.last_entry.form) == (1, "confirm/1")
    assert list(check.current.values_list("station__label", flat=True)) == ["2"]
    # Readable still, and marked.
    assert check.readings.count() == 2
    told = tablet.client.get(
        f"/api/checks/{check.entry_id}", headers=tablet.headers
    ).json()
    marks = [(one["authorship"], one["current"]) for one in told["readings"]]
    assert marks == [("disowned", False), ("claimed", True)]
    # Measured again as if nothing had been there.
    read(check, "1", "gap", "2.10", by=people["builder"])
    assert state_of(check).conforms == 2
    assert not state_of(check).clashes
    same_rebuilt()


def test_what_a_disowned_reading_took_the_place_of_does_not_come_back(
    people, tablet, check
):
    first = read(check, "1", "gap", "2.00", by=people["builder"])
    forged = tablet.reading(
        check, "1", "2.40", supersedes=str(first.entry_id), reason="slipped"
    )
    disown(forged)
    assert not check.current.exists()
    assert state_of(check).conforms == 0
    same_rebuilt()


def test_of_two_values_the_one_that_is_not_disowned_stands(people, tablet, check):
    forged = tablet.reading(check, "1", "2.40")
    mine = read(check, "1", "gap", "1.00", by=people["builder"])
    assert state_of(check).clashes == 1
    disown(forged)
    now = check.current.get()
    assert (now.reading_id, now.clash) == (mine.pk, False)
    state = state_of(check)
    assert (state.clashes, state.conforms, state.does_not_conform) == (0, 0, 1)
    same_rebuilt()


def test_a_disowned_choice_leaves_the_station_to_be_measured(people, tablet, check):
    read(check, "1", "gap", "2.40", by=people["builder"])
    other = read(check, "1", "gap", "1.00", by=people["builder"])
    said = {"check": str(check.entry_id), "station": "1", "kind": "gap"}
    said |= {"reading": str(other.entry_id), "reason": "square"}
    assert tablet.put("choose/1", "builder", said).status_code == 201
    disown(Entry.objects.get(form="choose/1"))
    assert not check.current.exists()
    assert state_of(check).does_not_conform == 0
    same_rebuilt()


def test_nothing_stands_in_a_check_whose_start_is_disowned(people, tablet, check):
    said = {"fitup": str(check.fit_up.entry_id), "finish": "finished"}
    answer = tablet.put("check/1", "builder", said)
    mine = check.__class__.objects.get(entry_id=answer.json()["act"])
    read(mine, "1", "gap", "2.00", by=people["lead"])
    assert state_of(mine).conforms == 1
    disown(mine.entry)
    state = state_of(mine)
    assert (state.void, state.conforms) == (True, 0)
    with pytest.raises(Refused, match="disowned"):
        read(mine, "2", "gap", "2.00", by=people["lead"])
    same_rebuilt()


def test_a_finished_check_falls_with_a_disowned_reading_and_opens_what_it_closed(
    people, tablet
):
    item, again = reworked(people, tablet)
    # Closed before claims were asked about: by hand, as an older release left it.
    NonconformanceState.objects.update(
        state="closed",
        recheck=again,
        closed_at="2026-11-28T08:00Z",
        verified_by=people["inspector"],
    )
    disown(Entry.objects.filter(form="reading/1", claimed=True).order_by("pk")[2])
    standing = NonconformanceState.objects.get()
    assert (standing.state, standing.recheck) == ("found", None)
    step = item.steps.latest("pk")
    assert "does not show it any more: station 3" in step.note
    assert state_of(again).conforms == 7
    assert again.finished.counts["conforms"] == 8


def test_only_the_person_confirms_once_and_never_by_a_claim(people, tablet, check):
    entry = tablet.reading(check, "1")
    with pytest.raises(PermissionDenied):
        claims.answer_claim(by=people["lead"], entry=entry, verdict="confirmed")
    said = {"of": str(entry.act), "verdict": "confirmed", "reason": ""}
    by_lead = tablet.put("confirm/1", "lead", said)
    assert by_lead.status_code == 403
    unproven = tablet.put("confirm/1", "builder", said)
    assert (unproven.status_code, unproven.json()["error"]["code"]) == (
        422,
        "not_proven",
    )
    assert not Confirmation.objects.exists()
    set_pin(people["builder"])
    assert tablet.prove("builder").status_code == 200
    assert not Confirmation.objects.exists()
    bare = tablet.put("confirm/1", "builder", {**said, "verdict": "disowned"})
    assert bare.json()["error"]["field"] == "reason"
    act = uuid.uuid4()
    first, again = (tablet.put("confirm/1", "builder", said, act) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    entry = Entry.objects.get(pk=entry.pk)
    assert (entry.authorship, entry.author) == ("confirmed", entry.by.name)
    with pytest.raises(Refused, match="already"):
        disown(entry)
    with pytest.raises(Refused, match="proven when"):
        confirm(check.entry)


def test_an_act_made_before_the_pin_was_proven_stays_claimed_when_sent_after(
    people, tablet, check
):
    set_pin(people["builder"])
    tablet.prove("builder")
    said = {"check": str(check.entry_id), "station": "1", "kind": "gap"}
    said |= {"outcome": "value", "value": "2.00", "unit": "mm"}
    tablet.put("reading/1", "builder", said, claimed=True)
    assert Entry.objects.get(form="reading/1").authorship == "claimed"
    odd = tablet.put("reading/1", "builder", said, claimed="no")
    assert odd.json()["error"]["code"] == "unreadable"


def test_a_leads_rescue_file_makes_no_unmarked_act_of_anybody(people, client_of, check):
    acts = []
    for n, by in enumerate(("builder", "lead"), start=1):
        said = {"check": str(check.entry_id), "station": str(n), "kind": "gap"}
        said |= {"outcome": "value", "value": "2.00", "unit": "mm"}
        body = {"form": "reading/1", "by": by, "said": said, "claimed": False}
        acts.append({"id": str(uuid.uuid4()), "seq": n, "body": body})
    confirming = {"of": acts[0]["id"], "verdict": "confirmed", "reason": ""}
    body = {"form": "confirm/1", "by": "builder", "said": confirming}
    acts.append({"id": str(uuid.uuid4()), "seq": 3, "body": body})
    file = {"format": "fayline-tablet/1", "outbox": acts, "sent": [], "photos": []}
    answer = client_of("lead").post(
        "/api/recover", file, content_type="application/json"
    )
    assert answer.json()["stored"] == 2
    assert [one["id"] for one in answer.json()["refused"]] == [acts[2]["id"]]
    assert all(one.claimed for one in Entry.objects.filter(form="reading/1"))
    assert not Confirmation.objects.exists()
    assert Person.objects.get(username="builder").pin == ""
