"""Lay-ups: plies, resin and bag of a pull while it is being made."""

from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.ledger.bodies import json_body
from shop.models import BagTest, Person, PlyLaid, Pull, PullState, ResinBatch
from shop.numeric import cure
from shop.numeric.units import MILLI
from shop.rules import mass
from shop.rules.reasons import ask_why, lot_warnings

from .locks import locked


def open_layup(pull: Pull) -> Pull:
    pull = locked(pull)
    if pull.state != PullState.LAID_UP:
        message = _("The lay-up is closed: it is %(state)s.")
        values = {"state": pull.get_state_display()}
        raise Refused(message % values, code="conflict")
    return pull


def lay_plies(
    *,
    by: Person,
    pull: Pull,
    plies,
    lots: dict[int, object],
    reason: str = "",
) -> list[PlyLaid]:
    """Record planned plies as laid. lots: by key of the material; all have one.

    Whoever saw them signs for that: nobody is named by another.
    """
    roles.require(by, "make pulls")
    content = json_body(
        pull=pull,
        plies=[ply.order for ply in plies],
        lots=lots,
        reason=reason,
    )
    with perform("plies/1", by=by, said=content) as act:
        pull = open_layup(pull)
        if not plies:
            raise Refused(_("Choose the plies that were laid."), field="plies")
        laid = set(pull.plies_laid.filter(planned=True).values_list("order", flat=True))
        if again := [ply.order for ply in plies if ply.order in laid]:
            message = _("Ply %(ply)s was laid already.")
            raise Refused(message % {"ply": again[0]}, field="plies")
        day = timezone.localdate(act.now)
        ask_why([_skipped(pull, plies, laid), *_of_lots(plies, lots, day)], reason)
        return [
            act.record(
                PlyLaid(
                    pull=pull,
                    order=ply.order,
                    area_name=ply.area_name,
                    material=ply.material,
                    lot=lots[ply.material_id],
                    orientation=ply.orientation,
                    reason=reason,
                )
            )
            for ply in plies
        ]


def _skipped(pull: Pull, plies, laid: set[int]) -> str:
    """Name the planned plies below these that are not on record; "" when none."""
    now = {ply.order for ply in plies}
    planned = pull.laminate.plies.filter(order__lt=max(now))
    below = set(planned.values_list("order", flat=True)) - laid - now
    if not below:
        return ""
    message = _("Not on record below these: ply %(plies)s.")
    return message % {"plies": ", ".join(map(str, sorted(below)))}


def lay_other_ply(
    *,
    by: Person,
    pull: Pull,
    lot,
    area_name: str,
    orientation: int = 0,
    reason: str = "",
) -> PlyLaid:
    """Record a ply that the laminate does not plan; it always says why."""
    roles.require(by, "make pulls")
    content = json_body(
        pull=pull, lot=lot, area=area_name, orientation=orientation, reason=reason
    )
    with perform("other_ply/1", by=by, said=content) as act:
        pull = open_layup(pull)
        warnings = lot_warnings([lot], timezone.localdate(act.now))
        ask_why([_("The laminate does not plan this ply."), *warnings], reason)
        return act.record(
            PlyLaid(
                pull=pull,
                order=pull.plies_laid.count() + 1,
                area_name=area_name,
                material=lot.material,
                lot=lot,
                orientation=orientation,
                planned=False,
                reason=reason,
            )
        )


def mix_resin(
    *,
    by: Person,
    pull: Pull,
    resin_lot,
    hardener_lot,
    resin,
    hardener,
    mixed_at=None,
    temperature: int | None = None,
    reason: str = "",
) -> ResinBatch:
    """Record a batch as weighed. resin and hardener are Measures in mg."""
    roles.require(by, "make pulls")
    content = json_body(
        pull=pull,
        lots=[resin_lot, hardener_lot],
        masses=[resin, hardener],
        mixed_at=mixed_at,
        temperature=temperature,
        reason=reason,
    )
    with perform("batch/1", by=by, said=content) as act:
        pull = open_layup(pull)
        mixed_at = mixed_at or act.now
        if mixed_at > act.now:
            raise Refused(_("That time is still to come."), field="mixed_at")
        material = resin_lot.material
        off = mass.ratio_off_bp(resin.amount, hardener.amount, material.ratio)
        day = timezone.localdate(mixed_at)
        warnings = lot_warnings([resin_lot], day, "resin_lot")
        warnings += lot_warnings([hardener_lot], day, "hardener_lot")
        ask_why([*warnings, *mass.ratio_warnings(off, material)], reason)
        return act.record(
            ResinBatch(
                pull=pull,
                resin_lot=resin_lot,
                hardener_lot=hardener_lot,
                resin_mg=resin.amount,
                resin_text=resin.text,
                hardener_mg=hardener.amount,
                hardener_text=hardener.text,
                off_bp=off,
                mixed_at=mixed_at,
                pot_minutes=material.pot_minutes,
                temperature=temperature,
                reason=reason,
            )
        )


def test_bag(
    *, by: Person, pull: Pull, level, after=None, minutes: int | None = None, note=""
) -> BagTest:
    """Record the vacuum and its drop. level and after are Measures in Pa."""
    roles.require(by, "make pulls")
    content = json_body(pull=pull, level=level, after=after, minutes=minutes, note=note)
    with perform("bag/1", by=by, said=content) as act:
        pull = locked(pull)
        if pull.state not in (PullState.LAID_UP, PullState.CURING):
            message = _("There is no bag on it: it is %(state)s.")
            values = {"state": pull.get_state_display()}
            raise Refused(message % values, code="conflict")
        if after and not minutes:
            raise Refused(_("Say after how many minutes."), field="minutes")
        passes = None
        if after:
            # A longer wait that still holds is better, a shorter one proves nothing.
            drop = cure.bag_drop(level.amount / MILLI, after.amount / MILLI)
            passes = (minutes >= cure.BAG_MINUTES or None) if drop.holds else False
        return act.record(
            BagTest(
                pull=pull,
                level_pa=level.amount,
                level_text=level.text,
                after_pa=after and after.amount,
                after_text=after.text if after else "",
                minutes=minutes,
                passes=passes,
                note=note,
            )
        )


test_bag.__test__ = False  # a verb of the trade, not a test


def _of_lots(plies, lots: dict, day) -> list[str]:
    """Warnings of the lots of these plies; Refused where one is not said."""
    warnings = []
    for material in {ply.material for ply in plies}:
        field = f"lot_{material.pk}"
        if lots.get(material.pk) is None:
            raise Refused(_("Say which lot it was."), field=field)
        warnings += lot_warnings([lots[material.pk]], day, field)
    return warnings
