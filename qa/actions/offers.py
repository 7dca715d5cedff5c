"""A joint, a part or a bay is offered for inspection; what is offered is frozen."""

from django.utils.translation import gettext as _

from qa.actions import raising
from qa.models import CheckState, Offer
from qa.rules import acceptable, offering
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Airframe, Part


def offer(
    *,
    by,
    airframe: Airframe,
    joint=None,
    part: Part | None = None,
    bay=None,
    shown: list[str] | None = None,
    note: str = "",
) -> Offer:
    """Offer what was shown (its digests) for inspection.

    What does not conform becomes items; what is stale, missing or not in the condition
    of acceptance is part of what is offered, and the inspector sees it.
    """
    roles.require(by, "offer work")
    row = Offer(airframe=airframe, joint=joint, part=part, bay=bay, note=note)
    what = {"joint": joint, "part": part, "bay": bay}
    content = {name: row.pk for name, row in what.items() if row}
    content |= {"airframe": airframe.serial, "shown": shown, "note": note}
    with perform("offer/1", by=by, said=content) as act:
        joints, never = offering.joints_of(airframe, **what)
        _hold(airframe, joints)
        every = offering.drafts(airframe, joints)
        drafts = [draft for draft in every if draft.measured]
        _refuse(drafts or every, shown)
        row.number = next_number("offer")
        unmeasured = [draft.state.joint for draft in every if not draft.measured]
        row.left_out = sorted(left_joint.number for left_joint in [*never, *unmeasured])
        row.full_clean(exclude=["entry"])
        act.record(row)
        items = []
        for order, draft in enumerate(drafts, start=1):
            draft.row.offer, draft.row.order = row, order
            act.record(draft.row)
            items += [
                raising.raise_in(act, check, finding)
                for check, finding in draft.to_raise
            ]
        labels = [item.label for item in items]
        act.result = {"offer": row.label, "nonconformances": labels}
    return row


def _hold(airframe: Airframe, joints) -> None:
    """Hold still what is offered: its serials and its checks, in the order of keys."""
    at = {"airframe": airframe, "joint__in": joints}
    fit_ups = airframe.fit_ups.filter(**at).values_list("part", "surround_part")
    serials = {key for pair in fit_ups for key in pair} - {None}
    lock = {"of": ("self",), "no_key": True}
    list(Part.objects.select_for_update(**lock).filter(pk__in=serials).order_by("pk"))
    checks = CheckState.objects.filter(
        fit_check__fit_up__airframe=airframe, fit_check__fit_up__joint__in=joints
    )
    list(checks.select_for_update(**lock).order_by("pk"))


def _refuse(drafts, shown: list[str] | None) -> None:
    if drafts and shown is not None and [draft.row.digest for draft in drafts] != shown:
        raise Refused(
            _("This changed while you looked at it. Look again, then offer it."),
            code="stale",
        )
    if no := acceptable.not_offered(drafts):
        raise no
