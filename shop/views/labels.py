"""Labels, and the road from a scanned code to its thing."""

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop import identifiers, roles
from shop.forms.labels import LabelsForm
from shop.numeric.label_sheets import SHEETS
from shop.serving.addresses import is_reachable


@require_safe
def scan(request, code):
    """Lead from the code of a label to the page of its thing."""
    roles.require(request.user, "look")
    identified = identifiers.find(code)
    if identified is None:
        context = {"code": code.upper()}
        return render(request, "shop/labels/scan_unknown.html", context, status=404)
    kind, row = identified
    return redirect(kind.address(row))


@require_safe
def labels(request):
    """A form; with things and a sheet chosen, the labels as PDF."""
    roles.require(request.user, "look")
    if "sheet" in request.GET:
        form = LabelsForm(request.GET)
    else:
        form = LabelsForm(initial={"codes": request.GET.get("codes", "")})
    if form.is_bound and form.is_valid():
        return _sheet(request, form.cleaned_data)
    context = {
        "form": form,
        "above": (_("Tooling"), reverse("tooling")),
        "address": request.build_absolute_uri("/t/"),
        "only_here": not _reachable(request.get_host()),
    }
    return render(request, "shop/labels/labels.html", context)


def _reachable(host: str) -> bool:
    """Whether a tablet can reach us by the name this page was asked for."""
    name = host.rsplit(":", 1)[0].strip("[]") if host[-1:] != "]" else host.strip("[]")
    try:
        return is_reachable(name)
    except ValueError:
        return name != "localhost"


def _sheet(request, values) -> HttpResponse:
    from shop.paper.labels import Label, labels  # noqa: PLC0415 -- reportlab

    items = []
    for kind, row in values["things"]:
        code = kind.code(row.pk)
        address = request.build_absolute_uri(reverse("scan", args=[code]))
        items.append(Label(address, code, str(row), (str(kind.word), *kind.words(row))))
    content = labels(
        items,
        SHEETS[values["sheet"]],
        first=values["first"],
        owner=request.shop.name,
        issued_at=timezone.now(),
    )
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return response
