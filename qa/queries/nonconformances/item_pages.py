"""Nonconformances for lists, pages and paper."""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db.models import Prefetch, Q, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from qa.drawing.joint_map import JointMap
from qa.models import (
    Check,
    Joint,
    Nonconformance,
    NonconformanceState,
    NonconformanceStep,
    State,
)
from qa.queries.checks.photos import photos_of_item
from qa.queries.joints import drawings
from qa.rules import item_life
from qa.wording.findings import places
from qa.wording.items import UNKNOWN_CLASS
from shop.identifiers import KINDS
from shop.models import Entry, Hold, PhotoPin, StructuralClass
from shop.queries import genealogy
from shop.queries.paging import says
from shop.rules.reach import reach

# What an act said is long, and no row shows it.
ENTRIES = Entry.objects.select_related("by", "confirmation").defer("body")
# Of a row: PostgreSQL weighs every order in which the tables of one statement can be
# joined, for 120 ms where these were eight.
ENTRY_APART = Prefetch("entry", ENTRIES)
STANDINGS = NonconformanceState.objects.select_related("holder")
ROW_APART = (
    *(ENTRY_APART, Prefetch("standing", STANDINGS)),
    *("joint", "part", "defect", "fit_check"),
)
WHO = ("disposed_by", "holder", "closed_by", "worked_by", "verified_by")
JOINT = ("current", "position", "surround")
PAGE_APART = (
    ENTRY_APART,
    Prefetch("standing", NonconformanceState.objects.select_related(*WHO)),
    *("standing__last_entry__seal", "standing__recheck", "part__design", "defect"),
    Prefetch("joint", Joint.objects.select_related(*JOINT)),
    *("hole_check__revision", "result__revision__characteristic"),
    Prefetch("fit_check", Check.objects.select_related("entry", "fit_up__revision")),
    "fit_check__fit_up__part__design",
    "fit_check__fit_up__surround_part__design",
)
MOST_ORIGINS = 40
# What is held at once where a part is bad; the rest on the page of the thing itself.
HOLD_FIRST = ("part", "tool", "pull", "lot")
AGES = {"7": 7, "30": 30, "90": 90}
DUES = {"overdue": -1, "week": 7}
OWN = ("airframe", "joint", "defect", "kind")


def nonconformances(
    *, state="", age="", person=None, due="", mold=None, origin="", words="", **plain
) -> QuerySet[Nonconformance]:
    """Return items, newest first. state "unclosed" means everything but closed.

    plain: airframe, joint, defect, kind; cause, severity, disposition and blocking of
    their standing. origin: "tool:3". mold: what parts came out of it.
    """
    rows = Nonconformance.objects.select_related("airframe").order_by("-pk")
    rows = rows.prefetch_related(*ROW_APART)
    if state == "unclosed":
        rows = rows.exclude(standing__state=State.CLOSED)
    elif state in State.values:
        rows = rows.filter(standing__state=state)
    for name, value in plain.items():
        if value:
            column = name if name in OWN else f"standing__{name}"
            rows = rows.filter(**{column: value == "yes" or value})
    if age in AGES:
        then = timezone.now() - timedelta(days=AGES[age])
        rows = rows.filter(standing__opened_at__lte=then)
    if due in DUES:
        by = timezone.localdate() + timedelta(days=DUES[due])
        rows = rows.filter(standing__due__lte=by).exclude(standing__state=State.CLOSED)
    if person:
        rows = rows.filter(Q(standing__holder=person) | Q(entry__by=person))
    if mold:
        rows = rows.filter(part__in=reach("tool", mold.pk, down=True)["part"])
    if origin:
        kind, _colon, key = origin.partition(":")
        rows = rows.filter(standing__origin_kind=kind, standing__origin_id=int(key))
    for word in words.split():
        rows = rows.filter(_says(word))
    return rows


def _says(word: str) -> Q:
    columns = ("title", "part__serial", "joint__number", "airframe__serial")
    match = says(Nonconformance, word, columns)
    number = word.upper().removeprefix("NC-")
    if number.isdecimal() and len(number) < 10:
        match |= Q(number=int(number))
    return match


