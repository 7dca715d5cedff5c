"""Plugs, molds, jigs and things on loan: what is done to a tool as a whole."""

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import (
    DefectRepair,
    Person,
    Pull,
    RouteStep,
    Tool,
    ToolAct,
    ToolActKind,
    ToolDefect,
    ToolKind,
    ToolState,
    ToolStep,
)
from shop.rules.routes import ENDED, wait_for_next_step

from .locks import locked
from .parts import OPPOSITE


def add_tool(*, by: Person, kind: str, code: str, name: str, **fields) -> Tool:
    """Give a tool its identity and its route, copied from the template of its kind.

    fields: hand, mirror, design, surface_revision, plug, place, condition, owner,
    on_loan_since, due_back, service_interval, expected_life, cost, calibration_due,
    made_at.
    """
    roles.require(by, "define tooling")
    content = {"kind": kind, "code": code, "name": name} | _plain(fields)
    with perform("tool/1", by=by, said=content) as act:
        fields.setdefault("made_at", None)
        tool = Tool(kind=kind, code=code, name=name, **fields)
        tool.made_at = tool.made_at or act.now
        _check_tool(tool)
        tool.full_clean()
        tool.save()
        _link_mirror(tool)
        give_route(tool, RouteStep.objects.filter(kind=kind), tool.made_at)
        act.result = {"tool": tool.pk}
    return tool


def give_route(tool: Tool, template, since) -> None:
    """Copy the steps of a template to a tool that has none; it waits for the first."""
    steps = [
        ToolStep(tool=tool, order=step.order, name=step.name, role=step.role)
        for step in template
    ]
    ToolStep.objects.bulk_create(steps)
    wait_for_next_step(tool, since)
    tool.save(update_fields=["waits_for", "waits_since"])


def change_tool(*, by: Person, tool: Tool, **fields) -> Tool:
    """Correct what is known of a tool's identity; its history stays."""
    roles.require(by, "define tooling")
    content = {"tool": tool.code} | _plain(fields)
    with perform("tool_change/1", by=by, said=content):
        tool = locked(tool)
        for name, value in fields.items():
            setattr(tool, name, value)
        _check_tool(tool)
        tool.full_clean()
        tool.save(update_fields=list(fields))
        _link_mirror(tool)
    return tool


def _plain(fields: dict) -> dict:
    return {k: v if isinstance(v, int) else str(v or "") for k, v in fields.items()}


def _check_tool(tool: Tool) -> None:
    if tool.plug and tool.kind != ToolKind.MOLD:
        raise Refused(_("Only a mold comes from a plug."), field="plug")
    if tool.plug and tool.plug.kind not in (ToolKind.PLUG, ToolKind.MOLD):
        raise Refused(_("That is no plug."), field="plug")
    if tool.mirror and tool.mirror.hand != OPPOSITE.get(tool.hand):
        raise Refused(_("A mirror must be of the other hand."), field="mirror")
    if tool.mirror and tool.mirror.mirror_id not in (None, tool.pk):
        raise Refused(_("It mirrors another tool already."), field="mirror")
    if tool.kind == ToolKind.LOAN and not tool.owner:
        raise Refused(_("Say whose it is."), field="owner")


def _link_mirror(tool: Tool) -> None:
    others = Tool.objects.filter(mirror=tool).exclude(pk=tool.mirror_id)
    others.update(mirror=None)
    if tool.mirror_id:
        Tool.objects.filter(pk=tool.mirror_id).update(mirror=tool)


def act_on_tool(
    *, by: Person, tool: Tool, kind: str, note: str = "", until=None
) -> ToolAct:
    """Move, service, calibrate, strip, revise, retire or give back a tool."""
    verb = "define tooling" if kind == ToolActKind.RETIRED else "work on tooling"
    roles.require(by, verb)
    content = {"tool": tool.code, "kind": kind, "note": note, "until": str(until or "")}
    with perform("tool_act/1", by=by, said=content) as act:
        tool = locked(tool)
        _check_act(tool, kind, note, until)
        fact = act.record(ToolAct(tool=tool, kind=kind, note=note, until=until))
        changed = _follow_act(tool, kind, note, until, act.now)
        if changed:
            tool.save(update_fields=changed)
    return fact


NEEDS_NOTE = {
    ToolActKind.RETIRED,
    ToolActKind.MOVED,
    ToolActKind.CONDITION,
    ToolActKind.STRIPPED,
    ToolActKind.REVISED,
}


