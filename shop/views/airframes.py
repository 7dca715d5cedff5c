"""Airframes, their types, and what sits in which position."""

from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from shop import roles
from shop.actions import airframes as actions
from shop.forms import airframes as forms
from shop.identifiers import KINDS
from shop.models import Airframe, AirframeType, Placement, Position
from shop.queries import airframes as queries
from shop.rules.empty_places import empty_place
from shop.views.page_sections import Panels, draw

from . import list_columns
from .acting import form_page, posted
from .list_files import list_page, page_asked

# Filled by qa: callables (request, airframe) -> (template, context) or None.
extra_panels: Panels = []
# Whether somebody said so: what the form of a place that stays empty says.
LEFT_EMPTY = {
    False: {
        "button": gettext_lazy("It stays empty"),
        "note": gettext_lazy(
            "It then stands in the way of no close-out. A part that is placed here "
            "takes that back."
        ),
    },
    True: {
        "button": gettext_lazy("It stays empty no more"),
        "note": gettext_lazy("Said by %(who)s: %(reason)s."),
    },
}
form_view = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
def airframes(request):
    roles.require(request.user, "look")
    form = forms.AirframeFilter(request.GET)
    page = queries.airframes(**form.chosen, page=page_asked(request))
    context = {
        "page": page,
        "filter": form,
        "types": queries.types(form.chosen["type"]),
    }
    file = list_columns.AIRFRAMES
    return list_page(request, "shop/airframes/airframes.html", context, file)


@require_safe
def airframe(request, pk):
    rows = Airframe.objects.select_related("type")
    airframe = roles.fetch(request.user, "look", rows, pk=pk)
    context = {
        "shown": queries.airframe_page(airframe),
        "code": KINDS["airframe"].code(airframe.pk),
        "may_place": roles.may(request.user, "place parts"),
        "may_leave_empty": roles.may(request.user, "leave places empty"),
        "panels": draw(extra_panels, request, airframe),
    }
    return render(request, "shop/airframes/airframe.html", context)


@form_view
def add_airframe(request):
    roles.require(request.user, "define airframes")
    form = forms.AirframeForm(posted(request))
    return form_page(
        request,
        form,
        lambda **data: actions.add_airframe(by=request.user, **data),
        heading=_("Add an airframe"),
        back=lambda made: reverse("airframe", args=[made.pk]),
        above=(_("Airframes"), reverse("airframes")),
    )


@form_view
def add_type(request):
    roles.require(request.user, "define airframes")
    form = forms.TypeForm(posted(request))
    return form_page(
        request,
        form,
        lambda **data: actions.define_type(by=request.user, **data),
        heading=_("Add an airframe type"),
        back=lambda made: reverse("airframe_type", args=[made.pk]),
        above=(_("Airframes"), reverse("airframes")),
    )


@require_safe
def airframe_type(request, pk):
    kind = roles.fetch(request.user, "look", AirframeType.objects, pk=pk)
    context = {
        "shown": queries.type_page(kind),
        "may_define": roles.may(request.user, "define airframes"),
    }
    return render(request, "shop/airframes/airframe_type.html", context)


@form_view
def add_position(request, pk):
    kind = roles.fetch(request.user, "define airframes", AirframeType.objects, pk=pk)
    form = forms.PositionForm(
        posted(request),
        positions=kind.positions.all(),
        initial={"parent": request.GET.get("parent")},
    )
    page = reverse("airframe_type", args=[kind.pk])
    return form_page(
        request,
        form,
        lambda **data: actions.add_position(by=request.user, type=kind, **data),
        heading=_("Add a position"),
        back=page,
        above=(kind.code, page),
    )


@form_view
def change_position(request, pk):
    rows = Position.objects.select_related("type")
    position = roles.fetch(request.user, "define airframes", rows, pk=pk)
    form = forms.PositionForm(
        posted(request),
        positions=position.type.positions.exclude(pk=position.pk),
        initial={
            "parent": position.parent_id,
            "code": position.code,
            "name": position.name,
            "hand": position.hand,
            "part_number": position.part_number,
        },
    )
    page = reverse("airframe_type", args=[position.type_id])
    return form_page(
        request,
        form,
        lambda **data: actions.change_position(
            by=request.user, position=position, **data
        ),
        heading=_("Change %(position)s") % {"position": position.path},
        back=page,
        above=(position.type.code, page),
    )


@form_view
def place_part(request, pk):
    rows = Airframe.objects.select_related("type")
    airframe = roles.fetch(request.user, "place parts", rows, pk=pk)
    form = forms.PlaceForm(
        posted(request),
        positions=Position.objects.filter(type_id=airframe.type_id),
        initial=request.GET.dict(),
    )
    page = reverse("airframe", args=[airframe.pk])
    return form_page(
        request,
        form,
        lambda **data: actions.place_part(by=request.user, airframe=airframe, **data),
        heading=_("Place a part on %(airframe)s") % {"airframe": airframe},
        back=page,
        above=(airframe.serial, page),
        button=_("Place"),
    )


@form_view
def remove_part(request, pk):
    rows = Placement.objects.select_related("part", "airframe", "position")
    placement = roles.fetch(request.user, "place parts", rows, pk=pk)
    form = forms.RemoveForm(posted(request))
    page = reverse("airframe", args=[placement.airframe_id])
    where = {"part": placement.part.serial, "position": placement.position.path}
    return form_page(
        request,
        form,
        lambda **data: actions.remove_part(
            by=request.user, placement=placement, **data
        ),
        heading=_("Take %(part)s out of %(position)s") % where,
        back=page,
        above=(placement.airframe.serial, page),
        button=_("Take out"),
    )


@form_view
def leave_empty(request, pk, position):
    """A position is meant to stay empty; where that is said, it is taken back."""
    rows = Airframe.objects.select_related("type")
    airframe = roles.fetch(request.user, "leave places empty", rows, pk=pk)
    place = get_object_or_404(Position, pk=position, type_id=airframe.type_id)
    empty = empty_place(airframe, place.pk)
    words = LEFT_EMPTY[bool(empty)]
    page = reverse("airframe", args=[airframe.pk])
    by = empty and {"who": empty.entry.author, "reason": empty.reason.rstrip(".")}
    return form_page(
        request,
        forms.LeaveEmptyForm(posted(request), initial={"stays": not empty}),
        lambda **typed: actions.leave_empty(
            by=request.user, airframe=airframe, position=place, **typed
        ),
        heading=f"{place.path}: {words['button']}",
        back=page,
        above=(airframe.serial, page),
        button=words["button"],
        notes=[words["note"] % by if by else words["note"]],
    )
