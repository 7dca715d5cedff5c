"""A joint over parts: which stations fail, and of one place its capability, its chart
and its drift against pull numbers."""

from dataclasses import dataclass, replace
from fractions import Fraction

from django.urls import reverse
from django.utils.translation import gettext as _

from qa.drawing import heat_map, svg, trend_chart
from qa.drawing.heat_map import HeatMap
from qa.drawing.scene import Scene
from qa.drawing.trend_chart import TrendSheet
from qa.models import ChartNote, Joint, Kind
from qa.numeric.measuring.capability import Capability, capability
from qa.numeric.measuring.modes import Mode, modes
from qa.numeric.measuring.trend import Trend, trend
from qa.queries.capability_told import Index, facts_of, indices_of
from qa.queries.joints.drawings import map_of
from qa.queries.joints.joint_capability import KINDS, JointTold, PlaceTold, joint_told
from qa.queries.joints.part_charts import AS_USUAL, FINER, Series, Table, Way, chart_of
from qa.rules import over_parts as rules
from qa.rules.chart_notes import EVERYWHERE, notes_on
from qa.rules.over_parts import OverParts, PartRead, Which
from qa.rules.station_places import places_of
from qa.wording import lengths
from qa.wording.measuring import remark, remarks
from shop.numeric.units import NM_PER

MODES = {
    Mode.HIGH: _("whole part high"),
    Mode.TWISTED: _("twisted, at the corner"),
    Mode.SMALL: _("small all round, mean gap"),
}


@dataclass(frozen=True)
class PlaceRow:
    """One station: of each kind how many failed of how many, and its page."""

    label: str
    gap: str
    gap_url: str
    flush: str
    flush_url: str
    always: bool
    gap_told: PlaceTold
    flush_told: PlaceTold


@dataclass(frozen=True)
class OverPage:
    joint: Joint
    which: Which
    parts: int
    rows: list[PlaceRow]
    worst: list[str]
    told: JointTold
    map_svg: str
    modes: list[tuple[str, str]]


def over_page(joint: Joint, which: Which, unit: str) -> OverPage:
    """The stations of a joint over its parts; a constant number of statements."""
    over = rules.over_parts(joint, which)
    counts = [
        {kind: over.failed(row, kind) for kind in Kind.values}
        for row in range(len(over.seam.stations))
    ]
    told = joint_told(over, unit)
    rows = [
        _place(
            joint,
            station.label,
            own,
            which,
            gap_told=told.of(row, Kind.GAP),
            flush_told=told.of(row, Kind.FLUSH),
        )
        for row, (station, own) in enumerate(
            zip(over.seam.stations, counts, strict=True)
        )
    ]
    return OverPage(
        joint=joint,
        which=which,
        parts=len(over.reads),
        rows=rows,
        worst=[row.label for row in rows if row.always],
        told=told,
        map_svg=svg.render(_heat(over, counts, unit), prefix="heat"),
        modes=[
            (name, reverse("over_parts_mode", args=[joint.pk, str(mode)]))
            for mode, name in MODES.items()
        ],
    )


def _place(joint: Joint, label: str, counts, which: Which, **told_of) -> PlaceRow:
    def url(kind: str) -> str:
        return reverse("over_parts_place", args=[joint.pk, label, kind])

    def told(kind: str) -> str:
        failed, judged = counts[kind]
        return f"{failed} / {judged}" if judged else ""

    asked = f"?which={which}"
    return PlaceRow(
        label,
        told(Kind.GAP),
        url(Kind.GAP) + asked,
        told(Kind.FLUSH),
        url(Kind.FLUSH) + asked,
        any(judged > 1 and failed == judged for failed, judged in counts.values()),
        **told_of,
    )


def _heat(over: OverParts, counts, unit: str):
    drawn = map_of(over.seam.revision, over.seam.stations, unit=unit, bare=True)
    stations, shares = [], []
    for station, own in zip(drawn.stations, counts, strict=True):
        failing = {k: f"{f}/{n}" for k, (f, n) in own.items() if f}
        judged = [f / n for f, n in own.values() if n]
        shares.append(max(judged, default=None))
        shown = {f"{kind}_text": failing.get(kind, "") for kind in Kind.values}
        state = "" if judged else "not_measured"
        stations.append(replace(station, **shown, gap_state=state))
    failing = zip(stations, shares, strict=True)
    shares_said = [
        f"{station.label}: {share:.0%}" for station, share in failing if share
    ]
    title = _("Share of parts that did not conform: %(told)s") % {
        "told": ", ".join(shares_said) or _("none")
    }
    joint = replace(drawn, stations=tuple(stations), limits_text="")
    return heat_map.build(HeatMap(joint, tuple(shares), title))


@dataclass(frozen=True)
class SeriesPage:
    """One place or mode over parts. Where a number cannot be had, `*_why` says why.
    `of` and `row` say which place or mode, for what is written on its points."""

    joint: Joint
    title: str
    of: str
    row: int | None
    reads: list[PartRead]
    written: list["Written"]
    unit: str
    count: int
    limits: str
    indices: list[Index]
    facts: list[tuple[str, str]]
    notes: list[str]
    capability_why: str
    chart: Scene | None
    chart_table: Table | None
    chart_why: str
    trends: list["TrendOf"]

    @property
    def chart_svg(self) -> str:
        return svg.render(self.chart, prefix="chart") if self.chart else ""


@dataclass(frozen=True)
class Written:
    """A note with the part on whose point it stands."""

    note: ChartNote
    serial: str
    everywhere: bool


