"""The ways of a plan side by side, as texts."""

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.numeric.plan.free_planner import LEAVE
from qa.rules.planning import WorkedPlan
from qa.rules.ways import WayRow
from qa.wording import lengths, ways
from qa.wording.plans import named
from qa.wording.probabilities import percent
from qa.wording.settings import settings_text
from shop.numeric.units import MM2_PER_IN2


@dataclass(frozen=True)
class WayView:
    """One way: what hands do, what comes of it, and what it costs. `taken`: it is the
    plan that is shown; `first`: it is recommended."""

    kind: str
    word: str
    does: str
    same_as: str
    state: str
    probability: str
    cut: str
    cut_size: str
    again: str
    minutes: str
    taken: bool
    first: bool


def ways_of(worked: WorkedPlan, unit: str) -> list[WayView]:
    """In the order recommended; [] where none were compared."""
    return [
        _view(worked, way, unit, first=number == 0 and way.conforms)
        for number, way in enumerate(worked.ways)
    ]


def learned_words(worked: WorkedPlan) -> str:
    """Which minutes are those of rounds on record."""
    learned = worked.learned
    return ways.learned(learned.measured, learned.set, learned.cut) if learned else ""


def _view(worked: WorkedPlan, way: WayRow, unit: str, *, first: bool) -> WayView:
    chance = way.probability
    return WayView(
        kind=way.kind,
        word=str(ways.word(way.kind, held=bool(worked.present))),
        does=_does(worked, way, unit),
        same_as=str(ways.word(way.as_kind, held=bool(worked.present)))
        if way.as_kind
        else "",
        state="conforms" if way.conforms else "does_not_conform",
        probability="" if chance is None else percent(chance),
        cut=named(list(way.cut)),
        cut_size=_size(way, unit),
        again=_again(way),
        minutes=ways.minutes(way.minutes),
        taken=way.kind == worked.way,
        first=first,
    )


def _does(worked: WorkedPlan, way_row: WayRow, unit: str) -> str:
    """What is set or moved."""
    if way_row.settings:
        by_name = {each.name: each for each in worked.present}
        changes = [
            (by_name[name], steps * by_name[name].step_nm)
            for name, steps in way_row.settings
        ]
        return settings_text(changes, unit)
    if not way_row.changed:
        return ""
    words = ngettext(
        "moved in %(count)d way", "moved in %(count)d ways", way_row.changed
    )
    return words % {"count": way_row.changed}


def _size(way_row: WayRow, unit: str) -> str:
    """How much edge, and how much of it."""
    if not way_row.cut:
        return ""
    area = f"{way_row.area_mm2:.0f} mm²"
    if unit == "in":
        area = f"{way_row.area_mm2 / MM2_PER_IN2:.3f} in²"
    length = lengths.length(way_row.length_nm, unit, {"mm": 0, "in": 1}[unit])
    return _("%(length)s, %(area)s") % {"length": length, "area": area}


def _again(way_row: WayRow) -> str:
    """What becomes stale and is measured again."""
    if way_row.kind == LEAVE or not way_row.stale:
        return _("nothing")
    if way_row.changed:
        return _("all %(count)d stations") % {"count": way_row.stale}
    count = ngettext("%(count)d station", "%(count)d stations", way_row.stale)
    return _("3 witnesses, then %(stations)s") % {
        "stations": count % {"count": way_row.stale}
    }
