"""Today: what stands open in the shop, for whoever opens the front page."""

from dataclasses import dataclass

from qa.models import CheckState, NonconformanceState, State

from . import checks, nonconformances

FEW = 6


@dataclass(frozen=True)
class Today:
    """Open checks and items, the newest few of each."""

    open_checks: list[checks.CheckRow]
    open_check_count: int
    items: list[nonconformances.ItemRow]
    item_count: int


def today(person) -> Today:
    """Return what is open, in a constant number of statements."""
    open_checks = checks.checks(state=CheckState.State.OPEN)
    items = nonconformances.nonconformances(state="unclosed")
    return Today(
        open_checks=[checks.check_row(one) for one in open_checks[:FEW]],
        open_check_count=CheckState.objects.filter(state="open").count(),
        items=[nonconformances.item_row(one) for one in items[:FEW]],
        item_count=NonconformanceState.objects.exclude(state=State.CLOSED).count(),
    )
