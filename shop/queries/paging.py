"""Pages of long lists: two statements, whatever the length."""

from collections.abc import Callable, Iterable, Iterator
from itertools import islice

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
        page.object_list = _rows_of(rows, shape)
        return page
    page = Paginator(rows, size).get_page(number)
    page.object_list = shape(page.object_list)
    return page


def _rows_of(rows: QuerySet, shape: Callable) -> Iterator:
    """All of them by one statement, so many in memory: page by page the database would
    begin anew each time, and read all that it told before."""
    found = rows.iterator(AT_ONCE)
    while some := list(islice(found, AT_ONCE)):
        yield from shape(some)


def search(rows: QuerySet, words: str, *columns: str) -> QuerySet:
    """Keep the rows where every word is found in one of the columns."""
    for word in words.split():
        rows = rows.filter(says(rows.model, word, columns))
    return rows


def says(model, word: str, columns: Iterable[str]) -> Q:
    """A word is found in one of the columns. Of what is linked each table is looked
    through once by itself: joined, its text would be read again at every row."""
    found, linked = Q(), {}
    for column in columns:
        link, _dot, rest = column.partition("__")
        if rest:
            linked.setdefault(link, []).append(rest)
        else:
            found |= Q(**{f"{column}__icontains": word})
    for link, names in linked.items():
        other = model._meta.get_field(link).related_model
        rows = other._base_manager.filter(says(other, word, names)).order_by()
        found |= Q(**{f"{link}__in": rows.values("pk")})
    return found


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
