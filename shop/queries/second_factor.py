"""What a person may know of their own second factor."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Q

from shop.models import Person, SecondFactor
from shop.rules.second_factor import is_wanted_of

from .identity import the_shop


@dataclass(frozen=True)
class FactorView:
    set_at: datetime
    codes_left: int


def view_of(person: Person) -> FactorView | None:
    unused = Count("codes", filter=Q(codes__used_at=None))
    row = SecondFactor.objects.filter(person=person).annotate(left=unused).first()
    return FactorView(row.set_at, row.left) if row else None


def asks_for_code(person: Person) -> bool:
    """Whether the password alone signs this person in nowhere."""
    wanted = is_wanted_of(person) and the_shop().second_factor
    return wanted or SecondFactor.objects.filter(person=person).exists()