def whole() -> QuerySet[Nonconformance]:
    """Items, each with everything that its page shows."""
    return Nonconformance.objects.prefetch_related("airframe", *PAGE_APART)


@dataclass(frozen=True)
class ItemRow:
    """An item in a list, on screen, on paper and in CSV."""

    pk: int
    label: str
    airframe: str
    joint: str
    kind: str
    kind_label: str
    source: str
    title: str
    part: str
    check: str
    check_uuid: str
    requirement: str
    found: str
    place: str
    state: str
    disposition: str
    cause: str
    severity: str
    blocking: bool
    holder: str
    due: date | None
    overdue: bool
    next_by: str
    raised_by: str
    opened_at: datetime
    days: int
    closed_at: datetime | None


def item_row(item: Nonconformance, now: datetime | None = None) -> ItemRow:
    standing = item.standing
    end = standing.closed_at or now or timezone.now()
    return ItemRow(
        pk=item.pk,
        label=item.label,
        airframe=item.airframe.serial,
        joint=item.joint.number if item.joint else "",
        kind=item.kind,
        kind_label=kind_words(item),
        source=item.get_source_display(),
        title=item.title,
        part=item.part.serial if item.part else "",
        check=item.fit_check.label if item.fit_check else "",
        check_uuid=str(item.fit_check.entry_id) if item.fit_check else "",
        requirement=item.requirement,
        found=item.found,
        place=place_of(item),
        state=standing.state,
        disposition=standing.get_disposition_display(),
        cause=standing.get_cause_display(),
        severity=standing.get_severity_display() if standing.severity else "",
        blocking=standing.blocking,
        holder=standing.holder.name if standing.holder else "",
        due=standing.due,
        overdue=late(standing, now),
        next_by=item_life.moved_on_by(standing),
        raised_by=item.entry.author,
        opened_at=standing.opened_at,
        days=(end - standing.opened_at).days,
        closed_at=standing.closed_at,
    )


def place_of(item: Nonconformance) -> str:
    """Where it is: what was seen is at stations, and in words."""
    at = places(item.stations) if item.stations and not item.fit_check_id else ""
    return ", ".join(filter(None, (at, item.place)))


def kind_words(item: Nonconformance) -> str:
    """What kind it is: of fit, or of the shop's own list."""
    return item.defect.name if item.defect else item.get_kind_display()


def late(standing: NonconformanceState, now: datetime | None = None) -> bool:
    today = timezone.localdate(now)
    open_still = standing.state != State.CLOSED
    return bool(open_still and standing.due and standing.due < today)


def photos_by_item(items: list[Nonconformance]) -> Counter[str]:
    """Count the photos pinned to each item, by its key as text."""
    pins = PhotoPin.objects.filter(
        subject_kind="nonconformance", subject_id__in=[str(item.pk) for item in items]
    )
    return Counter(pins.values_list("subject_id", flat=True))


@dataclass(frozen=True)
class Happening:
    """One line of an item's history."""

    at: datetime
    by: str
    words: str
    note: str
    check: Check | None


def history(item: Nonconformance) -> list[Happening]:
    """Return what happened to an item, newest first."""
    return histories([item])[item.pk]


def histories(items: list[Nonconformance]) -> dict[int, list[Happening]]:
    """What happened to each of some items, by its key, newest first: one statement."""
    related = ("entry__by", "entry__confirmation", "recheck", "holder")
    steps = NonconformanceStep.objects.filter(nonconformance__in=items)
    happenings: dict[int, list[Happening]] = {item.pk: [] for item in items}
    for step in steps.select_related(*related).order_by("-id"):
        happenings[step.nonconformance_id].append(
            Happening(
                at=step.entry.received_at,
                by=step.entry.author,
                words=_words(step),
                note=step.note,
                check=step.recheck,
            )
        )
    for item in items:
        by, at = item.entry.author, item.entry.received_at
        how = _("found %(how)s") % {"how": item.get_source_display()}
        happenings[item.pk].append(Happening(at, by, how, item.note, None))
    return happenings


