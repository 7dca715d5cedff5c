"""Release: coats on plugs and molds, and when the next one or the lay-up may start."""

from datetime import timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import Person, ReleaseCoat, ReleaseProduct, Tool, ToolKind
from shop.rules.reasons import ask_why, lot_warnings

from .locks import locked
from .tooling import ENDED


def define_product(*, by: Person, product: ReleaseProduct | None = None, **fields):
    """Add a release product, or edit the rules of one."""
    roles.require(by, "define tooling")
    with perform("release_product/1", by=by, said=dict(fields)):
        product = product or ReleaseProduct()
        for name, value in fields.items():
            setattr(product, name, value)
        product.full_clean()
        product.save()
    return product


def next_coat_from(coat: ReleaseCoat | None):
    """The earliest time of the next coat by the product's rule; None: at once."""
    if coat is None:
        return None
    return coat.applied_at + timedelta(minutes=coat.product.minutes_between)


def layup_from(coat: ReleaseCoat | None):
    """The earliest time of the lay-up by the product's rule; None: no coat at all."""
    if coat is None:
        return None
    return coat.applied_at + timedelta(minutes=coat.product.minutes_before_layup)


def clock(moment) -> str:
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M")


def apply_coat(
    *,
    by: Person,
    tool: Tool,
    product: ReleaseProduct,
    applied_at=None,
    lot=None,
    note: str = "",
    reason: str = "",
) -> ReleaseCoat:
    """Record one coat. Too early for the product's rule only with a reason."""
    roles.require(by, "work on tooling")
    said = {
        "tool": tool.code,
        "product": product.name,
        "applied_at": applied_at and applied_at.isoformat(),
        "lot": lot and str(lot),
        "note": note,
        "reason": reason,
    }
    with perform("coat/1", by=by, said=said) as act:
        tool = locked(tool)
        applied_at = applied_at or act.now
        warnings = _check_coat(tool, applied_at, act.now)
        day = timezone.localdate(applied_at)
        ask_why(warnings + lot_warnings([lot], day), reason)
        coat = act.record(
            ReleaseCoat(
                tool=tool,
                product=product,
                lot=lot,
                applied_at=applied_at,
                surface=tool.surface,
                number=tool.last_coat.number + 1 if tool.last_coat else 1,
                reason=reason,
                note=note,
            )
        )
        tool.coats, tool.last_coat, tool.pulls_since_wax = tool.coats + 1, coat, 0
        tool.save(update_fields=["coats", "last_coat", "pulls_since_wax"])
    return coat


def _check_coat(tool: Tool, applied_at, now) -> list[str]:
    if tool.kind not in (ToolKind.PLUG, ToolKind.MOLD):
        raise Refused(_("Release goes on plugs and molds."), field="tool")
    if tool.state in ENDED:
        state = tool.get_state_display()
        raise Refused(_("The tool is %(state)s.") % {"state": state})
    if applied_at > now:
        raise Refused(_("That time is still to come."), field="applied_at")
    last = tool.last_coat
    if last is None:
        return []
    if applied_at < last.applied_at:
        message = _("Coat %(number)s went on later, at %(time)s.")
        values = {"number": last.number, "time": clock(last.applied_at)}
        raise Refused(message % values, field="applied_at")
    earliest = next_coat_from(last)
    if applied_at >= earliest:
        return []
    message = _(
        "Too early: %(product)s wants %(minutes)s minutes to the next coat, "
        "that is %(time)s."
    )
    return [
        message
        % {
            "product": last.product.name,
            "minutes": last.product.minutes_between,
            "time": clock(earliest),
        }
    ]


def layup_warnings(tool: Tool, now) -> list[str]:
    """Why a lay-up on this mold should wait: release, re-waxing, service, life."""
    warnings = []
    last = tool.last_coat
    if last is None:
        warnings.append(_("No release coat is on record for this surface."))
    else:
        earliest = layup_from(last)
        if now < earliest:
            message = _(
                "Too early: %(product)s wants %(minutes)s minutes, to %(time)s."
            )
            values = {
                "product": last.product.name,
                "minutes": last.product.minutes_before_layup,
                "time": clock(earliest),
            }
            warnings.append(message % values)
        first = not tool.pulls.filter(surface=tool.surface).exists()
        if first and tool.coats < last.product.coats_new:
            message = _("A new surface wants %(wanted)s coats and has %(coats)s.")
            values = {"wanted": last.product.coats_new, "coats": tool.coats}
            warnings.append(message % values)
        if rewax_due(tool):
            message = _("Release is due again: %(pulls)s pulls since the last coat.")
            warnings.append(message % {"pulls": tool.pulls_since_wax})
    if tool.service_interval and tool.pulls_since_service >= tool.service_interval:
        message = _("Service is due: %(pulls)s pulls since the last.")
        warnings.append(message % {"pulls": tool.pulls_since_service})
    if tool.expected_life and tool.last_pull >= tool.expected_life:
        message = _("The expected life of %(pulls)s pulls is used up.")
        warnings.append(message % {"pulls": tool.expected_life})
    return warnings


def rewax_due(tool: Tool) -> bool:
    every = tool.last_coat and tool.last_coat.product.rewax_every
    return bool(every and tool.pulls_since_wax >= every)
