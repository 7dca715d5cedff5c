"""What people may change about themselves."""

from shop.models import Person


def set_units(person: Person, *, units: str) -> None:
    """Show lengths in "mm" or "in" to this person; what was typed stays as typed."""
    person.units = units
    person.save(update_fields=["units"])
