"""Papers of the shop floor: ply book, traveler, mold card, weight and balance."""

from django.views.decorators.http import require_GET

from qa.queries import floor_papers
from qa.views.papers import answer, paper_of, plain_name
from shop import roles
from shop.identifiers import address_of
from shop.models import Airframe, Laminate, Pull, Tool


def _printed(request, make, row):
    """The paper that `make` gives of a row, with the code of the row's page."""
    # reportlab is slow to import and most pages never print.
    from qa.paper import floor_paper as paper  # noqa: PLC0415

    url = request.build_absolute_uri(address_of(row))
    sheet = make(row, url, request.user.name)
    data = paper.render(sheet, paper_of(request))
    return answer(data, f"{plain_name(f'{sheet.kind} {sheet.number}')}.pdf")


@require_GET
def ply_book(request, pk):
    rows = Laminate.objects.select_related("design", "resin", "recipe")
    row = roles.fetch(request.user, "look", rows, pk=pk)
    return _printed(request, floor_papers.ply_book, row)


@require_GET
def traveler(request, pk):
    rows = Pull.objects.select_related("tool", "laminate__recipe")
    row = roles.fetch(request.user, "look", rows, pk=pk)
    return _printed(request, floor_papers.traveler, row)


@require_GET
def mold_card(request, pk):
    rows = Tool.objects.select_related("design", "plug", "last_coat")
    row = roles.fetch(request.user, "look", rows, pk=pk)
    return _printed(request, floor_papers.mold_card, row)


@require_GET
def weight_and_balance(request, pk):
    rows = Airframe.objects.select_related("type")
    row = roles.fetch(request.user, "look", rows, pk=pk)
    return _printed(request, floor_papers.weight_and_balance, row)
