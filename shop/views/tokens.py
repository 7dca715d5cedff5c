"""Devices: gauges, scripts and calendars that come in with a token of their own."""

from django.forms import Form
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import devices as actions
from shop.forms.devices import CalendarForm, DeviceForm
from shop.models import Device, Opens
from shop.queries.devices import devices_of
from shop.views.account import address
from shop.views.acting import attempt, form_page, posted
from shop.views.airframes import form_view
from shop.views.list_files import list_page, page_asked

from . import list_columns


@require_safe
def devices(request):
    page = devices_of(request.user, page_asked(request))
    file = list_columns.DEVICES
    return list_page(request, "shop/tokens/devices.html", {"page": page}, file)


@sensitive_post_parameters("password")
@form_view
def new_device(request):
    roles.require(request.user, "manage tablets")
    notes = [
        _("It may what this person may, as long as that holds; what it records stands "
          "in that name, with the device beside it. It signs nothing.")
    ]  # fmt: skip
    return _told_once(request, DeviceForm(posted(request)), _("New device"), notes)


@sensitive_post_parameters("password")
@form_view
def new_calendar(request):
    notes = [
        _("What is due, for a calendar program: calibrations, items, tools, lots. "
          "Whoever knows its address can read it, without signing in.")
    ]  # fmt: skip
    form = CalendarForm(posted(request))
    device = {"opens": Opens.CALENDAR, "person": request.user}
    return _told_once(request, form, _("New calendar"), notes, **device)


def _told_once(request, form, heading, notes, **more):
    """Make a token; the page that answers is the only one that ever shows it."""
    if request.method == "POST":
        made, result = attempt(
            form,
            lambda **data: actions.make_device(
                by=request.user, address=address(request), **{**data, **more}
            ),
        )
        if made:
            device, token = result
            context = {"device": device, "token": token}
            if device.opens == Opens.CALENDAR:
                feed = reverse("due_calendar", args=[token])
                context["address"] = request.build_absolute_uri(feed)
            return render(request, "shop/tokens/told.html", context)
    context = {
        "form": form,
        "heading": heading,
        "above": (_("Devices and calendars"), reverse("devices")),
        "notes": notes,
        "button": _("Make its token"),
    }
    return render(request, "shop/acting/form.html", context)


@form_view
def withdraw_device(request, pk):
    device = roles.fetch(
        request.user, "look", Device.objects.select_related("person"), pk=pk
    )
    if device.person_id != request.user.pk:
        roles.require(request.user, "manage tablets")
    return form_page(
        request,
        Form(posted(request)),
        lambda: actions.withdraw_device(by=request.user, device=device),
        heading=_("Withdraw %(name)s") % {"name": device.name},
        back=reverse("devices"),
        above=(_("Devices and calendars"), reverse("devices")),
        button=_("Withdraw"),
        notes=[_("Its token opens nothing from now on. What it recorded stays.")],
    )
