"""Who may do what. Pages and acts both ask here, by verb."""

from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404

from shop.models import Person, Role

EVERYONE = frozenset(Role)
WORKERS = frozenset({Role.BUILDER, Role.LEAD, Role.ENGINEER, Role.INSPECTOR})
LEAD = frozenset({Role.LEAD})
LEAD_ENGINEER = frozenset({Role.LEAD, Role.ENGINEER})
ENGINEER = frozenset({Role.ENGINEER})

MAY: dict[str, frozenset] = {
    "look": EVERYONE,
    "set own preferences": EVERYONE,
    # people and the airframe
    "manage people": LEAD,
    "manage tablets": LEAD,
    "name the shop": LEAD,
    "plan backups": LEAD,
    "define airframes": LEAD_ENGINEER,
    "define designs": LEAD_ENGINEER,
    "register parts": WORKERS - {Role.INSPECTOR},
    "place parts": WORKERS - {Role.INSPECTOR},
    "scrap parts": LEAD_ENGINEER,
    # the shop floor
    "define tooling": LEAD,
    "work on tooling": WORKERS - {Role.INSPECTOR},
    "take steps": WORKERS,
    "correct molds": LEAD_ENGINEER,
    "define laminates": LEAD_ENGINEER,
    "keep materials": WORKERS - {Role.INSPECTOR},
    "make pulls": WORKERS - {Role.INSPECTOR},
    "weigh": WORKERS,
    "add photos": WORKERS,
    "hold things": WORKERS - {Role.BUILDER},
    "decide suspects": WORKERS - {Role.BUILDER},
    # signing, each with the password or the PIN of whoever signs
    "sign": WORKERS,
    "sign as seen": WORKERS,
    "sign as inspected": WORKERS - {Role.BUILDER},
    "sign as approved": LEAD_ENGINEER,
    "sign as released": WORKERS - {Role.BUILDER},
    "approve concessions": ENGINEER,
    # requirements
    "define joints": LEAD_ENGINEER,
    "define instruments": LEAD_ENGINEER,
    "define holes": LEAD_ENGINEER,
    "set planning defaults": LEAD_ENGINEER,
    # cutting
    "cut parts": WORKERS - {Role.INSPECTOR},
    "release cuts": ENGINEER,
    # measuring
    "measure": WORKERS,
    "raise nonconformances": WORKERS,
    "contain nonconformances": WORKERS,
    # deciding
    "dispose nonconformances": LEAD_ENGINEER,
    "close nonconformances": WORKERS - {Role.BUILDER},
    "work on nonconformances": WORKERS - {Role.INSPECTOR},
    "explain nonconformances": WORKERS - {Role.BUILDER},
    "hand on nonconformances": WORKERS - {Role.BUILDER},
    # offering and inspecting
    "offer work": WORKERS - {Role.INSPECTOR},
    "inspect": frozenset({Role.INSPECTOR}),
    "define defects": LEAD_ENGINEER,
    "issue packs": WORKERS - {Role.BUILDER},
    "comment": WORKERS,
    # what is in for a while, and closing out
    "handle temporary items": WORKERS,
    "release temporary items": frozenset({Role.INSPECTOR}),
    "define characteristics": LEAD_ENGINEER,
    "close out": WORKERS - {Role.BUILDER},
    "leave places empty": LEAD_ENGINEER,
}


def may(person: Person | None, verb: str) -> bool:
    """Tell whether a person may do a verb; an unknown verb is a mistake of ours."""
    allowed = MAY[verb]
    return bool(
        person
        and getattr(person, "is_authenticated", False)
        and person.is_active
        and person.role in allowed
    )


def who_may(verb: str) -> str:
    """Return the roles that may do a verb, for people."""
    return ", ".join(str(role.label) for role in Role if role in MAY[verb])


def require(person: Person | None, verb: str) -> None:
    """Raise PermissionDenied unless the person may."""
    if not may(person, verb):
        who = ", ".join(sorted(str(Role(role).label) for role in MAY[verb]))
        raise PermissionDenied(f"Only these roles may {verb}: {who}.")


def fetch(person: Person, verb: str, queryset, **lookup):
    """Fetch one row and authorise in one call: the row cannot be had without."""
    require(person, verb)
    return get_object_or_404(queryset, **lookup)
