"""Whether something can be offered as it is, and whether an inspector could accept what
was offered at all, with whatever remarks: the page and the act ask the same."""

from qa.models import Check, Nonconformance, OfferedJoint, State, Verdict
from qa.rules import acceptance, authorship, offering
from qa.rules.acceptance import Standing
from qa.rules.offering import Draft
from shop.ledger import Refused
from shop.models import PartState

OUTCOME = "outcome"
FIRST = {
    "unfinished": "finish its check first",
    "late": "decide on the readings that came in late first",
}


def not_offered(drafts: list[Draft]) -> Refused | None:
    """Why joints as they are now are not offered, together."""
    if not drafts:
        return Refused("Nothing of this was fitted yet: there is nothing to offer.")
    offered = _offered_before(drafts)
    for draft in drafts:
        number = draft.state.joint.number
        fit_up = draft.state.fit_up
        for part in filter(None, (fit_up.part, fit_up.surround_part)):
            if part.state == PartState.SCRAPPED:
                return Refused(f"{number}: {part} was scrapped, for good.")
        if not draft.measured:
            return Refused(f"{number}: nothing was measured since it was fitted.")
        for code, words in FIRST.items():
            if code in draft.body["short"]:
                return Refused(f"{number}: {words}.")
        before = offered.get(draft.state.joint.pk)
        waits = before and before.state == acceptance.OFFERED
        if waits and before.offered.digest == draft.row.digest:
            return Refused(
                f"{number} is offered already, as {before.offered.offer.label}.",
                code="done",
            )
    return None


def _offered_before(drafts: list[Draft]) -> dict[int, Standing]:
    """Where joints of one airframe stand that were offered before, by joint; in a
    constant number of statements."""
    rows = acceptance.newest().filter(
        joint__in=[draft.state.joint for draft in drafts],
        offer__airframe=drafts[0].state.airframe,
    )
    return {
        standing.offered.joint_id: standing
        for standing in acceptance.standings(rows).values()
    }


def refused(row: OfferedJoint) -> Refused | None:
    """Why an offered joint is not accepted, though it may be rejected."""
    body = row.content
    checks = Check.objects.filter(entry__in=[read["act"] for read in body["checks"]])
    for check in checks.select_related("fit_up__entry"):
        if why := authorship.refusal(check):
            return Refused(why, field=OUTCOME, code="claimed")
    if "suspect" in body["short"]:
        return Refused(
            "A serial is on hold or suspect: that is decided before it is accepted.",
            field=OUTCOME,
        )
    failing = [
        f"{line['station']} {line['kind']}" for line in offering.failing_lines(body)
    ]
    seconds = row.seconds.filter(verdict=Verdict.DOES_NOT_CONFORM)
    failing += [
        f"{second.station.label} {second.kind}"
        for second in seconds.select_related("station")
    ]
    if failing:
        return Refused(
            "What does not conform is decided and verified before it is accepted: "
            f"{', '.join(dict.fromkeys(failing))}.",
            field=OUTCOME,
        )
    # As they are now: what was verified since it was offered is done.
    items = Nonconformance.objects.filter(pk__in=[item[1] for item in body["items"]])
    done = (State.VERIFIED, State.CLOSED)
    undecided = [item.label for item in items.exclude(standing__state__in=done)]
    if undecided:
        return Refused(
            f"Not done yet: {', '.join(undecided)}. These are verified first.",
            field=OUTCOME,
        )
    return None
