"""Release: products, and coats on plugs and molds."""

from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import Person, ReleaseCoat, ReleaseProduct, Tool, ToolKind
from shop.rules.reasons import ask_why, lot_warnings
from shop.rules.release import clock, next_coat_from
from shop.rules.routes import ENDED

from .locks import locked


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
    content = {
        "tool": tool.code,
        "product": product.name,
        "applied_at": applied_at and applied_at.isoformat(),
        "lot": lot and str(lot),
        "note": note,
        "reason": reason,
    }
    with perform("coat/1", by=by, said=content) as act:
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
