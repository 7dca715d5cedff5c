"""Today, whole: what the shop floor says, what is measured, what others did."""

from dataclasses import dataclass

from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.models import (
    CheckState,
    FitPlan,
    Instrument,
    InstrumentStatus,
    MeasureAgain,
    NonconformanceState,
    StandingPlan,
    State,
)
from qa.queries import offers
from qa.queries.checks import check_pages as checks
from qa.queries.checks import claims
from qa.queries.nonconformances import item_pages as nonconformances
from qa.queries.plans.plan_records import asked_words
from qa.queries.temporary import OnAirframe, on_airframes
from qa.rules.plan_records import plans_now
from qa.rules.remeasure import Changed, joints_to_measure_again
from shop.models import Person
from shop.queries.changes import Changes, changes
from shop.queries.today import (
    AHEAD,
    MOST,
    Floor,
    Item,
    Listed,
    backup_list,
    clock_list,
    floor,
    listed,
    server_list,
)

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
    still_open = CheckState.objects.filter(state="open")
    # Their keys first: what is open is found by its index, newest first.
    open_checks = checks.checks().filter(pk__in=_newest(still_open, "fit_check"))
    unclosed = NonconformanceState.objects.exclude(state=State.CLOSED)
    newest = _newest(unclosed, "nonconformance")
    items = nonconformances.nonconformances().filter(pk__in=newest)
    on_the_floor = floor(person)
    gauges, again, plans = _calibration(), _measure_again(), _plans(person)
    inspect, off = _inspect(), _must_come_off()
    lists = (
        server_list(person),
        backup_list(person),
        clock_list(person),
        gauges,
    )
    dated = [list_ for list_ in lists if list_.items]
    return Today(
        open_checks=checks.check_rows(open_checks),
        open_check_count=still_open.count(),
        items=[nonconformances.item_row(item) for item in items],
        item_count=unclosed.count(),
        floor=on_the_floor,
        due=[*dated, *on_the_floor.due],
        waiting=[
            *claims.for_today(person),
            *([inspect] if inspect.items else []),
            *([plans] if plans.items else []),
            *([again] if again.items else []),
            *([off] if off.items else []),
            *on_the_floor.waiting,
        ],
        changes=changes(person),
    )


def _newest(states: QuerySet, name: str) -> list[int]:
    """The keys of the newest few that states are of."""
    return list(states.order_by(f"-{name}").values_list(name, flat=True)[:FEW])


def _calibration() -> Listed:
    day = timezone.localdate()
    rows = Instrument.objects.filter(
        status=InstrumentStatus.IN_USE, due__lte=day + AHEAD
    )

    def shape(instrument: Instrument) -> Item:
        url = reverse("instrument", args=[instrument.pk])
        return Item(
            f"{instrument.code} {instrument.name}",
            _("%(kind)s, found off") % {"kind": instrument.kind}
            if instrument.found_off_on
            else instrument.kind,
            url,
            instrument.due,
            instrument.due < day,
        )

    return listed(
        _("Calibration of instruments"),
        rows.order_by("due", "code"),
        shape,
        reverse("instruments"),
    )


def _measure_again() -> Listed:
    def shape(changed: Changed) -> Item:
        fit_up = changed.fit_up
        url = reverse("joint_on_airframe", args=[fit_up.joint_id, fit_up.airframe_id])
        joint = f"{fit_up.joint.number} {fit_up.joint.name}"
        note = f"{fit_up.part.serial}: {changed.why}"
        return Item(f"{fit_up.airframe.serial}, {joint}", note, url, changed.when)

    rows, count = joints_to_measure_again(MOST), MeasureAgain.objects.count()
    title = str(_("Joints to measure again"))
    return Listed(title, [shape(row) for row in rows], count)


def _inspect() -> Listed:
    """What was offered and waits for an inspector, unchanged since."""

    def shape(offered: offers.OfferedRow) -> Item:
        url = reverse("offered_joint", args=[offered.number, offered.order])
        note = _("offered by %(name)s") % {"name": offered.by}
        if offered.open_lines:
            note += _(", %(n)s not shown to conform") % {"n": offered.open_lines}
        return Item(f"{offered.airframe}, {offered.joint}", note, url, offered.at)

    rows = offers.queue()
    title = str(_("To inspect"))
    return Listed(
        title, [shape(row) for row in rows[:MOST]], len(rows), reverse("offers")
    )


def _must_come_off() -> Listed:
    """The airframes that have something in for a while."""

    def shape(on_airframe: OnAirframe) -> Item:
        note = ngettext("%(n)s piece is in", "%(n)s pieces are in", on_airframe.pieces)
        note = note % {"n": on_airframe.pieces}
        if on_airframe.missing:
            note += _(", %(n)s not found") % {"n": on_airframe.missing}
        return Item(
            on_airframe.serial, note, reverse("must_come_off", args=[on_airframe.id])
        )

    rows = on_airframes()
    title, url = str(_("Must come off")), reverse("temporary_items")
    return Listed(title, [shape(row) for row in rows[:MOST]], len(rows), url)


def _plans(person: Person) -> Listed:
    """Plans that stand: to be cut and moved by, or overtaken."""

    def shape(plan: FitPlan) -> Item:
        joint = plan.fit_check.fit_up.joint
        label = f"{plan}: {plan.part.serial}, {plan.airframe.serial}, {joint.number}"
        note = asked_words(plan, person.units) or _("to be done")
        if plan.beside:
            names = ", ".join(other.label for other in plan.beside)
            note = _("%(note)s, together with %(plans)s") % {
                "note": note, "plans": names,
            }  # fmt: skip
        if plan.overtaken:
            note = _("overtaken: %(why)s") % {"why": plan.overtaken}
        url = reverse("plan_record", args=[plan.number])
        return Item(label, note, url, plan.entry.received_at)

    rows = StandingPlan.objects.order_by("plan__number")
    count = rows.count()
    title = str(_("Plans to work by"))
    return Listed(title, [shape(plan) for plan in plans_now(rows[:MOST])], count)
