"""How the things of the chain are named, and where their pages are."""

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.identifiers import KINDS
from shop.models import (
    Airframe,
    CureState,
    CureTrace,
    Hold,
    Laminate,
    Lot,
    Machine,
    MillingSetup,
    Part,
    Person,
    Placement,
    Pull,
    ReleaseCoat,
    StepDone,
    Tool,
)
from shop.rules.reach import ORDER
from shop.wording import states

# Headings of the chain. "touched" is shown with what was worked on.
WORDS = {
    "person": gettext_lazy("People"),
    "machine": gettext_lazy("Machines"),
    "lot": gettext_lazy("Lots"),
    "milling": gettext_lazy("Milling set-ups"),
    "step": gettext_lazy("Steps"),
    "coat": gettext_lazy("Release coats"),
    "touched": gettext_lazy("Tools worked on"),
    "tool": gettext_lazy("Plugs and molds"),
    "laminate": gettext_lazy("Laminates"),
    "cure": gettext_lazy("Cures"),
    "pull": gettext_lazy("Pulls"),
    "part": gettext_lazy("Parts"),
    "placement": gettext_lazy("Positions on airframes"),
    "airframe": gettext_lazy("Airframes"),
}


@dataclass(frozen=True)
class Linked:
    """One thing of the chain: its name, what is known of it, its page ("": none).

    `state` is what to look at twice (held, suspect, scrapped ...), `word` says it.
    """

    id: int
    label: str
    note: str
    url: str
    state: str = ""
    word: str = ""


@dataclass(frozen=True)
class Group:
    """Things of one kind, the newest first; `count` is how many there are in all."""

    kind: str
    word: str
    rows: list[Linked]
    count: int

    @property
    def more(self) -> int:
        return self.count - len(self.rows)


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
    # Open holds on the thing itself or on anything it came from.
    holds: list[Hold]


def _when(time) -> str:
    return f"{timezone.localtime(time):%Y-%m-%d %H:%M}"


def _told(*words) -> str:
    return ", ".join(str(word) for word in words if word)


def _own(row, note: str) -> Linked:
    kind = next(kind for kind in KINDS.values() if kind.model == row._meta.label)
    return Linked(row.pk, str(row), note, kind.address(row), *_marked(row))


# States that a reader of the chain should see; all others are as it should be.
MARKED = ("held", "suspect", "scrapped", "retired", "void")


def _marked(row) -> tuple[str, str]:
    state = getattr(row, "state", "")
    return (state, row.get_state_display()) if state in MARKED else ("", "")


def _person(row: Person) -> Linked:
    return Linked(row.pk, row.name, row.get_role_display(), "")


def _placement(row: Placement) -> Linked:
    since = f"{timezone.localtime(row.placed_at):%Y-%m-%d}"
    when = _("since %(day)s") % {"day": since}
    if row.removed_at:
        when = f"{since} – {timezone.localtime(row.removed_at):%Y-%m-%d}"
    note = f"{row.part.serial}, {when}"
    label = f"{row.airframe.serial}, {row.position.path}"
    return Linked(row.pk, label, note, reverse("airframe", args=[row.airframe_id]))


def _pull(row: Pull) -> Linked:
    release = row.demold.get_release_display() if hasattr(row, "demold") else ""
    shown = _own(row, _told(row.laminate, _when(row.started_at), release))
    if shown.state or not row.cured:
        return replace(shown, note=_told(shown.note, row.get_cure_display()))
    return _cured(shown, row.cured)


def _cure(row: CureTrace) -> Linked:
    return _cured(_own(row, _told(row.pull, row.recipe, row.entry.by)), row.state)


def _cured(shown: Linked, cured: CureState) -> Linked:
    """A cure that was not met, or is open, is something to look at twice."""
    if cured == CureState.MET:
        return replace(shown, note=_told(shown.note, cured.label))
    return replace(
        shown, state=states.CURES[cured.value].verdict, word=str(cured.label)
    )


def _coat(row: ReleaseCoat) -> Linked:
    shown = _own(row, _told(row.tool, _when(row.applied_at), row.lot, row.entry.by))
    return replace(shown, label=f"{row.product}, {_('coat')} {row.number}")


