"""Saying who the shop is."""

from shop import roles
from shop.ledger import perform
from shop.models import Person, ShopIdentity


def set_identity(
    *, by: Person, name: str, time_zone: str, units: str, paper: str
) -> ShopIdentity:
    """Say what the shop is called and in which zone, units and paper it works."""
    roles.require(by, "name the shop")
    said = {"name": name, "time_zone": time_zone, "units": units, "paper": paper}
    row = ShopIdentity(**said)
    row.full_clean(exclude=["entry"])
    with perform("shop/1", by=by, said=said) as act:
        return act.record(row)
