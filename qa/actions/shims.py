"""Shims: the shop's stock, and the stacks that were put under a part."""

from django.utils.translation import gettext as _

from qa.actions import next_fit_up
from qa.models import (
    Check,
    FitUp,
    FitUpReason,
    MoveKind,
    ShimStack,
    ShimStock,
    StandingPlan,
)
from qa.rules.moved import Moved
from shop import roles
from shop.ledger import Refused, perform
from shop.numeric.units import to_mm

MOST_A_STACK = 12


def save_stock(
    *, by, stock: ShimStock | None = None, thickness_nm: int, name: str, in_use: bool
) -> ShimStock:
    """Add a thickness that the shop keeps, or change one."""
    roles.require(by, "keep materials")
    row = stock or ShimStock()
    row.thickness_nm, row.name, row.in_use = thickness_nm, name, in_use
    row.full_clean()
    content = {"thickness_nm": thickness_nm, "name": name, "in_use": in_use}
    with perform("shim_stock/1", by=by, said=content) as act:
        row.save()
        act.result = {"stock": row.pk}
    return row


def record_shims(
    *,
    by,
    check: Check,
    stacks: dict[str, list[int]],
    changes: dict[str, list[int]],
    **envelope,
) -> FitUp:
    """Record the stacks {point: [nm, ...]} now under the part; open the next fit-up.

    changes: {station: [gap nm, flushness nm]} that these stacks should bring.
    """
    roles.require(by, "cut parts")
    _check_stacks(check, stacks)
    words = ", ".join(f"{point} {_stack(shims)}" for point, shims in stacks.items())
    moved = Moved(
        f"shims: {words}",
        [
            {"name": point, "amount": f"{to_mm(sum(shims)):.3f}", "unit": "mm"}
            for point, shims in stacks.items()
        ],
        {check.fit_up_id: changes},
    )
    envelope.setdefault(
        "said", {"check": str(check.entry_id), "stacks": stacks, "changes": changes}
    )
    with perform("shim/1", by=by, **envelope) as act:
        next_fit_up.hold_still([check.fit_up])
        standing = StandingPlan.objects.filter(
            airframe=check.fit_up.airframe_id, part=check.fit_up.part_id
        ).select_related("plan")
        plan = standing[0].plan if standing else None
        next_fit_up.record_moves(act, [check], moved, MoveKind.SHIM, plan)
        (opened,) = next_fit_up.open_next(
            by=by, fit_ups=[check.fit_up], reason=FitUpReason.SHIM
        )
        for point, shims in stacks.items():
            act.record(
                ShimStack(
                    fit_up=opened,
                    part=check.fit_up.part,
                    point=point,
                    shims=sorted(shims, reverse=True),
                    total_nm=sum(shims),
                )
            )
        act.result = {"fitup": str(opened.entry_id)}
    return opened


def _stack(shims: list[int]) -> str:
    return f"{to_mm(sum(shims)):g} mm" if shims else "none"


def _check_stacks(check: Check, stacks: dict[str, list[int]]) -> None:
    points = {str(point["name"]) for point in check.fit_up.revision.attach_points or []}
    if not stacks or set(stacks) - points:
        raise Refused(_("A stack is at an attach point of the joint."), field="stacks")
    for point, shims in stacks.items():
        if len(shims) > MOST_A_STACK or any(not 0 < s < 10**8 for s in shims):
            raise Refused(
                _("%(point)s: this is no stack of shims.") % {"point": point},
                field="stacks",
            )
