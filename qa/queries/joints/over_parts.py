"""A joint over parts: which stations fail, and of one place its capability, its chart
and its drift against pull numbers."""

from dataclasses import dataclass, field, replace
from fractions import Fraction

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.drawing import heat_map, svg
from qa.drawing.heat_map import HeatMap
from qa.drawing.scene import Scene
from qa.models import ChartNote, Joint, Kind
from qa.numeric.measuring.capability import Capability, capability
from qa.numeric.measuring.modes import Mode
from qa.queries.capability_figures import Index, facts_of, indices_of
from qa.queries.joints.drawings import map_of
from qa.queries.joints.drift import TrendOf, trends_of
from qa.queries.joints.joint_capability import (
    KINDS,
    JointFigures,
    PlaceFigures,
    joint_figures,
)
from qa.queries.joints.part_charts import AS_USUAL, FINER, Series, Table, Way, chart_of
from qa.queries.molds import doubts
from qa.rules import over_parts as rules
from qa.rules.chart_notes import EVERYWHERE, notes_on
from qa.rules.over_parts import OverParts, PartRead, Which
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
    gap_figures: PlaceFigures
    flush_figures: PlaceFigures


@dataclass(frozen=True)
class OverPage:
    joint: Joint
    which: Which
    parts: int
    rows: list[PlaceRow]
    worst: list[str]
    capability: JointFigures
    as_pulled: str
    map_svg: str
    modes: list[tuple[str, str]]
    # Gauges that read some of it and were found off, lost, damaged or overdue.
    doubts: list[str]
    # What is left out since several values stand at a place.
    clashes: str = ""


