"""How a chart is asked for: GET, so that it is a link."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.wording.measuring import RULE_SOURCES


class ChartForm(forms.Form):
    which = forms.CharField(widget=forms.HiddenInput)
    rules = forms.ChoiceField(
        label=_("Run rules"), choices=list(RULE_SOURCES.items()), required=False
    )
    by = forms.ChoiceField(
        label=_("A point is"),
        required=False,
        choices=[
            ("", _("one part")),
            ("pull", _("the parts of one pull")),
            *((n, _("%(n)s parts in a row") % {"n": n}) for n in ("2", "3", "4", "5")),
        ],
    )
