"""Nonconformances: contained, decided, worked, verified with a re-check, closed.

Who may do what in which state is qa.rules.item_life. Every act holds the row of its
item, so that of two people at once one wins and the other is told.
"""

from collections.abc import Iterable
from contextlib import contextmanager

from django.utils.translation import gettext as _

from qa.models import (
    Cause,
    Check,
    CheckState,
    Disposition,
    Nonconformance,
    NonconformanceState,
    NonconformanceStep,
    Severity,
    State,
)
from qa.rules import item_life, reworked
from qa.wording.findings import span
from shop import roles
from shop.actions import parts, suspects
from shop.actions.locks import locked
from shop.identifiers import KINDS
from shop.ledger import Refused, perform
from shop.models import Hold, Part, PartState, Person, Role

Verb = NonconformanceStep.Verb


def contain(
    *, by, item: Nonconformance, note: str, holds: Iterable = (), spreads: bool = False
) -> None:
    """Keep it from doing harm: tag it, put it aside; hold the part, its mold, its pull
    or a lot ("tool:3"); with `spreads` what came from those becomes suspect."""
    roles.require(by, item_life.MOVES[Verb.CONTAIN].right)
    holds = list(holds)
    if holds:
        roles.require(by, "hold things")
    if not note.strip():
        raise Refused(_("Say what was done: tagged, put where."), field="note")
    step = {"verb": Verb.CONTAIN, "note": note}
    with _moving(by, item, step, holds=holds, spreads=spreads) as (
        act,
        _standing,
        fact,
    ):
        reason = f"{item.airframe.serial} {item.label}: {note}"[:200]
        labels = [_hold(act, hold, reason, spreads).label for hold in holds]
        fact.told = ", ".join(labels)[:400]


def _hold(act, name: str, reason: str, spreads: bool) -> Hold:
    kind, _colon, key = str(name).partition(":")
    if kind not in suspects.HOLDABLE or not key.isdecimal():
        raise Refused(_("That cannot be held."), field="holds")
    try:
        return suspects.hold_in(act, kind, int(key), reason, spreads=spreads)
    except Refused as no:
        raise Refused(no.message, field="holds", code=no.code) from None


def explain(
    *, by, item: Nonconformance, cause: str, origin: str = "", note: str = ""
) -> None:
    """State the cause, and the thing of the chain that it came from ("tool:3")."""
    roles.require(by, item_life.MOVES[Verb.EXPLAIN].right)
    if cause not in Cause.values:
        raise Refused(_("Choose the cause."), field="cause")
    step = {"verb": Verb.EXPLAIN, "cause": cause, "note": note}
    if origin:
        step |= _origin(item, origin)
    with _moving(by, item, step):
        pass


def _origin(item: Nonconformance, origin: str) -> dict:
    """The thing of the chain, which is one that the item came from."""
    kind, _colon, key = origin.partition(":")
    if not key.isdecimal() or int(key) not in item_life.origins(item).get(kind, ()):
        raise Refused(_("The item did not come from that."), field="origin")
    row = KINDS[kind].rows().get(pk=key)
    words = f"{KINDS[kind].word} {row}"
    return {"origin_kind": kind, "origin_id": row.pk, "told": words[:400]}


def assign(
    *,
    by,
    item: Nonconformance,
    holder: Person,
    severity: str = "",
    blocking: bool = False,
    due=None,
    note: str = "",
) -> None:
    """Say who has it, by when, how bad it is and whether it blocks what comes next."""
    roles.require(by, item_life.MOVES[Verb.ASSIGN].right)
    if severity not in Severity.values:
        raise Refused(_("Choose how severe it is."), field="severity")
    if not holder.is_active or holder.role == Role.VISITOR:
        raise Refused(_("Hand it to somebody who works here."), field="holder")
    content = {"holder": holder, "severity": severity, "blocking": blocking, "due": due}
    with _moving(by, item, {"verb": Verb.ASSIGN, "note": note, **content}):
        pass


def dispose(
    *, by, item: Nonconformance, disposition: str, note: str, concession: str = ""
) -> None:
    """Decide what is done with an item.

    Use as is and repair need the engineer (design authority); on primary structure, or
    where nobody knows what structure it is, also a stated justification and who granted
    the concession. Scrap marks the serial for good, with a reason.
    """
    dispose_all(
        by=by,
        items=[item],
        disposition=disposition,
        note=note,
        concession=concession,
    )


