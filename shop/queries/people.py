"""The people of the shop, for the lead."""

from django.core.paginator import Page

from shop.models import Person

from .paging import page_of, search


def people(*, q: str = "", role: str = "", page=1) -> Page:
    rows = Person.objects.order_by("-is_active", "name")
    if role:
        rows = rows.filter(role=role)
    return page_of(search(rows, q, "username", "name"), page, lambda person: person)
