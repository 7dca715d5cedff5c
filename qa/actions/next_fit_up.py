"""What a trim, a move and a shim have in common: each opens the next fit-up."""

from django.utils.translation import gettext as _

from qa.actions import fitups
from qa.models import AppliedMove, Check, FitPlan, FitUp
from qa.rules.moved import Moved
from shop.actions.locks import hold_row
from shop.ledger import Refused
from shop.models import Part


def hold_still(fit_ups: list[FitUp], plan: FitPlan | None = None) -> dict[int, FitUp]:
    """Lock the parts on both sides, and refuse what was planned before the last change.

    Return the newest fit-up of each: another one where the plan itself was cut before.
    """
    parts = {fit_up.part_id for fit_up in fit_ups}
    parts |= {fit_up.surround_part_id for fit_up in fit_ups} - {None}
    for part in sorted(parts):
        hold_row(Part, part)
    own = set()
    if plan:
        own = set(plan.opened.values_list("pk", flat=True))
    newest = {}
    for fit_up in fit_ups:
        rows = FitUp.objects.filter(airframe=fit_up.airframe_id, joint=fit_up.joint_id)
        since = rows.filter(number__gt=fit_up.number).select_related(
            "revision", "part__design", "surround_part__design"
        )
        since = list(since.order_by("number"))
        other = [later for later in since if later.pk not in own]
        if other or (since and since[-1].revision_id != fit_up.revision_id):
            raise Refused(
                _(
                    "This is of fit-up %(number)s; fit-up %(newest)s was "
                    "opened since. Measure again before the next step."
                )
                % {"number": fit_up.number, "newest": since[-1].number},
                code="stale",
            )
        newest[fit_up.pk] = since[-1] if since else fit_up
    return newest


def open_next(
    *,
    by,
    fit_ups: list[FitUp],
    reason: str,
    note: str = "",
    plan: FitPlan | None = None,
) -> list[FitUp]:
    """Open the next fit-up of each joint, held and free to move as before."""
    rows = FitUp.objects.select_related(
        "airframe", "joint__current", "part", "surround_part"
    ).in_bulk([fit_up.pk for fit_up in fit_ups])
    return [
        fitups.open_fit_up(
            by=by,
            airframe=row.airframe,
            joint=row.joint,
            part=row.part,
            surround_part=row.surround_part,
            reason=reason,
            held=row.held,
            motions=row.motions,
            note=note,
            plan=plan,
        )
        for row in (rows[fit_up.pk] for fit_up in fit_ups)
    ]


def record_moves(
    act,
    checks: list[Check],
    moved: Moved | None,
    kind: str,
    plan: FitPlan | None,
    reason: str = "",
) -> None:
    """Record one move at every joint that it was planned for. reason: why it was done
    by a plan that is overtaken."""
    if moved is None:
        return
    places = [(row, row.fit_up, moved.changes.get(row.fit_up_id, {})) for row in checks]
    for check, changes in moved.beside:
        if fit_up := _beside(check, changes):
            places.append((check, fit_up, changes))
    for check, fit_up, changes in places:
        act.record(
            AppliedMove(
                fit_up=fit_up,
                fit_check=check,
                plan=plan,
                kind=kind,
                words=moved.words[:400],
                amounts=moved.amounts,
                changes=changes,
                reason=reason,
            )
        )


def _beside(check: Check, changes: dict) -> FitUp | None:
    """The fit-up that stands at a joint at which a moved part is the surround, which
    the move does not end by itself; None where the move does nothing to it."""
    planned = check.fit_up
    rows = FitUp.objects.filter(airframe=planned.airframe_id, joint=planned.joint_id)
    now = rows.order_by("-number").first()
    same = now.part_id == planned.part_id and now.revision_id == planned.revision_id
    return now if same and any(any(pair) for pair in changes.values()) else None
