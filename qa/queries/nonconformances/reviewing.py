"""Reviewing many nonconformances: groups, what comes most often, what repeats."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlencode

from django.db.models import Case, F, IntegerField, QuerySet, Value, When
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from qa.drawing import pareto, svg
from qa.drawing.pareto import Bar, Share, shares
from qa.models import Nonconformance, Severity
from qa.queries.nonconformances import item_pages
from qa.queries.nonconformances.item_pages import ItemRow
from qa.rules import item_life
from qa.wording.findings import span
from shop.identifiers import KINDS
from shop.models import Lineage

GROUPS = {
    "joint": gettext_lazy("joint"),
    "kind": gettext_lazy("kind"),
    "cause": gettext_lazy("cause"),
    "origin": gettext_lazy("origin"),
    "mold": gettext_lazy("mold"),
    "holder": gettext_lazy("who has it"),
}
MOST = 400
DEEPEST = 8
WORST_FIRST = (Severity.CRITICAL, Severity.MAJOR, Severity.MINOR)


def for_the_stand_up(rows: QuerySet[Nonconformance]) -> QuerySet[Nonconformance]:
    """What blocks first, then the most severe, then what is due soonest, then the
    oldest."""
    severe = [
        When(standing__severity=severity, then=Value(rank))
        for rank, severity in enumerate(WORST_FIRST)
    ]
    rank = Case(*severe, default=Value(len(severe)), output_field=IntegerField())
    return rows.annotate(rank=rank).order_by(
        "-standing__blocking",
        "rank",
        F("standing__due").asc(nulls_last=True),
        "standing__opened_at",
        "pk",
    )


@dataclass(frozen=True)
class Group:
    """Items that have one thing in common; `url` is the list of them all."""

    name: str
    rows: list[ItemRow]
    url: str

    @property
    def undecided(self) -> bool:
        """Whether any of them can be decided together with others."""
        return any(row.state in item_life.UNDECIDED for row in self.rows)


def grouped(rows: QuerySet[Nonconformance], by: str, asked: dict) -> list[Group]:
    """The items in groups, the largest first; of very many the first MOST."""
    items = list(rows[:MOST])
    keys = _keys(items, by)
    by_key: dict = defaultdict(list)
    for item in items:
        for key in keys(item):
            by_key[key].append(item)
    groups = [
        Group(
            name=key.name,
            rows=[item_pages.item_row(item) for item in some],
            url=_list(asked, key),
        )
        for key, some in by_key.items()
    ]
    return sorted(groups, key=lambda group: (-len(group.rows), group.name))


@dataclass(frozen=True)
class Key:
    """What a group has in common: its name, and how a filter says it."""

    name: str
    field: str = ""
    value: str = ""


def _keys(items: list[Nonconformance], by: str) -> Callable:
    """A function from an item to the keys of its groups."""
    if by == "mold":
        molds = molds_of({item.part_id for item in items} - {None})
        return lambda item: (
            [
                Key(f"{_('mold')} {code}", "mold", str(key))
                for key, code in sorted(molds.get(item.part_id, {}).items())
            ]
            or [Key(_("no mold"))]
        )
    if by == "origin":
        names = _origins(items)
        return lambda item: [names.get(_origin_of(item), Key(_("not stated")))]
    return {
        "joint": lambda item: [
            Key(f"{item.joint} {item.joint.name}", "joint", str(item.joint_id))
            if item.joint
            else Key(_("no joint"))
        ],
        "kind": lambda item: [
            Key(item.defect.name, "defect", str(item.defect_id))
            if item.defect
            else Key(item.get_kind_display(), "kind", item.kind)
        ],
        "cause": lambda item: [
            Key(item.standing.get_cause_display(), "cause", item.standing.cause)
            if item.standing.cause
            else Key(_("not stated"))
        ],
        "holder": lambda item: [
            Key(item.standing.holder.name, "person", str(item.standing.holder_id))
            if item.standing.holder
            else Key(_("nobody"))
        ],
    }[by]


# What the keys of a group read beside the item itself.
READ = {
    "joint": ("joint",),
    "kind": ("defect",),
    "cause": ("standing",),
    "origin": ("standing",),
    "mold": (),
    "holder": ("standing__holder",),
}


def _with(rows: QuerySet[Nonconformance], names: tuple[str, ...]) -> QuerySet:
    rows = rows.select_related(None).prefetch_related(None)
    return rows.select_related(*names) if names else rows


def _origin_of(item: Nonconformance) -> tuple[str, int | None]:
    return item.standing.origin_kind, item.standing.origin_id


def _origins(items: list[Nonconformance]) -> dict:
    """What the items came from, by kind and key; a statement a kind."""
    wanted = defaultdict(set)
    for kind, key in {_origin_of(item) for item in items}:
        if kind:
            wanted[kind].add(key)
    return {
        (kind, row.pk): Key(f"{KINDS[kind].word} {row}", "origin", f"{kind}:{row.pk}")
        for kind, keys in wanted.items()
        for row in KINDS[kind].rows().filter(pk__in=keys)
    }


def molds_of(parts: set[int]) -> dict[int, dict[int, str]]:
    """The molds that parts came out of: {part: {mold: code}}."""
    return {
        part: {mold: code for (mold, code), _pull in pulls}
        for part, pulls in pulls_of(parts).items()
    }


def pulls_of(parts: set[int]) -> dict[int, list]:
    """((mold, code), (pull, number)) of each part, also of those that it was made of;
    a statement a generation."""
    pulls: dict[int, list] = defaultdict(list)
    heirs = {key: {key} for key in parts}
    for _generation in range(DEEPEST):
        if not heirs:
            break
        edges = Lineage.objects.filter(part__in=heirs).values_list(
            "part", "source", "pull__tool", "pull__tool__code", "pull", "pull__number"
        )
        older: dict[int, set[int]] = defaultdict(set)
        for part, source, tool, code, pull, number in edges:
            for heir in heirs[part]:
                if tool:
                    pulls[heir].append(((tool, code), (pull, number)))
                if source:
                    older[source].add(heir)
        heirs = older
    return pulls


def _list(asked: dict, key: Key) -> str:
    """The list of one group, with the filter that was asked for."""
    if not key.field:
        return ""
    query = {name: value for name, value in asked.items() if value}
    query.pop("group", None)
    return f"{reverse('nonconformances')}?{urlencode({**query, key.field: key.value})}"


@dataclass(frozen=True)
class Often:
    """What comes most often: of each its count, its share, and all up to there."""

    by: str
    shares: list[Share]
    count: int
    whole: bool


def often(rows: QuerySet[Nonconformance], by: str, asked: dict) -> Often:
    items = list(_with(rows, READ[by])[: MOST + 1])
    whole = len(items) <= MOST
    keys, counted = _keys(items[:MOST], by), defaultdict(int)
    for item in items[:MOST]:
        for key in keys(item):
            counted[key] += 1
    bars = [Bar(key.name, n, _list(asked, key)) for key, n in counted.items()]
    return Often(by, shares(bars), len(items[:MOST]), whole)


def in_percent(counts: Often) -> list[tuple[Share, str, str]]:
    """Each with its share of all, and all up to there, as text."""
    return [
        (share, pareto.percent(share.permille), pareto.percent(share.up_to))
        for share in counts.shares
    ]


def chart(counts: Often) -> str:
    title = _("Nonconformances by %(what)s") % {"what": GROUPS[counts.by]}
    return svg.render(pareto.build(title, counts.shares), prefix="pareto")


@dataclass(frozen=True)
class Repeat:
    """The same at the same place on parts of several pulls of one mold."""

    mold: str
    mold_id: int
    what: str
    where: str
    pulls: list[str]
    items: list[tuple[int, str, str]]


# What is read of an item to say what repeats.
REPEAT = (
    *("number", "kind", "part", "stations", "place"),
    *("joint__number", "defect__name", "airframe__serial"),
)


def repeats(rows: QuerySet[Nonconformance]) -> list[Repeat]:
    """What repeats on one mold from pull to pull: the same kind at the same stations
    of one joint, or at the same place in words; what came most often first. Of very
    many the first MOST."""
    rows = _with(rows, ("joint", "defect", "airframe")).only(*REPEAT)[:MOST]
    items = [item for item in rows if item.part_id]
    pulled = pulls_of({item.part_id for item in items})
    pulls_by_place: dict = defaultdict(lambda: defaultdict(list))
    kinds: dict = {}  # in words, which are the same for many
    for item in items:
        key = item.defect_id, item.kind
        kind = kinds.get(key) or item_pages.kind_words(item)
        kinds[key] = kind
        joint = item.joint.number if item.joint else ""
        for place in item.stations or [item.place]:
            for mold, pull in pulled.get(item.part_id, ()):
                station = bool(item.stations)
                pulls_by_place[mold, joint, kind, station, place][pull].append(item)
    together: dict = defaultdict(list)
    for (mold, joint, kind, station, place), pulls in pulls_by_place.items():
        if len(pulls) > 1 and (station or place):
            again = tuple(sorted(pulls, key=lambda pull: pull[1]))
            together[mold, joint, kind, station, again].append((place, pulls))
    repeated = [_repeat(key, places) for key, places in together.items()]
    return sorted(
        repeated, key=lambda repeat: (-len(repeat.pulls), repeat.mold, repeat.where)
    )


def _repeat(key, places) -> Repeat:
    mold, joint, kind, station, pulls = key
    names = [place for place, _items in places]
    where = span(names) if station else ", ".join(names)
    items = {
        item.pk: (item.pk, item.label, item.airframe.serial)
        for _place, by_pull in places
        for some in by_pull.values()
        for item in some
    }
    return Repeat(
        mold=mold[1],
        mold_id=mold[0],
        what=kind,
        where=f"{joint}, {where}" if joint else where,
        pulls=[f"{mold[1]}-{number}" for _key, number in pulls],
        items=[items[pk] for pk in sorted(items)],
    )
