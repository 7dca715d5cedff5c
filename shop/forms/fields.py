"""Fields that turn what a builder types into values of record."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.actions.photos import encode_photo
from shop.ledger import Refused
from shop.models import Part, Tool


class SerialField(forms.CharField):
    """A part by its serial, typed or scanned: a list of thousands helps nobody."""

    default_error_messages = {"unknown": _("There is no part with this serial.")}

    def clean(self, value):
        serial = super().clean(value)
        if not serial:
            return None
        part = Part.objects.select_related("design").filter(serial=serial).first()
        if part is None:
            raise forms.ValidationError(self.error_messages["unknown"])
        return part


class ToolField(forms.CharField):
    """A tool by its code, typed or scanned."""

    default_error_messages = {"unknown": _("There is no tool with this code.")}

    def __init__(self, **named):
        super().__init__(max_length=40, **named)

    def prepare_value(self, value):
        if isinstance(value, int):
            return Tool.objects.filter(pk=value).values_list("code", flat=True).first()
        return value

    def clean(self, value):
        code = super().clean(value)
        if not code:
            return None
        tool = Tool.objects.filter(code=code).first()
        if tool is None:
            raise forms.ValidationError(self.error_messages["unknown"])
        return tool


class PhotoField(forms.FileField):
    """A photo, refused here when it is none; cleans to its content as it came."""

    widget = forms.FileInput(attrs={"accept": "image/*", "capture": "environment"})

    def clean(self, value, initial=None):
        file = super().clean(value, initial)
        if not file:
            return None
        content = file.read()
        try:
            encode_photo(content)
        except Refused as no:
            raise forms.ValidationError(no.message) from None
        return content


class DateField(forms.DateField):
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class MomentField(forms.DateTimeField):
    """A time in the shop's time zone."""

    widget = forms.DateTimeInput(
        attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
    )


class LinesField(forms.CharField):
    widget = forms.Textarea(attrs={"rows": 3})


class AskedReason(forms.Form):
    """A form whose `reason` shows only once a rule has asked for it."""

    reason = forms.CharField(
        label=_("Reason"), required=False, max_length=200, widget=forms.HiddenInput
    )

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        if self.data.get(self.add_prefix("reason")):
            self.ask_why()

    def ask_why(self) -> None:
        self.fields["reason"].widget = forms.Textarea(attrs={"rows": 2})
