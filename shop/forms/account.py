"""What a person chooses for themselves."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.models import Unit

THEME_COOKIE = "theme"

THEMES = {
    "auto": _("As the device"),
    "light": _("Light"),
    "dark": _("Dark"),
}


class ThemeForm(forms.Form):
    theme = forms.ChoiceField(choices=list(THEMES.items()))


class UnitsForm(forms.Form):
    units = forms.ChoiceField(choices=Unit.choices)


def _password(label, autocomplete: str) -> forms.CharField:
    attributes = {"autocomplete": autocomplete, "maxlength": 200}
    return forms.CharField(
        label=label,
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs=attributes),
    )


class SignInForm(forms.Form):
    username = forms.CharField(
        label=_("Sign-in name"),
        max_length=60,
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none"}
        ),
    )
    password = _password(_("Password"), "current-password")


class OwnPasswordForm(forms.Form):
    password = _password(_("Your password now"), "current-password")
    new = _password(_("New password"), "new-password")
    again = _password(_("New password once more"), "new-password")

    def clean_again(self):
        if self.cleaned_data["again"] != self.cleaned_data.get("new"):
            raise forms.ValidationError(_("This is not the same as above."))
        return self.cleaned_data["again"]


class CodeForm(forms.Form):
    """A code of the second factor, as it stands on the device or on the paper."""

    code = forms.CharField(
        label=_("Code"),
        max_length=40,
        widget=forms.TextInput(
            attrs={
                "autocomplete": "one-time-code",
                "autocapitalize": "characters",
                "spellcheck": "false",
            }
        ),
    )


class AnyCodeForm(CodeForm):
    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        self.fields["code"].help_text = _(
            "Six digits from your device, or one of your recovery codes."
        )


class SetSecondFactorForm(CodeForm):
    offered = forms.CharField(widget=forms.HiddenInput, max_length=300)

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        self.fields["code"].help_text = _("The six digits that the device shows now.")
        self.fields["code"].widget.attrs["inputmode"] = "numeric"