def _check_act(tool: Tool, kind: str, note: str, until) -> None:
    if tool.state in ENDED and kind != ToolActKind.LENT:
        state = tool.get_state_display()
        raise Refused(_("It is %(state)s.") % {"state": state}, field="kind")
    if kind in NEEDS_NOTE and not note.strip():
        raise Refused(_("Say where, what or why."), field="note")
    if kind in (ToolActKind.LENT, ToolActKind.RETURNED) and tool.kind != ToolKind.LOAN:
        raise Refused(_("It is the shop's own."), field="kind")
    if kind == ToolActKind.CALIBRATED and until is None:
        raise Refused(_("Say until when it is calibrated."), field="until")


def _follow_act(tool: Tool, kind: str, note: str, until, now) -> list[str]:
    """Set what the act changes of the tool's present state; name the columns."""
    changes = {
        ToolActKind.RETIRED: {"state": ToolState.RETIRED, "state_reason": note},
        ToolActKind.RETURNED: {"state": ToolState.RETURNED, "state_reason": note},
        ToolActKind.LENT: {
            "state": ToolState.IN_USE,
            "state_reason": "",
            "on_loan_since": now.date(),
            "due_back": until,
        },
        ToolActKind.MOVED: {"place": note[:80]},
        ToolActKind.CONDITION: {"condition": note},
        ToolActKind.SERVICED: {"pulls_since_service": 0},
        ToolActKind.CALIBRATED: {"calibration_due": until},
        ToolActKind.REVISED: {"surface_revision": note[:12]},
        ToolActKind.STRIPPED: {
            "surface": tool.surface + 1,
            "coats": 0,
            "last_coat": None,
            "pulls_since_wax": 0,
        },
    }[kind]
    for name, value in changes.items():
        setattr(tool, name, value)
    return list(changes)


def note_defect(
    *,
    by: Person,
    tool: Tool,
    what: str,
    place: str,
    first_pull: Pull | None = None,
    photo=None,
    x_ppm: int | None = None,
    y_ppm: int | None = None,
) -> ToolDefect:
    """Note a blemish at its place on a tool, with the first pull that shows it."""
    roles.require(by, "work on tooling")
    content = {
        "tool": tool.code,
        "what": what,
        "place": place,
        "first_pull": first_pull and first_pull.number,
        "photo": photo and photo.pk,
        "at": [x_ppm, y_ppm],
    }
    with perform("tool_defect/1", by=by, said=content) as act:
        if first_pull and first_pull.tool_id != tool.pk:
            raise Refused(_("That pull is of another mold."), field="first_pull")
        defect = ToolDefect(
            tool=tool,
            what=what,
            place=place,
            first_pull=first_pull,
            photo=photo,
            x_ppm=x_ppm,
            y_ppm=y_ppm,
        )
        return act.record(defect)


def repair_defect(
    *, by: Person, defect: ToolDefect, note: str, before_pull: int | None = None
) -> DefectRepair:
    """Note the repair; the mold's pull before which it was done, the next unless it is
    said, is marked as the first after it."""
    roles.require(by, "work on tooling")
    content = {"defect": defect.pk, "note": note, "before_pull": before_pull}
    with perform("defect_repair/1", by=by, said=content) as act:
        tool = locked(defect.tool)
        if DefectRepair.objects.filter(defect=defect).exists():
            raise Refused(_("It was repaired already."), code="conflict")
        if not note.strip():
            raise Refused(_("Say how."), field="note")
        shown_at = defect.first_pull.number if defect.first_pull else 0
        refuse_odd_pull(tool, before_pull, shown_at)
        return record_repair(act, tool, defect, note, before_pull)


def refuse_odd_pull(tool: Tool, before_pull: int | None, shown_at: int) -> None:
    """Refuse a repair before a pull that is still to come, or before one that shows
    what was repaired. shown_at: that pull's number, 0 where none is said."""
    if before_pull is None:
        return
    words = {"n": shown_at, "next": tool.last_pull + 1}
    if before_pull > tool.last_pull + 1:
        message = _("The next pull is number %(next)s.")
        raise Refused(message % words, field="before_pull")
    if before_pull <= shown_at:
        message = _("Pull %(n)s shows it: it was repaired after that.")
        raise Refused(message % words, field="before_pull")


def record_repair(
    act, tool: Tool, defect: ToolDefect, note: str, before_pull: int | None = None
) -> DefectRepair:
    """Record a repair inside of an act that holds the tool."""
    late = before_pull is not None and before_pull <= tool.last_pull
    words = _("before pull %(n)s: %(note)s") % {"n": before_pull, "note": note}
    repair = act.record(DefectRepair(defect=defect, note=words if late else note))
    if late:
        pull = Pull.objects.get(tool=tool, number=before_pull)
        pull.after_repair = True
        pull.save(update_fields=["after_repair"])
    else:
        tool.repaired = True
        tool.save(update_fields=["repaired"])
    return repair
