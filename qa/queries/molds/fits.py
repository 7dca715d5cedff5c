"""What the first fits of a mold's parts say of it, for its page."""

from dataclasses import dataclass, field, replace

from django.urls import reverse
from django.utils.translation import gettext as _

from qa.drawing import svg
from qa.models import CorrectionEnding, Kind, ToolCorrection
from qa.queries.molds import doubts, kin
from qa.queries.molds.deviation_maps import (
    StationRow,
    bars_scene,
    map_scene,
    station_rows,
)
from qa.queries.molds.doubts import Doubts
from qa.queries.molds.drifts import MoldDrift, drift_of
from qa.queries.molds.openings import OpeningsPage, openings_page
from qa.rules import mold_assessment, mold_corrections, mold_fits, mold_kin
from qa.rules.mold_assessment import Choice, MoldAssessment, Openings
from qa.rules.mold_fits import FirstFit, MoldFits
from qa.wording import advice, lengths, measuring, mold_gauges, tools
from shop.models import Tool, ToolKind
from shop.numeric.units import to_mm


@dataclass(frozen=True)
class FitRow:
    """One part that was read, and where that is on record."""

    fit: FirstFit
    used: bool
    cut: str

    @property
    def url(self) -> str:
        return reverse("check", args=[self.fit.check.entry_id])


@dataclass(frozen=True)
class Summary:
    """One joint at which parts of a mold were fitted, in a line on the mold's page."""

    fits: MoldFits
    parts: int
    openings: int
    correction: ToolCorrection | None

    @property
    def url(self) -> str:
        return reverse("mold_fits", args=self.fits.key)


@dataclass(frozen=True)
class FitsPage:
    """What is told of a mold at one joint; lengths as texts in `unit`."""

    assessment: MoldAssessment
    unit: str
    fits: list[FitRow]
    rows: list[StationRow]
    lines: list[str]
    rest: str
    notes: list[str]
    shared: list[str]
    # Those of them that name its plug, for the mold's own page.
    plug: list[str]
    # Gauges that read it and were found off, lost, damaged or overdue.
    doubts: list[str]
    now: str
    after: str
    map_svg: str
    bars_svg: str
    corrections: list[ToolCorrection]
    draft: ToolCorrection | None
    apart: OpeningsPage | None
    # The mold was corrected since all of the pulls by which this is told.
    past: bool
    openings: list[str] = field(default_factory=list)
    pulls: list[int] = field(default_factory=list)
    drift: MoldDrift | None = None

    @property
    def standing(self) -> ToolCorrection | None:
        """The correction that is still to be done."""
        return next(
            (correction for correction in self.corrections if not ended(correction)),
            None,
        )


@dataclass(frozen=True)
class _Known:
    """What was loaded for a mold: its own first fits and those of its kin."""

    tool: Tool
    others: list[Tool]
    loaded: mold_kin.Loaded
    corrections: list[ToolCorrection]
    corrected: mold_kin.Corrected
    doubts: Doubts

    @property
    def own(self) -> list[MoldFits]:
        return [fits for key, fits in self.loaded.items() if key[0] == self.tool.pk]


def _known(tool: Tool) -> _Known:
    others = mold_kin.relatives(tool)
    loaded = mold_fits.load([tool, *others])
    return _Known(
        tool,
        others,
        loaded,
        corrections_of(tool),
        mold_kin.corrected_of(tool, others),
        doubts.of_each(fit for fits in loaded.values() for fit in fits.fits),
    )


def ended(row: ToolCorrection):
    return getattr(row, "end", None)


@dataclass(frozen=True)
class Panel:
    """A mold's page: the joints at which its parts were fitted, and what is told at the
    one that was fitted last of those of which something can be told. `corrected`: what
    was done last where nothing can."""

    rows: list[Summary]
    shown: FitsPage | None
    corrected: ToolCorrection | None = None
    # At the joint that is shown, else at the one that was fitted last.
    drift: MoldDrift | None = None


def panel(tool: Tool, unit: str) -> Panel:
    """A constant number of statements. tool: with its plug and mirror."""
    known = _known(tool)
    rows = [_summary(fits, known) for fits in known.own]
    newest = sorted(known.own, key=lambda fits: max(fit.when for fit in fits.fits))
    for fits in reversed(newest):
        page = _page(known, fits, None, unit)
        if page.assessment.report.anything:
            return Panel(rows, page, drift=_drift_beside(page, known))
    done = (
        correction
        for correction in known.corrections
        if (end := ended(correction)) and end.how == CorrectionEnding.DONE
    )
    drift = drift_of(newest[-1], unit, known.doubts) if newest else None
    return Panel(rows, None, next(done, None), drift)


def _summary(fits: MoldFits, known: _Known) -> Summary:
    at = [
        correction
        for correction in known.corrections
        if correction.revision.joint_id == fits.joint.pk
        and correction.design_id == fits.design.pk
    ]
    return Summary(fits, len(fits.parts), len(fits.openings), at[0] if at else None)


def corrections_of(tool: Tool) -> list[ToolCorrection]:
    """The newest first."""
    rows = ToolCorrection.objects.filter(tool=tool)
    return list(
        rows.select_related("entry__by", "end__entry", "revision").order_by("-number")
    )


def fits_page(
    tool: Tool, key: tuple[int, int], choice: Choice | None, unit: str
) -> FitsPage | None:
    """What the parts of one design say at a joint; None where none was fitted there.

    key: joint and design. choice: None for the usual one, pulls since the mold was last
    corrected there. A constant number of statements.
    """
    known = _known(tool)
    fits = known.loaded.get((tool.pk, *key))
    if fits is None:
        return None
    page = _page(known, fits, choice, unit)
    return replace(page, drift=_drift_beside(page, known))


