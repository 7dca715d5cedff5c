"""Fields that turn what a builder types into values of record."""

from datetime import UTC, date, datetime

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from shop.ledger import Refused
from shop.models import Part, Tool
from shop.rules.pictures import encode_photo

# No shop has a record from before, and no due date later; a year of four digits at
# either end cannot be told in every time zone.
FIRST_DAY, LAST_DAY = date(1950, 1, 1), date(2149, 12, 31)
MOST_WHOLE = 10_000_000  # minutes in 19 years, pulls, coats: nobody counts further


def number_in(text: str | None) -> int | None:
    """The whole number that an address names, None where it names none a row has."""
    text = text or ""
    known = text.isascii() and text.isdigit() and len(text) < 19
    return int(text) if known else None


class WholeField(forms.IntegerField):
    """A count, of which no database or clock runs over."""

    def __init__(self, *, max_value=None, **named):
        most = MOST_WHOLE if max_value is None else max_value
        super().__init__(max_value=most, **named)


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
    default_validators = (MinValueValidator(FIRST_DAY), MaxValueValidator(LAST_DAY))


class MomentField(forms.DateTimeField):
    """A time in the shop's time zone."""

    widget = forms.DateTimeInput(
        attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
    )
    default_validators = (
        MinValueValidator(datetime(FIRST_DAY.year, 1, 1, tzinfo=UTC)),
        MaxValueValidator(datetime(LAST_DAY.year, 12, 31, tzinfo=UTC)),
    )


def asked(choices) -> list:
    """Choices of which none is taken beforehand: most would not have meant it."""
    return [("", _("choose")), *choices]


def ask_for(form: forms.ModelForm, *names: str) -> None:
    """Take no default of the model for an answer: a new row is asked for these."""
    for name in names:
        field = form.fields[name]
        field.choices, field.initial = asked(field.choices), None


def needed(field: forms.Field, when) -> forms.Field:
    """A field that a rule needs at times: `when` stands in place of "optional"."""
    field.needed = when
    return field


def choose_the_only(form: forms.BaseForm, *also: str) -> None:
    """Choose a row where there is no other to choose.

    Of fields that must be filled in, and those named in `also`: what may stay empty
    says something when it is filled in, and that is left to the person. A field whose
    rows do not all fit names those that do as `fitting`.
    """
    if form.is_bound:
        return
    for name, field in form.fields.items():
        wanted = field.required or getattr(field, "asked", False) or name in also
        several = isinstance(field, forms.ModelMultipleChoiceField)
        if not isinstance(field, forms.ModelChoiceField) or several or not wanted:
            continue
        if form.get_initial_for_field(field, name) in (None, ""):
            rows = getattr(field, "fitting", field.queryset)[:2]
            if len(rows) == 1:
                form.initial[name] = rows[0].pk


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
        """Show the field, no longer as one that may stay empty."""
        self.fields["reason"].widget = forms.Textarea(attrs={"rows": 2})
        self.fields["reason"].asked = True
