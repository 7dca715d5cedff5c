"""Offered for inspection: what is offered, the queue, the inspector's word."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from qa.actions import inspections
from qa.actions import offers as acts
from qa.forms.offers import InspectForm, OfferForm, SecondForm, WhatForm
from qa.models import OfferedJoint
from qa.queries import offers as queries
from qa.queries.joints import drawings
from qa.rules import acceptable, acceptance
from shop import roles
from shop.queries.paging import page_of
from shop.queries.signatures import panel_of
from shop.views.acting import attempt, posted
from shop.views.list_files import list_page, page_asked

from . import list_columns

WHICH = ("waiting", "decided", "all")


@require_GET
def offers(request):
    which = request.GET.get("which")
    which = which if which in WHICH else "waiting"
    page = page_of(queries.offered_joints(which), page_asked(request), lambda row: row)
    page.object_list = queries.page_rows(page.object_list)
    context = {
        "page": page,
        "which": which,
        "may_offer": roles.may(request.user, "offer work"),
    }
    return list_page(request, "qa/offers/offers.html", context, list_columns.OFFERS)


@require_http_methods(["GET", "POST"])
def new_offer(request):
    """What would be offered, shown first; a POST offers what was shown."""
    roles.require(request.user, "offer work")
    what = WhatForm(request.GET or None)
    if not what.is_valid():
        return render(request, "qa/offers/choose.html", {"form": what})
    chosen = dict(what.cleaned_data)
    airframe = chosen.pop("airframe")
    form = OfferForm(posted(request))
    if request.method == "POST":
        shown = request.POST.getlist("shown")
        done, made = attempt(
            form,
            lambda **data: acts.offer(
                by=request.user, airframe=airframe, shown=shown, **chosen, **data
            ),
        )
        if done:
            messages.success(
                request, _("Offered as %(offer)s.") % {"offer": made.label}
            )
            return redirect("offered_joint", number=made.number, order=1)
    view = queries.about_to_offer(airframe, request.user.units, **chosen)
    context = {"form": form, "view": view, "airframe": airframe, **chosen}
    return render(request, "qa/offers/new_offer.html", context)


def _offered(request, number: int, order: int, verb: str) -> OfferedJoint:
    rows = acceptance.whole().select_related(
        "joint__position", "joint__surround", "entry__confirmation"
    )
    rows = rows.prefetch_related("fit_up__revision")
    return roles.fetch(request.user, verb, rows, offer__number=number, order=order)


def _stations(row: OfferedJoint) -> list[str]:
    return list(dict.fromkeys(line["station"] for line in row.content["lines"]))


def _second_form(row: OfferedJoint, unit: str, data=None) -> SecondForm:
    return SecondForm(
        data,
        prefix="second",
        stations=_stations(row),
        unit=unit,
        with_instrument=queries.asks_instrument(row),
    )


def _page(request, row: OfferedJoint, form=None, second=None):
    unit = request.user.units
    view = queries.inspected_view(row, unit)
    stations = _stations(row)
    inspects = roles.may(request.user, "inspect")
    waits = view.standing.state == acceptance.OFFERED and view.newer is None
    did_it = inspects and request.user.pk in acceptance.doers(row)
    not_good = None
    if inspects and waits and not did_it:
        start, not_good = {"shown": row.digest}, acceptable.refused(row)
        form = form or InspectForm(
            stations=stations, initial=start, only_rejected=bool(not_good)
        )
        second = second or _second_form(row, unit)
    revision = row.fit_up.revision
    revision.joint = row.joint
    drawn = drawings.map_of(revision, list(revision.stations.all()), bare=True)
    lines = [(row, form and form.field_of(row.station)) for row in view.shown.rows]
    context = {
        "row": row,
        "view": view,
        "shown": view.shown,
        "standing": view.standing,
        "form": form,
        "second": second,
        "lines": lines,
        "did_it": did_it and waits,
        "not_good": not_good,
        "waits": waits,
        "who": roles.who_may("inspect"),
        "map_svg": drawings.map_svg(drawn),
        "signed": panel_of("offered", row.pk),
        "signed_said": view.inspection and panel_of("inspection", view.inspection.pk),
        "joints": row.offer.joints.select_related("joint", "inspection"),
    }
    return render(request, "qa/offers/offered_joint.html", context)


@require_http_methods(["GET", "POST"])
def offered_joint(request, number, order):
    if request.method == "GET":
        return _page(request, _offered(request, number, order, "look"))
    row = _offered(request, number, order, "inspect")
    form = InspectForm(request.POST, stations=_stations(row))
    done, inspection = attempt(
        form,
        lambda **_: inspections.inspect(by=request.user, offered=row, **form.arguments),
    )
    if done:
        messages.success(request, inspection.get_outcome_display())
        return redirect("offered_joint", number=number, order=order)
    return _page(request, row, form=form)


@require_POST
def second_reading(request, number, order):
    row = _offered(request, number, order, "inspect")
    form = _second_form(row, request.user.units, request.POST)
    done, _read = attempt(
        form,
        lambda **data: inspections.read_again(by=request.user, offered=row, **data),
    )
    if done:
        return redirect("offered_joint", number=number, order=order)
    return _page(request, row, second=form)


@require_GET
def offer(request, number):
    """The first of an offer that waits, else its first."""
    rows = OfferedJoint.objects.filter(offer__number=number).order_by("order")
    row = rows.filter(inspection=None).first() or rows.first()
    row = row or get_object_or_404(OfferedJoint, pk=0)
    return redirect("offered_joint", number=number, order=row.order)
