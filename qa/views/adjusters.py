"""How a part is held and what can be set: looked at, and stated anew."""

from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from qa.actions.adjusters import define_holding
from qa.forms import adjusters as forms
from qa.forms.adjusters import HoldingForm
from qa.queries.joints import drawings, holdings
from qa.queries.joints.predicted_and_done import came_view
from qa.rules import adjusters as rules
from qa.rules.station_places import places_of
from shop import roles
from shop.forms.fields import number_in
from shop.models import Position
from shop.views.acting import attempt, posted

# What the page offers to start from, by trade names.
STARTS = (
    ("hinged", _("two hinges and a latch")),
    ("corners", _("four corners in clecos")),
    ("cowl", _("a cowl with a row of fasteners")),
    ("canopy", _("a canopy on a rail")),
)
SPARE_POINTS, SPARE_ADJUSTERS = 4, 6


def _position(request, pk, verb="look") -> Position:
    return roles.fetch(
        request.user, verb, Position.objects.select_related("type", "parent"), pk=pk
    )


@require_GET
def holding(request, pk):
    position = _position(request, pk)
    view = holdings.holding_view(position, request.user.units)
    context = {
        "view": view,
        "maps": [
            (joint, drawings.map_svg(drawn, f"map{joint.pk}"))
            for joint, drawn in view.maps
        ],
        "starts": STARTS,
        "may_define": roles.may(request.user, "define joints"),
    }
    return render(request, "qa/adjusters/holding.html", context)


@require_GET
def came(request, pk):
    """What was predicted for settings, and what came."""
    view = came_view(_position(request, pk), request.user.units)
    context = {"view": view, "may_define": roles.may(request.user, "define joints")}
    return render(request, "qa/adjusters/came.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def state_holding(request, pk):
    """State how the part is held. More rows are given without saving anything."""
    position = _position(request, pk, "define joints")
    view = holdings.holding_view(position, request.user.units)
    offered = {}
    if view.holding and request.GET.get("set_u") == "came":
        offered = came_view(position, request.user.units).offered
    start, counts = _start(request, view, offered)
    form = HoldingForm(_with_more_rows(request), initial=start, **counts)
    here = reverse("holding", args=[pk])
    based_on = number_in(request.POST.get("based_on"))
    if request.method == "POST" and request.POST.get("do") != "more":

        def act(draft):
            return define_holding(
                by=request.user, position=position, draft=draft, based_on=based_on
            )

        done, _row = attempt(form, act)
        if done:
            return redirect(here)
    context = {
        "form": form,
        "view": view,
        "position": position,
        "back": here,
        "based_on": view.holding.number if view.holding else 0,
        "filled_in": ", ".join(offered),
        "asked_more": request.POST.get("do") == "more",
    }
    return render(request, "qa/adjusters/state_holding.html", context)


def _with_more_rows(request):
    sent = posted(request)
    if sent is None or sent.get("do") != "more":
        return sent
    sent = sent.copy()
    for name, more in (
        ("points_count", SPARE_POINTS),
        ("adjusters_count", SPARE_ADJUSTERS),
    ):
        sent[name] = str((number_in(sent.get(name)) or 1) + more)
    return sent


def _start(request, view, offered: dict[str, int]) -> tuple[dict, dict]:
    unit = request.user.units
    wanted = request.GET.get("start", "")
    if view.holding and wanted not in rules.TYPICAL:
        return forms.start_of(view.holding, unit, offered)
    flow, places = None, []
    for joint in view.joints:
        flow = flow or drawings.flow(joint.current)
        at, _gap, _face = places_of(list(joint.current.stations.all()))
        places += at.tolist()
    words = forms.usual_words(flow)
    make = rules.TYPICAL.get(wanted)
    typical = None
    if make and places:
        typical = make(places, front_is_left=flow is None or flow[0] >= 0)
    return forms.start_typical(typical, words, unit)
