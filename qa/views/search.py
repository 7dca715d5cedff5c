"""The search, and left beside right."""

from django.shortcuts import render
from django.views.decorators.http import require_safe

from qa.models import Joint
from qa.queries.joints import mirrored_joints as pair_queries
from qa.queries.search import look_for
from shop import roles
from shop.forms.filters import Filter
from shop.models import PartDesign
from shop.views.list_files import list_page, page_asked

from . import list_columns


@require_safe
def search(request):
    roles.require(request.user, "look")
    results = look_for(request.GET.get("q", ""))
    return render(request, "qa/search/search.html", {"results": results})


@require_safe
def pairs(request):
    roles.require(request.user, "look")
    form = Filter(request.GET)
    context = {
        "page": pair_queries.designs(**form.chosen, page=page_asked(request)),
        "filter": form,
        "tools": pair_queries.tools(),
        "joints": pair_queries.joints(),
    }
    return list_page(request, "qa/search/pairs.html", context, list_columns.PAIRS)


@require_safe
def pair(request, pk):
    rows = PartDesign.objects.select_related("mirror").exclude(mirror=None)
    design = roles.fetch(request.user, "look", rows, pk=pk)
    shown = pair_queries.design_pair(design, request.user.units)
    return render(request, "qa/search/pair.html", {"shown": shown})


@require_safe
def joint_pair(request, pk):
    rows = Joint.objects.select_related("mirror").exclude(mirror=None)
    joint = roles.fetch(request.user, "look", rows, pk=pk)
    shown = pair_queries.joint_pair(joint, request.user.units)
    return render(request, "qa/search/joint_pair.html", {"pair": shown})
