"""The people of the shop: the lead adds them, changes roles, lets them in or not."""

from django.forms import Form
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import people as actions
from shop.actions.signing_in import (
    let_address_try_again,
    let_try_again,
    locked_out,
)
from shop.forms import people as forms
from shop.models import Person
from shop.queries.people import people as list_people
from shop.rules import throttling
from shop.views.acting import form_page, posted
from shop.views.airframes import form_view

from . import list_columns
from .list_files import list_page, page_asked


@require_safe
def people(request):
    roles.require(request.user, "manage people")
    form = forms.PeopleFilter(request.GET)
    page = list_people(**form.chosen, page=page_asked(request))
    waits = locked_out(list(page))
    for person in page:
        person.waits_until = waits.get(person.pk)
    context = {
        "page": page,
        "filter": form,
        "shut": throttling.shut_addresses(),
    }
    return list_page(request, "shop/people/people.html", context, list_columns.PEOPLE)


def _person_form(request, form, act, heading, success, **extra):
    return form_page(
        request,
        form,
        act,
        heading=heading,
        back=reverse("people"),
        above=(_("People"), reverse("people")),
        success=success,
        **extra,
    )


@sensitive_post_parameters("password")
@form_view
def add_person(request):
    roles.require(request.user, "manage people")
    return _person_form(
        request,
        forms.PersonForm(posted(request)),
        lambda **data: actions.add_person(by=request.user, **data),
        _("Add a person"),
        lambda person: _("%(name)s is added.") % {"name": person.name},
        button=_("Add"),
    )


@form_view
def change_role(request, pk):
    person = roles.fetch(request.user, "manage people", Person.objects, pk=pk)
    return _person_form(
        request,
        forms.RoleForm(posted(request), initial={"role": person.role}),
        lambda **data: actions.change_role(by=request.user, person=person, **data),
        _("Role of %(name)s") % {"name": person.name},
        _("The role of %(name)s is saved.") % {"name": person.name},
    )


@form_view
def set_certificate(request, pk):
    person = roles.fetch(request.user, "manage people", Person.objects, pk=pk)
    names = ("certificate_kind", "certificate_number")
    return _person_form(
        request,
        forms.CertificateForm(
            posted(request), initial={name: getattr(person, name) for name in names}
        ),
        lambda **data: actions.set_certificate(by=request.user, person=person, **data),
        _("Certificate of %(name)s") % {"name": person.name},
        _("The certificate of %(name)s is saved.") % {"name": person.name},
    )


@form_view
def set_active(request, pk):
    person = roles.fetch(request.user, "manage people", Person.objects, pk=pk)

    def success(_result):
        may = form.cleaned_data["active"]
        words = _("%(name)s may sign in.") if may else _("%(name)s may not sign in.")
        return words % {"name": person.name}

    form = forms.ActiveForm(posted(request), initial={"active": person.is_active})
    return _person_form(
        request,
        form,
        lambda **data: actions.set_active(by=request.user, person=person, **data),
        _("May %(name)s sign in?") % {"name": person.name},
        success,
    )


@sensitive_post_parameters("password")
@form_view
def reset_password(request, pk):
    person = roles.fetch(request.user, "manage people", Person.objects, pk=pk)
    return _person_form(
        request,
        forms.ResetForm(posted(request)),
        lambda **data: actions.reset_password(by=request.user, person=person, **data),
        _("New password for %(name)s") % {"name": person.name},
        _("%(name)s has a new password.") % {"name": person.name},
        button=_("Set password"),
    )


@form_view
def try_again(request, pk):
    person = roles.fetch(request.user, "manage people", Person.objects, pk=pk)
    return _person_form(
        request,
        Form(posted(request)),
        lambda: let_try_again(by=request.user, person=person),
        _("Let %(name)s try again") % {"name": person.name},
        _("%(name)s may try again.") % {"name": person.name},
        button=_("Let try again"),
    )


@form_view
def let_address_in(request):
    roles.require(request.user, "manage people")
    asked = request.GET.get("address", "")[:45]
    return _person_form(
        request,
        Form(posted(request)),
        lambda: let_address_try_again(by=request.user, address=asked),
        _("Let everybody try again at %(address)s") % {"address": asked},
        _("Everybody may try again at %(address)s.") % {"address": asked},
        button=_("Let everybody try again"),
    )
