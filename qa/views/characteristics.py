"""Characteristics beside gap and flushness: planned, revised, found on an airframe."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from qa.actions import characteristics as acts
from qa.actions import raising
from qa.forms.characteristics import CharacteristicForm, ResultForm, ReviseForm
from qa.models import Characteristic, CharacteristicResult
from qa.queries import characteristics as queries
from shop import roles
from shop.forms.filters import Filter
from shop.models import Airframe
from shop.queries.paging import page_of
from shop.views.acting import attempt, form_page, posted, pressed
from shop.views.list_files import list_page, page_asked

from . import list_columns

DEFINE = "define characteristics"
form_view = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
def characteristics(request):
    roles.require(request.user, "look")
    form = Filter(request.GET)
    page = page_of(queries.planned(**form.chosen), page_asked(request), queries.row_of)
    context = {"page": page, "filter": form}
    file = list_columns.CHARACTERISTICS
    return list_page(request, "qa/characteristics/characteristics.html", context, file)


def _row(request, pk, verb="look") -> Characteristic:
    rows = Characteristic.objects.exclude(current=None).select_related(
        "bay__type", "joint", "current"
    )
    return roles.fetch(request.user, verb, rows, pk=pk)


@require_safe
def characteristic(request, pk):
    page = queries.page_of(_row(request, pk), request.user.units)
    context = {"page": page, "row": page.row}
    return render(request, "qa/characteristics/characteristic.html", context)


@form_view
def new_characteristic(request):
    roles.require(request.user, DEFINE)
    form = CharacteristicForm(posted(request), initial=request.GET.dict())

    def act(number, name, quality, bay, joint, **_data):
        return acts.define(
            by=request.user,
            number=number,
            name=name,
            quality=quality,
            bay=bay,
            joint=joint,
            required=form.required_said,
        )

    return form_page(
        request,
        form,
        act,
        heading=_("Plan a characteristic"),
        back=lambda made: reverse("characteristic", args=[made.pk]),
        above=(_("Characteristics"), reverse("characteristics")),
    )


@form_view
def revise_characteristic(request, pk):
    row = _row(request, pk, DEFINE)
    now = row.current
    start = {"low": now.low_text, "high": now.high_text, "unit": now.unit}
    start |= {name: getattr(now, name) for name in ("rule", "how", "source", "photo")}
    start["based_on"] = now.number
    form = ReviseForm(posted(request), initial=start)
    page = reverse("characteristic", args=[pk])
    return form_page(
        request,
        form,
        lambda **_data: acts.revise(
            by=request.user,
            characteristic=row,
            required=form.required_said,
            based_on=form.cleaned_data["based_on"],
        ),
        heading=_("Revise %(row)s") % {"row": row},
        back=page,
        above=(row.number, page),
        notes=[_("What was found before is to be found again.")],
    )


@form_view
def characteristic_on_airframe(request, pk, airframe):
    """What was found on an airframe; a POST keeps what is found now."""
    row = _row(request, pk, "measure" if request.method == "POST" else "look")
    frame = get_object_or_404(Airframe, pk=airframe, type=row.bay.type_id)
    form = ResultForm(posted(request), characteristic=row)
    if request.method == "POST":
        done, made = attempt(
            form,
            lambda **_data: acts.record(
                by=request.user, characteristic=row, airframe=frame, **form.arguments
            ),
        )
        if done:
            messages.success(request, _("Kept."))
            return redirect("characteristic_on_airframe", pk=pk, airframe=airframe)
    context = {
        "view": queries.on_airframe(row, frame, request.user.units),
        "row": row,
        "airframe": frame,
        "form": form,
        "may_measure": roles.may(request.user, "measure"),
        "may_raise": roles.may(request.user, "raise nonconformances"),
    }
    return render(request, "qa/characteristics/on_airframe.html", context)


@require_POST
def raise_result(request, pk):
    """What is not shown to conform becomes an item, for somebody to decide."""
    rows = CharacteristicResult.objects.select_related(
        "airframe", "part", "revision__characteristic__current"
    )
    result = roles.fetch(request.user, "raise nonconformances", rows, pk=pk)
    return pressed(
        request,
        lambda: raising.raise_result(by=request.user, result=result),
        lambda item: reverse("nonconformance", args=[item.pk]),
        reverse("characteristic_result", args=[pk]),
    )


@require_safe
def characteristic_result(request, pk):
    """The page that a photo of a result leads back to."""
    rows = CharacteristicResult.objects.select_related("revision")
    row = roles.fetch(request.user, "look", rows, pk=pk)
    there = {"pk": row.revision.characteristic_id, "airframe": row.airframe_id}
    return redirect("characteristic_on_airframe", **there)
