"""Routes of tools: what a tool waits for, and who may do a step."""

from shop import roles
from shop.models import Person, Role, Tool, ToolState

ENDED = (ToolState.RETIRED, ToolState.RETURNED)


def wait_for_next_step(tool: Tool, now) -> None:
    """Point the tool at the first step of its route that was not done yet."""
    step = tool.steps.filter(done=0).first()
    if (step and step.pk) != tool.waits_for_id or tool.waits_since is None:
        tool.waits_since = now
    tool.waits_for = step
    if step is None:
        tool.waits_since = None


def may_take(person: Person, step) -> bool:
    """Tell whether a person may do a step; the lead may do any."""
    if not roles.may(person, "look"):
        return False
    if person.role == Role.LEAD:
        return True
    if step.role:
        return person.role == step.role
    return roles.may(person, "work on tooling")
