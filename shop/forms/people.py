"""People of the shop, as the lead keeps them."""

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.utils.translation import gettext_lazy as _

from shop.forms.fields import ask_for
from shop.forms.filters import Filter, any_of
from shop.models import Person, Role
from shop.wording.audit import KINDS


def _password_field() -> forms.CharField:
    return forms.CharField(
        label=_("Password"),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
    )


class PersonForm(forms.ModelForm):
    password = _password_field()

    class Meta:
        model = Person
        fields = ("username", "name", "role", "certificate_kind", "certificate_number")

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        ask_for(self, "role")

    def clean_password(self):
        validate_password(self.cleaned_data["password"], self.instance)
        return self.cleaned_data["password"]


class RoleForm(forms.Form):
    role = forms.ChoiceField(label=_("Role"), choices=Role.choices)


class CertificateForm(forms.Form):
    certificate_kind = forms.CharField(
        label=_("Kind of certificate"), max_length=80, required=False
    )
    certificate_number = forms.CharField(
        label=_("Number"), max_length=80, required=False
    )


class ActiveForm(forms.Form):
    active = forms.BooleanField(label=_("May sign in"), required=False)


class ResetForm(forms.Form):
    password = _password_field()

    def clean_password(self):
        validate_password(self.cleaned_data["password"])
        return self.cleaned_data["password"]


class AuditFilter(Filter):
    kind = any_of(KINDS.items(), _("What"))


class PeopleFilter(Filter):
    role = any_of(Role.choices, _("Role"))
