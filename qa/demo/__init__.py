"""The demo: an invented shop that builds a two-seat motor glider of its own.

Everything here is made up. It is loaded through the same actions that people use, so
that the ledger of the demo verifies like any other.
"""

from shop import demo as floor
from shop.models import Person

from . import (
    airframe,
    capable,
    closing,
    cowls,
    fairing,
    fitting,
    gauges,
    holding,
    items,
    joints,
    molds,
    offering,
    packs,
    people,
    planning,
    setting,
    signing,
    studies,
    temporary,
)


def load() -> None:
    """Fill an empty database with the scenario."""
    crew = people.load()
    signing.load(crew)
    glider = airframe.load(crew)
    seams = joints.load(crew, glider)
    holding.load(crew, glider, seams)
    fitting.load(crew, glider, seams)
    planning.load(crew, glider, seams)
    floor.load_back_room(crew, glider.designs)
    fairing.load(crew, glider)
    molds.load(crew, glider)
    gauges.load(crew)
    capable.load(crew, glider)
    items.repeat(crew, glider)
    offering.load(crew, glider, seams)
    studies.load(crew)
    setting.load(crew, glider)
    temporary.load(crew, glider, seams)
    cowls.load(crew, glider, seams)
    closing.load(crew, glider, seams)
    signing.at_the_end(crew)
    packs.load(crew, glider)


def sign_ins() -> list[tuple[str, str, str]]:
    """Return (sign-in name, password, role) of who may sign in to the demo."""
    there = set(
        Person.objects.filter(is_active=True).values_list("username", flat=True)
    )
    return [
        (username, people.PASSWORD, role)
        for username, _name, role in people.CREW
        if username in there
    ]
