"""Answers that are files: PDF bytes from the paper modules, and CSV."""

import contextlib
import re
from functools import wraps

from django.db import OperationalError
from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_GET

from qa.queries import close_out_papers as close_outs
from qa.queries.checks.blank_sheets import blank_sheet_of
from qa.queries.checks.check_sheets import sheet_of
from qa.queries.nonconformances.item_lists import list_of
from qa.queries.temporary_papers import off_list
from shop.ledger import sealer
from shop.ledger.snapshot import snapshot
from shop.models import Seal
from shop.queries.identity import the_shop

CONTENT = "application/pdf"
SEALINGS = 5


def of_the_record(view):
    """For a paper that prints its place in the ledger: chain first, then read.

    What comes in between the two is not chained yet, and the paper would show it.
    """

    @wraps(view)
    def made(request, *args, **kwargs):
        for tries in range(SEALINGS):
            # All of a long ledger only where what is printed was not among the newest.
            sealer.seal(everywhere=tries > 0)
            with contextlib.suppress(Seal.DoesNotExist), snapshot():
                return view(request, *args, **kwargs)
        raise OperationalError("The record changes faster than it can be printed.")

    made.own_moment = True
    return require_GET(made)


def answer(data: bytes, name: str, content: str = CONTENT) -> HttpResponse:
    response = HttpResponse(data, content_type=content)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def plain_name(text: str) -> str:
    """A name that every file system and header takes."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", text).strip("-.") or "joint"


def paper_of(request) -> str:
    asked = request.GET.get("paper", "")
    return asked if asked in ("a4", "letter") else the_shop().paper


def check_sheet(request, view) -> bytes:
    # reportlab is slow to import and most pages never print.
    from qa.paper import check_sheet as paper  # noqa: PLC0415

    url = request.build_absolute_uri(reverse("check", args=[view.row.uuid]))
    return paper.render(sheet_of(view, url), paper_of(request))


def blank_sheet(request, view, url: str, airframe: str) -> bytes:
    from qa.paper import blank_sheet as paper  # noqa: PLC0415

    sheet = blank_sheet_of(view, url, airframe)
    return paper.render(sheet, paper_of(request))


def nonconformance_list(request, items, form) -> bytes:
    from qa.paper import nonconformance_list as paper  # noqa: PLC0415

    url = request.build_absolute_uri(
        f"{reverse('nonconformances')}?{request.GET.urlencode()}"
    )
    listed = list_of(items, form.in_words, url, request.user.name)
    return paper.render(listed, paper_of(request))


def must_come_off(request, airframe) -> bytes:
    from qa.paper import must_come_off as paper  # noqa: PLC0415

    url = request.build_absolute_uri(reverse("must_come_off", args=[airframe.pk]))
    listed = off_list(airframe, url, request.user.name)
    return paper.render(listed, paper_of(request))


def close_out(request, view, page: str) -> bytes:
    from qa.paper import close_out as paper  # noqa: PLC0415

    sheet = close_outs.paper_of(
        view, request.build_absolute_uri(page), request.user.name
    )
    return paper.render(sheet, paper_of(request))
