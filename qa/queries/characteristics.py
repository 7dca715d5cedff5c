"""Characteristics beside gap and flushness, for lists, pages and packs."""

from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from qa.models import (
    Characteristic,
    CharacteristicResult,
    CharacteristicRevision,
    Nonconformance,
    Quality,
    Verdict,
)
from qa.numeric.measuring.capability import capability
from qa.numeric.measuring.proportion import share_bounds
from qa.queries.capability_figures import CapabilityFigures, figures_of
from qa.queries.molds import doubts
from qa.rules import decided, result_staleness
from qa.rules.characteristics import CERTAIN
from qa.wording import characteristics as words
from qa.wording.measuring import share as percent_of
from shop.models import Airframe
from shop.queries.paging import search
from shop.queries.tooling import photos_of

MOST = 200  # results that are looked at, the newest
FINER = {"mm": 3, "in": 5}  # decimals of a mean; others have 3
RELATED = ("entry__by", "entry__confirmation", "instrument", "airframe", "part")


def planned(q: str = "") -> QuerySet[Characteristic]:
    rows = Characteristic.objects.exclude(current=None)
    rows = rows.select_related("bay__type", "joint", "current").order_by("number")
    return search(rows, q, "number", "name", "bay__path")


@dataclass(frozen=True)
class PlannedRow:
    id: int
    number: str
    name: str
    quality: str
    bay: str
    joint: str
    limits: str
    photo: bool


def row_of(row: Characteristic) -> PlannedRow:
    return PlannedRow(
        row.pk,
        row.number,
        row.name,
        Quality(row.quality).label,
        f"{row.bay.type.code} · {row.bay.path}",
        row.joint.number if row.joint else "",
        words.limits(row.current, row.quality),
        row.current.photo,
    )


@dataclass(frozen=True)
class ResultRow:
    """A result as it was judged; `stale` says why it tells of something else now."""

    id: int
    airframe: str
    airframe_id: int
    part: str
    found: str
    limits: str
    revision: int
    verdict: str
    deviation: int | None
    probability: float | None
    instrument: str
    note: str
    by: str
    at: object
    stale: str = ""
    has_photo: bool = False


def result_row(row: CharacteristicResult, quality: str, unit: str, **more) -> ResultRow:
    revision: CharacteristicRevision = row.revision
    return ResultRow(
        id=row.pk,
        airframe=row.airframe.serial,
        airframe_id=row.airframe_id,
        part=row.part.serial if row.part else "",
        found=words.result(quality, row, unit),
        limits=words.limits(revision, quality),
        revision=revision.number,
        verdict=row.verdict,
        deviation=row.deviation,
        probability=row.probability,
        instrument=row.instrument.code if row.instrument else "",
        note=row.note,
        by=row.entry.author,
        at=row.entry.received_at,
        **more,
    )


@dataclass(frozen=True)
class CharacteristicPage:
    row: Characteristic
    limits: str
    revisions: list[tuple[CharacteristicRevision, str]]
    results: list[ResultRow]
    airframes: list[Airframe]
    capability: CapabilityFigures
    # Gauges that read what it is told by and were found off, lost, damaged or overdue.
    doubts: list[str]
    most: int = MOST


def page_of(row: Characteristic, unit: str) -> CharacteristicPage:
    """Every revision, every result newest first, and where it is to be proven."""
    revisions = row.revisions.select_related("entry__by").order_by("-number")
    results = CharacteristicResult.objects.filter(revision__characteristic=row)
    results = results.select_related(*RELATED, "revision").order_by("-pk")[:MOST]
    results = list(results)
    return CharacteristicPage(
        row,
        words.limits(row.current, row.quality),
        [(revision, words.limits(revision, row.quality)) for revision in revisions],
        [result_row(result, row.quality, unit) for result in results],
        list(Airframe.objects.filter(type=row.bay.type_id).order_by("line_number")),
        over_parts(row, results, unit),
        doubts.of_results(_newest(results)),
    )


def _newest(results: list[CharacteristicResult]) -> list[CharacteristicResult]:
    """That of every part, of every airframe where no part is named, the oldest first.
    results: the newest first."""
    newest = {}
    for result in results:
        # A part that went to another airframe is the same part.
        newest.setdefault(
            (result.part_id, None if result.part_id else result.airframe_id), result
        )
    return list(newest.values())[::-1]


def over_parts(
    row: Characteristic, results: list[CharacteristicResult], unit: str
) -> CapabilityFigures:
    """How the newest results lie in the limits of now. results: the newest first. What
    is counted, or is so or not, has a share with bounds in place of indices."""
    newest = _newest(results)
    if not newest:
        return CapabilityFigures(capability_why=_("nothing was found of it yet"))
    if row.quality in CERTAIN:
        return _counted(row, newest)
    scale, name = words.scale(row.quality, row.current.unit, unit)
    low, high = (
        None if end is None else end / scale
        for end in (row.current.low, row.current.high)
    )
    values = [result.exact / scale for result in newest]
    return figures_of(capability(values, low, high), name, FINER.get(name, 3))


def _counted(
    row: Characteristic, results: list[CharacteristicResult]
) -> CapabilityFigures:
    right = sum(_is_right(result, row.current) for result in results)
    low, high = share_bounds(right, len(results))
    conforming = _("%(right)s of %(all)s") % {"right": right, "all": len(results)}
    bounds = _("%(low)s to %(high)s") % {
        "low": percent_of(low),
        "high": percent_of(high),
    }
    note = _("It is counted, or so or not: that has a share and no capability index. "
             "Bounds by Clopper and Pearson (1934), if parts are right or wrong each "
             "by itself.")  # fmt: skip
    facts = [(_("As required"), conforming), (_("95 % bounds of that share"), bounds)]
    return CapabilityFigures(facts=facts, notes=[note])


def _is_right(result: CharacteristicResult, now: CharacteristicRevision) -> bool:
    """Whether a count is within the limits of now, or what is so or not is so."""
    if result.exact is None:
        return result.verdict == Verdict.CONFORMS
    low = result.exact if now.low is None else now.low
    high = result.exact if now.high is None else now.high
    return low <= result.exact <= high


@dataclass(frozen=True)
class OnAirframe:
    """One characteristic on one airframe: the newest result and those before."""

    row: Characteristic
    airframe: Airframe
    limits: str
    newest: ResultRow | None
    earlier: list[ResultRow]
    photos: list
    # Items of it on this airframe, and why its newest result is to be raised.
    items: list[Nonconformance]
    raise_words: str


def on_airframe(row: Characteristic, airframe: Airframe, unit: str) -> OnAirframe:
    results = CharacteristicResult.objects.filter(
        revision__characteristic=row, airframe=airframe
    )
    results = list(results.select_related(*RELATED, "revision").order_by("-pk")[:200])
    newest, photos, items, raise_words = None, [], [], ""
    if results:
        items = decided.items_of_result(results[0])
        if decided.result_to_raise(row, results[0]):
            raise_words = words.to_raise()
        photos = photos_of("result", results[0].pk)
        stale = result_staleness.stale_of(row, airframe, results[0])
        marks = {"stale": stale, "has_photo": bool(photos)}
        newest = result_row(results[0], row.quality, unit, **marks)
    earlier = [result_row(result, row.quality, unit) for result in results[1:]]
    limits = words.limits(row.current, row.quality)
    return OnAirframe(
        row, airframe, limits, newest, earlier, photos, items, raise_words
    )
