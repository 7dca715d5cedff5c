"""Saying who the shop is."""

from shop import roles
from shop.ledger import perform
from shop.models import Person, ShopIdentity
from shop.rules.pictures import encode_photo

from .photos import keep_file


def set_identity(
    *,
    by: Person,
    name: str,
    time_zone: str,
    units: str,
    paper: str,
    picture: bytes | None = None,
    no_mark: bool = False,
    second_factor: bool = False,
) -> ShopIdentity:
    """Say what the shop is called and in which zone, units and paper it works.

    picture: its mark, for the first page of packs; without one it stays what it was,
    or goes with `no_mark`.
    second_factor: whether leads and engineers must have one (shop.rules.second_factor).
    """
    roles.require(by, "name the shop")
    content = {"name": name, "time_zone": time_zone, "units": units, "paper": paper}
    content["second_factor"] = second_factor
    if picture:
        content["mark"] = keep_file(encode_photo(picture)[0])
    elif not no_mark:
        content["mark"] = the_newest_mark()
    row = ShopIdentity(**content)
    row.full_clean(exclude=["entry"])
    with perform("shop/1", by=by, said=content) as act:
        return act.record(row)


def the_newest_mark() -> str:
    last = ShopIdentity.objects.order_by("-id").first()
    return last.mark if last else ""
