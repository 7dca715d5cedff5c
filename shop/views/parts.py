"""Part designs and part serials."""

from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import parts as actions
from shop.forms import parts as forms
from shop.identifiers import KINDS
from shop.models import Part, PartDesign
from shop.queries import parts as queries
from shop.queries.tooling import open_hold
from shop.queries.weights import part_floor
from shop.views.page_sections import Panels, draw

from . import list_columns
from .acting import form_page, posted
from .airframes import form_view
from .list_files import list_page, page_asked

# Filled by qa: callables (request, part) -> (template, context) or None.
extra_panels: Panels = []


@require_safe
def parts(request):
    roles.require(request.user, "look")
    form = forms.PartFilter(request.GET)
    page = queries.parts(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    return list_page(request, "shop/parts/parts.html", context, list_columns.PARTS)


@require_safe
def part(request, pk):
    rows = Part.objects.select_related("design__mirror")
    part = roles.fetch(request.user, "look", rows, pk=pk)
    context = {
        "shown": queries.part_page(part),
        "floor": part_floor(part),
        "hold": open_hold("part", pk),
        "code": KINDS["part"].code(part.pk),
        "may_scrap": roles.may(request.user, "scrap parts"),
        "panels": draw(extra_panels, request, part),
    }
    return render(request, "shop/parts/part.html", context)


@form_view
def add_part(request):
    roles.require(request.user, "register parts")
    form = forms.PartForm(posted(request), initial=request.GET.dict())
    return form_page(
        request,
        form,
        lambda **data: actions.register_part(by=request.user, **data),
        heading=_("Register a part"),
        back=lambda made: reverse("part", args=[made.pk]),
        above=(_("Parts"), reverse("parts")),
    )


@form_view
def scrap_part(request, pk):
    part = roles.fetch(request.user, "scrap parts", Part.objects, pk=pk)
    page = reverse("part", args=[part.pk])
    return form_page(
        request,
        forms.ScrapForm(posted(request)),
        lambda **data: actions.scrap_part(by=request.user, part=part, **data),
        heading=_("Scrap %(serial)s") % {"serial": part.serial},
        back=page,
        above=(part.serial, page),
        button=_("Scrap for good"),
    )


@require_safe
def designs(request):
    roles.require(request.user, "look")
    form = forms.DesignFilter(request.GET)
    page = queries.designs(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    return list_page(request, "shop/parts/designs.html", context, list_columns.DESIGNS)


@require_safe
def design(request, pk):
    rows = PartDesign.objects.select_related("mirror")
    design = roles.fetch(request.user, "look", rows, pk=pk)
    context = {
        "design": design,
        "page": queries.parts(design=design, page=page_asked(request)),
    }
    file = list_columns.PARTS
    return list_page(request, "shop/parts/design.html", context, file)


@form_view
def add_design(request):
    roles.require(request.user, "define designs")
    return form_page(
        request,
        forms.DesignForm(posted(request)),
        lambda **data: actions.define_design(by=request.user, **data),
        heading=_("Add a part design"),
        back=lambda made: reverse("design", args=[made.pk]),
        above=(_("Part designs"), reverse("designs")),
    )


@form_view
def change_design(request, pk):
    design = roles.fetch(request.user, "define designs", PartDesign.objects, pk=pk)
    page = reverse("design", args=[design.pk])
    return form_page(
        request,
        forms.DesignForm(posted(request), instance=design),
        lambda **data: actions.change_design(by=request.user, design=design, **data),
        heading=_("Change %(design)s") % {"design": design},
        back=page,
        above=(str(design), page),
    )
