"""Which devices there are: all of them to the lead, to others their own."""

from shop import roles
from shop.models import Device, Person
from shop.queries.paging import page_of


def devices_of(person: Person, page):
    rows = Device.objects.select_related("person", "made_by")
    if not roles.may(person, "manage tablets"):
        rows = rows.filter(person=person)
    return page_of(rows.order_by("name", "made_at", "pk"), page, lambda row: row)
