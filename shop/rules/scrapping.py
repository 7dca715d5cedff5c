"""Whether a serial can be marked as scrapped."""

from django.utils.translation import gettext as _

from shop.models import Part, Placement


def refusal(part: Part) -> str:
    """Why it is not scrapped yet; "" where it can be."""
    if Placement.objects.filter(part=part, removed_at=None).exists():
        return _("It sits on an airframe. Take it out first.")
    return ""
