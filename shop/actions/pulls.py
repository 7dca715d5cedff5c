"""Pulls: from the start of a lay-up to the parts that came out."""

from datetime import timedelta

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.ledger.bodies import json_body
from shop.models import (
    Demold,
    Lineage,
    Origin,
    Part,
    Person,
    Pull,
    PullState,
    Tool,
    ToolKind,
    ToolState,
    Work,
)
from shop.rules.reasons import ask_why
from shop.rules.release import clock, layup_warnings

from .layups import open_layup
from .locks import locked
from .parts import check_serial_is_free
from .suspects import inherit_doubts

IN_THE_MOLD = (PullState.LAID_UP, PullState.CURING)


def start_pull(
    *,
    by: Person,
    tool: Tool,
    laminate=None,
    started_at=None,
    temperature: int | None = None,
    humidity: int | None = None,
    reason: str = "",
) -> Pull:
    """Start a lay-up: the mold gives its next number, once.

    Refused on a mold that is held, retired or still full, and without a laminate. Too
    early after the last release coat, or with re-waxing or service due, a reason is
    asked for. temperature in 0.001 degC, humidity in 0.01 %.
    """
    roles.require(by, "make pulls")
    content = json_body(
        tool=tool,
        laminate=laminate,
        started_at=started_at,
        temperature=temperature,
        humidity=humidity,
        reason=reason,
    )
    with perform("pull/1", by=by, said=content) as act:
        # The number comes from the locked row: two who start at once get two numbers.
        tool = locked(tool)
        started_at = started_at or act.now
        _check_mold(tool, laminate, started_at, act.now)
        warnings = _other_design(tool, laminate) + layup_warnings(tool, started_at)
        ask_why(warnings, reason)
        tool.last_pull += 1
        pull = Pull.objects.create(
            tool=tool,
            number=tool.last_pull,
            laminate=laminate,
            started_entry_id=act.id,
            surface=tool.surface,
            after_repair=tool.repaired,
            reason=reason,
            temperature=temperature,
            humidity=humidity,
            started_at=started_at,
        )
        _count(tool)
        act.result = {"pull": pull.pk, "number": pull.number}
    return pull


def _other_design(tool: Tool, laminate) -> list[str]:
    if None in (tool.design_id, laminate.design_id):
        return []
    if tool.design_id == laminate.design_id:
        return []
    message = _("This laminate is for %(other)s, the mold makes %(design)s.")
    return [message % {"other": laminate.design, "design": tool.design}]


def _count(tool: Tool) -> None:
    """One more pull since the wax, the service and the last repair."""
    tool.pulls_since_wax += 1
    tool.pulls_since_service += 1
    tool.repaired = False
    counted = ["last_pull", "pulls_since_wax", "pulls_since_service", "repaired"]
    tool.save(update_fields=counted)


def _check_mold(tool: Tool, laminate, started_at, now) -> None:
    if tool.kind != ToolKind.MOLD:
        raise Refused(_("Parts are pulled from molds."), field="tool")
    if tool.state != ToolState.IN_USE:
        message = _("The mold is %(state)s: %(reason)s. It gives no pull.")
        values = {"state": tool.get_state_display(), "reason": tool.state_reason}
        raise Refused(message % values, code="held")
    if laminate is None:
        message = _("A pull needs its laminate: choose one, or define it first.")
        raise Refused(message, field="laminate")
    if started_at > now:
        raise Refused(_("That time is still to come."), field="started_at")
    if now := tool.pulls.filter(state__in=IN_THE_MOLD).first():
        message = _("Pull %(number)s is still in the mold.")
        raise Refused(message % {"number": now.number}, code="conflict")


def close_layup(*, by: Person, pull: Pull, closed_at=None, reason: str = "") -> Pull:
    """The lay-up is done and cures; the earliest release follows from its recipe."""
    roles.require(by, "make pulls")
    content = json_body(pull=pull, closed_at=closed_at, reason=reason)
    with perform("layup_closed/1", by=by, said=content) as act:
        pull = open_layup(pull)
        closed_at = closed_at or act.now
        if not pull.started_at <= closed_at <= act.now:
            message = _("That is before the start, or still to come.")
            raise Refused(message, field="closed_at")
        laid = pull.plies_laid.filter(planned=True).count()
        planned = pull.laminate.plies.count()
        warnings = []
        if laid < planned:
            message = _("%(laid)s of %(planned)s planned plies are on record.")
            warnings.append(message % {"laid": laid, "planned": planned})
        if not pull.batches.exists():
            warnings.append(_("No resin batch is on record."))
        ask_why(warnings, reason)
        recipe = pull.laminate.recipe
        pull.state, pull.closed_at = PullState.CURING, closed_at
        if recipe:
            pull.release_from = closed_at + timedelta(minutes=recipe.minutes_to_release)
        pull.save(update_fields=["state", "closed_at", "release_from"])
    return pull


