"""What is due on which day: for a calendar."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from qa.models import Instrument, InstrumentStatus, Nonconformance, State
from shop import roles
from shop.models import Device, Lot, LotState, Person, Pull, PullState, Tool, ToolState
from shop.queries.identity import the_shop

ITEMS_MOST = 2000  # of each kind


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


def _of_a_kind(
    kind: str,
    rows: QuerySet,
    shape: Callable[..., Due],
    *,
    words: str,
    page: tuple[str, str],
) -> list[Due]:
    """The first rows; where there are more, an entry of today that says how many.

    words: what is due. page: name and address of the list that has all of them.
    """
    first = list(rows[: ITEMS_MOST + 1])
    dues = [shape(row) for row in first[:ITEMS_MOST]]
    if len(first) > ITEMS_MOST:
        name, address = page
        more = rows.count() - ITEMS_MOST
        sentence = _(
            "%(words)s: %(more)d more due, not in this calendar. All of them are under "
            "%(page)s."
        ) % {"words": words, "more": more, "page": name}
        dues.append(Due(f"more-{kind}", sentence, timezone.localdate(), address))
    return dues


def _items(holder: Person | None) -> list[Due]:
    rows = Nonconformance.objects.filter(standing__due__isnull=False)
    rows = rows.exclude(standing__state=State.CLOSED).select_related(
        "standing", "airframe"
    )
    if holder:
        rows = rows.filter(standing__holder=holder)
    return _of_a_kind(
        "item",
        rows.order_by("standing__due", "pk"),
        lambda row: Due(
            f"item-{row.pk}",
            f"{row.airframe.serial} {row.label}: {row.title}",
            row.standing.due,
            reverse("nonconformance", args=[row.pk]),
        ),
        words=_("Items"),
        page=(
            _("Nonconformances"),
            f"{reverse('nonconformances')}?state=unclosed",
        ),
    )


def _calibrations() -> list[Due]:
    rows = Instrument.objects.filter(due__isnull=False)
    rows = rows.exclude(status=InstrumentStatus.OUT).order_by("due", "pk")
    return _of_a_kind(
        "calibration",
        rows,
        lambda row: Due(
            f"calibration-{row.uuid}",
            _("Calibration of %(code)s, %(name)s")
            % {"code": row.code, "name": row.name},
            row.due,
            reverse("instrument", args=[row.pk]),
        ),
        words=_("Calibrations of instruments"),
        page=(_("Instruments"), reverse("instruments")),
    )


def _tools() -> list[Due]:
    rows = Tool.objects.exclude(state__in=(ToolState.RETIRED, ToolState.RETURNED))
    wordings = {
        "due_back": (_("%(code)s is due back"), _("Tools to give back")),
        "calibration_due": (_("Calibration of %(code)s"), _("Calibrations of tools")),
    }
    dues = []
    for name, (sentence, words) in wordings.items():

        def shape(row: Tool, name=name, sentence=sentence) -> Due:
            return Due(
                f"{name}-{row.pk}",
                sentence % {"code": row.code},
                getattr(row, name),
                reverse("tool", args=[row.pk]),
            )

        dues += _of_a_kind(
            name,
            rows.filter(**{f"{name}__isnull": False}).order_by(name, "pk"),
            shape,
            words=words,
            page=(_("Tooling"), reverse("tooling")),
        )
    return dues


def _lots() -> list[Due]:
    rows = Lot.objects.filter(expires_on__isnull=False, state=LotState.GOOD)
    return _of_a_kind(
        "lot",
        rows.select_related("material").order_by("expires_on", "pk"),
        lambda row: Due(
            f"lot-{row.pk}",
            _("%(lot)s expires") % {"lot": row},
            row.expires_on,
            reverse("lot", args=[row.pk]),
        ),
        words=_("Lots that expire"),
        page=(_("Lots"), reverse("lots")),
    )


def _releases() -> list[Due]:
    rows = Pull.objects.filter(release_from__isnull=False, state=PullState.CURING)
    return _of_a_kind(
        "release",
        rows.select_related("tool").order_by("release_from", "pk"),
        lambda row: Due(
            f"release-{row.pk}",
            _("Pull %(number)d of %(tool)s may come out")
            % {"number": row.number, "tool": row.tool.code},
            row.release_from,
            reverse("pull", args=[row.pk]),
        ),
        words=_("Pulls that may come out"),
        page=(_("Pulls"), f"{reverse('pulls')}?state={PullState.CURING}"),
    )
