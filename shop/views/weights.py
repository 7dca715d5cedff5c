"""Weights of parts and airframes."""

from functools import partial

from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import weights as actions
from shop.forms import floor as forms
from shop.forms.filters import Filter
from shop.models import Airframe, Part, Position
from shop.queries import weights as queries

from . import list_columns
from .acting import act_page, form_page, posted
from .airframes import form_view
from .list_files import list_page, page_asked


@form_view
def weigh_part(request, pk):
    part = roles.fetch(request.user, "weigh", Part.objects, pk=pk)
    form = forms.WeighForm(posted(request), initial={"stage": "trimmed"})
    act = partial(actions.weigh_part, part=part)
    return act_page(request, part, form, act, _("Weigh %(p)s") % {"p": part})


@require_safe
def to_weigh(request):
    roles.require(request.user, "look")
    form = Filter(request.GET)
    page = queries.to_weigh(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    file = list_columns.TO_WEIGH
    return list_page(request, "shop/weights/to_weigh.html", context, file)


@require_safe
def balance(request, pk):
    rows = Airframe.objects.select_related("type")
    airframe = roles.fetch(request.user, "look", rows, pk=pk)
    shown = queries.balance_page(airframe)
    context = {"shown": shown, "unit": request.user.units}
    return render(request, "shop/weights/balance.html", context)


@form_view
def weigh_airframe(request, pk):
    airframe = roles.fetch(request.user, "weigh", Airframe.objects, pk=pk)
    form = forms.WeighAirframeForm(posted(request))
    act = partial(actions.weigh_airframe, airframe=airframe)
    return act_page(request, airframe, form, act, _("Weigh %(a)s") % {"a": airframe})


@form_view
def set_arm(request, pk):
    rows = Position.objects.select_related("type")
    position = roles.fetch(request.user, "define airframes", rows, pk=pk)
    form = forms.ArmForm(posted(request), initial={"arm": position.arm_text})
    page = reverse("airframe_type", args=[position.type_id])
    return form_page(
        request,
        form,
        lambda **data: actions.set_arm(by=request.user, position=position, **data),
        heading=_("Arm of %(p)s") % {"p": position},
        back=page,
        above=(position.type.code, page),
    )