def _words(step: NonconformanceStep) -> str:
    """What a step said, beside its note."""
    details = [step.get_disposition_display(), step.get_cause_display(), step.told]
    if step.concession:
        details.append(_("concession %(said)s") % {"said": step.concession})
    if step.holder:
        details.append(_("with %(name)s") % {"name": step.holder.name})
        details.append(step.get_severity_display() if step.severity else "")
        details.append(str(_("blocks what comes next")) if step.blocking else "")
        if step.due:
            details.append(_("due %(day)s") % {"day": step.due.isoformat()})
    words = ", ".join(str(text) for text in details if text)
    verb = step.get_verb_display()
    return f"{verb}: {words}" if words else str(verb)


@dataclass(frozen=True)
class Origin:
    """What an item came from: its page and its name."""

    url: str
    label: str


@dataclass(frozen=True)
class ItemView:
    """One item whole: what its page shows beside its forms.

    structural: the class of the structure in words; `primary` asks for a concession.
    map: the joint with its stations marked, None where it names none. rail: the states
    it goes through, each with whether it was passed and whether it is in it now.
    """

    row: ItemRow
    structural: str
    primary: bool
    map: JointMap | None
    origin: Origin | None
    holds: list[Hold]
    rail: list[tuple[str, str, bool, bool]]
    history: list[Happening]
    photos: list[PhotoPin]


def item_view(item: Nonconformance) -> ItemView:
    """Return everything about one item (one of `whole`), in a constant number of
    statements."""
    named = StructuralClass(item_life.structural_class(item) or StructuralClass.PRIMARY)
    known = bool(item_life.structural_class(item))
    return ItemView(
        row=item_row(item),
        structural=str(named.label if known else UNKNOWN_CLASS),
        primary=item_life.needs_concession(item),
        map=_map(item),
        origin=_origin(item.standing),
        holds=_holds(item),
        rail=_rail(item.standing),
        history=history(item),
        photos=photos_of_item(item),
    )


def _rail(standing: NonconformanceState) -> list[tuple[str, str, bool, bool]]:
    order = State.values
    here = order.index(standing.state)
    return [
        (
            state.value,
            str(state.label),
            order.index(state) < here,
            state == standing.state,
        )
        for state in State
    ]


def _map(item: Nonconformance) -> JointMap | None:
    if not (item.joint and item.stations):
        return None
    if item.fit_check_id:
        revision = item.fit_check.fit_up.revision
    else:
        revision = item.joint.current
    revision.joint = item.joint
    stations = list(revision.stations.all())
    drawn = drawings.map_of(revision, stations, bare=True)
    marked = set(item.stations)
    shown = (
        replace(station, active=station.label in marked) for station in drawn.stations
    )
    return replace(drawn, stations=tuple(shown))


def _origin(standing: NonconformanceState) -> Origin | None:
    if not standing.origin_kind:
        return None
    kind = KINDS[standing.origin_kind]
    row = kind.rows().filter(pk=standing.origin_id).first()
    if row is None:
        return None
    url = reverse("chain", args=[kind.name, row.pk])
    return Origin(url, f"{kind.word} {row}")


def _holds(item: Nonconformance) -> list[Hold]:
    """The holds that its containment put on, as they are now."""
    acts = item.steps.filter(verb=NonconformanceStep.Verb.CONTAIN).values("entry")
    return list(Hold.objects.filter(entry__in=acts).order_by("pk"))


def origin_choices(item: Nonconformance) -> list[tuple[str, list[tuple[str, str]]]]:
    """What the item can have come from, by kind, for a form."""
    origins = item_life.origins(item)
    return [
        (
            str(genealogy.WORDS[kind]),
            [
                (f"{kind}:{row.id}", ", ".join(filter(None, (row.label, row.note))))
                for row in genealogy.describe(kind, keys, most=MOST_ORIGINS).rows
            ],
        )
        for kind, keys in origins.items()
    ]


def hold_choices(item: Nonconformance) -> list[tuple[str, str]]:
    """What may be held because of an item, without what is on hold already."""
    held = set(
        Hold.objects.filter(lifted_entry=None).values_list("subject_kind", "subject_id")
    )
    return [
        (f"{kind}:{row.id}", f"{KINDS[kind].word} {row.label}")
        for kind, keys in item_life.origins(item).items()
        if kind in HOLD_FIRST
        for row in genealogy.describe(kind, keys, most=MOST_ORIGINS).rows
        if (kind, row.id) not in held
    ]
