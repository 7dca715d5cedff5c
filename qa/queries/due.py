"""What is due on which day: for a calendar."""

from dataclasses import dataclass, field
from datetime import date, datetime

from django.urls import reverse
from django.utils.translation import gettext as _

from qa.models import Instrument, InstrumentStatus, Nonconformance, State
from shop import roles
from shop.models import Device, Lot, LotState, Person, Pull, PullState, Tool, ToolState
from shop.queries.identity import the_shop

ITEMS_MOST = 2000


@dataclass(frozen=True)
class Due:
    """One thing that is due: on a day of the shop, or from a moment on."""

    key: str
    words: str
    on: date | datetime
    address: str


@dataclass(frozen=True)
class DueCalendar:
    name: str
    zone: str
    dues: list[Due] = field(default_factory=list)


def calendar_of(device: Device) -> DueCalendar:
    """Return what is due of the whole shop, or of what its person looks after."""
    shop, person = the_shop(), device.person

    def cares(verb: str) -> bool:
        return device.whole_shop or roles.may(person, verb)

    dues = _items(None if device.whole_shop else person)
    if cares("define instruments"):
        dues += _calibrations()
    if cares("define tooling"):
        dues += _tools()
    if cares("keep materials"):
        dues += _lots()
    if cares("make pulls"):
        dues += _releases()
    dues.sort(key=lambda due: (str(due.on), due.key))
    name = shop.name or _("Shop")
    if not device.whole_shop:
        name = f"{name}: {person.name}"
    return DueCalendar(name, str(shop.time_zone), dues)


def _items(holder: Person | None) -> list[Due]:
    rows = Nonconformance.objects.filter(standing__due__isnull=False)
    rows = rows.exclude(standing__state=State.CLOSED).select_related(
        "standing", "airframe"
    )
    if holder:
        rows = rows.filter(standing__holder=holder)
    return [
        Due(
            f"item-{row.pk}",
            f"{row.airframe.serial} {row.label}: {row.title}",
            row.standing.due,
            reverse("nonconformance", args=[row.pk]),
        )
        for row in rows.order_by("standing__due", "pk")[:ITEMS_MOST]
    ]


def _calibrations() -> list[Due]:
    rows = Instrument.objects.filter(due__isnull=False)
    rows = rows.exclude(status=InstrumentStatus.OUT).order_by("due", "pk")
    return [
        Due(
            f"calibration-{row.uuid}",
            _("Calibration of %(code)s, %(name)s")
            % {"code": row.code, "name": row.name},
            row.due,
            reverse("instrument", args=[row.pk]),
        )
        for row in rows[:ITEMS_MOST]
    ]


def _tools() -> list[Due]:
    rows = Tool.objects.exclude(state__in=(ToolState.RETIRED, ToolState.RETURNED))
    wordings = {
        "due_back": _("%(code)s is due back"),
        "calibration_due": _("Calibration of %(code)s"),
    }
    return [
        Due(
            f"{name}-{row.pk}",
            words % {"code": row.code},
            getattr(row, name),
            reverse("tool", args=[row.pk]),
        )
        for name, words in wordings.items()
        for row in rows.filter(**{f"{name}__isnull": False}).order_by(name, "pk")[
            :ITEMS_MOST
        ]
    ]


def _lots() -> list[Due]:
    rows = Lot.objects.filter(expires_on__isnull=False, state=LotState.GOOD)
    rows = rows.select_related("material").order_by("expires_on", "pk")
    return [
        Due(
            f"lot-{row.pk}",
            _("%(lot)s expires") % {"lot": row},
            row.expires_on,
            reverse("lot", args=[row.pk]),
        )
        for row in rows[:ITEMS_MOST]
    ]


def _releases() -> list[Due]:
    rows = Pull.objects.filter(release_from__isnull=False, state=PullState.CURING)
    rows = rows.select_related("tool").order_by("release_from", "pk")
    return [
        Due(
            f"release-{row.pk}",
            _("Pull %(number)d of %(tool)s may come out")
            % {"number": row.number, "tool": row.tool.code},
            row.release_from,
            reverse("pull", args=[row.pk]),
        )
        for row in rows[:ITEMS_MOST]
    ]