def dispose_all(
    *, by, items: list[Nonconformance], disposition: str, note: str, concession=""
) -> None:
    """Decide several items in one act, when they are one thing: all, or none."""
    roles.require(by, item_life.MOVES[Verb.DISPOSE].right)
    if not items:
        raise Refused(_("Choose the items."), field="items")
    if disposition not in Disposition.values:
        raise Refused(_("Choose a disposition."), field="disposition")
    if disposition not in item_life.dispositions_of(by):
        raise Refused(item_life.ENGINEERS, field="disposition")
    step = {
        "verb": Verb.DISPOSE,
        "disposition": disposition,
        "note": note,
        "concession": concession.strip(),
    }
    items = sorted(items, key=lambda item: item.pk)
    with _act(by, items, step) as act:
        for item in items:
            _require_stated(item, disposition, note, concession)
            with _step(act, item, step):
                _settle_serial(item, disposition)


def _require_stated(item, disposition: str, note: str, concession: str) -> None:
    if disposition == Disposition.SCRAP and not note.strip():
        raise Refused(_("Say why."), field="note")
    if disposition not in item_life.DESIGN_AUTHORITY or not item_life.needs_concession(
        item
    ):
        return
    where = _("On primary structure")
    if not item_life.structural_class(item):
        where = _("No part is named in %(item)s, so it counts as primary structure")
        where %= {"item": item.label}
    if not note.strip():
        raise Refused(
            _("%(where)s: state the justification.") % {"where": where}, field="note"
        )
    if not concession.strip():
        raise Refused(
            _("%(where)s: state the concession, who granted it and its number.")
            % {"where": where},
            field="concession",
        )


def _settle_serial(item: Nonconformance, disposition: str) -> None:
    """Scrap is for good: the serial is marked, and nothing else is decided of it."""
    if item.part is None:
        if disposition == Disposition.SCRAP:
            raise Refused(item_life.not_scrapped(item), field="disposition")
        return
    part = locked(Part(pk=item.part_id))
    if part.state == PartState.SCRAPPED:
        if disposition != Disposition.SCRAP:
            raise Refused(
                _("%(part)s was scrapped, for good.") % {"part": part},
                field="disposition",
            )
    elif disposition == Disposition.SCRAP:
        if why := item_life.not_scrapped(item):
            raise Refused(why, field="disposition")
        parts.mark_scrapped(part, field="disposition")


def work(*, by, item: Nonconformance, note: str) -> None:
    """Say that what was decided is done, and how."""
    roles.require(by, item_life.MOVES[Verb.WORK].right)
    if not note.strip():
        raise Refused(_("Say what was done."), field="note")
    with _moving(by, item, {"verb": Verb.WORK, "note": note}):
        pass


def verify(
    *, by, item: Nonconformance, recheck: Check | None = None, note: str = ""
) -> None:
    """Verify that it is done, by somebody who did not do it and did not decide alone:
    what was measured with a re-check of the same serials."""
    roles.require(by, item_life.MOVES[Verb.VERIFY].right)
    step = {"verb": Verb.VERIFY, "note": note, "recheck": recheck}
    with _moving(by, item, step) as (_act, standing, fact):
        _allow(by, item, standing, Verb.VERIFY)
        shown = reworked.require_shown(item, recheck, standing.disposition, note)
        fact.told = shown[:400]


def close(*, by, item: Nonconformance, note: str = "") -> None:
    """Close what was verified, and of which the cause is known."""
    roles.require(by, item_life.MOVES[Verb.CLOSE].right)
    step = {"verb": Verb.CLOSE, "note": note}
    with _moving(by, item, step) as (_act, standing, _fact):
        _allow(by, item, standing, Verb.CLOSE)


def _allow(by, item: Nonconformance, standing, verb: str) -> None:
    if why := item_life.refusal(item, standing, verb, by):
        raise Refused(why, field="note")


def reopen(*, by, item: Nonconformance, note: str) -> None:
    """Open an item again that was decided, with a reason."""
    roles.require(by, item_life.MOVES[Verb.REOPEN].right)
    if not note.strip():
        raise Refused(_("Say why it is opened again."), field="note")
    with _moving(by, item, {"verb": Verb.REOPEN, "note": note}):
        pass


