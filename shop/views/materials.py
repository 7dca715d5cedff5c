"""Materials, lots, laminates, cure recipes."""

from functools import partial

from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import laminates, materials
from shop.forms import materials as forms
from shop.identifiers import address_of
from shop.models import Laminate, Lot, Material
from shop.queries import materials as queries
from shop.queries.tooling import photos_of

from . import list_columns
from .acting import act_page, form_page, posted
from .airframes import form_view
from .list_files import list_page, page_asked


@require_safe
def lots(request):
    roles.require(request.user, "look")
    form = forms.LotFilter(request.GET)
    page = queries.lots(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    return list_page(request, "shop/materials/lots.html", context, list_columns.LOTS)


@require_safe
def lot(request, pk):
    rows = Lot.objects.select_related("material")
    lot = roles.fetch(request.user, "look", rows, pk=pk)
    context = {"shown": queries.lot_page(lot), "photos": photos_of("lot", pk)}
    return render(request, "shop/materials/lot.html", context)


@form_view
def receive_lot(request):
    roles.require(request.user, "keep materials")
    return form_page(
        request,
        forms.LotForm(posted(request), initial=request.GET.dict()),
        lambda **data: materials.receive_lot(by=request.user, **data),
        heading=_("Receive a lot"),
        back=address_of,
        above=(_("Lots"), reverse("lots")),
    )


@form_view
def act_on_lot(request, pk):
    rows = Lot.objects.select_related("material")
    lot = roles.fetch(request.user, "keep materials", rows, pk=pk)
    form = forms.LotActForm(posted(request))
    act = partial(materials.act_on_lot, lot=lot)
    return act_page(request, lot, form, act, _("Lot %(lot)s") % {"lot": lot})


@form_view
def file_papers(request, pk):
    rows = Lot.objects.select_related("material")
    lot = roles.fetch(request.user, "keep materials", rows, pk=pk)
    initial = {"supplier": lot.supplier, "certificate": lot.certificate}
    initial |= {f"shown_{name}": text for name, text in initial.items()}
    form = forms.LotPapersForm(posted(request), initial=initial)
    act = partial(materials.file_papers, lot=lot)
    return act_page(request, lot, form, act, _("Papers of lot %(l)s") % {"l": lot})


@require_safe
def all_materials(request):
    roles.require(request.user, "look")
    form = forms.MaterialFilter(request.GET)
    page = queries.materials(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    file = list_columns.MATERIALS
    return list_page(request, "shop/materials/materials.html", context, file)


@form_view
def material(request, pk=None):
    roles.require(request.user, "define laminates")
    row = None
    if pk is not None:
        row = roles.fetch(request.user, "define laminates", Material.objects, pk=pk)
    return form_page(
        request,
        forms.MaterialForm(posted(request), instance=row),
        lambda **data: materials.define_material(by=request.user, material=row, **data),
        heading=_("Change %(code)s") % {"code": row.code}
        if row
        else _("Add a material"),
        back=reverse("materials"),
        above=(_("Materials"), reverse("materials")),
    )


@require_safe
def all_laminates(request):
    roles.require(request.user, "look")
    form = forms.Filter(request.GET)
    page = queries.laminates(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    file = list_columns.LAMINATES
    return list_page(request, "shop/materials/laminates.html", context, file)


@require_safe
def laminate(request, pk):
    rows = Laminate.objects.select_related("resin", "recipe", "design")
    laminate = roles.fetch(request.user, "look", rows, pk=pk)
    shown = queries.laminate_page(laminate)
    return render(request, "shop/materials/laminate.html", {"shown": shown})


@form_view
def add_laminate(request):
    roles.require(request.user, "define laminates")
    return form_page(
        request,
        forms.LaminateForm(posted(request)),
        lambda **data: laminates.define_laminate(by=request.user, **data),
        heading=_("Add a laminate"),
        back=address_of,
        above=(_("Laminates"), reverse("laminates")),
    )


@form_view
def revise_laminate(request, pk):
    """Edit a laminate; under another revision it becomes a new one."""
    laminate = roles.fetch(request.user, "define laminates", Laminate.objects, pk=pk)
    initial = forms.laminate_initial(laminate)
    form = forms.LaminateForm(posted(request), initial=initial)

    def act(*, by, **data):
        same = (data["code"], data["revision"]) == (
            laminate.code,
            laminate.revision,
        )
        return laminates.define_laminate(
            by=by, laminate=laminate if same else None, **data
        )

    heading = _("Revise %(l)s") % {"l": laminate}
    return act_page(request, laminate, form, act, heading, back=address_of)


@require_safe
def recipes(request):
    roles.require(request.user, "look")
    form = forms.Filter(request.GET)
    page = queries.recipes(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    return list_page(
        request, "shop/materials/recipes.html", context, list_columns.RECIPES
    )


@form_view
def add_recipe(request):
    roles.require(request.user, "define laminates")
    return form_page(
        request,
        forms.RecipeForm(posted(request)),
        partial(laminates.define_recipe, by=request.user),
        heading=_("Add a cure recipe"),
        back=reverse("recipes"),
        above=(_("Cure recipes"), reverse("recipes")),
    )
