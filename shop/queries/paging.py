"""Pages of long lists: two statements, whatever the length."""

from collections.abc import Callable, Iterator

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

SIZE = 30
AT_ONCE = 500  # rows of a whole list that are made together


class WHOLE:
    """Asked for in place of a page's number: all rows, as they are made."""


def page_of(rows: QuerySet, number, shape: Callable, size: int = SIZE) -> Page:
    """Return one page of `rows`, each made into a dataclass by `shape`."""
    return whole_page_of(
        rows, number, lambda found: [shape(row) for row in found], size
    )


def whole_page_of(rows: QuerySet, number, shape: Callable, size: int = SIZE) -> Page:
    """The same, where `shape` makes all rows of the page together."""
    if number is WHOLE:
        page = Paginator(rows, AT_ONCE).get_page(1)
        page.object_list = _rows_of(page.paginator, shape)
        return page
    page = Paginator(rows, size).get_page(number)
    page.object_list = shape(page.object_list)
    return page


def _rows_of(pages: Paginator, shape: Callable) -> Iterator:
    for page in pages:
        yield from shape(page.object_list)


def search(rows: QuerySet, words: str, *columns: str) -> QuerySet:
    """Keep the rows where every word is found in one of the columns."""
    for word in words.split():
        found = Q()
        for column in columns:
            found |= Q(**{f"{column}__icontains": word})
        rows = rows.filter(found)
    return rows


def count_of(rows: QuerySet, link: str, outer: str = "pk") -> Coalesce:
    """Count the `rows` whose `link` is the outer row, or what its `outer` names: only
    for the rows of the page, where a join would first group the whole table."""
    counted = (
        rows.filter(**{link: OuterRef(outer)})
        .order_by()
        .annotate(group=F(link))
        .values("group")
        .annotate(n=Count("pk"))
        .values("n")
    )
    return Coalesce(Subquery(counted), 0)
