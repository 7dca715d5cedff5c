"""The chain of a thing: on a page, on paper, as a file."""

import csv

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from qa.queries.chain import MOST, QA_STARTS, STARTS
from qa.queries.chain import chain as query
from shop import identifiers, roles
from shop.files.csv_table import plain_cell


def _page(request, kind: str, pk: int, most: int | None = None):
    roles.require(request.user, "look")
    if kind not in identifiers.KINDS or kind not in STARTS + QA_STARTS:
        raise Http404
    return query(kind, get_object_or_404(identifiers.KINDS[kind].rows(), pk=pk), most)


@require_safe
def chain(request, kind, pk):
    page = _page(request, kind, pk, MOST)
    context = {"page": page, "holdable": kind in STARTS and kind != "airframe"}
    return render(request, "qa/chain/chain.html", context)


@require_safe
def chain_csv(request, kind, pk):
    page = _page(request, kind, pk)
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="chain-{page.code}.csv"'
    rows = csv.writer(response)
    rows.writerow(["direction", "kind", "name", "what is known", "state"])
    for direction, groups in (("came from", page.up), ("reached", page.down)):
        for group in groups:
            rows.writerows(
                map(plain_cell, (direction, group.kind, row.label, row.note, row.word))
                for row in group.rows
            )
    return response


@require_safe
def chain_pdf(request, kind, pk):
    from shop.paper.chain import chain_sheet  # noqa: PLC0415 -- reportlab, only here

    page = _page(request, kind, pk)
    content = chain_sheet(
        page,
        owner=request.shop.name,
        url=request.build_absolute_uri(reverse("scan", args=[page.code])),
        creator=request.user.name,
        paper=request.shop.paper,
        issued_at=timezone.now(),
    )
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="chain-{page.code}.pdf"'
    return response
