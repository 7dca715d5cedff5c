"""Holds: a link of the chain is not trusted, and what is downstream waits."""

from django.utils.translation import gettext as _

from shop import roles
from shop.identifiers import KINDS
from shop.ledger import Refused, perform
from shop.models import (
    Decision,
    Hold,
    HoldAct,
    Lot,
    LotState,
    Part,
    PartState,
    Person,
    Placement,
    Suspect,
    SuspectDecision,
    Tool,
    ToolState,
)
from shop.rules.reach import ORDER
from shop.rules.suspicion import holds_above, parts_below

from .locks import locked

# Things with a state of their own: (model, held, in use).
HELD = {
    "tool": (Tool, ToolState.HELD, ToolState.IN_USE),
    "lot": (Lot, LotState.HELD, LotState.GOOD),
}
# An airframe is the end of the chain: nothing is downstream of it.
HOLDABLE = frozenset(ORDER) & frozenset(KINDS) - {"airframe"}


def put_on_hold(
    *, by: Person, kind: str, key: int, reason: str, spreads: bool = True
) -> Hold:
    """Hold a thing; with `spreads` every part it reached is suspect until decided."""
    roles.require(by, "hold things")
    content = {"kind": kind, "key": key, "reason": reason, "spreads": spreads}
    with perform("hold/1", by=by, said=content) as act:
        hold = hold_in(act, kind, key, reason, spreads=spreads)
        act.result = {"hold": hold.pk}
    return hold


def hold_in(act, kind: str, key: int, reason: str, *, spreads: bool) -> Hold:
    """Hold a thing inside a running act of somebody who may."""
    if kind not in HOLDABLE:
        raise Refused(_("That cannot be held."))
    row = KINDS[kind].rows().get(pk=key)
    if not reason.strip():
        raise Refused(_("Say why."), field="reason")
    if kind in HELD:
        model, held, good = HELD[kind]
        _set_state(model, key, good, held, reason)
    if Hold.objects.filter(
        subject_kind=kind, subject_id=key, lifted_entry=None
    ).exists():
        raise Refused(_("It is on hold already."), code="conflict")
    hold = Hold.objects.create(
        subject_kind=kind,
        subject_id=key,
        label=f"{KINDS[kind].word} {row}",
        reason=reason,
        spreads=spreads,
        entry_id=act.id,
    )
    act.record(HoldAct(hold=hold, reason=reason))
    if spreads:
        _mark(hold)
    return hold


def _set_state(model, key: int, before: str, after: str, reason: str) -> None:
    row = locked(model(pk=key))
    if row.state != before:
        message = _("It is %(state)s.")
        raise Refused(message % {"state": row.get_state_display()}, code="conflict")
    row.state = after
    columns = ["state"]
    if model is Tool:
        row.state_reason = reason
        columns.append("state_reason")
    row.save(update_fields=columns)


def _mark(hold: Hold) -> None:
    lock = Part.objects.select_for_update(of=("self",), no_key=True)
    parts = (
        lock.filter(pk__in=parts_below(hold))
        .exclude(state=PartState.SCRAPPED)
        .order_by("pk")
    )
    keys = [part.pk for part in parts]
    Suspect.objects.bulk_create(Suspect(hold=hold, part_id=key) for key in keys)
    Part.objects.filter(pk__in=keys).update(state=PartState.SUSPECT)


def inherit_doubts(part: Part, made_of) -> None:
    """A part made below a hold is suspect from the start: one decision each.

    made_of: the pull it came out of, or the parts it was bonded or cut from.
    """
    holds = holds_above(made_of)
    Suspect.objects.bulk_create(Suspect(hold_id=key, part=part) for key in holds)
    if holds:
        part.state = PartState.SUSPECT
        part.save(update_fields=["state"])


def lift_hold(*, by: Person, hold: Hold, reason: str) -> Hold:
    """Trust the thing again. Parts it marked still wait for their own decision."""
    roles.require(by, "hold things")
    with perform("hold_lifted/1", by=by, said={"hold": hold.pk, "reason": reason}) as (
        act
    ):
        hold = locked(hold)
        if hold.lifted_entry_id:
            raise Refused(_("It was lifted already."), code="conflict")
        if not reason.strip():
            raise Refused(_("Say why."), field="reason")
        if hold.subject_kind in HELD:
            model, held, good = HELD[hold.subject_kind]
            _set_state(model, hold.subject_id, held, good, "")
        act.record(HoldAct(hold=hold, lifted=True, reason=reason))
        hold.lifted_entry_id = act.id
        hold.save(update_fields=["lifted_entry"])
    return hold


def decide(
    *, by: Person, suspect: Suspect, decision: str, reason: str
) -> SuspectDecision:
    """Say that a suspect part is good, or scrap. The last open doubt frees it."""
    roles.require(by, "decide suspects")
    content = {"suspect": suspect.pk, "decision": decision, "reason": reason}
    with perform("decision/1", by=by, said=content) as act:
        part = locked(suspect.part)
        suspect = locked(suspect)
        if suspect.decided_entry_id:
            raise Refused(_("It was decided already."), code="conflict")
        if not reason.strip():
            raise Refused(_("Say why."), field="reason")
        if decision == Decision.SCRAP:
            roles.require(by, "scrap parts")
            if Placement.objects.filter(part=part, removed_at=None).exists():
                message = _("It sits on an airframe. Take it out first.")
                raise Refused(message, field="decision")
        fact = act.record(
            SuspectDecision(suspect=suspect, decision=decision, reason=reason)
        )
        suspect.decided_entry_id = act.id
        suspect.save(update_fields=["decided_entry"])
        _settle(part, decision)
    return fact


def _settle(part: Part, decision: str) -> None:
    if decision == Decision.SCRAP:
        part.state = PartState.SCRAPPED
    elif (
        part.state == PartState.SUSPECT
        and not part.suspicions.filter(decided_entry=None).exists()
    ):
        part.state = PartState.GOOD
    part.save(update_fields=["state"])