def over_page(joint: Joint, which: Which, unit: str) -> OverPage:
    """The stations of a joint over its parts; a constant number of statements."""
    over = rules.over_parts(joint, which)
    counts = [
        {kind: over.failed(row, kind) for kind in Kind.values}
        for row in range(len(over.seam.stations))
    ]
    capability = joint_figures(over, unit)
    rows = [
        _place(
            joint,
            station.label,
            own,
            which,
            gap_figures=capability.of(row, Kind.GAP),
            flush_figures=capability.of(row, Kind.FLUSH),
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
        capability=capability,
        as_pulled=_as_pulled(which, sum(bool(read.cut_nm) for read in over.reads)),
        map_svg=svg.render(_heat(over, counts, unit), prefix="heat"),
        modes=[
            (name, reverse("over_parts_mode", args=[joint.pk, str(mode)]))
            for mode, name in MODES.items()
        ],
        doubts=doubts.of_reads(over.reads),
        clashes=_clashes(over),
    )


def _clashes(over: OverParts) -> str:
    """Which parts are left out, whole or in part, until somebody chooses."""
    if not over.clashes:
        return ""
    words = ngettext(
        "Of %(n)s part several values stand where it was read last, and nobody has "
        "chosen: what clashes is left out (%(unread)s whole).",
        "Of %(n)s parts several values stand where they were read last, and nobody has "
        "chosen: what clashes is left out (%(unread)s whole).",
        len(over.clashes),
    )
    return words % {"n": len(over.clashes), "unread": over.unread}


def _clashing(count: int) -> str:
    if not count:
        return ""
    words = ngettext(
        "%(n)s part is left out: several values stand here, and nobody has chosen.",
        "%(n)s parts are left out: several values stand here, and nobody has chosen.",
        count,
    )
    return words % {"n": count}


def _as_pulled(which: Which, cut: int | None) -> str:
    """What is said of gaps that are as pulled. cut: how many of the parts had been cut,
    None where it is not about gaps; where none was, gaps are as they were read."""
    if which != Which.FIRST or not cut:
        return ""
    words = _("Gaps are as pulled: what was cut before is added back (%(cut)s).")
    return words % {"cut": ngettext("%(n)s part", "%(n)s parts", cut) % {"n": cut}}


def _title(words: str, which: Which, *, gaps: bool) -> str:
    return (
        _("%(of)s, as pulled") % {"of": words}
        if gaps and which == Which.FIRST
        else words
    )


def _place(joint: Joint, label: str, counts, which: Which, **told_of) -> PlaceRow:
    def url(kind: str) -> str:
        return reverse("over_parts_place", args=[joint.pk, label, kind])

    def share(kind: str) -> str:
        failed, judged = counts[kind]
        return f"{failed} / {judged}" if judged else ""

    asked = f"?which={which}"
    return PlaceRow(
        label,
        share(Kind.GAP),
        url(Kind.GAP) + asked,
        share(Kind.FLUSH),
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
    as_pulled: str
    chart: Scene | None
    chart_table: Table | None
    chart_why: str
    trends: list[TrendOf]
    left_out: str = ""
    aimed: str = ""
    # Gauges that read some of it and were found off, lost, damaged or overdue.
    doubts: list[str] = field(default_factory=list)

    @property
    def remarks(self) -> list[str]:
        """What holds of all values."""
        remarks = (self.as_pulled, self.aimed, self.left_out)
        return [words for words in remarks if words]

    @property
    def chart_svg(self) -> str:
        return svg.render(self.chart, prefix="chart") if self.chart else ""


@dataclass(frozen=True)
class Written:
    """A note with the part on whose point it stands."""

    note: ChartNote
    serial: str
    everywhere: bool


def place_page(
    joint: Joint, label: str, kind: str, which: Which, unit: str, way: Way = AS_USUAL
) -> SeriesPage | None:
    """One station and kind over parts, None where the joint has no such station."""
    over = rules.over_parts(joint, which)
    row = over.seam.rows.get(label)
    if row is None:
        return None
    series = over.series(row, kind)
    limits = over.limits(row, kind)
    low, high = (None if nm is None else rules.in_unit(nm, unit) for nm in limits)
    gap = kind == Kind.GAP
    page = _page(
        joint,
        Series(
            title=_title(f"{joint.number} {label}, {KINDS[kind]}", which, gaps=gap),
            unit=unit,
            reads=[read for read, _nm in series],
            values=[rules.in_unit(nm, unit) for _one, nm in series],
            low=low,
            high=high,
            notes=notes_on([read for read, _nm in series], kind, row),
            of=kind,
            row=row,
        ),
        lengths.limits(*limits, unit),
        way,
        _as_pulled(
            which, sum(row in read.cut_nm for read, _nm in series) if gap else None
        ),
    )
    return replace(page, left_out=_clashing(over.clashing(row, kind)))


def mode_page(
    joint: Joint, mode: Mode, which: Which, unit: str, way: Way = AS_USUAL
) -> SeriesPage:
    """How whole parts are off, in one fitted mode."""
    over = rules.over_parts(joint, which)
    reads, values, whys, aimed = _fitted(over, mode, unit)
    cut = sum(bool(read.cut_nm) for read in reads) if mode == Mode.SMALL else None
    series = Series(
        title=_title(f"{joint.number}, {MODES[mode]}", which, gaps=mode == Mode.SMALL),
        unit=unit,
        reads=reads,
        values=values,
        low=None,
        high=None,
        notes=notes_on(reads, mode),
        of=str(mode),
        target=Fraction(0),
        why=whys[0] if whys else "",
    )
    page = _page(joint, series, "", way, _as_pulled(which, cut))
    return replace(page, left_out=_left_out(whys) if reads else "", aimed=aimed)


def _fitted(over: OverParts, mode: Mode, unit: str):
    """(parts that the mode is told of, its values, why not of each other part, what is
    said of its target)."""
    reads, values, whys = [], [], []
    for read, modes_of_part in zip(
        over.reads, rules.modes_of(over.seam, over.reads), strict=True
    ):
        if modes_of_part[mode].why:
            whys.append(remark(modes_of_part[mode].why))
            continue
        reads.append(read)
        values.append(rules.in_unit(round(modes_of_part[mode].mm * NM_PER["mm"]), unit))
    kind = Kind.GAP if mode == Mode.SMALL else Kind.FLUSH
    _aims, bare = rules.targets_mm(over.seam, kind)
    words = _("The target is the limit itself: no station has two limits that would "
              "say how far inside to aim.")  # fmt: skip
    return reads, values, whys, words if bare else ""


def _left_out(whys: list[str]) -> str:
    if not whys:
        return ""
    words = ngettext("%(n)s part is left out: %(why)s.", "%(n)s parts are left out: "
                     "%(why)s.", len(whys))  # fmt: skip
    return words % {"n": len(whys), "why": "; ".join(dict.fromkeys(whys))}


def _page(
    joint: Joint,
    series: Series,
    limits: str,
    way: Way,
    as_pulled: str,
) -> SeriesPage:
    capability = _capability(series)
    drawn, table, why = chart_of(series, way)
    return SeriesPage(
        joint=joint,
        title=series.title,
        of=series.of,
        row=series.row,
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
        as_pulled=as_pulled,
        chart=drawn,
        chart_table=table,
        chart_why=why,
        trends=trends_of(series),
        doubts=doubts.of_reads(series.reads, series.of, series.row),
    )


def _capability(series: Series) -> Capability | None:
    if series.low is None and series.high is None:
        return None
    return capability(series.values, series.low, series.high) if series.values else None


def _why_not(estimate: Capability | None, series: Series) -> str:
    if estimate:
        return remark(estimate.why) or ""
    if not series.values:
        return series.why or _("nothing was read here")
    return _("there are no limits to hold it against")
