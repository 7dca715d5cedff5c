"""How the things of the chain are named and where their pages are."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from shop.models import Person, Placement, ReleaseCoat
from shop.things import KINDS

from .chain import ORDER, reach

# Headings of the chain, in its order. "touched" is shown with the tools.
WORDS = {
    "person": _("People"),
    "machine": _("Machines"),
    "lot": _("Lots"),
    "milling": _("Milling set-ups"),
    "step": _("Steps"),
    "coat": _("Release coats"),
    "touched": _("Tools worked on"),
    "tool": _("Plugs and molds"),
    "laminate": _("Laminates"),
    "pull": _("Pulls"),
    "part": _("Parts"),
    "placement": _("Positions on airframes"),
}


@dataclass(frozen=True)
class Linked:
    """One thing of the chain: its name, what is known of it, its page ("": none)."""

    id: int
    label: str
    note: str
    url: str
    state: str = ""


@dataclass(frozen=True)
class Group:
    kind: str
    word: str
    rows: list[Linked]


@dataclass(frozen=True)
class ChainPage:
    kind: str
    key: int
    label: str
    word: str
    url: str
    code: str
    up: list[Group]
    down: list[Group]


def _coat(row: ReleaseCoat) -> Linked:
    note = f"{row.tool.code}, {row.applied_at:%Y-%m-%d %H:%M}"
    return Linked(row.pk, str(row), note, reverse("tool", args=[row.tool_id]))


def _person(row: Person) -> Linked:
    return Linked(row.pk, row.name, row.get_role_display(), "")


def _placement(row: Placement) -> Linked:
    to = f"{row.removed_at:%Y-%m-%d}" if row.removed_at else "…"
    note = f"{row.part.serial}, {row.placed_at:%Y-%m-%d} – {to}"
    label = f"{row.airframe.serial}, {row.position.path}"
    return Linked(row.pk, label, note, reverse("airframe", args=[row.airframe_id]))


def _note(kind: str, row) -> str:
    if kind == "step":
        return f"{row.tool.code}, {row.done_at:%Y-%m-%d}"
    if kind == "pull":
        return f"{row.laminate}, {row.started_at:%Y-%m-%d}"
    if kind == "milling":
        return row.tool.code
    if kind == "part":
        return f"{row.design}, {row.design.name}"
    if kind == "lot":
        return row.material.name
    return getattr(row, "name", "")


OTHERS = {
    "coat": (ReleaseCoat.objects.select_related("tool", "product"), _coat),
    "person": (Person.objects.all(), _person),
    "placement": (
        Placement.objects.select_related("airframe", "position", "part"),
        _placement,
    ),
}


def describe(kind: str, keys: Iterable[int]) -> list[Linked]:
    """Name the things of one kind: one statement, whatever their number."""
    if kind in OTHERS:
        rows, shape = OTHERS[kind]
        return [shape(row) for row in rows.filter(pk__in=keys).order_by("pk")]
    thing = KINDS["tool" if kind == "touched" else kind]
    return [
        Linked(
            row.pk,
            str(row),
            _note(kind, row),
            thing.address(row),
            getattr(row, "state", ""),
        )
        for row in thing.rows().filter(pk__in=keys).order_by("pk")
    ]


def groups(found: dict[str, set[int]]) -> list[Group]:
    return [
        Group(kind, WORDS[kind], describe(kind, found[kind]))
        for kind in ORDER
        if found[kind]
    ]


def chain_page(kind: str, row) -> ChainPage:
    """Both directions of the chain of a thing: a constant number of statements."""
    thing = KINDS[kind]
    return ChainPage(
        kind,
        row.pk,
        str(row),
        thing.word,
        thing.address(row),
        thing.code(row.pk),
        groups(reach(kind, row.pk, down=False)),
        groups(reach(kind, row.pk, down=True)),
    )