@dataclass(frozen=True)
class TrendOf:
    """The drift of one mold's pulls."""

    mold: str
    scene: Scene | None
    table: Table | None
    words: str

    @property
    def svg(self) -> str:
        prefix = f"trend-{len(self.mold)}-{self.mold}"
        return svg.render(self.scene, prefix=prefix) if self.scene else ""


def place_page(
    joint: Joint, label: str, kind: str, which: Which, unit: str, way: Way = AS_USUAL
) -> SeriesPage | None:
    """One station and kind over parts, None where the joint has no such station."""
    told = rules.over_parts(joint, which)
    row = told.seam.rows.get(label)
    if row is None:
        return None
    series = told.series(row, kind)
    limits = told.limits(row, kind)
    low, high = (None if nm is None else rules.in_unit(nm, unit) for nm in limits)
    return _page(
        joint,
        Series(
            title=f"{joint.number} {label}, {KINDS[kind]}",
            unit=unit,
            reads=[one for one, _nm in series],
            values=[rules.in_unit(nm, unit) for _one, nm in series],
            low=low,
            high=high,
            notes=notes_on([one for one, _nm in series], kind, row),
        ),
        lengths.limits(*limits, unit),
        way,
        (kind, row),
    )


def mode_page(
    joint: Joint, mode: Mode, which: Which, unit: str, way: Way = AS_USUAL
) -> SeriesPage:
    """How whole parts are off, in one fitted mode."""
    told = rules.over_parts(joint, which)
    at, _gap, _face = places_of(told.seam.stations)
    reads, values = [], []
    for read in told.reads:
        off = {kind: rules.deviations_mm(told, read, kind) for kind in Kind.values}
        found = modes(at, off[Kind.GAP], off[Kind.FLUSH])[mode]
        if found is not None:
            nm = round(found * NM_PER["mm"])
            reads.append(read)
            values.append(rules.in_unit(nm, unit))
    title, notes = f"{joint.number}, {MODES[mode]}", notes_on(reads, mode)
    series = Series(title, unit, reads, values, None, None, notes)
    return _page(joint, series, "", way, (str(mode), None))


def _page(
    joint: Joint, series: Series, limits: str, way: Way, about: tuple[str, int | None]
) -> SeriesPage:
    capability = _capability(series)
    drawn, table, why = chart_of(series, way)
    return SeriesPage(
        joint=joint,
        title=series.title,
        of=about[0],
        row=about[1],
        reads=series.reads,
        written=[
            Written(note, read.part.serial, note.of == EVERYWHERE)
            for read in series.reads
            for note in series.notes.get(read.check.pk, ())
        ],
        unit=series.unit,
        count=len(series.values),
        limits=limits,
        indices=indices_of(capability) if capability else [],
        facts=facts_of(capability, series.unit, FINER[series.unit])
        if capability
        else [],
        notes=[f"{note}." for note in remarks(capability.notes)] if capability else [],
        capability_why=_why_not(capability, series),
        chart=drawn,
        chart_table=table,
        chart_why=why,
        trends=_trends(series),
    )


def _capability(series: Series) -> Capability | None:
    if series.low is None and series.high is None:
        return None
    return capability(series.values, series.low, series.high) if series.values else None


def _why_not(told: Capability | None, series: Series) -> str:
    if told:
        return remark(told.why) or ""
    if not series.values:
        return _("nothing was read here")
    return _("there are no limits to hold it against")


def _trends(series: Series) -> list[TrendOf]:
    """The drift against pull numbers, mold by mold."""
    molds: dict[str, list[tuple[PartRead, Fraction]]] = {}
    for one, value in zip(series.reads, series.values, strict=True):
        if one.pull:
            molds.setdefault(one.pull.tool.code, []).append((one, value))
    repairs = rules.repairs_of(series.reads)
    return [
        _trend(series, code, rows, repairs[rows[0][0].pull.tool_id])
        for code, rows in molds.items()
    ]


def _trend(series: Series, code: str, rows, repairs: list[int]) -> TrendOf:
    pulls = [reading.pull.number for reading, _value in rows]
    values = [value for _one, value in rows]
    breaks = [number for number in repairs if min(pulls) <= number <= max(pulls)]
    result, limit = _towards(series, pulls, values, breaks)
    if result.slope is None or limit is None:
        why = remark(result.why) or _("there are no limits to hold it against")
        return TrendOf(code, None, None, why)
    sheet = TrendSheet(
        title=f"{series.title}, {code}",
        unit=series.unit,
        limit=float(limit),
        points=tuple((float(p), float(v)) for p, v in zip(pulls, values, strict=True)),
        trend=result,
        breaks=tuple(map(float, breaks)),
        digits=FINER[series.unit],
    )
    course = remark(result.course) or ""
    table = Table.of(trend_chart.table(sheet))
    return TrendOf(code, trend_chart.build(sheet), table, course)


def _towards(
    series: Series, pulls, values, breaks
) -> tuple[Trend, Fraction | int | None]:
    """The trend against the limit that it leads to; a mode has none but zero."""
    ends = [series.high, series.low]
    if ends == [None, None]:
        return trend(pulls, values, 0, breaks=breaks), 0
    limit = next(end for end in ends if end is not None)
    found = trend(pulls, values, limit, breaks=breaks)
    if found.slope is not None and found.slope < 0 and series.low is not None:
        return trend(pulls, values, series.low, breaks=breaks), series.low
    return found, limit
