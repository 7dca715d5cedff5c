"""Corrections of a mold: decided, done (then a repair of the mold), or withdrawn; and
what was done on the plug by one."""

from datetime import date

from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import (
    CorrectionEnd,
    CorrectionEnding,
    PlugCorrection,
    ToolCorrection,
)
from qa.rules import mold_kin
from qa.rules.measuring_days import day_of
from qa.rules.mold_corrections import last_before
from shop import roles
from shop.actions.locks import locked
from shop.actions.numbers import next_number
from shop.actions.tooling import record_repair, refuse_odd_pull
from shop.ledger import Refused, perform
from shop.models import Pull, Tool, ToolDefect


def take(*, by, correction: ToolCorrection, note: str = "") -> ToolCorrection:
    """Freeze what is to be corrected (drafted by rules.mold_corrections)."""
    roles.require(by, "correct molds")
    tool, joint = correction.tool, correction.revision.joint_id
    content = {"tool": tool.code, "digest": correction.digest, "note": note}
    with perform("correction/1", by=by, said=content) as act:
        locked(tool)
        open_ones = ToolCorrection.objects.filter(tool=tool, end__isnull=True)
        standing = open_ones.filter(revision__joint=joint).first()
        if standing:
            message = _("%(label)s is to be done or withdrawn first.")
            raise Refused(message % {"label": standing.label}, code="conflict")
        correction.number = next_number("correction")
        correction.note = note
        act.record(correction)
        act.result = {"correction": correction.label}
    return correction


def record_done(
    *,
    by,
    correction: ToolCorrection,
    what: str,
    place: str,
    note: str,
    before_pull: int | None = None,
) -> CorrectionEnd:
    """The mold was corrected: a defect and its repair on the mold's own record, so that
    the pull before which it was done, the next unless it is said, is the first after a
    repair. what, place: the defect in words."""
    roles.require(by, "work on tooling")
    if not note.strip():
        raise Refused(_("Say how it was done."), field="note")
    label = correction.label
    content = {"correction": label, "note": note, "before_pull": before_pull}
    with perform("correction_done/1", by=by, said=content) as act:
        tool = locked(correction.tool)
        _refuse_ended(correction)
        refuse_odd_pull(tool, before_pull, correction.last_pull)
        _refuse_before_decided(correction, before_pull)
        first = min(fit["pull"] for fit in correction.content["inputs"])
        defect = act.record(
            ToolDefect(
                tool=tool,
                what=what[:200],
                place=place,
                first_pull=Pull.objects.get(tool=tool, number=first),
            )
        )
        repair = record_repair(act, tool, defect, f"{label}: {note}", before_pull)
        end = act.record(
            CorrectionEnd(
                correction=correction,
                how=CorrectionEnding.DONE,
                repair=repair,
                last_pull=tool.last_pull if before_pull is None else before_pull - 1,
                note=note,
            )
        )
        act.result = {"correction": correction.label}
    return end


def _refuse_before_decided(correction: ToolCorrection, before_pull: int | None) -> None:
    """Refuse that it was done before a pull that was started before it was decided."""
    if before_pull is None or before_pull > last_before(correction):
        return
    message = _("Pull %(n)s was started before %(label)s was decided.")
    words = {"n": before_pull, "label": correction.label}
    raise Refused(message % words, field="before_pull")


def record_on_plug(
    *,
    by,
    correction: ToolCorrection,
    what: str,
    place: str,
    note: str,
    done_on: date | None = None,
) -> PlugCorrection:
    """The plug was corrected where the correction names it: a defect and its repair on
    the plug's own record. what, place: the defect in words; done_on: the day of it in
    the shop, today unless it is said."""
    roles.require(by, "work on tooling")
    if not note.strip():
        raise Refused(_("Say how it was done."), field="note")
    today = timezone.localdate()
    done_on = done_on or today
    _refuse_odd_day(done_on, today, correction)
    with perform("plug_corrected/1", by=by) as act:
        correction.tool = locked(correction.tool)
        _refuse_no_plug(correction)
        plug = locked(correction.tool.plug)
        label, day = correction.label, str(done_on)
        act.said = {"correction": label, "plug": plug.code, "note": note, "day": day}
        _refuse_done_on_plug(correction, plug)
        defect = act.record(ToolDefect(tool=plug, what=what[:200], place=place))
        of_day = label if done_on == today else f"{label}, {done_on}"
        repair = record_repair(act, plug, defect, f"{of_day}: {note}")
        row = PlugCorrection(
            correction=correction, repair=repair, note=note, done_on=done_on
        )
        act.record(row)
        act.result = {"correction": correction.label}
    return row


def _refuse_odd_day(done_on: date, today: date, correction: ToolCorrection) -> None:
    """Refuse a day to come, and one before the correction was decided."""
    if done_on > today:
        raise Refused(_("This day is still to come."), field="done_on")
    decided = day_of(correction.entry.received_at)
    if done_on < decided:
        message = _("%(label)s was decided on %(day)s: it was not done before.")
        words = {"label": correction.label, "day": decided}
        raise Refused(message % words, field="done_on")


def _refuse_no_plug(correction: ToolCorrection) -> None:
    """Refuse where there is no plug, or another one than it was told of."""
    kin, plug = mold_kin.from_record(correction.content), correction.tool.plug
    words = {"label": correction.label, "tool": correction.tool.code}
    if plug is None or not mold_kin.named_of(correction.content):
        raise Refused(_("%(label)s names nothing of a plug.") % words)
    if not kin.is_of(plug):
        message = _("%(label)s is told of %(then)s; %(tool)s is from %(now)s by now.")
        raise Refused(message % {**words, "then": kin.plug, "now": plug.code})


def _refuse_done_on_plug(correction: ToolCorrection, plug: Tool) -> None:
    """Refuse what is withdrawn, and what is on record of the plug, by this correction
    or another."""
    end = CorrectionEnd.objects.filter(correction=correction).first()
    if end and end.how == CorrectionEnding.WITHDRAWN:
        raise Refused(_("%s is withdrawn.") % correction.label, code="done")
    done = mold_kin.plug_done({plug.pk})
    if any(past.row.correction_id == correction.pk for past in done):
        message = _("%(label)s is on record of its plug already.")
        raise Refused(message % {"label": correction.label}, code="done")
    made = mold_kin.made_at([correction.tool])[correction.tool_id]
    left, others = mold_kin.left_on_plug(correction, done, made)
    if not left:
        message = _("%(plug)s was corrected there already, by %(others)s.")
        labels = ", ".join(other.label for other in others)
        raise Refused(message % {"plug": plug.code, "others": labels}, code="done")


def withdraw(*, by, correction: ToolCorrection, note: str) -> CorrectionEnd:
    """It is not to be done."""
    roles.require(by, "correct molds")
    if not note.strip():
        raise Refused(_("Say why it is withdrawn."), field="note")
    content = {"correction": correction.label, "note": note}
    with perform("correction_withdrawn/1", by=by, said=content) as act:
        tool = locked(correction.tool)
        _refuse_ended(correction)
        end = act.record(
            CorrectionEnd(
                correction=correction,
                how=CorrectionEnding.WITHDRAWN,
                last_pull=tool.last_pull,
                note=note,
            )
        )
        act.result = {"correction": correction.label}
    return end


def _refuse_ended(correction: ToolCorrection) -> None:
    ended = CorrectionEnd.objects.filter(correction=correction).first()
    if ended:
        words = {"label": correction.label, "how": ended.get_how_display()}
        raise Refused(_("%(label)s is %(how)s already.") % words, code="done")
