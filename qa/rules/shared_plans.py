"""What the plan of one part keeps of the parts that it was planned together with."""

from collections.abc import Iterable
from dataclasses import dataclass

from qa.models import FitPlan

FREE, HELD, FIXED = "free", "held", "fixed"


@dataclass(frozen=True)
class SharedPart:
    """A part of several: its serial, how it may go, and the joints that its own plan is
    of, by number."""

    serial: str
    how: str
    joints: tuple[str, ...]


@dataclass(frozen=True)
class Shared:
    """All parts of a plan of several, in the order in which to do them; `order` is the
    place of this one among those that have a plan, from 1.

    sits: all of them conform as they sit. share: how much of its move each goes with
    the next bites. outcome, complete, probability: of all joints together. touches:
    (station, nm) where this part and those before it, moved without the rest, would go
    into what they lie against.
    """

    parts: tuple[SharedPart, ...]
    order: int
    sits: bool
    share: float
    outcome: str
    complete: bool
    probability: float | None
    touches: tuple[tuple[str, int], ...] = ()

    @property
    def count(self) -> int:
        return sum(1 for part in self.parts if part.joints)

    @property
    def both(self) -> bool:
        """Whether they are two: of these nobody says "all 2"."""
        return self.count == 2


def sisters(plans: Iterable[FitPlan]) -> list[FitPlan]:
    """Plans with all that were taken by the same acts, in the order in which to do
    them: numbers go up in that order. One statement."""
    acts = {plan.entry_id for plan in plans if plan.pk}
    rows = FitPlan.objects.filter(entry__in=acts).select_related("part", "end")
    return list(rows.order_by("number"))


def others(plan: FitPlan) -> list[FitPlan]:
    """The plans that were taken together with one."""
    return [sister for sister in sisters([plan]) if sister.pk != plan.pk]