def _step(row: StepDone) -> Linked:
    note = _told(row.tool, row.product, row.lot, row.entry.by)
    return _own(row, note)


def _milling(row: MillingSetup) -> Linked:
    return _own(row, _told(row.tool, f"R {row.radius_text}", row.entry.by))


def _lot(row: Lot) -> Linked:
    expiry = _("expires %(day)s") % {"day": row.expires_on} if row.expires_on else ""
    return _own(row, _told(row.material.name, row.supplier, row.certificate, expiry))


def _tool(row: Tool) -> Linked:
    return _own(row, _told(row.get_kind_display(), row.name))


def _part(row: Part) -> Linked:
    return _own(row, _told(row.design, row.design.name))


def _named(row) -> Linked:
    return _own(row, row.name)


Shape = Callable[[object], Linked]
SHAPES: dict[str, tuple[QuerySet, Shape]] = {
    "person": (Person.objects.all(), _person),
    "machine": (Machine.objects.all(), lambda row: _own(row, row.note)),
    "lot": (Lot.objects.select_related("material"), _lot),
    "milling": (
        MillingSetup.objects.select_related("machine", "tool", "entry__by"),
        _milling,
    ),
    "step": (
        StepDone.objects.select_related("step", "tool", "lot__material", "entry__by"),
        _step,
    ),
    "coat": (
        ReleaseCoat.objects.select_related(
            "tool", "product", "lot__material", "entry__by"
        ),
        _coat,
    ),
    "tool": (Tool.objects.all(), _tool),
    "laminate": (Laminate.objects.all(), _named),
    "cure": (
        CureTrace.objects.defer("text").select_related(
            "pull__tool", "recipe", "entry__by"
        ),
        _cure,
    ),
    "pull": (Pull.objects.select_related("tool", "laminate", "demold"), _pull),
    "part": (Part.objects.select_related("design"), _part),
    "placement": (
        Placement.objects.select_related("airframe", "position", "part"),
        _placement,
    ),
    "airframe": (Airframe.objects.all(), _named),
}
SHAPES["touched"] = SHAPES["tool"]


def describe(
    kind: str, keys: Collection[int], held=frozenset(), most: int | None = None
) -> Group:
    """Name the things of one kind: one statement, whatever their number.

    held: keys that are on hold. most: how many rows to show at most, the newest.
    """
    rows, shape = SHAPES[kind]
    rows_shown = rows.filter(pk__in=keys).order_by("-pk")[:most]
    named = [shape(row) for row in rows_shown]
    if held:
        on_hold = {"state": "held", "word": _("on hold")}
        named = [
            replace(node, **on_hold) if node.id in held else node for node in named
        ]
    return Group(kind, WORDS[kind], named, len(keys))


def groups(
    by_kind: dict[str, set[int]], held: dict, most: int | None, order=ORDER
) -> list[Group]:
    return [
        describe(kind, by_kind[kind], held.get(kind, ()), most)
        for kind in order
        if by_kind[kind]
    ]


def chain_page(
    kind: str, row, up: dict, down: dict, most: int | None = None
) -> ChainPage:
    """Both directions of the chain of a thing, from what `reach` found.

    A constant number of statements: one a kind, and one for the open holds.
    """
    thing = KINDS[kind]
    holds = list(Hold.objects.filter(lifted_entry=None).select_related("entry__by"))
    held: dict[str, set[int]] = {}
    for hold in holds:
        held.setdefault(hold.subject_kind, set()).add(hold.subject_id)
    held["touched"] = held.get("tool", set())
    above = {**up, kind: up.get(kind, set()) | {row.pk}}
    return ChainPage(
        kind,
        row.pk,
        str(row),
        thing.word,
        thing.address(row),
        thing.code(row.pk),
        # What is nearest comes first: the pull before the mold before its coats.
        groups(up, held, most, ORDER[::-1]),
        groups(down, held, most),
        [hold for hold in holds if hold.subject_id in above.get(hold.subject_kind, ())],
    )
