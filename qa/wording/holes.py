"""Codes of hole patterns in words."""

from django.utils.translation import gettext_lazy as _

SPACING = {"edge": _("edge distance"), "pitch": _("pitch")}
