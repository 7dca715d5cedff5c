"""Machines, the play of their axes, milling set-ups."""

from functools import partial

from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import machines as actions
from shop.forms import tooling as forms
from shop.identifiers import address_of
from shop.models import Machine, MillingSetup, Tool
from shop.queries import tooling as queries
from shop.queries.paging import all_of

from . import list_columns
from .acting import act_page, form_page, posted
from .airframes import form_view
from .list_files import list_page


@require_safe
def machines(request):
    roles.require(request.user, "look")
    context = {"page": all_of(queries.machines())}
    file = list_columns.MACHINES
    return list_page(request, "shop/machines/machines.html", context, file)


@require_safe
def machine(request, pk):
    machine = roles.fetch(request.user, "look", Machine.objects, pk=pk)
    shown = queries.machine_page(machine)
    return render(request, "shop/machines/machine.html", {"shown": shown})


@form_view
def add_machine(request):
    roles.require(request.user, "define tooling")
    return form_page(
        request,
        forms.MachineForm(posted(request)),
        lambda **data: actions.define_machine(by=request.user, **data),
        heading=_("Add a machine"),
        back=address_of,
        above=(_("Machines"), reverse("machines")),
    )


@form_view
def change_machine(request, pk):
    machine = roles.fetch(request.user, "define tooling", Machine.objects, pk=pk)
    initial = {
        "name": machine.name,
        "note": machine.note,
        "play_limit": machine.play_limit_text,
    }
    form = forms.MachineForm(posted(request), initial=initial)
    act = partial(actions.define_machine, machine=machine)
    return act_page(request, machine, form, act, _("Change %(m)s") % {"m": machine})


@form_view
def measure_play(request, pk):
    machine = roles.fetch(request.user, "work on tooling", Machine.objects, pk=pk)
    form = forms.PlayForm(posted(request))
    act = partial(actions.measure_play, machine=machine)
    return act_page(request, machine, form, act, _("Play of %(m)s") % {"m": machine})


@form_view
def record_milling(request, pk):
    tool = roles.fetch(request.user, "work on tooling", Tool.objects, pk=pk)
    form = forms.MillingForm(posted(request))
    act = partial(actions.record_milling, tool=tool)
    heading = _("Milling of %(t)s") % {"t": tool}
    return act_page(request, tool, form, act, heading, back=address_of)


@require_safe
def milling(request, pk):
    rows = MillingSetup.objects.select_related("machine", "tool", "entry__by")
    setup = roles.fetch(request.user, "look", rows, pk=pk)
    context = {
        "shown": queries.milling_page(setup),
        "hold": queries.open_hold("milling", pk),
    }
    return render(request, "shop/machines/milling.html", context)