def note_work(*, by: Person, pull: Pull, minutes: int, what: str = "") -> Work:
    """Add minutes of work to a pull."""
    roles.require(by, "make pulls")
    content = {"pull": pull.pk, "minutes": minutes, "what": what}
    with perform("work/1", by=by, said=content) as act:
        pull = locked(pull)
        work = act.record(Work(pull=pull, minutes=minutes, what=what))
        pull.minutes += minutes
        pull.save(update_fields=["minutes"])
    return work


def demold(
    *,
    by: Person,
    pull: Pull,
    release: str,
    demolded_at=None,
    where_stuck: str = "",
    reason: str = "",
) -> Demold:
    """Take the pull out; before its time, or with its cure not met, with a reason."""
    roles.require(by, "make pulls")
    content = json_body(
        pull=pull,
        demolded_at=demolded_at,
        release=release,
        where_stuck=where_stuck,
        reason=reason,
    )
    with perform("demold/1", by=by, said=content) as act:
        pull = locked(pull)
        demolded_at = demolded_at or act.now
        _check_demold(pull, release, where_stuck, demolded_at, act.now)
        warnings = []
        if pull.release_from and demolded_at < pull.release_from:
            message = _("Too early: it may come out from %(time)s.")
            warnings.append(message % {"time": clock(pull.release_from)})
        if pull.cure:
            warnings.append(pull.cure_doubt)
        ask_why(warnings, reason)
        fact = act.record(
            Demold(
                pull=pull,
                demolded_at=demolded_at,
                release=release,
                where_stuck=where_stuck,
                reason=reason,
            )
        )
        pull.state, pull.demolded_at = PullState.DEMOLDED, demolded_at
        pull.save(update_fields=["state", "demolded_at"])
    return fact


def _check_demold(pull: Pull, release, where_stuck, demolded_at, now) -> None:
    if pull.state == PullState.LAID_UP:
        raise Refused(_("Close the lay-up first."), code="conflict")
    if pull.state != PullState.CURING:
        raise Refused(_("It is out of the mold already."), code="conflict")
    if demolded_at > now:
        raise Refused(_("That time is still to come."), field="demolded_at")
    if demolded_at < pull.closed_at:
        message = _("The lay-up was closed at %(time)s: it came out after that.")
        values = {"time": clock(pull.closed_at)}
        raise Refused(message % values, field="demolded_at")
    if release != "clean" and not where_stuck.strip():
        raise Refused(_("Say where."), field="where_stuck")


def void_pull(*, by: Person, pull: Pull, reason: str) -> Pull:
    """Give a pull up that never became a part. Its number stays taken."""
    roles.require(by, "make pulls")
    with perform("pull_void/1", by=by, said={"pull": pull.pk, "reason": reason}):
        pull = locked(pull)
        if not reason.strip():
            raise Refused(_("Say why."), field="reason")
        if pull.state not in IN_THE_MOLD:
            raise Refused(_("It is out of the mold already."), code="conflict")
        pull.state, pull.void_reason = PullState.VOID, reason
        pull.save(update_fields=["state", "void_reason"])
    return pull


def yield_part(*, by: Person, pull: Pull, design, serial: str, note: str = "") -> Part:
    """Give a part that came out of a pull its serial. One pull can yield several."""
    roles.require(by, "register parts")
    content = {"pull": pull.pk, "design": str(design), "serial": serial, "note": note}
    with perform("yield/1", by=by, said=content) as act:
        pull = locked(pull)
        if pull.state != PullState.DEMOLDED:
            raise Refused(_("It is not out of the mold yet."), code="conflict")
        check_serial_is_free(serial)
        part = Part(design=design, serial=serial, note=note)
        part.full_clean()
        part.save()
        act.record(Lineage(part=part, kind=Origin.PULLED, pull=pull, note=note))
        inherit_doubts(part, pull)
        act.result = {"part": part.pk}
    return part
