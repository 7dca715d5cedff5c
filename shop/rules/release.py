"""Release: when the next coat or the lay-up may start, and why it should wait."""

from datetime import timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from shop.models import ReleaseCoat, Tool


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
