"""Joints: the list, one joint with its map and what it must reach, and its files."""

from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from qa.files import drawing, joint_text
from qa.forms.joints import JointFilter
from qa.models import Joint
from qa.queries.joints import drawings
from qa.queries.joints import joint_pages as queries
from shop import roles
from shop.forms.fields import number_in
from shop.models import Airframe
from shop.queries.paging import page_of
from shop.views.list_files import list_page, page_asked

from . import list_columns, papers


@require_GET
def joints(request):
    form = JointFilter(request.GET)
    chosen = form.chosen
    rows = queries.joints(words=chosen.pop("q"), **chosen)
    page = page_of(rows, page_asked(request), queries.joint_row)
    context = {
        "filter": form,
        "page": page,
        "may_define": roles.may(request.user, "define joints"),
    }
    return list_page(request, "qa/joints/joints.html", context, list_columns.JOINTS)


def joint_and_revision(request, pk, number=None, verb="look"):
    rows = Joint.objects.exclude(current=None).select_related(
        "type", "position", "surround", "mirror__current", "current__entry__by"
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
    view = queries.joint_view(joint, revision, unit_of(request))
    context = {
        "view": view,
        "finish": view.finish,
        "fitted_on": queries.fitted_on(joint),
        "lonely": queries.without_counterpart(joint, view.stations),
        "joint": joint,
        "revision": revision,
        "map_svg": drawings.map_svg(view.map),
        "may_define": roles.may(request.user, "define joints"),
        "may_measure": roles.may(request.user, "measure"),
    }
    return render(request, "qa/joints/joint.html", context)


def unit_of(request) -> str:
    """The unit asked for in the address, else the person's own."""
    asked = request.GET.get("unit")
    return asked if asked in ("mm", "in") else request.user.units


@require_GET
def joint_csv(request, pk, number):
    """The stations of a revision as the file they can be read from again."""
    joint, revision = joint_and_revision(request, pk, number)
    stations = revision.stations.select_related("surround")
    text = joint_text.write(joint_text.rows_of(stations))
    name = f"{papers.plain_name(joint.number)}-{revision.number}.csv"
    return papers.answer(text.encode(), name, "text/csv; charset=utf-8")


@require_GET
def joint_dxf(request, pk, number):
    """The stations of a revision as a drawing, which can be read again."""
    joint, revision = joint_and_revision(request, pk, number)
    data = drawing.write(revision.stations.all(), closed=revision.closed)
    name = f"{papers.plain_name(joint.number)}-{revision.number}.dxf"
    return papers.answer(data, name, "image/vnd.dxf")


@papers.of_the_record
def blank_sheet(request, pk):
    """The sheet to log a joint by hand; ?revision=, ?airframe=, ?unit=, ?paper=."""
    number = number_in(request.GET.get("revision"))
    joint, revision = joint_and_revision(request, pk, number)
    view = queries.joint_view(joint, revision, unit_of(request))
    serial = ""
    if asked := request.GET.get("airframe", ""):
        rows = Airframe.objects.filter(type=joint.type_id)
        serial = get_object_or_404(rows, pk=number_in(asked)).serial
    url = request.build_absolute_uri(
        reverse("joint_revision", args=[joint.pk, revision.number])
    )
    data = papers.blank_sheet(request, view, url, serial)
    name = f"{papers.plain_name(joint.number)}-{revision.number}-blank.pdf"
    return papers.answer(data, name)
