"""Joints: the list, and one joint with its map and what it must reach."""

from django.http import Http404
from django.shortcuts import render
from django.views.decorators.http import require_GET

from qa.forms.joints import JointFilter
from qa.models import Joint
from qa.queries import joints as queries
from qa.queries import maps
from shop import roles
from shop.queries.paging import page_of


@require_GET
def joints(request):
    form = JointFilter(request.GET)
    chosen = form.chosen
    rows = queries.joints(words=chosen.pop("q"), **chosen)
    page = page_of(rows, request.GET.get("page"), queries.joint_row)
    context = {
        "filter": form,
        "page": page,
        "may_define": roles.may(request.user, "define joints"),
    }
    return render(request, "qa/joints.html", context)


def joint_and_revision(request, pk, number=None, verb="look"):
    rows = Joint.objects.exclude(current=None).select_related(
        "type", "position", "surround", "current__entry__by"
    )
    joint = roles.fetch(request.user, verb, rows, pk=pk)
    if number is None or number == joint.current.number:
        return joint, joint.current
    revision = joint.revisions.select_related("entry__by").filter(number=number)
    if not revision:
        raise Http404
    return joint, revision[0]


@require_GET
def joint(request, pk, number=None):
    joint, revision = joint_and_revision(request, pk, number)
    unit = request.GET.get("unit")
    unit = unit if unit in ("mm", "in") else request.user.units
    view = queries.joint_view(joint, revision, unit)
    context = {
        "view": view,
        "joint": joint,
        "revision": revision,
        "map_svg": maps.map_svg(view.map),
        "may_define": roles.may(request.user, "define joints"),
        "may_measure": roles.may(request.user, "measure"),
    }
    return render(request, "qa/joint.html", context)
