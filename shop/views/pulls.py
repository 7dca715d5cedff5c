"""Pulls: from the start of a lay-up to the parts that come out."""

from functools import partial

from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import cures, layups
from shop.actions import pulls as actions
from shop.files.cure_trace import parse
from shop.forms import pulls as forms
from shop.identifiers import address_of
from shop.models import CureTrace, Pull, Tool
from shop.queries import pulls as queries
from shop.queries.cure_plot import plot
from shop.queries.signatures import panel_of
from shop.queries.tooling import open_hold, photos_of
from shop.views.page_sections import Panels, draw
from shop.wording.cures import rows as rows_of

from . import list_columns
from .acting import act_page, posted
from .airframes import form_view
from .list_files import list_page, page_asked

# Filled by qa: callables (request, pull) -> (template, context) or None.
extra_panels: Panels = []
PULLS = Pull.objects.select_related(
    "tool", "laminate__recipe", "laminate__resin", "started_entry__by"
)
CARE = gettext_lazy(
    "Epoxy can make a person allergic for life, and a large batch in its pot can burn: "
    "gloves, sleeves, air, small pots. The safety data sheet is the authority."
)


@require_safe
def pulls(request):
    roles.require(request.user, "look")
    form = forms.PullFilter(request.GET)
    page = queries.pulls(**form.chosen, page=page_asked(request))
    context = {"page": page, "filter": form}
    return list_page(request, "shop/pulls/pulls.html", context, list_columns.PULLS)


@require_safe
def pull(request, pk):
    pull = roles.fetch(request.user, "look", PULLS, pk=pk)
    context = {
        "shown": queries.pull_page(pull),
        "hold": open_hold("pull", pk),
        "photos": photos_of("pull", pk),
        "signed": panel_of("pull", pk),
        "panels": draw(extra_panels, request, pull),
    }
    return render(request, "shop/pulls/pull.html", context)


@require_safe
def trace(request, pk):
    rows = CureTrace.objects.select_related("pull__tool", "recipe", "entry__by")
    trace = roles.fetch(request.user, "look", rows, pk=pk)
    drawn = plot(parse(trace.text.encode()), trace.recipe)
    context = {"trace": trace, "plot": drawn, "asked": rows_of(trace.complaints)}
    return render(request, "shop/pulls/cure_trace.html", context)


def _pull(request, pk, verb="make pulls"):
    return roles.fetch(request.user, verb, PULLS, pk=pk)


@form_view
def start_pull(request, pk):
    tool = roles.fetch(request.user, "make pulls", Tool.objects, pk=pk)
    return act_page(
        request,
        tool,
        forms.StartForm(posted(request), tool=tool),
        partial(actions.start_pull, tool=tool),
        _("Start a lay-up in %(t)s") % {"t": tool},
        back=address_of,
        button=_("Start"),
        caution=CARE,
    )


@form_view
def lay_plies(request, pk):
    pull = _pull(request, pk)
    lines = queries.pull_page(pull).plies
    plies = [line.planned for line in lines if line.planned and not line.laid]
    form = forms.LayForm(posted(request), plies=plies)
    act = partial(layups.lay_plies, pull=pull)
    return act_page(
        request, pull, form, act, _("Plies of %(p)s") % {"p": pull}, caution=CARE
    )


@form_view
def lay_other_ply(request, pk):
    pull = _pull(request, pk)
    form = forms.OtherPlyForm(posted(request))
    act = partial(layups.lay_other_ply, pull=pull)
    heading = _("A ply that is not planned, %(p)s") % {"p": pull}
    return act_page(request, pull, form, act, heading, caution=CARE)


@form_view
def mix_resin(request, pk):
    pull = _pull(request, pk)
    form = forms.MixForm(posted(request))
    act = partial(layups.mix_resin, pull=pull)
    heading = _("Resin for %(p)s") % {"p": pull}
    return act_page(request, pull, form, act, heading, caution=CARE)


@form_view
def test_bag(request, pk):
    pull = _pull(request, pk)
    form = forms.BagForm(posted(request))
    act = partial(layups.test_bag, pull=pull)
    return act_page(request, pull, form, act, _("Bag of %(p)s") % {"p": pull})


@form_view
def close_layup(request, pk):
    pull = _pull(request, pk)
    form = forms.CloseForm(posted(request))
    act = partial(actions.close_layup, pull=pull)
    heading = _("Close the lay-up of %(p)s") % {"p": pull}
    return act_page(request, pull, form, act, heading, button=_("It cures now"))


@form_view
def record_trace(request, pk):
    pull = _pull(request, pk)
    form = forms.TraceForm(posted(request), request.FILES or None)
    act = partial(cures.record_trace, pull=pull)
    return act_page(request, pull, form, act, _("Cure trace of %(p)s") % {"p": pull})


@form_view
def note_work(request, pk):
    pull = _pull(request, pk)
    form = forms.WorkForm(posted(request))
    act = partial(actions.note_work, pull=pull)
    return act_page(request, pull, form, act, _("Work on %(p)s") % {"p": pull})


@form_view
def demold(request, pk):
    pull = _pull(request, pk)
    form = forms.DemoldForm(posted(request))
    act = partial(actions.demold, pull=pull)
    heading = _("Take %(p)s out of the mold") % {"p": pull}
    return act_page(request, pull, form, act, heading, button=_("It is out"))


@form_view
def void_pull(request, pk):
    pull = _pull(request, pk)
    form = forms.VoidForm(posted(request))
    act = partial(actions.void_pull, pull=pull)
    return act_page(request, pull, form, act, _("Give up %(p)s") % {"p": pull})


@form_view
def yield_part(request, pk):
    pull = _pull(request, pk, "register parts")
    initial = {"design": pull.laminate.design_id or pull.tool.design_id}
    form = forms.YieldForm(posted(request), initial=initial)
    act = partial(actions.yield_part, pull=pull)
    heading = _("A part from %(p)s") % {"p": pull}
    return act_page(request, pull, form, act, heading, back=address_of)


test_bag.__test__ = False  # a verb of the trade, not a test
