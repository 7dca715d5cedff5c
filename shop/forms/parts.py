"""Part designs and part serials."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.models import Hand, Origin, Part, PartDesign, PartState, StructuralClass

from .fields import ask_for, asked, needed
from .filters import Filter, any_of
from .row_choice import RowChoiceField


class DesignForm(forms.ModelForm):
    class Meta:
        model = PartDesign
        fields = (
            "number",
            "revision",
            "name",
            "hand",
            "mirror",
            "structural_class",
            "is_coupon",
        )
        field_classes = {"mirror": RowChoiceField}

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        handed = PartDesign.objects.exclude(hand=Hand.NONE)
        self.fields["mirror"].queryset = handed
        self.fields["mirror"].label = _("Mirrored design")
        self.fields["mirror"].empty_label = _("none")
        ask_for(self, "hand", "structural_class")


class PartForm(forms.Form):
    design = RowChoiceField(PartDesign.objects.all(), label=_("Design"))
    serial = forms.CharField(label=_("Serial"), max_length=60)
    origin = forms.ChoiceField(
        label=_("Where it comes from"),
        choices=asked(c for c in Origin.choices if c[0] != Origin.PULLED),
        help_text=_("Parts from a mold are registered with their pull."),
    )
    sources = needed(
        forms.CharField(
            label=_("Made of parts"),
            required=False,
            help_text=_("Serials with commas between."),
        ),
        _("(needed for bonded and cut parts, and only there)"),
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def clean_sources(self):
        serials = [s.strip() for s in self.cleaned_data["sources"].split(",")]
        wanted = [s for s in serials if s]
        parts = {part.serial: part for part in Part.objects.filter(serial__in=wanted)}
        if unknown := [s for s in wanted if s not in parts]:
            raise forms.ValidationError(
                _("There is no part %(serials)s."), params={"serials": unknown[0]}
            )
        return [parts[serial] for serial in dict.fromkeys(wanted)]


class ScrapForm(forms.Form):
    reason = forms.CharField(
        label=_("Reason"),
        max_length=200,
        help_text=_("A scrapped serial is marked for good and never placed again."),
    )


class DesignFilter(Filter):
    hand = any_of(Hand.choices, _("Hand"))
    structural_class = any_of(StructuralClass.choices, _("Structural class"))


class PartFilter(Filter):
    state = any_of(PartState.choices, _("State"))
    hand = any_of(Hand.choices, _("Hand"))
