"""A correction of a mold on record: what is to be done, and what came after it."""

from dataclasses import dataclass, field, replace

from django.urls import reverse
from django.utils.translation import gettext as _

from qa.drawing import svg
from qa.models import CorrectionEnd, Kind, ToolCorrection
from qa.numeric.tool.estimate import Advice, ToolValue
from qa.queries.molds import doubts, kin, plugs
from qa.queries.molds.deviation_maps import (
    StationRow,
    bars_scene,
    map_scene,
    signed,
    station_rows,
)
from qa.queries.molds.fits import ended, openings_notes
from qa.queries.molds.openings import OpeningsPage, openings_page
from qa.queries.molds.plugs import OfPlug
from qa.rules import mold_corrections, mold_fits, mold_kin
from qa.rules.history import Seam
from qa.rules.mold_fits import FirstFit, MoldFits
from qa.rules.mold_kin import Kin
from qa.wording import advice, findings, lengths, measuring, mold_gauges, tools
from qa.wording import kin as words
from shop.models import Tool
from shop.numeric.units import PPM, to_nm

RELATED = (
    "entry__by",
    "tool__plug",
    "design",
    "revision__joint__position",
    "revision__joint__surround",
    "end__entry__by",
    "end__repair",
    "on_plug__entry__by",
)


@dataclass(frozen=True)
class CameCell:
    """What was expected at a place, and what came; "" where nothing was."""

    expected: str
    half: str
    came: str
    outside: bool


@dataclass(frozen=True)
class CameRow:
    label: str
    gap: CameCell
    flush: CameCell


@dataclass(frozen=True)
class Came:
    """One part that was pulled after the correction, seated as close as it goes to what
    was expected."""

    fit: FirstFit
    rows: list[CameRow]
    read: int
    within: int
    conforming: int
    # Gauges that read it and were found off, lost, damaged or overdue.
    doubts: list[str]

    @property
    def url(self) -> str:
        return reverse("check", args=[self.fit.check.entry_id])


@dataclass(frozen=True)
class CorrectionPage:
    """A correction in the reader's unit. `came` the newest pull first."""

    row: ToolCorrection
    unit: str
    labels: list[str]
    values: dict[str, list[ToolValue]]
    seam: Seam
    rows: list[StationRow]
    lines: list[str]
    rest: str
    notes: list[str]
    # What other molds showed when it was taken; none of an old record.
    shared: list[str]
    # Gauges that read it and were found off, lost, damaged or overdue.
    doubts: list[str]
    shares: dict[str, str]
    end: CorrectionEnd | None
    apart: OpeningsPage | None
    # What it says of the plug.
    of_plug: OfPlug | None
    came: list[Came] = field(default_factory=list)
    # How many parts were read since, and what a newer revision of the joint leaves out.
    read_since: int = 0
    revised: str = ""

    @property
    def title(self) -> str:
        return f"{self.row.tool.code} at {self.row.revision.joint.number}"

    @property
    def scene(self):
        return map_scene(self.seam, self.values, self.unit, self.title)

    @property
    def bars(self):
        worth = self.row.content["asked"]["worth_nm"]
        return bars_scene(self.labels, self.values, self.unit, self.title, worth)

    @property
    def map_svg(self) -> str:
        return svg.render(self.scene)

    @property
    def bars_svg(self) -> str:
        return svg.render(self.bars, prefix="bounds")

    @property
    def read_in(self) -> str:
        return tools.read_in(self.row.content["inputs"])

    @property
    def asked(self) -> list[StationRow]:
        """The stations at which something is to be done."""
        return [row for row in self.rows if row.gap.does or row.flush.does]

    @property
    def places(self) -> str:
        labels = [row.label for row in self.asked]
        return findings.on_joint(self.row.revision.joint.number, labels)

    @property
    def greatest_mm(self) -> float:
        values = [v for kind in Kind.values for v in self.values[kind]]
        return max(abs(value.correction_mm or 0.0) for value in values)

    @property
    def what(self) -> str:
        """The defect in a line, for the mold's own record."""
        size = lengths.length(to_nm(self.greatest_mm), self.unit)
        return _("Off by up to %(size)s as its parts fit (%(label)s)") % {
            "size": size,
            "label": self.row.label,
        }


