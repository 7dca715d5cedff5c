"""Find anything by its tag, serial, number, name or code."""

from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from qa.identifiers import FIT
from qa.models import HolePattern
from qa.queries.checks.check_pages import checks
from qa.queries.nonconformances.item_pages import nonconformances
from shop import identifiers
from shop.identifiers import KINDS, Kind
from shop.ledger.word_index import asked_once
from shop.models import Material, PartDesign, Person, Pull
from shop.queries.paging import says
from shop.queries.paging import search as with_words

MOST = 10
LONGEST = 80


@dataclass(frozen=True)
class Found:
    label: str
    note: str
    url: str


@dataclass(frozen=True)
class FoundGroup:
    word: str
    rows: list[Found]
    more: bool


@dataclass(frozen=True)
class Results:
    """`code` is the thing whose code was typed, if any."""

    words: str
    code: Found | None
    groups: list[FoundGroup]

    @property
    def nothing(self) -> bool:
        return self.code is None and not self.groups


# Kinds in the order of the page, with the columns that are looked through.
COLUMNS = {
    "part": (_("Parts"), ("serial", "design__number", "design__name")),
    "tool": (_("Tooling"), ("code", "name", "place")),
    "joint": (_("Joints"), ("number", "name", "position__path")),
    "airframe": (_("Airframes"), ("serial", "name")),
    "lot": (_("Lots"), ("number", "material__code", "material__name")),
    "laminate": (_("Laminates"), ("code", "name")),
    "machine": (_("Machines"), ("name",)),
    "instrument": (_("Instruments"), ("code", "name", "kind")),
}
# Kinds that no label points at: rows, columns, heading, name of the url.
OTHERS = (
    (PartDesign, ("number", "name"), _("Part designs"), "design"),
    (Material, ("code", "name"), _("Materials"), "material"),
    (HolePattern, ("number", "name"), _("Hole patterns"), "hole_pattern"),
)


def look_for(text: str) -> Results:
    """Return what is found, grouped by kind: a statement a kind and one for a code,
    beside what the index of words is asked."""
    text = " ".join(text.split())[:LONGEST]
    if not text:
        return Results("", None, [])
    typed = identifiers.find(text) if " " not in text else None
    code = _found(*typed) if typed else None
    with asked_once():
        groups = _groups(text)
    return Results(text, code, [group for group in groups if group.rows])


def _groups(text: str) -> list[FoundGroup]:
    groups = [_things(name, text) for name in COLUMNS]
    groups.insert(2, _group(_("Pulls"), _pulls(text), KINDS["pull"]))
    groups += [
        _group(_("Fit checks"), _checks(text), KINDS["check"]),
        _group(_("Nonconformances"), _items(text), KINDS["nonconformance"]),
    ]
    groups += [_other(*other, text) for other in OTHERS]
    return [*groups, _people(text)]


def _found(kind: Kind, row) -> Found:
    return Found(str(row), ", ".join(kind.words(row)), kind.address(row))


def _group(word, rows: QuerySet, kind: Kind) -> FoundGroup:
    first = list(rows[: MOST + 1])
    named = [_found(kind, row) for row in first[:MOST]]
    return FoundGroup(word, named, len(first) > MOST)


def _things(name: str, words: str) -> FoundGroup:
    kind = KINDS[name]
    rows = with_words(kind.rows(), words, *COLUMNS[name][1])
    return _group(COLUMNS[name][0], rows.order_by("-pk"), kind)


def _pulls(words: str) -> QuerySet:
    """Pulls are named by their mold and number: DOOR-M-3."""
    rows = KINDS["pull"].rows().order_by("-pk")
    for word in words.split():
        mold, _dash, number = word.rpartition("-")
        condition = says(Pull, word, ("tool__code", "tool__name"))
        if mold and number.isdecimal() and len(number) < 9:
            condition |= Q(tool__code__named=mold, number=int(number))
        rows = rows.filter(condition)
    return rows


def _checks(words: str) -> QuerySet:
    rows = checks(words=words).prefetch_related(None)
    return rows.select_related(None).select_related(*FIT)


def _items(words: str) -> QuerySet:
    rows = nonconformances(words=words)
    return rows.prefetch_related(None)


def _other(model, columns, word, url: str, words: str) -> FoundGroup:
    rows = with_words(model.objects.order_by("-pk"), words, *columns)
    first = list(rows[: MOST + 1])
    named = [
        # The name stands beside; it is not said twice.
        Found(
            str(row).removesuffix(f" {row.name}"),
            row.name,
            reverse(url, args=[row.pk]),
        )
        for row in first[:MOST]
    ]
    return FoundGroup(word, named, len(first) > MOST)


def _people(words: str) -> FoundGroup:
    rows = with_words(Person.objects.order_by("name"), words, "name", "username")
    first = list(rows[: MOST + 1])
    named = [Found(row.name, row.get_role_display(), "") for row in first[:MOST]]
    return FoundGroup(_("People"), named, len(first) > MOST)
