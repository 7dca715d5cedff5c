"""Where backups go, at which hour, how many are kept."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.models import BackupPlan

MOST_ACTS, MOST_KEPT = 1_000_000, 400


def _count(label, most: int, least: int = 0, help_text=""):
    return forms.IntegerField(
        label=label, min_value=least, max_value=most, help_text=help_text
    )


class BackupPlanForm(forms.Form):
    place = forms.CharField(
        label=_("Folder on the server"),
        max_length=400,
        required=False,
        help_text=_(
            "Its whole path, on another disk than the records. Empty: the server makes "
            "none by itself."
        ),
    )
    hour = _count(
        _("Hour of the night"), 23, help_text=_("0 to 23, by the clock of the shop.")
    )
    busy_acts = _count(
        _("Also after so many acts"),
        MOST_ACTS,
        least=1,
        help_text=_("At most one an hour."),
    )
    days = _count(_("Days kept"), MOST_KEPT, least=1)
    weeks = _count(_("Weeks kept"), MOST_KEPT)
    months = _count(_("Months kept"), MOST_KEPT)

    @classmethod
    def initial_of(cls, plan: BackupPlan) -> dict:
        return {name: getattr(plan, name) for name in cls.base_fields}
