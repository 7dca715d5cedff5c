"""The people of the shop, for the lead."""

from django.core.paginator import Page
from django.db.models import Exists, OuterRef

from shop.models import Person, SecondFactor

from .paging import page_of, search


def people(*, q: str = "", role: str = "", page=1) -> Page:
    factor = SecondFactor.objects.filter(person=OuterRef("pk"))
    rows = Person.objects.annotate(has_factor=Exists(factor))
    rows = rows.order_by("-is_active", "name", "pk")
    if role:
        rows = rows.filter(role=role)
    return page_of(search(rows, q, "username", "name"), page, lambda person: person)