def _drift_beside(page: FitsPage, known: _Known) -> MoldDrift:
    """The drift with the doubts of those parts that the page does not name by its own:
    of them it says so already."""
    used = {check.pk for fit in page.assessment.used for check in fit.checks}
    left = {key: own for key, own in known.doubts.items() if key not in used}
    return drift_of(page.assessment.fits, page.unit, left)


def _page(known: _Known, fits: MoldFits, choice: Choice | None, unit: str) -> FitsPage:
    tool = fits.tool
    corrections = [
        correction
        for correction in known.corrections
        if correction.revision.joint_id == fits.joint.pk
    ]
    corrected = mold_corrections.first_pull_after(fits, corrections)
    choice = choice or Choice(first_pull=corrected)
    since = choice.first_pull or 0
    if not any(fit.nm and fit.pull.number >= since for fit in fits.fits):
        choice = Choice(sd_nm=choice.sd_nm, worth_nm=choice.worth_nm)
    assessment = mold_assessment.assess(fits, choice)
    past = (
        corrected
        and assessment.used
        and all(fit.pull.number < corrected for fit in assessment.used)
    )
    report, labels = (
        assessment.report,
        [station.label for station in fits.seam.stations],
    )
    values = {Kind.GAP: report.gap, Kind.FLUSH: report.flush}
    title = f"{tool.code} at {fits.joint.number}"
    bars = bars_scene(labels, values, unit, title, choice.worth_nm)
    show = mold_kin.kin_of(assessment, known.loaded, known.others, known.corrected)
    of_plug = show.of_plug
    return FitsPage(
        assessment=assessment,
        unit=unit,
        fits=[_fit_row(fit, assessment, unit) for fit in fits.fits],
        rows=station_rows(labels, values, unit, of_plug),
        lines=advice.advice_lines(report, labels, unit, of_plug),
        rest=advice.rest_words(report, labels),
        notes=_notes(assessment, labels, unit),
        shared=kin.sentences(show),
        plug=kin.of_plug(show),
        doubts=doubts.of_fits(known.doubts, assessment, show, known.loaded),
        now=_share(report.share and report.share.now),
        after=_share(report.share and report.share.after),
        map_svg=svg.render(map_scene(fits.seam, values, unit, title)),
        bars_svg=svg.render(bars, prefix="bounds"),
        corrections=corrections,
        # What was corrected already is not corrected again by the same parts.
        draft=None if past else mold_corrections.draft(assessment, show),
        apart=openings_page(report.apart.each, labels, unit),
        past=bool(past),
        openings=fits.openings,
        pulls=sorted({fit.pull.number for fit in fits.fits}),
    )


def _share(share: float | None) -> str:
    return "" if share is None else measuring.share(share, 1)


def _fit_row(fit: FirstFit, assessment: MoldAssessment, unit: str) -> FitRow:
    deepest = max(fit.cut_nm.values(), default=0)
    cut = lengths.length(deepest, unit) if deepest else ""
    return FitRow(fit, any(fit is used for used in assessment.used), cut)


def _notes(assessment: MoldAssessment, labels: list[str], unit: str) -> list[str]:
    """What a person should know beside the advice, as sentences."""
    terms = tools.Terms(unit=unit)
    worth = to_mm(assessment.choice.worth_nm)
    sentences = [
        f"{note}." for note in tools.notes(assessment.report, labels, worth, terms)
    ]
    if assessment.report.anything:
        sentences += openings_notes(
            str(assessment.openings),
            assessment.report.openings,
            assessment.others,
            dict.fromkeys(fit.opening for fit in assessment.used),
        )
    sentences += [
        tools.kind_linked(kind, groups)
        for kind, groups in mold_assessment.apart_by_kind(assessment).items()
    ]
    sentences += mold_gauges.sentences(
        [g.kept(labels) for g in assessment.gauges], unit
    )
    gauges = {fit.check.u_nm for fit in assessment.used if fit.check.u_nm}
    spread = assessment.report.scatter.sd_mm
    if gauges and spread and to_mm(max(gauges)) > spread / 2:
        sentences.append(
            _("Much of how parts differ may be the gauge (its standard uncertainty is "
              "%(u)s): a study of the gauge would tell.")
            % {"u": lengths.length(max(gauges), unit)}
        )  # fmt: skip
    if assessment.older:
        most = mold_assessment.MOST_FITS
        sentences.append(tools.OLDER.format(count=assessment.older, most=most))
    if assessment.unlike:
        sentences.append(
            _("%(count)s readings were left out: taken at stations that have moved or "
              "gone since.") % {"count": assessment.unlike}
        )  # fmt: skip
    return sentences


def openings_notes(how: str, openings, others: list[str], used=()) -> list[str]:
    """How the openings were taken into account, in words; `used` are those of them by
    which it is told, where there are `others`."""
    if how == Openings.SCATTER:
        return [tools.OWN_OPENINGS]
    if how == Openings.APART:
        notes = [tools.SEVERAL_OPENINGS.format(len(openings))]
    else:
        notes = [tools.ONE_OPENING + "."]
    if others:
        names = ", ".join(others), ", ".join(used)
        notes.append(tools.OTHER_OPENINGS.format(*names))
    return notes


def may_pull(tool: Tool) -> bool:
    """Whether anything of a tool was demolded: the panel asks no more otherwise."""
    return tool.kind == ToolKind.MOLD and tool.last_pull > 0
