"""Weights of parts and airframes, and the arms they act at."""

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import (
    Airframe,
    AirframeWeighing,
    Lineage,
    Part,
    PartState,
    Person,
    Position,
    Stage,
    Weighing,
)
from shop.rules import mass
from shop.rules.reasons import ask_why

from .locks import locked


def expectation_of(part: Part) -> mass.Expectation | None:
    """What the laminate says the trimmed part weighs; None where it cannot say.

    A pull that yields several parts says it only for the design its laminate names.
    """
    edge = (
        Lineage.objects.filter(part=part, pull__isnull=False)
        .select_related("pull__laminate__resin")
        .first()
    )
    if edge is None:
        return None
    laminate = edge.pull.laminate
    if laminate.design_id not in (None, part.design_id):
        return None
    if laminate.design_id is None and edge.pull.yields.count() > 1:
        return None
    return mass.expectation(laminate, laminate.plies.select_related("material"))


def weigh_part(
    *,
    by: Person,
    part: Part,
    stage: str,
    mass,
    weighed_on,
    estimate: bool = False,
    scale: str = "",
    reason: str = "",
) -> Weighing:
    """Record a weight. mass: a Measure in mg. Outside what is expected asks why."""
    roles.require(by, "weigh")
    said = {
        "part": part.serial,
        "stage": stage,
        "mass": mass.text,
        "weighed_on": weighed_on.isoformat(),
        "estimate": estimate,
        "scale": scale,
        "reason": reason,
    }
    with perform("weight/1", by=by, said=said) as act:
        part = locked(part)
        if not estimate and not scale.strip():
            message = _("Name the scale, or mark it as an estimate by hand.")
            raise Refused(message, field="scale")
        expected = expectation_of(part) if stage == Stage.TRIMMED else None
        ask_why(_outside(mass.amount, expected), reason)
        weighing = act.record(
            Weighing(
                part=part,
                stage=stage,
                mass_mg=mass.amount,
                mass_text=mass.text,
                estimate=estimate,
                scale="" if estimate else scale,
                weighed_on=weighed_on,
                expected_mg=expected and expected.mass_mg,
                low_mg=expected and expected.low_mg,
                high_mg=expected and expected.high_mg,
                reason=reason,
            )
        )
        # The projection follows the newest day; of one day the last said.
        newest = part.weighings.order_by("-weighed_on", "-pk").first()
        part.mass_mg, part.mass_is_estimate = newest.mass_mg, newest.estimate
        part.save(update_fields=["mass_mg", "mass_is_estimate"])
    return weighing


def _outside(mass_mg: int, expected: mass.Expectation | None) -> list[str]:
    if expected is None or expected.low_mg <= mass_mg <= expected.high_mg:
        return []
    message = _("Expected %(low)s to %(high)s g from its laminate.")
    low, high = f"{expected.low_mg / 1000:.0f}", f"{expected.high_mg / 1000:.0f}"
    return [message % {"low": low, "high": high}]


def weigh_airframe(
    *,
    by: Person,
    airframe: Airframe,
    mass,
    weighed_on,
    scale: str,
    arm=None,
    note: str = "",
) -> AirframeWeighing:
    """Record an airframe on the scales. mass in mg, arm in nm aft of the datum."""
    roles.require(by, "weigh")
    said = {
        "airframe": airframe.serial,
        "mass": mass.text,
        "arm": arm and arm.text,
        "weighed_on": weighed_on.isoformat(),
        "scale": scale,
        "note": note,
    }
    with perform("airframe_weight/1", by=by, said=said) as act:
        return act.record(
            AirframeWeighing(
                airframe=airframe,
                mass_mg=mass.amount,
                mass_text=mass.text,
                arm_nm=arm and arm.amount,
                arm_text=arm.text if arm else "",
                scale=scale,
                weighed_on=weighed_on,
                note=note,
            )
        )


def set_arm(*, by: Person, position: Position, arm) -> Position:
    """Say where the weight of a position acts. arm: a Measure in nm, or None."""
    roles.require(by, "define airframes")
    said = {"position": position.code, "arm": arm and arm.text}
    with perform("arm/1", by=by, said=said):
        position = locked(position)
        position.arm_nm = arm and arm.amount
        position.arm_text = arm.text if arm else ""
        position.save(update_fields=["arm_nm", "arm_text"])
    return position


def waits_for_a_scale():
    """Parts never weighed, or only by hand: scrap and coupons aside."""
    return (
        Part.objects.exclude(state=PartState.SCRAPPED)
        .exclude(design__is_coupon=True)
        .exclude(mass_mg__isnull=False, mass_is_estimate=False)
    )
