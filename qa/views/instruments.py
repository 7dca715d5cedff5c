"""Instruments: the list, and one to add or change."""

from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from qa.actions.instruments import save_instrument
from qa.forms.instruments import InstrumentForm
from qa.models import Instrument
from qa.queries.instruments import instrument_row, instruments
from shop import roles
from shop.forms.filters import Filter
from shop.queries.paging import page_of
from shop.views.acting import form_page, posted


@require_GET
def instrument_list(request):
    form = Filter(request.GET)
    rows = instruments(words=form.chosen["q"])
    page = page_of(rows, request.GET.get("page"), instrument_row)
    context = {
        "filter": form,
        "page": page,
        "may_define": roles.may(request.user, "define instruments"),
    }
    return render(request, "qa/instruments/instruments.html", context)


def edit_instrument(request, pk=None):
    roles.require(request.user, "define instruments")
    row = None
    if pk is not None:
        row = roles.fetch(request.user, "define instruments", Instrument.objects, pk=pk)
    unit = request.user.units
    form = InstrumentForm(posted(request), initial=InstrumentForm.initial_of(row, unit))
    return form_page(
        request,
        form,
        lambda **said: save_instrument(by=request.user, instrument=row, **said),
        heading=row.code if row else "Add an instrument",
        back=reverse("instruments"),
        above=("Instruments", reverse("instruments")),
    )
