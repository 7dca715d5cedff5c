"""Holds, and what somebody decides on the parts they put in doubt."""

from functools import partial

from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import identifiers, roles
from shop.actions import suspects as actions
from shop.forms import floor as forms
from shop.models import Hold, Suspect
from shop.queries import suspects as queries

from . import list_columns
from .acting import act_page, form_page, posted
from .airframes import form_view
from .list_files import list_page, page_asked


@require_safe
def holds(request):
    roles.require(request.user, "look")
    form = forms.HoldFilter(request.GET)
    page = queries.holds(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    return list_page(request, "shop/holds/holds.html", context, list_columns.HOLDS)


@require_safe
def hold(request, pk):
    rows = Hold.objects.select_related("entry__by", "lifted_entry__by")
    hold = roles.fetch(request.user, "look", rows, pk=pk)
    return render(request, "shop/holds/hold.html", {"shown": queries.hold_page(hold)})


@form_view
def put_on_hold(request, kind, pk):
    roles.require(request.user, "hold things")
    if kind not in actions.HOLDABLE:
        raise Http404
    row = get_object_or_404(identifiers.KINDS[kind].rows(), pk=pk)
    act = partial(actions.put_on_hold, kind=kind, key=pk)
    return act_page(
        request,
        row,
        forms.HoldForm(posted(request)),
        act,
        _("Hold %(thing)s") % {"thing": row},
        back=lambda made: reverse("hold", args=[made.pk]),
        button=_("Hold"),
    )


@form_view
def lift_hold(request, pk):
    hold = roles.fetch(request.user, "hold things", Hold.objects, pk=pk)
    page = reverse("hold", args=[pk])
    return form_page(
        request,
        forms.LiftForm(posted(request)),
        lambda **data: actions.lift_hold(by=request.user, hold=hold, **data),
        heading=_("Lift the hold of %(thing)s") % {"thing": hold},
        back=page,
        above=(str(hold), page),
    )


@form_view
def decide(request, pk):
    rows = Suspect.objects.select_related("part", "hold")
    suspect = roles.fetch(request.user, "decide suspects", rows, pk=pk)
    page = reverse("hold", args=[suspect.hold_id])
    return form_page(
        request,
        forms.DecideForm(posted(request)),
        lambda **data: actions.decide(by=request.user, suspect=suspect, **data),
        heading=_("Decide on %(part)s") % {"part": suspect.part},
        back=page,
        above=(str(suspect.hold), page),
        button=_("Decide"),
    )
