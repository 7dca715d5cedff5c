"""Plugs, molds, jigs: their list, their pages, and what is done to them."""

from functools import partial

from django.contrib import messages
from django.http import Http404
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import release, routes, tooling, withdrawals
from shop.actions.photos import add_photo
from shop.forms import tooling as forms
from shop.identifiers import KINDS, address_of
from shop.models import (
    ReleaseCoat,
    ReleaseProduct,
    StepDone,
    Tool,
    ToolDefect,
    ToolKind,
    ToolStep,
)
from shop.queries import tooling as queries
from shop.queries.paging import all_of, page_of
from shop.queries.signatures import panel_of
from shop.rules.release import clock, next_coat_from
from shop.views.page_sections import Panels, draw

from . import list_columns
from .acting import act_page, form_page, posted
from .airframes import form_view
from .list_files import list_page, page_asked

# Filled by qa: callables (request, tool) -> (template, context) or None.
extra_panels: Panels = []
TOOLS = Tool.objects.select_related("waits_for", "last_coat__product", "plug", "mirror")


@require_safe
def tools(request):
    roles.require(request.user, "look")
    form = forms.ToolFilter(request.GET)
    page = queries.tools(reader=request.user, **form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    return list_page(request, "shop/tooling/tooling.html", context, list_columns.TOOLS)


@require_safe
def tool(request, pk):
    rows = TOOLS.select_related("design")
    tool = roles.fetch(request.user, "look", rows, pk=pk)
    context = {
        "shown": queries.tool_page(tool),
        "panels": draw(extra_panels, request, tool),
    }
    return render(request, "shop/tooling/tool.html", context)


@form_view
def add_tool(request):
    roles.require(request.user, "define tooling")
    form = forms.ToolForm(posted(request), initial=request.GET.dict())
    return form_page(
        request,
        form,
        lambda **data: tooling.add_tool(by=request.user, **data),
        heading=_("Add a tool"),
        back=address_of,
        above=(_("Tooling"), reverse("tooling")),
    )


@form_view
def change_tool(request, pk):
    tool = roles.fetch(request.user, "define tooling", TOOLS, pk=pk)
    form = forms.ToolForm(posted(request), instance=tool)
    act = partial(tooling.change_tool, tool=tool)
    return act_page(request, tool, form, act, _("Change %(t)s") % {"t": tool})


@form_view
def act_on_tool(request, pk):
    tool = roles.fetch(request.user, "work on tooling", TOOLS, pk=pk)
    form = forms.ToolActForm(posted(request))
    act = partial(tooling.act_on_tool, tool=tool)
    heading = _("Note what was done to %(t)s") % {"t": tool}
    return act_page(request, tool, form, act, heading)


@form_view
def note_defect(request, pk):
    tool = roles.fetch(request.user, "work on tooling", TOOLS, pk=pk)
    pins = queries.pins_of("tool", tool.pk)
    form = forms.DefectForm(posted(request), tool=tool, pins=pins)
    act = partial(tooling.note_defect, tool=tool)
    return act_page(request, tool, form, act, _("Note a defect of %(t)s") % {"t": tool})


@form_view
def repair_defect(request, pk):
    rows = ToolDefect.objects.select_related("tool", "first_pull")
    defect = roles.fetch(request.user, "work on tooling", rows, pk=pk)
    act = partial(tooling.repair_defect, defect=defect)
    form = forms.RepairForm(posted(request), defect=defect)
    heading = _("Repaired: %(d)s") % {"d": defect}
    return act_page(request, defect.tool, form, act, heading)


def _step_with_photo(*, by, step, photo=None, **data):
    """Do a step and pin its photo to it; the form has looked into the photo."""
    done = routes.do_step(by=by, step=step, **data)
    if photo:
        add_photo(by=by, content=photo, subject_kind="step", subject_id=str(done.pk))
    return done


@form_view
def do_step(request, pk):
    rows = ToolStep.objects.select_related("tool")
    step = roles.fetch(request.user, "take steps", rows, pk=pk)
    names = {"step": step.name, "tool": step.tool.code}
    return act_page(
        request,
        step.tool,
        forms.StepForm(posted(request), request.FILES or None),
        partial(_step_with_photo, step=step),
        _("%(tool)s: %(step)s") % names,
        button=_("Mark done"),
        caution=_(
            "Dust, solvents, resins and isocyanates can hurt: the safety data sheet "
            "of the product is the authority."
        ),
    )


@form_view
def add_step(request, pk):
    tool = roles.fetch(request.user, "define tooling", TOOLS, pk=pk)
    form = forms.AddStepForm(posted(request))
    act = partial(routes.add_step, tool=tool)
    return act_page(request, tool, form, act, _("Add a step to %(t)s") % {"t": tool})


@require_safe
def step_done(request, pk):
    rows = StepDone.objects.select_related(
        "tool",
        "step",
        "lot__material",
        "entry__by",
        "photo",
        "withdrawal__entry__by",
    )
    done = roles.fetch(request.user, "look", rows, pk=pk)
    context = {
        "done": done,
        "code": KINDS["step"].code(pk),
        "hold": queries.open_hold("step", pk),
        "photos": queries.photos_of("step", pk),
        "signed": panel_of("step", pk),
    }
    return render(request, "shop/tooling/step_done.html", context)


@form_view
def take_back_step(request, pk):
    rows = StepDone.objects.select_related("tool", "step", "entry__by")
    step = roles.fetch(request.user, "take steps", rows, pk=pk)
    act = partial(withdrawals.take_back_step, step=step)
    return _take_back(request, step, step.done_at, act)


def _take_back(request, row, when, act):
    notes = [
        f"{row.tool}, {clock(when)}, {row.entry.by}",
        _("Its row stays readable, with your reason. It counts no more."),
    ]
    return act_page(
        request,
        row.tool,
        forms.WithdrawalForm(posted(request)),
        act,
        _("Take back: %(what)s") % {"what": row},
        notes=notes,
        button=_("Take back"),
    )


@require_safe
def all_routes(request):
    roles.require(request.user, "look")
    routes = queries.routes()
    steps = [step for route in routes for step in route.steps]
    context = {"routes": routes, "page": all_of(steps)}
    return list_page(request, "shop/tooling/routes.html", context, list_columns.ROUTES)


@form_view
def set_route(request, kind):
    roles.require(request.user, "define tooling")
    route = next(
        (known_route for known_route in queries.routes() if known_route.kind == kind),
        None,
    )
    if route is None:
        raise Http404
    lines = [f"{s.name}, {s.role}" if s.role else s.name for s in route.steps]
    lines = lines or routes.USUAL.get(kind, ())

    def back(tools):
        if tools:
            sentence = _("These had no steps and got the route: %(tools)s.")
            messages.success(request, sentence % {"tools": ", ".join(tools)})
        return reverse("routes")

    form = forms.RouteForm(posted(request), initial={"steps": "\n".join(lines)})
    return form_page(
        request,
        form,
        lambda **data: routes.set_route(by=request.user, kind=kind, **data),
        heading=_("Route of a %(kind)s") % {"kind": ToolKind(kind).label},
        back=back,
        above=(_("Routes"), reverse("routes")),
        notes=[_("Tools that have their route already keep it; those without get it.")],
    )


@form_view
def apply_coat(request, pk):
    tool = roles.fetch(request.user, "work on tooling", TOOLS, pk=pk)
    earliest = next_coat_from(tool.last_coat)
    note = _("By the last product's rule the next coat may go on from %(time)s.")
    return act_page(
        request,
        tool,
        forms.CoatForm(posted(request)),
        partial(release.apply_coat, tool=tool),
        _("Release coat on %(t)s") % {"t": tool},
        notes=[note % {"time": clock(earliest)}] if earliest else [],
        caution=_("Solvents and dust: follow the product's safety data sheet."),
    )


@form_view
def take_back_coat(request, pk):
    rows = ReleaseCoat.objects.select_related("tool", "product", "entry__by")
    coat = roles.fetch(request.user, "work on tooling", rows, pk=pk)
    act = partial(withdrawals.take_back_coat, coat=coat)
    return _take_back(request, coat, coat.applied_at, act)


@require_safe
def release_products(request):
    roles.require(request.user, "look")
    rows = ReleaseProduct.objects.order_by("name", "pk")
    context = {"page": page_of(rows, page_asked(request), lambda row: row)}
    template = "shop/tooling/release_products.html"
    return list_page(request, template, context, list_columns.RELEASE_PRODUCTS)


@form_view
def release_product(request, pk=None):
    roles.require(request.user, "define tooling")
    product = None
    if pk is not None:
        rows = ReleaseProduct.objects
        product = roles.fetch(request.user, "define tooling", rows, pk=pk)
    form = forms.ReleaseProductForm(posted(request), instance=product)
    return form_page(
        request,
        form,
        lambda **data: release.define_product(by=request.user, product=product, **data),
        heading=_("Change %(name)s") % {"name": product.name}
        if product
        else _("Add a release product"),
        back=reverse("release_products"),
        above=(_("Release products"), reverse("release_products")),
    )
