"""Today, whole: what the shop floor says, what is measured, what others did."""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Subquery
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import (
    CheckState,
    FitUp,
    FitUpReason,
    Instrument,
    InstrumentStatus,
    NonconformanceState,
    Reading,
    State,
)
from shop.models import Person
from shop.queries.changes import Changes, changes
from shop.queries.today import AHEAD, Floor, Item, Listed, floor, listed

from . import checks, nonconformances

FEW = 6


@dataclass(frozen=True)
class Today:
    """Open checks and items, the newest few of each, beside what the floor says."""

    open_checks: list[checks.CheckRow]
    open_check_count: int
    items: list[nonconformances.ItemRow]
    item_count: int
    floor: Floor
    due: list[Listed]
    waiting: list[Listed]
    changes: Changes


def today(person: Person) -> Today:
    """Return what the reader needs to know now, in a constant number of statements."""
    open_checks = checks.checks(state=CheckState.State.OPEN)
    items = nonconformances.nonconformances(state="unclosed")
    found = floor(person)
    gauges, again = _calibration(), _measure_again()
    return Today(
        open_checks=[checks.check_row(one) for one in open_checks[:FEW]],
        open_check_count=CheckState.objects.filter(state="open").count(),
        items=[nonconformances.item_row(one) for one in items[:FEW]],
        item_count=NonconformanceState.objects.exclude(state=State.CLOSED).count(),
        floor=found,
        due=[*([gauges] if gauges.items else []), *found.due],
        waiting=[*([again] if again.items else []), *found.waiting],
        changes=changes(person),
    )


def _calibration() -> Listed:
    day = timezone.localdate()
    rows = Instrument.objects.filter(
        status=InstrumentStatus.IN_USE, due__lte=day + AHEAD
    )

    def shape(one: Instrument) -> Item:
        url = reverse("chain", args=["instrument", one.pk])
        return Item(f"{one.code} {one.name}", one.kind, url, one.due, one.due < day)

    return listed(
        _("Calibration of instruments"),
        rows.order_by("due", "code"),
        shape,
        reverse("instruments"),
    )


def joints_to_measure_again():
    """Newest fit-ups of joints where nothing was measured since the part was changed.

    Changed means refitted, moved, shimmed, trimmed or held another way, here or at
    another joint of the same part on the same airframe (design 4.4). Which stations
    are stale once somebody began to measure, the page of the joint works out.
    """
    part_on_airframe = {"part": OuterRef("part"), "airframe": OuterRef("airframe")}
    joint_on_airframe = {"joint": OuterRef("joint"), "airframe": OuterRef("airframe")}
    later = FitUp.objects.filter(**joint_on_airframe, number__gt=OuterRef("number"))
    changed = (
        FitUp.objects.filter(**part_on_airframe)
        .exclude(reason=FitUpReason.FIRST)
        .order_by("-entry__pk")
    )
    read = Reading.objects.filter(
        fit_check__fit_up__joint=OuterRef("joint"),
        fit_check__fit_up__airframe=OuterRef("airframe"),
        value_nm__isnull=False,
    )
    since = read.filter(entry__pk__gt=OuterRef("changed"))
    return (
        FitUp.objects.filter(~Exists(later), Exists(read))
        .annotate(
            changed=Subquery(changed.values("entry__pk")[:1]),
            why=Subquery(changed.values("reason")[:1]),
            changed_at=Subquery(changed.values("entry__received_at")[:1]),
        )
        .filter(changed__isnull=False)
        .filter(~Exists(since))
        .select_related("joint", "airframe", "part")
        .order_by("changed")
    )


def _measure_again() -> Listed:
    def shape(one: FitUp) -> Item:
        url = reverse("joint_on_airframe", args=[one.joint_id, one.airframe_id])
        label = f"{one.airframe.serial}, {one.joint.number} {one.joint.name}"
        note = f"{one.part.serial}: {FitUpReason(one.why).label}"
        return Item(label, note, url, one.changed_at)

    return listed(_("Joints to measure again"), joints_to_measure_again(), shape)
