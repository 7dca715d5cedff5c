"""Nonconformances for lists, pages and paper."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from qa.models import Check, Nonconformance, NonconformanceKind, State
from shop.models import PhotoPin

RELATED = (
    "entry__by",
    "entry__confirmation",
    "standing__disposed_by",
    "standing__holder",
    "standing__recheck",
    "standing__closed_by",
    "standing__last_entry__seal",
    "airframe",
    "joint",
    "part__design",
    "fit_check",
)
AGES = {"7": 7, "30": 30, "90": 90}


def nonconformances(
    *, state="", airframe=None, joint=None, kind="", age="", person=None, words=""
) -> QuerySet[Nonconformance]:
    """Return items, newest first. state "unclosed" means open or dispositioned."""
    rows = Nonconformance.objects.select_related(*RELATED).order_by("-pk")
    if state == "unclosed":
        rows = rows.exclude(standing__state=State.CLOSED)
    elif state in State.values:
        rows = rows.filter(standing__state=state)
    if airframe:
        rows = rows.filter(airframe=airframe)
    if joint:
        rows = rows.filter(joint=joint)
    if kind in NonconformanceKind.values:
        rows = rows.filter(kind=kind)
    if age in AGES:
        then = timezone.now() - timedelta(days=AGES[age])
        rows = rows.filter(standing__opened_at__lte=then)
    if person:
        rows = rows.filter(Q(standing__holder=person) | Q(entry__by=person))
    for word in words.split():
        match = (
            Q(title__icontains=word)
            | Q(part__serial__icontains=word)
            | Q(joint__number__icontains=word)
            | Q(airframe__serial__icontains=word)
        )
        number = word.upper().removeprefix("NC-")
        if number.isdecimal() and len(number) < 10:
            match |= Q(number=int(number))
        rows = rows.filter(match)
    return rows


@dataclass(frozen=True)
class ItemRow:
    """An item in a list, on screen, on paper and in CSV."""

    pk: int
    label: str
    airframe: str
    joint: str
    kind: str
    kind_label: str
    title: str
    part: str
    check: str
    check_uuid: str
    requirement: str
    found: str
    place: str
    state: str
    disposition: str
    holder: str
    due: date | None
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
        kind_label=item.get_kind_display(),
        title=item.title,
        part=item.part.serial if item.part else "",
        check=item.fit_check.label if item.fit_check else "",
        check_uuid=str(item.fit_check.entry_id) if item.fit_check else "",
        requirement=item.requirement,
        found=item.found,
        place=item.place,
        state=standing.state,
        disposition=standing.get_disposition_display(),
        holder=standing.holder.name if standing.holder else "",
        due=standing.due,
        raised_by=item.entry.author,
        opened_at=standing.opened_at,
        days=(end - standing.opened_at).days,
        closed_at=standing.closed_at,
    )


def photos_by_item(items: list[Nonconformance]) -> Counter[str]:
    """Count the photos pinned to each item, by its key as text."""
    pins = PhotoPin.objects.filter(
        subject_kind="nonconformance", subject_id__in=[str(one.pk) for one in items]
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
    steps = item.steps.select_related("entry__by", "recheck").order_by("-id")
    told = [
        Happening(
            at=step.entry.received_at,
            by=step.entry.author,
            words=_words(step),
            note=step.note,
            check=step.recheck,
        )
        for step in steps
    ]
    by = item.entry.author
    found = "found by check" if item.fit_check_id else "found"
    return [*told, Happening(item.entry.received_at, by, found, item.note, None)]


def _words(step) -> str:
    if step.disposition:
        return f"{step.get_verb_display()}: {step.get_disposition_display()}"
    return step.get_verb_display()


def possible_rechecks(item: Nonconformance) -> QuerySet[Check]:
    """Return finished checks of the same joint, airframe and serials after the
    finding."""
    if not item.joint_id:
        return Check.objects.none()
    rows = Check.objects.filter(
        fit_up__joint=item.joint_id,
        fit_up__airframe=item.airframe_id,
        state__state="finished",
    ).annotate(again=F("fit_up__number"))
    if item.fit_check_id:
        found = item.fit_check.fit_up
        rows = rows.filter(number__gt=item.fit_check.number, fit_up__part=found.part_id)
        if found.surround_part_id:
            rows = rows.filter(fit_up__surround_part=found.surround_part_id)
    elif item.part_id:
        rows = rows.filter(
            Q(fit_up__part=item.part_id) | Q(fit_up__surround_part=item.part_id)
        )
    return rows.select_related("fit_up", "state").order_by("-number")
