"""Weights of parts and airframes, and the arms they act at."""

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import (
    Airframe,
    AirframeWeighing,
    Part,
    Person,
    Position,
    Stage,
    Weighing,
)
from shop.rules.mass import expectation_of, outside
from shop.rules.reasons import ask_why

from .locks import locked


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
    content = {
        "part": part.serial,
        "stage": stage,
        "mass": mass.text,
        "weighed_on": weighed_on.isoformat(),
        "estimate": estimate,
        "scale": scale,
        "reason": reason,
    }
    with perform("weight/1", by=by, said=content) as act:
        part = locked(part)
        if not estimate and not scale.strip():
            message = _("Name the scale, or mark it as an estimate by hand.")
            raise Refused(message, field="scale")
        expected = expectation_of(part) if stage == Stage.TRIMMED else None
        ask_why(outside(mass.amount, expected), reason)
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
    content = {
        "airframe": airframe.serial,
        "mass": mass.text,
        "arm": arm and arm.text,
        "weighed_on": weighed_on.isoformat(),
        "scale": scale,
        "note": note,
    }
    with perform("airframe_weight/1", by=by, said=content) as act:
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
    content = {"position": position.code, "arm": arm and arm.text}
    with perform("arm/1", by=by, said=content):
        position = locked(position)
        position.arm_nm = arm and arm.amount
        position.arm_text = arm.text if arm else ""
        position.save(update_fields=["arm_nm", "arm_text"])
    return position
