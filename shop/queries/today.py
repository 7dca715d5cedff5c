"""Today, as far as the shop floor knows it: ready, due, waiting.

Every list is cut at MOST rows and counted no further than COUNTED: a shop with
thousands of tools gets the same number of statements, the same page and, nearly, the
same wait.
"""

from dataclasses import dataclass, field, replace
from datetime import timedelta

from django.db.models import F, Min, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop import roles
from shop.models import (
    Lot,
    LotState,
    Person,
    Pull,
    PullState,
    ReleaseProduct,
    Suspect,
    Tool,
    ToolKind,
    ToolState,
)
from shop.numeric.units import BYTES_PER_MB, MIN_PER_H, S_PER_MIN
from shop.rules.mass import waits_for_a_scale

from . import backups, clock, server
from .tooling import tool_row

MOST = 8
COUNTED = 200
AHEAD = timedelta(days=14)
# An out-time is told when less than this share of it is left.
OUT_LEFT = 0.2


@dataclass(frozen=True)
class Item:
    """One line: what, why or until when, where its page is."""

    label: str
    note: str
    url: str
    when: object = None
    overdue: bool = False


@dataclass(frozen=True)
class Listed:
    """The first rows of a list, how many there are, and where all of them are.

    `count` stops at COUNTED; then there may be more.
    """

    title: str
    items: list = field(default_factory=list)
    count: int = 0
    url: str = ""

    @property
    def more(self) -> int:
        return self.count - len(self.items)

    @property
    def uncounted(self) -> bool:
        return self.count >= COUNTED


@dataclass(frozen=True)
class Floor:
    ready: Listed
    due: list[Listed]
    waiting: list[Listed]


def clock_list(person: Person) -> Listed:
    """What the lead should know of the server's clock, in two statements."""
    if not roles.may(person, "manage people"):
        return Listed("")
    items = [
        Item(
            _("set %(by)s") % {"by": spoken(jump)},
            _("Papers and cures dated around it may be wrong."),
            "",
            at,
        )
        for at, jump in clock.jumps_lately()
    ]
    if late := clock.behind():
        now = Item(
            _("behind the newest record by %(by)s") % {"by": spoken(late)},
            _("Set it: what is saved now is dated too early."),
            "",
            overdue=True,
        )
        items.insert(0, now)
    return Listed(_("Clock of the server"), items, len(items))


def backup_list(person: Person) -> Listed:
    """What the lead should know of the backups, in two statements."""
    if not roles.may(person, "plan backups"):
        return Listed("")
    concern = backups.concern()
    if concern is None:
        return Listed("")
    words = {
        "none": _("No backup is made: one broken disk takes everything."),
        "failed": _("The last one failed: %(why)s") % {"why": concern.problem},
        "old": _("The last good one is old."),
        "faults": _("The last one says that something in the records does not hold."),
    }
    last = _("none so far") if concern.last is None else _("last good one")
    url = reverse("backups")
    item = Item(words[concern.code], last, url, concern.last, overdue=True)
    return Listed(_("Backups"), [item], 1, url)


