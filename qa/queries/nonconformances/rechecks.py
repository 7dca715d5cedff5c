"""The checks that can show that the work of an item is done."""

from django.db.models import Q, QuerySet

from qa.models import Check, Disposition, Nonconformance
from qa.rules import item_life

MOST_OLD = 4


def possible_rechecks(item: Nonconformance) -> QuerySet[Check]:
    """Return finished checks of the same joint, airframe and serials after the
    finding; where there was work to do, begun after it was recorded."""
    return _rechecks(item).filter(entry__pk__gt=_shown_after(item))


def too_old(item: Nonconformance) -> list[Check]:
    """The newest checks that would do, were they not begun before the work was
    recorded."""
    return list(_rechecks(item).filter(entry__pk__lte=_shown_after(item))[:MOST_OLD])


def _shown_after(item: Nonconformance) -> int:
    worked = item.standing.disposition in (Disposition.REWORK, Disposition.REPAIR)
    return item_life.last_worked(item) if worked else 0


def _rechecks(item: Nonconformance) -> QuerySet[Check]:
    if item.read_again or not (item.joint_id or item.part_id):
        return Check.objects.none()
    rows = Check.objects.filter(
        fit_up__airframe=item.airframe_id,
        state__state="finished",
        entry__pk__gt=item.entry.pk,
    )
    if item.joint_id:
        rows = rows.filter(fit_up__joint=item.joint_id)
    if item.fit_check_id:
        fit_up = item.fit_check.fit_up
        rows = rows.filter(
            number__gt=item.fit_check.number, fit_up__part=fit_up.part_id
        )
        if fit_up.surround_part_id:
            rows = rows.filter(fit_up__surround_part=fit_up.surround_part_id)
    elif item.part_id:
        rows = rows.filter(
            Q(fit_up__part=item.part_id) | Q(fit_up__surround_part=item.part_id)
        )
    return rows.select_related("fit_up__airframe", "state").order_by("-number")
