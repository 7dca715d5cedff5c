"""What a pack is of, and on which paper."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.models import REMARK_MOST, Joint
from shop.forms.fields import SerialField
from shop.forms.row_choice import RowChoiceField
from shop.models import Airframe, PaperSize, Position

from .offers import refuse_other_type


class PackForm(forms.Form):
    airframe = RowChoiceField(
        Airframe.objects.select_related("type"),
        label=_("Airframe"),
        empty_label=_("choose"),
    )
    joint = RowChoiceField(
        Joint.objects.select_related("type").exclude(current=None),
        required=False,
        empty_label=_("none"),
        label=_("One joint"),
        help_text=_("Leave all three empty for the airframe whole."),
    )
    part = SerialField(label=_("or one part with its joints"), required=False)
    bay = RowChoiceField(
        Position.objects.select_related("type"),
        required=False,
        empty_label=_("none"),
        label=_("or one bay"),
        help_text=_("A position and what lies below it."),
    )
    paper = forms.ChoiceField(label=_("Paper"), choices=PaperSize.choices)
    note = forms.CharField(
        required=False,
        max_length=400,
        label=_("What it is for"),
        help_text=_("Stands on its first page."),
    )

    def clean(self):
        cleaned = super().clean()
        chosen = [n for n in ("joint", "part", "bay") if cleaned.get(n)]
        for name in chosen[1:]:
            self.add_error(name, _("Choose a joint, a part or a bay: one of them."))
        refuse_other_type(self)
        return cleaned


class RemarkForm(forms.Form):
    text = forms.CharField(
        max_length=REMARK_MOST,
        label=_("What is wrong with this line"),
        help_text=_("It becomes a nonconformance with this line in it."),
        widget=forms.Textarea(attrs={"rows": 2}),
    )
