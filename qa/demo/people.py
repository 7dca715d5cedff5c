"""The crew of the demo: one per role, a second builder, and one who is to leave."""

from shop.ledger import perform
from shop.models import Person
from shop.models.people import PUBLIC_PASSWORD as PASSWORD

CREW = (
    ("bea", "Bea Lindqvist", "builder"),
    ("tomas", "Tomas Okafor", "builder"),
    ("olga", "Olga Ferrant", "builder"),
    ("lena", "Lena Marsh", "lead"),
    ("emil", "Emil Castellan", "engineer"),
    ("ines", "Ines Haddad", "inspector"),
    ("vic", "Vic Morrow", "visitor"),
)


def load() -> dict[str, Person]:
    """Return the crew by sign-in name."""
    with perform("demo_crew/1", by=None):
        return {
            username: Person.objects.create_user(
                username, PASSWORD, name=name, role=role, is_demo=True
            )
            for username, name, role in CREW
        }
