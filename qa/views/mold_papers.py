"""The papers of a correction: its sheet, and the new cut line at true size."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET

from qa.models import ToolCorrection
from qa.queries.molds import corrections, sheets
from shop import roles

from . import papers
from .joints import unit_of


def _page(request, number):
    rows = ToolCorrection.objects.select_related(*corrections.RELATED)
    row = roles.fetch(request.user, "look", rows, number=number)
    url = request.build_absolute_uri(reverse("correction", args=[number]))
    return corrections.correction_page(row, unit_of(request)), url


@require_GET
def correction_sheet(request, number):
    # reportlab is slow to import and most pages never print.
    from qa.paper import correction_sheet as paper  # noqa: PLC0415

    page, url = _page(request, number)
    data = paper.render(sheets.sheet_of(page, url), papers.paper_of(request))
    return papers.answer(data, f"{page.row.label}.pdf")


@require_GET
def correction_template(request, number):
    """?seen=outside for a plug or a male mold; else as seen into a female one."""
    from qa.paper import scribe_template as paper  # noqa: PLC0415

    page, url = _page(request, number)
    if corrections.nothing_to_cut(page):
        raise Http404
    into = request.GET.get("seen") != "outside"
    template = sheets.scribe_template(page, url, into=into)
    try:
        data = paper.render(template, papers.paper_of(request))
    except ValueError as no:
        messages.error(request, str(no))
        return redirect("correction", number=number)
    return papers.answer(data, f"{page.row.label}-scribe.pdf")