def correction_page(row: ToolCorrection, unit: str) -> CorrectionPage:
    """A correction loaded with RELATED: a constant number of statements."""
    stations = list(row.revision.stations.all())
    for station in stations:
        station.revision = row.revision
    labels = mold_corrections.labels_of(row)
    values = mold_corrections.values_of(row)
    content = row.content
    openings = list(dict.fromkeys(reading["opening"] for reading in content["inputs"]))
    notes = openings_notes(content["asked"]["openings"], openings, [])
    shares = {
        # Rounded to whole ppm where it was kept: neither none nor all.
        name: measuring.share(min(max(ppm, 1), PPM - 1) / PPM, 1)
        for name, ppm in content["share_ppm"].items()
    }
    key = row.tool_id, row.revision.joint_id, row.design_id
    fits = mold_fits.load([row.tool]).get(key)
    notes += mold_gauges.sentences(content.get("gauges", ()), unit)
    others = _named_now(mold_kin.from_record(content), row.tool.plug)
    shown_by_all = others.of_plug if others else ()
    seam = Seam(row.revision, stations)
    return CorrectionPage(
        row=row,
        unit=unit,
        labels=labels,
        values=values,
        seam=seam,
        rows=station_rows(labels, values, unit, shown_by_all),
        lines=advice.advice_lines(advice.Values(**values), labels, unit, shown_by_all),
        rest=advice.rest_words(advice.Values(**values), labels),
        notes=[*notes, f"{tools.AS_A_WHOLE}.", f"{tools.TOGETHER}."],
        shared=kin.sentences(others) if others else [],
        doubts=doubts.of_corrections([row])[row.pk],
        shares=shares,
        end=ended(row),
        apart=openings_page(mold_corrections.openings_of(row), labels, unit),
        of_plug=plugs.of_plug(row, unit),
        came=_came(row, seam, fits, unit) if fits else [],
        read_since=len(mold_corrections.came_after(row, fits)) if fits else 0,
        revised=_revised(row, seam, fits) if fits else "",
    )


def _named_now(kin: Kin | None, plug: Tool | None) -> Kin | None:
    """With what its plug is called by now, where that is another name."""
    if kin is None or not kin.is_of(plug) or kin.plug == plug.code:
        return kin
    words = _("%(then)s (now %(now)s)") % {"then": kin.plug, "now": plug.code}
    return replace(kin, plug=words)


def _came(row: ToolCorrection, seam: Seam, fits: MoldFits, unit: str) -> list[Came]:
    """Parts of which something can be compared."""
    values = mold_corrections.values_of(row)
    parts_since, since = [], mold_corrections.came_after(row, fits)
    in_doubt = doubts.of_each(since)
    for fit in reversed(since):
        both = mold_corrections.deviations_of(row, seam, fits, fit)
        came = dict(zip(Kind.values, both, strict=True))
        cells = {
            kind: [
                _cell(v, c, unit) for v, c in zip(values[kind], came[kind], strict=True)
            ]
            for kind in Kind.values
        }
        every = [cell for kind in Kind.values for cell in cells[kind] if cell.came]
        rows = zip(seam.stations, cells[Kind.GAP], cells[Kind.FLUSH], strict=True)
        part_came = Came(
            fit=fit,
            rows=[CameRow(station.label, gap, flush) for station, gap, flush in rows],
            read=len(every),
            within=sum(not cell.outside for cell in every),
            conforming=mold_corrections.conforming(row, seam, came),
            doubts=doubts.of_parts(in_doubt, [fit]),
        )
        if every:
            parts_since.append(part_came)
    return parts_since


def _revised(row: ToolCorrection, seam: Seam, fits: MoldFits) -> str:
    """What a newer revision of the joint means for what came, "" where none is."""
    then, now = seam.revision, fits.seam.revision
    if then.pk == now.pk:
        return ""
    kept = set(mold_corrections.rows_kept(seam, fits).values())
    gone = [station.label for at, station in enumerate(seam.stations) if at not in kept]
    if not kept:
        form = words.REVISED_ALL
    else:
        form = words.REVISED_SOME if gone else words.REVISED
    return form.format(then=then.number, now=now.number, gone=", ".join(gone))


def _cell(value: ToolValue, came: float | None, unit: str) -> CameCell:
    outside = False
    if came is not None and value.after_half_mm is not None:
        outside = abs(came - value.after_mm) > value.after_half_mm
    half = value.after_half_mm
    return CameCell(
        expected=signed(value.after_mm, unit),
        half="" if half is None else lengths.number(to_nm(half), unit),
        came=signed(came, unit),
        outside=outside,
    )


def nothing_to_cut(page: CorrectionPage) -> bool:
    """Whether the cut line stays: there is no template to print."""
    moving = (Advice.OUT, Advice.IN)
    return not any(value.advice in moving for value in page.values[Kind.GAP])
