"""Every list as a file: the same rows, filtered the same way, all of them.

A list's view asks `page_asked` which page is meant and answers by `list_page`; a link
below the table gives `?as=csv` or `?as=xlsx`.
"""

import contextlib
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import partial, singledispatch
from typing import BinaryIO

from django.core.paginator import Page
from django.db.models import Model
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _

from shop.files import list_tables
from shop.queries.identity import the_shop
from shop.queries.paging import WHOLE
from shop.wording import states

IN_MEMORY = 1 << 20  # a longer file is written to the disk
PIECE = 1 << 16
WRITERS = {
    "csv": (list_tables.write_csv, "text/csv; charset=utf-8"),
    "xlsx": (
        list_tables.write_workbook,
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ),
}


@dataclass(frozen=True)
class Column:
    """A heading, and what stands below it: a field of the row, or made from the row."""

    heading: str | Promise
    of: str | Callable[[object], object]

    def value(self, row: object) -> object:
        content = getattr(row, self.of) if isinstance(self.of, str) else self.of(row)
        return plain(content)


@dataclass(frozen=True)
class ListFile:
    """What a list is as a file: its plain name, its title, its columns."""

    name: str
    title: str | Promise
    columns: tuple[Column, ...]


def state_word(field: str = "state") -> Callable[[object], str]:
    """The word of the state in a field of a row."""
    return lambda row: states.of_record(getattr(row, field))[1]


@singledispatch
def plain(value: object) -> object:
    """A value as a cell takes it: a time in the shop's zone, words resolved."""
    return value


@plain.register
def _in_the_shops_zone(value: datetime) -> datetime:
    return timezone.localtime(value)


@plain.register(bool)
def _yes_or_no(value: bool) -> str:
    return _("yes") if value else _("no")


@plain.register(Promise)
@plain.register(Model)
def _in_words(value) -> str:
    return str(value)


def format_asked(request) -> str | None:
    """The format that the address asks for, or None: the page itself."""
    asked = request.GET.get("as")
    return asked if asked in WRITERS else None


def page_asked(request):
    """The number of the page, for `page_of`; WHOLE where a file is asked for."""
    return WHOLE if format_asked(request) else request.GET.get("page")


def list_page(request, template: str, context: dict, file: ListFile) -> HttpResponse:
    """The page of a list, or the file of the whole list where that is asked for."""
    page: Page = context["page"]
    if kind := format_asked(request):
        return list_answer(request, page.object_list, file, kind)
    page.is_a_file_too = True
    return render(request, template, context)


def list_answer(request, rows: Iterable, file: ListFile, kind: str) -> HttpResponse:
    write, content_type = WRITERS[kind]
    cells = ([column.value(row) for column in file.columns] for row in rows)
    heads = [str(column.heading) for column in file.columns]
    table = list_tables.Table(str(file.title), heads, cells, _about(request, file))
    with contextlib.ExitStack() as until_then:
        kept = until_then.enter_context(tempfile.SpooledTemporaryFile(IN_MEMORY))
        try:
            write(table, kept)
        except list_tables.TooManyRows as why:
            return HttpResponse(str(why), status=413, content_type="text/plain")
        size = kept.tell()
        kept.seek(0)
        if size <= IN_MEMORY:
            answer = HttpResponse(kept.read(), content_type=content_type)
        else:
            answer = InPieces(kept, content_type=content_type)
            until_then.pop_all()  # the answer closes it
    answer["Content-Length"] = str(size)
    answer["Content-Disposition"] = f'attachment; filename="{file.name}.{kind}"'
    return answer


class InPieces(StreamingHttpResponse):
    """A file that is too large to be held in memory, written in the view, at one moment
    of the records, and sent from the disk."""

    def __init__(self, kept: BinaryIO, **more):
        super().__init__(iter(partial(kept.read, PIECE), b""), **more)
        self._resource_closers.append(kept.close)

    async def __aiter__(self):
        # Django would read all of it first, in another thread.
        for part in self:
            yield part


def _about(request, file: ListFile) -> list[tuple[str, object]]:
    address = request.GET.copy()
    for name in ("as", "page"):
        address.pop(name, None)
    query = f"?{address.urlencode()}" if address else ""
    made = timezone.localtime()
    return [
        (_("List"), str(file.title)),
        (_("Shop"), the_shop().name),
        (_("From"), request.build_absolute_uri(request.path + query)),
        (_("Made"), made),
        (_("Times are in"), f"{timezone.get_current_timezone_name()} ({made:%z})"),
        (_("By"), request.user.name),
    ]
