"""What a trim, a move and a shim have in common: each opens the next fit-up."""

from qa.models import FitUp
from shop.ledger import Refused
from shop.models import Part

from . import fitups


def hold_still(fit_ups: list[FitUp]) -> None:
    """Lock the fitted parts, and refuse what was planned before the last change."""
    for part in sorted({one.part_id for one in fit_ups}):
        Part.objects.select_for_update(of=("self",), no_key=True).get(pk=part)
    for one in fit_ups:
        newest = FitUp.objects.filter(airframe=one.airframe_id, joint=one.joint_id)
        number = newest.order_by("-number").values_list("number", flat=True)[0]
        if number != one.number:
            raise Refused(
                f"This is of fit-up {one.number}; fit-up {number} was opened since. "
                "Measure again before the next step.",
                code="stale",
            )


def open_next(*, by, fit_ups: list[FitUp], reason: str, note: str = "") -> list[FitUp]:
    """Open the next fit-up of each joint, held and free to move as before."""
    rows = FitUp.objects.select_related(
        "airframe", "joint__current", "part", "surround_part"
    ).in_bulk([one.pk for one in fit_ups])
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
        )
        for row in (rows[one.pk] for one in fit_ups)
    ]
