"""A joint over parts: which stations fail, and one place or mode over parts."""

from django.http import Http404
from django.shortcuts import render
from django.views.decorators.http import require_GET

from qa.forms.charts import ChartForm
from qa.models import Joint, Kind
from qa.numeric.measuring.modes import Mode
from qa.queries.joints import over_parts as queries
from qa.queries.joints.part_charts import Way
from qa.rules.over_parts import Which
from shop import roles

from .joints import unit_of

JOINTS = Joint.objects.exclude(current=None).select_related(
    "type", "position", "surround", "current"
)


def _which(request) -> Which:
    asked = request.GET.get("which", "")
    return Which(asked) if asked in set(Which) else Which.FIRST


def _way(request) -> Way:
    return Way.asked(request.GET.get("rules", ""), request.GET.get("by", ""))


@require_GET
def over_parts(request, pk):
    joint = roles.fetch(request.user, "look", JOINTS, pk=pk)
    page = queries.over_page(joint, _which(request), unit_of(request))
    return render(request, "qa/over_parts/joint.html", {"page": page, "joint": joint})


@require_GET
def place(request, pk, label, kind):
    joint = roles.fetch(request.user, "look", JOINTS, pk=pk)
    if kind not in Kind.values:
        raise Http404
    which = _which(request)
    page = queries.place_page(
        joint, label, kind, which, unit_of(request), _way(request)
    )
    if page is None:
        raise Http404
    return _series(request, joint, page, which)


@require_GET
def mode(request, pk, mode):
    joint = roles.fetch(request.user, "look", JOINTS, pk=pk)
    if mode not in set(Mode):
        raise Http404
    which = _which(request)
    page = queries.mode_page(joint, Mode(mode), which, unit_of(request), _way(request))
    return _series(request, joint, page, which)


def _series(request, joint, page, which):
    start = {"which": which, **vars(_way(request))}
    form = ChartForm(start, initial=start)
    context = {"page": page, "joint": joint, "which": which, "form": form}
    return render(request, "qa/over_parts/series.html", context)
