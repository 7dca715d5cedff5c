"""Instruments: the list, one with its calibrations and its budget, the shop's rules."""

from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from qa.actions import gauges
from qa.actions.instruments import save_instrument
from qa.forms.gauges import BudgetForm, CalibrationForm, GaugeRulesForm
from qa.forms.instruments import InstrumentForm
from qa.models import Instrument
from qa.queries.instruments import instrument_page, instrument_row, instruments
from qa.rules.gauges import rules_now
from shop import roles
from shop.forms.filters import Filter
from shop.queries.paging import page_of
from shop.views.acting import form_page, posted
from shop.views.list_files import list_page, page_asked

from . import list_columns
from .joints import unit_of


@require_GET
def instrument_list(request):
    form = Filter(request.GET)
    rows = instruments(words=form.chosen["q"])
    page = page_of(rows, page_asked(request), instrument_row)
    context = {
        "filter": form,
        "page": page,
        "may_define": roles.may(request.user, "define instruments"),
    }
    file = list_columns.INSTRUMENTS
    return list_page(request, "qa/instruments/instruments.html", context, file)


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
        lambda **data: save_instrument(by=request.user, instrument=row, **data),
        heading=row.code if row else "Add an instrument",
        back=lambda instrument: reverse("instrument", args=[instrument.pk]),
        above=("Instruments", reverse("instruments")),
    )


@require_GET
def instrument(request, pk):
    row = roles.fetch(request.user, "look", Instrument.objects, pk=pk)
    page = instrument_page(row, unit_of(request))
    return render(request, "qa/instruments/instrument.html", {"page": page})


def _record(request, pk, form_of, act, heading, **extra):
    """A form about one instrument; it leads back to its page."""
    row = roles.fetch(request.user, "define instruments", Instrument.objects, pk=pk)
    page = reverse("instrument", args=[pk])
    form = form_of(row)
    return form_page(
        request,
        form,
        lambda **data: act(row, form, **data),
        heading=heading % {"code": row.code},
        back=page,
        above=(str(row), page),
        **extra,
    )


def calibrate(request, pk):
    return _record(
        request,
        pk,
        lambda _row: CalibrationForm(
            posted(request), initial={"unit": request.user.units, "result": "good"}
        ),
        lambda row, _form, **data: gauges.record_calibration(
            by=request.user, instrument=row, **data
        ),
        _("Calibration of %(code)s"),
        notes=[
            _("Found off, or adjusted: everything measured with it since its last good "
              "calibration, and until it is good again, is listed and marked.")
        ],
    )  # fmt: skip


def edit_budget(request, pk):
    def form_of(row):
        newest = row.budgets.first()
        start = BudgetForm.initial_of(row, newest, request.user.units)
        return BudgetForm(posted(request), initial=start)

    return _record(
        request,
        pk,
        form_of,
        lambda row, form, **data: gauges.save_budget(
            by=request.user,
            instrument=row,
            rows=form.rows,
            note=data["note"],
            smaller=data["smaller"],
        ),
        _("Uncertainty of %(code)s"),
        notes=[
            _("Combined as in JCGM 100. What is judged from now on takes the outcome; "
              "checks that have begun keep theirs.")
        ],
    )  # fmt: skip


def gauge_rules(request):
    roles.require(request.user, "define instruments")
    start = GaugeRulesForm.initial_of(rules_now())
    return form_page(
        request,
        GaugeRulesForm(posted(request), initial=start),
        lambda **data: gauges.set_gauge_rules(by=request.user, **data),
        heading=_("Instruments in doubt"),
        back=reverse("instruments"),
        above=("Instruments", reverse("instruments")),
        notes=[_("One that is out of use is always refused.")],
    )