def remark(*, by, item: Nonconformance, note: str, **envelope) -> None:
    """Add a remark; the item stays where it is."""
    roles.require(by, item_life.MOVES[Verb.REMARK].right)
    if not note.strip():
        raise Refused(_("Write the remark."), field="note")
    step = {"verb": Verb.REMARK, "note": note}
    envelope.setdefault("said", {"nonconformance": item.pk, "recheck": None, **step})
    with (
        perform("nonconformance_step/1", by=by, **envelope) as act,
        _step(act, item, step),
    ):
        pass


def after(step: NonconformanceStep, *, by_id: int | None, at) -> dict:
    """Return the columns of an item's standing that a step sets: the one way, in the
    act itself and when the projection is made again."""
    move = item_life.MOVES[step.verb]
    moved = {"last_entry_id": step.entry_id}
    if move.to:
        moved["state"] = move.to
    if step.verb == Verb.DISPOSE:
        moved |= {"disposition": step.disposition, "concession": step.concession}
        moved["disposed_by_id"] = by_id
    elif step.verb == Verb.EXPLAIN:
        names = ("cause", "origin_kind", "origin_id")
        moved |= {name: getattr(step, name) for name in names}
    elif step.verb == Verb.ASSIGN:
        names = ("severity", "blocking", "holder_id", "due")
        moved |= {name: getattr(step, name) for name in names}
    elif step.verb == Verb.WORK:
        moved["worked_by_id"] = by_id
    elif step.verb == Verb.VERIFY:
        moved |= {"verified_by_id": by_id, "recheck_id": step.recheck_id}
    elif step.verb == Verb.CLOSE:
        moved |= {"closed_by_id": by_id, "closed_at": at}
    elif step.verb == Verb.REOPEN:
        cleared = ("disposed_by_id", "worked_by_id", "verified_by_id", "recheck_id")
        moved |= dict.fromkeys((*cleared, "closed_by_id", "closed_at"))
        moved |= {"disposition": "", "concession": ""}
    elif step.verb == Verb.REMARK:
        return {}
    return moved


@contextmanager
def _act(by, items, step: dict, **more):
    """One act on some items, said in values that JSON holds."""
    recheck, holder = step.get("recheck"), step.get("holder")
    content = {
        "nonconformance": items[0].pk,
        **step,
        **more,
        "recheck": recheck and str(recheck.entry_id),
    }
    if holder:
        content |= {"holder": holder.username, "due": step["due"] and str(step["due"])}
    if len(items) > 1:
        content["nonconformances"] = [item.pk for item in items]
    with perform("nonconformance_step/1", by=by, said=content) as act:
        yield act


@contextmanager
def _moving(by, item, step: dict, **more):
    """An act of one step on one item."""
    with _act(by, [item], step, **more) as act, _step(act, item, step) as (row, fact):
        yield act, row, fact


@contextmanager
def _step(act, item: Nonconformance, step: dict):
    """Hold an item, let the block judge it, then record the step and move it on."""
    rows = NonconformanceState.objects.select_for_update(of=("self",), no_key=True)
    standing = rows.get(pk=item.pk)
    here = item_life.place_of(standing)
    if here not in item_life.MOVES[step["verb"]].come_from:
        raise Refused(
            _("%(item)s is %(here)s now; look at it again.")
            % {"item": item.label, "here": here},
            code="stale",
        )
    fact = NonconformanceStep(nonconformance=item, entry_id=act.id, **step)
    yield standing, fact
    act.record(fact)
    if moved := after(fact, by_id=act.by.pk, at=act.now):
        kept = NonconformanceState.objects.filter(pk=item.pk, state=standing.state)
        if not kept.update(**moved):
            raise Refused(
                _("Somebody moved this item in the meantime; look at it again."),
                code="stale",
            )


def open_what_is_not_shown(act, check: Check, state: CheckState) -> None:
    """Open again, in the running act, what was verified by a check that does not show
    it any more: a reading of it was disowned, or one that came late was counted in."""
    shown = NonconformanceState.objects.filter(
        recheck=check, state__in=(State.VERIFIED, State.CLOSED)
    )
    for nonconformance_state in shown.select_related("nonconformance"):
        item = nonconformance_state.nonconformance
        missing = reworked.not_shown(item, check, nonconformance_state.disposition)
        if not missing and not state.void:
            continue
        why = f"{check.label} does not show it any more"
        if missing:
            labels = dict.fromkeys(label for label, _kind in missing)
            why += f": {span(tuple(labels))}"
        with _step(act, item, {"verb": Verb.REOPEN, "note": why[:400]}):
            pass
