"""Routes of tools: the template per kind, and steps done on a tool."""

from django.db.models import Exists, OuterRef
from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.ledger.bodies import json_body
from shop.models import Person, Role, RouteStep, StepDone, Tool, ToolKind, ToolStep
from shop.rules.reasons import ask_why, lot_warnings
from shop.rules.routes import ENDED, may_take, wait_for_next_step

from .locks import locked
from .tooling import give_route

# The usual way (common practice, no source); a shop edits it.
USUAL = {
    ToolKind.PLUG: (
        "rough",
        "skin",
        "fill",
        "mill",
        "prime",
        "guide coat",
        "sand 180",
        "sand 320",
        "sand 600",
        "seal",
        "polish",
    ),
    ToolKind.MOLD: (
        "release",
        "lay up",
        "cure",
        # While the plug still holds its shape: a mold that stiffens afterwards keeps
        # whatever it sprang to.
        "stiffen",
        "demold",
        "trim",
        "clean",
        "inspect",
    ),
}


def _catch_up(kinds, now) -> list[str]:
    """Give their route to the tools of these kinds that came before it; their codes."""
    routed = ToolStep.objects.filter(tool=OuterRef("pk"))
    rows = Tool.objects.filter(~Exists(routed), kind__in=kinds).exclude(state__in=ENDED)
    lock = rows.select_for_update(of=("self",), no_key=True).order_by("pk")
    templates: dict = {}
    for step in RouteStep.objects.filter(kind__in=kinds):
        templates.setdefault(step.kind, []).append(step)
    # Asked again of each one: somebody may have given it a step before the lock.
    given = [
        tool for tool in lock if tool.kind in templates and not tool.steps.exists()
    ]
    for tool in given:
        give_route(tool, templates[tool.kind], now)
    return [tool.code for tool in given]


def write_usual_routes(*, by: Person) -> int:
    """Fill the templates that are still empty with the usual steps; return how many.

    A tool that came before its route gets it.
    """
    roles.require(by, "define tooling")
    with perform("usual_routes/1", by=by) as act:
        rows = []
        for kind, names in USUAL.items():
            if not RouteStep.objects.filter(kind=kind).exists():
                rows += [
                    RouteStep(
                        kind=kind,
                        order=10 * place,
                        name=name,
                        role=Role.INSPECTOR if name == "inspect" else "",
                    )
                    for place, name in enumerate(names, 1)
                ]
        RouteStep.objects.bulk_create(rows)
        tools = _catch_up({row.kind for row in rows}, act.now)
        act.result = {"steps": len(rows), "tools": tools}
    return len(rows)


def set_route(*, by: Person, kind: str, steps: list[tuple[str, str]]) -> list[str]:
    """Replace the template of a kind. Tools that have their route keep it, those that
    came before there was any get this one: their codes are returned.

    steps: (name, role or "") in order.
    """
    roles.require(by, "define tooling")
    content = {"kind": kind, "steps": [list(step) for step in steps]}
    with perform("route/1", by=by, said=content) as act:
        RouteStep.objects.filter(kind=kind).delete()
        for place, (name, role) in enumerate(steps, 1):
            step = RouteStep(kind=kind, order=10 * place, name=name, role=role)
            step.full_clean()
            step.save()
        tools = _catch_up([kind], act.now)
        act.result = {"tools": tools}
    return tools


def add_step(*, by: Person, tool: Tool, name: str, order: int, role: str = ""):
    """Add a step to the route of one tool."""
    roles.require(by, "define tooling")
    content = {"tool": tool.code, "name": name, "order": order, "role": role}
    with perform("tool_step/1", by=by, said=content) as act:
        tool = locked(tool)
        step = ToolStep(tool=tool, name=name, order=order, role=role)
        step.full_clean()
        step.save()
        wait_for_next_step(tool, act.now)
        tool.save(update_fields=["waits_for", "waits_since"])
    return step


def _check_step(tool: Tool, step: ToolStep, by: Person, done_at, now) -> list[str]:
    if tool.state in ENDED:
        state = tool.get_state_display()
        raise Refused(_("The tool is %(state)s.") % {"state": state})
    if not may_take(by, step):
        role = step.get_role_display()
        raise Refused(_("This step is for the %(role)s.") % {"role": role})
    if done_at > now:
        raise Refused(_("That time is still to come."), field="done_at")
    if step.done:
        return [_("This step was done already.")]
    if tool.waits_for_id and tool.waits_for_id != step.pk:
        return [_("%(step)s comes first.") % {"step": tool.waits_for.name.capitalize()}]
    return []


def do_step(
    *,
    by: Person,
    step: ToolStep,
    done_at=None,
    reason: str = "",
    product: str = "",
    lot=None,
    mix: str = "",
    temperature: int | None = None,
    humidity: int | None = None,
    minutes: int | None = None,
    note: str = "",
    photo=None,
) -> StepDone:
    """Record that a step was done; again or out of turn only with a reason.

    temperature in 0.001 degC, humidity in 0.01 %.
    """
    roles.require(by, "take steps")
    known = {
        "product": product,
        "lot": lot,
        "mix": mix,
        "temperature": temperature,
        "humidity": humidity,
        "minutes": minutes,
        "note": note,
        "photo": photo,
        "reason": reason,
    }
    content = json_body(step=step.pk, done_at=done_at, **known)
    with perform("step/1", by=by, said=content) as act:
        tool = locked(step.tool)
        step = tool.steps.get(pk=step.pk)
        done_at = done_at or act.now
        warnings = _check_step(tool, step, by, done_at, act.now)
        day = timezone.localdate(done_at)
        ask_why(warnings + lot_warnings([lot], day), reason)
        fact = act.record(StepDone(tool=tool, step=step, done_at=done_at, **known))
        step.done += 1
        step.save(update_fields=["done"])
        wait_for_next_step(tool, done_at)
        tool.save(update_fields=["waits_for", "waits_since"])
    return fact
