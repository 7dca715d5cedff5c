"""Pages of long lists: two statements, whatever the length."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice

from django.core.paginator import Page, Paginator
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from shop.ledger import word_index

SIZE = 30
AT_ONCE = 500  # rows of a whole list that are made together


class WHOLE:
    """Asked for in place of a page's number: all rows, as they are made."""


def page_of(
    rows: QuerySet, number, shape: Callable, size: int = SIZE, count: int | None = None
) -> Page:
    """Return one page of `rows`, each made into a dataclass by `shape`.

    count: how many there are, where that is known by a shorter way.
    """
    return whole_page_of(
        rows,
        number,
        lambda page_rows: [shape(row) for row in page_rows],
        size,
        count,
    )


def whole_page_of(
    rows: QuerySet, number, shape: Callable, size: int = SIZE, count: int | None = None
) -> Page:
    """The same, where `shape` makes all rows of the page together."""
    whole = number is WHOLE
    paginator = Paginator(rows, AT_ONCE if whole else size)
    if count is not None:
        paginator.count = count
    page = paginator.get_page(1 if whole else number)
    page.object_list = _rows_of(rows, shape) if whole else shape(_behind(rows, page))
    return page


def _behind(rows: QuerySet, page: Page) -> QuerySet:
    """The rows of a page, whose keys are found first: the rows before them are passed
    by their order alone, or those after them where these are fewer, and nothing that a
    list shows is joined to each. The order tells any two rows apart: of equal ones a
    page from one end could show what a page from the other did."""
    if page.number == 1 or rows.query.combinator:  # of several tables: keys already
        return page.object_list
    count, first, last = page.paginator.count, page.start_index(), page.end_index()
    if count - last < first:
        keys = rows.reverse().values("pk")[count - last : count - first + 1]
    else:
        keys = rows.values("pk")[first - 1 : last]
    return rows.filter(pk__in=keys)


def _rows_of(rows: QuerySet, shape: Callable) -> Iterator:
    """All of them by one statement, so many in memory: page by page the database would
    begin anew each time, and read all that it told before."""
    stream = rows.iterator(AT_ONCE)
    while some := list(islice(stream, AT_ONCE)):
        yield from shape(some)


def all_of(rows: Sequence) -> Page:
    """A list that is told whole, as its only page."""
    return Paginator(rows, max(len(rows), 1)).get_page(1)


def search(rows: QuerySet, words: str, *columns: str) -> QuerySet:
    """Keep the rows where every word is found in one of the columns."""
    for word in words.split():
        rows = rows.filter(says(rows.model, word, columns))
    return rows


def says(model, word: str, columns: Iterable[str]) -> Q:
    """A word is found in one of the columns: where few rows have it their keys, which
    the index of words tells."""
    names = {"pk": []}
    for column in columns:
        link, _dot, rest = column.partition("__")
        names.setdefault(link if rest else "pk", []).append(rest or column)
    condition = Q()
    for link, there in names.items():
        if there:
            other = model
            if link != "pk":
                other = model._meta.get_field(link).related_model
            condition |= _found_at(link, other, word, there)
    return condition


def _found_at(link: str, model, word: str, names: list[str]) -> Q:
    """Where many rows have it the newest are read until a page is full: not joined, for
    then all that have it were read and sorted."""
    keys = word_index.few(model, word, names)
    if keys is not None:
        return Q(**{f"{link}__in": keys})
    if link == "pk":
        return word_index.says(word, names)
    rows = model._base_manager.order_by()
    further = any("__" in name for name in names)
    there = says(model, word, names) if further else word_index.says(word, names)
    return Q(Exists(rows.filter(there, pk=OuterRef(link))))


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
