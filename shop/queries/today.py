"""Today, as far as the shop floor knows it: ready, due, waiting, changed.

Every list is cut at MOST rows and carries its full count: a shop with thousands of
tools gets the same number of statements and the same page.
"""

from dataclasses import dataclass, field
from datetime import timedelta

from django.db.models import F, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as _N

from shop.actions.weights import waits_for_a_scale
from shop.models import (
    Entry,
    Lot,
    LotState,
    Person,
    Pull,
    PullState,
    Suspect,
    Tool,
    ToolKind,
    ToolState,
    Visit,
)

from .tooling import tool_row

MOST = 12
AHEAD = timedelta(days=14)


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
    """The first rows of a list, how many there are in all, and where all are."""

    title: str
    items: list = field(default_factory=list)
    count: int = 0
    url: str = ""


@dataclass(frozen=True)
class Change:
    """Acts of one form since the reader was last here."""

    what: str
    count: int
    who: list[str]
    last: object


@dataclass(frozen=True)
class Today:
    ready: Listed
    due: list[Listed]
    waiting: list[Listed]
    changes: list[Change]
    last_here: object


def _listed(title: str, rows: QuerySet, shape, url: str = "") -> Listed:
    found = list(rows[: MOST + 1])
    # Counting is asked for only when the list does not hold all.
    count = len(found) if len(found) <= MOST else rows.count()
    return Listed(title, [shape(row) for row in found[:MOST]], count, url)


def today(reader: Person) -> Today:
    now = timezone.now()
    visit = Visit.objects.filter(person=reader).first()
    return Today(
        _ready(reader, now),
        [one for one in _due(now) if one.items],
        [one for one in _waiting(now) if one.items],
        changed_since(visit.read_up_to if visit else 0) if visit else [],
        visit and visit.read_at,
    )


def _ready(reader: Person, now) -> Listed:
    rows = (
        Tool.objects.filter(state=ToolState.IN_USE, waits_since__isnull=False)
        .select_related("waits_for")
        .order_by("waits_since")
    )
    url = f"{reverse('tooling')}?order=waiting"
    return _listed(_("Ready for the next step"), rows, tool_row(reader, now), url)


def _tool_item(note):
    def shape(tool: Tool) -> Item:
        text, when, overdue = note(tool)
        url = reverse("tool", args=[tool.pk])
        return Item(f"{tool.code} {tool.name}", text, url, when, overdue)

    return shape


def _due(now) -> list[Listed]:
    day = timezone.localdate(now)
    soon = day + AHEAD
    tools = Tool.objects.filter(state=ToolState.IN_USE)
    lots = Lot.objects.filter(state=LotState.GOOD, expires_on__lte=soon)

    def wax(tool):
        text = _("%(pulls)s pulls since the last coat") % {
            "pulls": tool.pulls_since_wax
        }
        return text, None, True

    def service(tool):
        pulls = {"pulls": tool.pulls_since_service, "of": tool.service_interval}
        return _("%(pulls)s of %(of)s pulls") % pulls, None, True

    def lot(row: Lot) -> Item:
        return Item(
            f"{row.material.code} {row.number}",
            row.material.name,
            reverse("lot", args=[row.pk]),
            row.expires_on,
            row.expires_on < day,
        )

    return [
        _listed(
            _("Release again"),
            tools.filter(
                kind=ToolKind.MOLD,
                pulls_since_wax__gte=F("last_coat__product__rewax_every"),
            ).order_by("-pulls_since_wax", "code"),
            _tool_item(wax),
        ),
        _listed(
            _("Service"),
            tools.filter(pulls_since_service__gte=F("service_interval")).order_by(
                "code"
            ),
            _tool_item(service),
        ),
        _listed(
            _("Calibration"),
            tools.filter(calibration_due__lte=soon).order_by("calibration_due"),
            _tool_item(lambda t: ("", t.calibration_due, t.calibration_due < day)),
        ),
        _listed(
            _("Loans to give back"),
            tools.filter(due_back__lte=soon).order_by("due_back"),
            _tool_item(lambda t: (t.owner, t.due_back, t.due_back < day)),
        ),
        _listed(
            _("Lots near their expiry"),
            lots.select_related("material").order_by("expires_on"),
            lot,
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
        _listed(_("Laying up"), laying.order_by("started_at"), layup),
        _listed(_("Curing"), curing.order_by("release_from"), cure),
        _listed(
            _("Parts to weigh"),
            waits_for_a_scale().order_by("serial"),
            weigh,
            reverse("to_weigh"),
        ),
        _listed(
            _("Suspect parts to decide on"),
            doubts.order_by("pk"),
            doubt,
            f"{reverse('holds')}?state=open",
        ),
    ]


# What an act is called in a hand-over; acts without a line say their form's name.
FORMS = {
    "step/1": _N("steps done on tools"),
    "coat/1": _N("release coats"),
    "pull/1": _N("pulls started"),
    "plies/1": _N("plies laid"),
    "batch/1": _N("resin batches mixed"),
    "layup_closed/1": _N("lay-ups closed"),
    "trace/1": _N("cure traces"),
    "demold/1": _N("pulls taken out"),
    "yield/1": _N("parts given their serial"),
    "weight/1": _N("parts weighed"),
    "place/1": _N("parts placed"),
    "remove/1": _N("parts taken out of place"),
    "hold/1": _N("holds put on"),
    "hold_lifted/1": _N("holds lifted"),
    "decision/1": _N("suspect parts decided"),
    "tool_act/1": _N("acts on tools"),
    "tool_defect/1": _N("mold defects noted"),
    "defect_repair/1": _N("mold defects repaired"),
    "lot/1": _N("lots received"),
    "lot_act/1": _N("acts on lots"),
    "photo/1": _N("photos"),
    "reading/1": _N("readings"),
    "check/1": _N("fit checks opened"),
    "finish/1": _N("fit checks finished"),
    "raise/1": _N("nonconformances raised"),
}
NEWEST = 2000


def changed_since(entry: int) -> list[Change]:
    """What was done since an entry, by form: the newest first, at most NEWEST acts."""
    rows = (
        Entry.objects.filter(pk__gt=entry)
        .order_by("-pk")
        .values_list("form", "by__name", "received_at")[:NEWEST]
    )
    found: dict[str, Change] = {}
    for form, who, when in rows:
        seen = found.get(form)
        if seen is None:
            name = FORMS.get(form, form.partition("/")[0].replace("_", " "))
            found[form] = Change(_(name), 1, [who] if who else [], when)
            continue
        names = seen.who if who in seen.who or not who else [*seen.who, who]
        found[form] = Change(seen.what, seen.count + 1, names, seen.last)
    return list(found.values())
