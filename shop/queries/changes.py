"""What changed since the reader was last here: acts of others, in words."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import connection
from django.db.models import Count, F, Max, Min, Q, Value
from django.db.models.functions import Concat
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as _N

from shop.models import AUTHOR, Entry, Person, Visit, author_of

# What acts of a form are called in a hand-over, and the list to look at. Acts that
# change only how somebody works (a PIN, a tablet) are not told.
WORDS = {
    "raise/1": (_N("nonconformances raised from checks"), "nonconformances"),
    "raise_holes/1": (_N("nonconformances raised from holes"), "nonconformances"),
    "raise_result/1": (
        _N("nonconformances raised from characteristics"),
        "nonconformances",
    ),
    "nonconformance/1": (_N("nonconformances written"), "nonconformances"),
    "nonconformance_step/1": (_N("steps on nonconformances"), "nonconformances"),
    "defect_kind/1": (_N("kinds of defect changed"), "nonconformances"),
    "defect_kinds/1": (_N("kinds of defect changed"), "nonconformances"),
    "offer/1": (_N("offered for inspection"), "offers"),
    "second_reading/1": (_N("second readings"), "offers"),
    "inspect/1": (_N("inspections"), "offers"),
    "temporary_in/1": (_N("temporary items put in"), "temporary_items"),
    "temporary_take_out/1": (_N("temporary items taken out"), "temporary_items"),
    "temporary_out_of_holes/1": (_N("temporary items taken out"), "temporary_items"),
    "temporary_miss/1": (_N("temporary items not found"), "temporary_items"),
    "temporary_find/1": (_N("temporary items found again"), "temporary_items"),
    "temporary_release/1": (_N("released without the item"), "temporary_items"),
    "characteristic/1": (_N("characteristics planned"), "characteristics"),
    "characteristic_revision/1": (_N("characteristics revised"), "characteristics"),
    "characteristic_result/1": (_N("characteristics found"), "characteristics"),
    "close_out/1": (_N("closed out"), "airframes"),
    "hold/1": (_N("holds put on"), "holds"),
    "hold_lifted/1": (_N("holds lifted"), "holds"),
    "decision/1": (_N("suspect parts decided"), "holds"),
    "scrap/1": (_N("parts scrapped"), "parts"),
    "check/1": (_N("fit checks opened"), "checks"),
    "check/2": (_N("fit checks opened"), "checks"),
    "fitup/2": (_N("fit-ups"), "checks"),
    "check/3": (_N("fit checks opened"), "checks"),
    "settings/1": (_N("parts set"), "checks"),
    "set/1": (_N("parts set"), "checks"),
    "cut/1": (_N("cuts recorded"), "checks"),
    "finish/1": (_N("fit checks finished"), "checks"),
    "reading/1": (_N("readings"), "checks"),
    "choose/1": (_N("readings chosen of two"), "checks"),
    "late/1": (_N("late readings decided"), "checks"),
    "confirm/1": (_N("claimed acts confirmed or disowned"), "checks"),
    "fitup/1": (_N("fit-ups"), "checks"),
    "trim/1": (_N("cuts recorded"), "checks"),
    "trim/2": (_N("cuts recorded"), "checks"),
    "move/1": (_N("parts moved"), "checks"),
    "move/2": (_N("parts moved"), "checks"),
    "move/3": (_N("parts moved"), "checks"),
    "shim/1": (_N("shims put in"), "checks"),
    "plan/1": (_N("plans taken"), "checks"),
    "take/1": (_N("plans taken"), "checks"),
    "plans_together/1": (_N("plans of several parts taken"), "checks"),
    "plan_withdrawn/1": (_N("plans withdrawn"), "checks"),
    "release_withdrawn/1": (_N("releases of cuts withdrawn"), "checks"),
    "release_cut/1": (_N("cuts released"), "checks"),
    "release_cut/2": (_N("cuts released"), "checks"),
    "template/1": (_N("trim templates printed"), "checks"),
    "template/2": (_N("trim templates printed"), "checks"),
    "holes/1": (_N("holes measured"), "hole_patterns"),
    "hole_check/1": (_N("hole checks"), "hole_patterns"),
    "hole_pattern/1": (_N("hole patterns defined"), "hole_patterns"),
    "hole_revision/1": (_N("hole patterns revised"), "hole_patterns"),
    "joint/1": (_N("joints defined"), "joints"),
    "joint_revision/1": (_N("joints revised"), "joints"),
    "instrument/1": (_N("instruments changed"), "instruments"),
    "pull/1": (_N("pulls started"), "pulls"),
    "plies/1": (_N("plies laid"), "pulls"),
    "other_ply/1": (_N("plies laid off the plan"), "pulls"),
    "batch/1": (_N("resin batches mixed"), "pulls"),
    "bag/1": (_N("bag tests"), "pulls"),
    "layup_closed/1": (_N("lay-ups closed"), "pulls"),
    "cure/1": (_N("cure traces"), "pulls"),
    "trace/1": (_N("cure traces"), "pulls"),
    "demold/1": (_N("pulls taken out"), "pulls"),
    "pull_void/1": (_N("pulls given up"), "pulls"),
    "yield/1": (_N("parts given their serial"), "parts"),
    "part/1": (_N("parts registered"), "parts"),
    "weight/1": (_N("parts weighed"), "parts"),
    "airframe_weight/1": (_N("airframes weighed"), "airframes"),
    "place/1": (_N("parts placed"), "airframes"),
    "empty_place/1": (_N("places said to stay empty"), "airframes"),
    "remove/1": (_N("parts taken out of place"), "airframes"),
    "step/1": (_N("steps done on tools"), "tooling"),
    "coat/1": (_N("release coats"), "tooling"),
    "coat_withdrawn/1": (_N("release coats taken back"), "tooling"),
    "step_withdrawn/1": (_N("steps taken back"), "tooling"),
    "tool/1": (_N("tools added"), "tooling"),
    "tool_change/1": (_N("tools changed"), "tooling"),
    "tool_act/1": (_N("acts on tools"), "tooling"),
    "tool_defect/1": (_N("mold defects noted"), "tooling"),
    "defect_repair/1": (_N("mold defects repaired"), "tooling"),
    "milling/1": (_N("milling set-ups"), "machines"),
    "axis_play/1": (_N("axis play measured"), "machines"),
    "lot/1": (_N("lots received"), "lots"),
    "lot_act/1": (_N("acts on lots"), "lots"),
    "lot_papers/1": (_N("papers of lots"), "lots"),
    "laminate/1": (_N("laminates defined"), "laminates"),
    "photo/1": (_N("photos"), ""),
}
# A reader who was never here is told the last days; nobody reads more acts than this.
FIRST_LOOK = timedelta(days=7)
NEWEST = 2000


# Headings of the lists, in the order of a hand-over.
PLACES = {
    "nonconformances": _N("Nonconformances"),
    "offers": _N("Offered for inspection"),
    "holds": _N("Holds"),
    "temporary_items": _N("Temporary items"),
    "characteristics": _N("Characteristics"),
    "checks": _N("Fit checks"),
    "hole_patterns": _N("Holes"),
    "joints": _N("Joints"),
    "instruments": _N("Instruments"),
    "airframes": _N("Airframes"),
    "parts": _N("Parts"),
    "pulls": _N("Pulls"),
    "tooling": _N("Tooling"),
    "machines": _N("Machines"),
    "lots": _N("Lots"),
    "laminates": _N("Laminates"),
    "": _N("Photos"),
}


@dataclass(frozen=True)
class Change:
    """Acts of one form since then."""

    what: str
    count: int


@dataclass(frozen=True)
class Place:
    """What was done at one place of the site (the name of its url), and by whom."""

    name: str
    title: str
    changes: list[Change]
    who: list[str]
    last: datetime


@dataclass(frozen=True)
class Changes:
    """`since` is when the reader last said that it was read, None for never; `up_to`
    is the entry to say it with; `whole` tells whether all of it is counted."""

    since: datetime | None
    up_to: int
    places: list[Place] = field(default_factory=list)
    whole: bool = True


def changes(reader: Person) -> Changes:
    """What others did since the reader last read this: four statements at most."""
    visit = Visit.objects.filter(person=reader).first()
    rows = Entry.objects.exclude(by=reader).annotate(called=_form())
    rows = rows.filter(called__in=WORDS)
    if visit:
        first = visit.read_up_to + 1
    else:
        lately = Q(received_at__gte=timezone.now() - FIRST_LOOK)
        first = Entry.objects.filter(lately).aggregate(n=Min("pk"))["n"] or 0
        # From its key on: where few are new, all there ever were are looked through.
        rows = rows.filter(lately) if first else rows.none()
    # From the newest on, to where there are enough, and one more if there is. Counted
    # from there by the database: two thousand are long to read, a dozen lines to say.
    # One key each time: of two SQLite begins at the lower.
    keys = rows.filter(pk__gte=first).order_by("-pk").values_list("pk", flat=True)
    keys = list(keys[NEWEST - 1 : NEWEST + 1])
    rows = rows.filter(pk__gte=keys[0] if keys else first).order_by()
    acts = rows.values_list("called", *AUTHOR).annotate(
        n=Count("pk"), at=Max("received_at"), last=Max("pk")
    )
    acts = sorted(acts, key=lambda act: -act[-1])
    by_place: dict[str, list] = {}
    for form, *who, count, at, _last in acts:
        act = (form, author_of(*who), count, at)
        by_place.setdefault(WORDS[form][1], []).append(act)
    return Changes(
        visit and visit.read_at,
        acts[0][-1] if acts else 0,
        [_place(name, by_place[name]) for name in PLACES if name in by_place],
        len(keys) < 2,
    )


def _form():
    """What acts are called, so that no index of forms is asked: by one, SQLite reads
    and sorts all acts of these forms first. PostgreSQL knows how many there are of
    each, and sets two processes more to work where it does not."""
    return Concat("form", Value("")) if connection.vendor == "sqlite" else F("form")


def _place(name: str, acts: list) -> Place:
    """acts: (form, who, how many, when the last), the newest first."""
    counted: Counter = Counter()
    for form, _who, count, _when in acts:
        counted[WORDS[form][0]] += count
    words_counted = dict.fromkeys(
        words for words, place in WORDS.values() if words in counted
    )
    return Place(
        name,
        _(PLACES[name]),
        [Change(_(words), counted[words]) for words in words_counted],
        list(dict.fromkeys(who for _form, who, _count, _when in acts if who)),
        acts[0][-1],
    )
