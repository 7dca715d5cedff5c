"""What forms say when something is missing or too large: in a builder's words.

Django's own sentences are replaced in one place, so that every form, also one that is
written later, speaks the same way.
"""

from django import forms
from django.core import validators
from django.utils.translation import gettext_lazy as _

REQUIRED = _("This is missing.")
CHOOSE = _("Choose one.")
TOO_LONG = _("Say it in at most %(limit_value)d signs: these are %(show_value)d.")


def use_plain_words() -> None:
    """Called once, when the site starts."""
    forms.Field.default_error_messages["required"] = REQUIRED
    for field in (forms.ChoiceField, forms.ModelChoiceField):
        field.default_error_messages = {
            **field.default_error_messages,
            "required": CHOOSE,
            "invalid_choice": _("Choose one of the list."),
        }
    forms.FileField.default_error_messages = {
        **forms.FileField.default_error_messages,
        "required": _("Choose a file."),
    }
    forms.IntegerField.default_error_messages["invalid"] = _("Write a whole number.")
    forms.FloatField.default_error_messages["invalid"] = _("Write a number.")
    forms.DecimalField.default_error_messages["invalid"] = _("Write a number.")
    validators.MaxLengthValidator.message = TOO_LONG
    validators.MaxValueValidator.message = _("At most %(limit_value)s.")
    validators.MinValueValidator.message = _("At least %(limit_value)s.")