def server_list(person: Person) -> Listed:
    """What the lead should know of the server, in one statement; of its backups and
    its clock the lists beside this one tell."""
    if not roles.may(person, "plan backups"):
        return Listed("")
    health, url = server.short_health(), reverse("server")
    items = []
    if "disk" in health.concerns:
        free = _("%(mb)d MB free") % {"mb": health.free // BYTES_PER_MB}
        nearly = _("Its disk is nearly full")
        words = _("The disk is full: nothing can be saved")
        items.append(Item(words if health.is_full else nearly, free, url))
    if "sealer" in health.concerns:
        late = _("the oldest for %(time)s") % {"time": spoken(health.unsealed_for)}
        items.append(Item(_("Acts wait for their seal"), late, url))
    if ends := "certificate" in health.concerns and health.certificate_ends:
        items.append(Item(_("Its certificate ends"), "", url, ends))
    if wrong := len(health.mistakes):
        lines = ngettext("%(n)d line in a day", "%(n)d lines in a day", wrong)
        items.append(Item(_("Its log tells of errors"), lines % {"n": wrong}, url))
    items = [replace(item, overdue=True) for item in items]
    return Listed(_("Server"), items, len(items), url)


def spoken(span: timedelta) -> str:
    """A span of time as people say it, with its sign where it went back."""
    minutes = abs(round(span.total_seconds() / S_PER_MIN))
    words = (
        _("%(n)d min") % {"n": minutes}
        if minutes < 120
        else _("%(n)d h") % {"n": round(minutes / MIN_PER_H)}
    )
    return f"\N{MINUS SIGN}{words}" if span < timedelta(0) else words


def listed(title: str, rows: QuerySet, shape, url: str = "") -> Listed:
    """Two statements: the first rows, and how many there are."""
    count = rows.order_by()[:COUNTED].count()
    return Listed(str(title), [shape(row) for row in rows[:MOST]], count, url)


def floor(reader: Person) -> Floor:
    """What is ready, due and waiting on the shop floor, empty lists left out."""
    now = timezone.now()
    return Floor(
        _ready(reader, now),
        [group for group in _due(now) if group.items],
        [group for group in _waiting(now) if group.items],
    )


def _ready(reader: Person, now) -> Listed:
    rows = (
        Tool.objects.filter(state=ToolState.IN_USE, waits_since__isnull=False)
        .select_related("waits_for")
        .order_by("waits_since")
    )
    url = f"{reverse('tooling')}?order=waiting"
    return listed(_("Ready for the next step"), rows, tool_row(reader, now), url)


def _tool_item(note):
    def shape(tool: Tool) -> Item:
        text, when, overdue = note(tool)
        url = reverse("tool", args=[tool.pk])
        return Item(f"{tool.code} {tool.name}", text, url, when, overdue)

    return shape


def _due(now) -> list[Listed]:
    day = timezone.localdate(now)
    return [*_due_tools(day, day + AHEAD), *_due_lots(day, day + AHEAD)]


def _due_tools(day, soon) -> list[Listed]:
    # Not "in use": nearly all tools are, and SQLite would look through them by it.
    others = [state for state in ToolState.values if state != ToolState.IN_USE]
    tools = Tool.objects.exclude(state__in=others)

    def wax(tool):
        pulls = {"pulls": tool.pulls_since_wax}
        return _("%(pulls)s pulls since the last coat") % pulls, None, True

    def service(tool):
        pulls = {"pulls": tool.pulls_since_service, "of": tool.service_interval}
        return _("%(pulls)s of %(of)s pulls") % pulls, None, True

    # As many as the least of all products first: an index finds the few of these. Asked
    # by itself, for of what it does not know PostgreSQL expects a third of all.
    least = ReleaseProduct.objects.aggregate(n=Min("rewax_every"))["n"] or 0
    worn = tools.filter(kind=ToolKind.MOLD, pulls_since_wax__gte=least)
    worn = worn.filter(pulls_since_wax__gte=F("last_coat__product__rewax_every"))
    used = tools.filter(pulls_since_service__gte=F("service_interval"))
    return [
        listed(
            _("Release again"),
            worn.order_by("-pulls_since_wax", "code"),
            _tool_item(wax),
        ),
        listed(_("Service"), used.order_by("code"), _tool_item(service)),
        listed(
            _("Calibration of tools"),
            tools.filter(calibration_due__lte=soon).order_by("calibration_due"),
            _tool_item(lambda t: ("", t.calibration_due, t.calibration_due < day)),
        ),
        listed(
            _("Loans to give back"),
            tools.filter(due_back__lte=soon).order_by("due_back"),
            _tool_item(lambda t: (t.owner, t.due_back, t.due_back < day)),
        ),
    ]


def _due_lots(day, soon) -> list[Listed]:
    lots = Lot.objects.filter(state=LotState.GOOD).select_related("material")

    def expiry(row: Lot) -> Item:
        late = row.expires_on < day
        url = reverse("lot", args=[row.pk])
        return Item(str(row), row.material.name, url, row.expires_on, late)

    def out(row: Lot) -> Item:
        limit = row.material.out_time_limit
        hours = {"out": f"{row.out_minutes / MIN_PER_H:.1f}", "of": limit}
        note = _("out for %(out)s of %(of)s hours") % hours
        late = row.out_minutes > limit * MIN_PER_H
        return Item(str(row), note, reverse("lot", args=[row.pk]), None, late)

    near = F("material__out_time_limit") * MIN_PER_H * (1 - OUT_LEFT)
    return [
        listed(
            _("Lots near their expiry"),
            lots.filter(expires_on__lte=soon).order_by("expires_on"),
            expiry,
            reverse("lots"),
        ),
        listed(
            _("Lots near their out-time"),
            lots.filter(out_minutes__gt=0, out_minutes__gte=near).order_by("pk"),
            out,
            reverse("lots"),
        ),
    ]


def _waiting(now) -> list[Listed]:
    curing = Pull.objects.filter(state=PullState.CURING).select_related("tool")
    laying = Pull.objects.filter(state=PullState.LAID_UP).select_related("tool")
    doubts = Suspect.objects.filter(decided_entry=None).select_related("part", "hold")

    def cure(pull: Pull) -> Item:
        url = reverse("pull", args=[pull.pk])
        ready = bool(pull.release_from and pull.release_from <= now)
        note = _("may come out") if ready else _("in the mold until")
        return Item(str(pull), note, url, pull.release_from, ready)

    def layup(pull: Pull) -> Item:
        url = reverse("pull", args=[pull.pk])
        return Item(str(pull), _("laying up since"), url, pull.started_at)

    def weigh(part) -> Item:
        guessed = part.mass_mg is not None
        note = _("only estimated by hand") if guessed else _("never weighed")
        return Item(part.serial, note, reverse("part", args=[part.pk]))

    def doubt(row: Suspect) -> Item:
        url = reverse("hold", args=[row.hold_id])
        return Item(row.part.serial, row.hold.label, url)

    return [
        listed(_("Laying up"), laying.order_by("started_at"), layup),
        listed(_("Curing"), curing.order_by("release_from"), cure),
        listed(
            _("Parts to weigh"),
            waits_for_a_scale().order_by("serial"),
            weigh,
            reverse("to_weigh"),
        ),
        listed(
            _("Suspect parts to decide on"),
            doubts.order_by("pk"),
            doubt,
            f"{reverse('holds')}?state=open",
        ),
    ]
