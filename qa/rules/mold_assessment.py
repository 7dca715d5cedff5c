"""What the first fits say of a mold, as it is asked: which pulls, which openings.

The numbers are qa.numeric.tool. Openings are told apart where parts that were tried in
several link them. Where each part was tried in one of its own they count into the
scatter; where only some are linked, only those are looked at that hang together and
that most parts were tried in (one of them, where none are linked), since what parts
share in an opening would pass for the mold's.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache

from qa.models import Finish, JointRevision, Kind
from qa.numeric.geometry.joint import Joint as Geometry
from qa.numeric.plan.motions import Motion
from qa.numeric.tool import next_part
from qa.numeric.tool.characteristics import free_to_move
from qa.numeric.tool.estimate import Alike, PulledReading, ToolReport, estimate_tool
from qa.numeric.tool.least_squares import Why
from qa.numeric.tool.opening_effects import linked_openings
from qa.rules import requirements
from qa.rules.history import Seam
from qa.rules.mold_fits import FirstFit, MoldFits
from qa.rules.mold_gauges import OneGauge, one_gauges
from shop.numeric.units import to_mm

METHOD = "tell_tool/1"
WORTH_NM = 100_000
# Bounds of more stations take many seconds, and their page is asked for all day.
MOST_STATIONS = 150
MOST_FITS = 200


class Openings(StrEnum):
    """How the openings were taken into account."""

    APART = "apart"  # told from the mold by parts tried in several
    SCATTER = "scatter"  # one part each: they count into the scatter
    ONE = "one"  # mold and opening together


@dataclass(frozen=True)
class Choice:
    """What a reader asks otherwise than usual. `first_pull`: pulls from this number on;
    `opening`: only this one; `sd_nm`: how much parts differ, where it is known."""

    first_pull: int | None = None
    opening: str = ""
    sd_nm: int | None = None
    worth_nm: int = WORTH_NM


@dataclass
class MoldAssessment:
    """What is told of a mold, and of which fits."""

    fits: MoldFits
    used: list[FirstFit]
    choice: Choice
    openings: Openings
    report: ToolReport
    # Openings that were left out, since they do not hang together with what is told.
    others: list[str] = field(default_factory=list)
    # How many older fits were left out, since there are too many.
    older: int = 0
    # Gauges that read all or most of a kind at some place.
    gauges: tuple[OneGauge, ...] = ()

    @property
    def unlike(self) -> int:
        return sum(fit.unlike for fit in self.fits.fits)


def geometry_of(revision: JointRevision, seam: Seam) -> Geometry:
    """The joint as the numbers want it, limits as they hold on bare edges."""
    return requirements.joint_to_plan(
        revision, seam.stations, finish=Finish.BARE, lost_mm={}
    )


def assess(fits: MoldFits, choice: Choice) -> MoldAssessment:
    """What the fits say: of at most MOST_STATIONS, spread evenly along the seam where
    it has more, by the newest MOST_FITS."""
    since = choice.first_pull or 0
    every = [fit for fit in fits.fits if fit.nm and fit.pull.number >= since]
    if choice.opening:
        every = [fit for fit in every if fit.opening == choice.opening]
    used = every[-MOST_FITS:]
    geometry = geometry_of(fits.seam.revision, fits.seam)
    motions = free_to_move(geometry)
    if choice.opening:
        openings = [choice.opening]
    else:
        openings = list(dict.fromkeys(fit.opening for fit in used))
    how = Openings.ONE if len(openings) < 2 else Openings.APART
    report = _asked(geometry, used, openings, how, motions, choice)
    if how == Openings.APART and not report.anything:
        # Of those that hang together, of one, or of all as scatter; where none of these
        # tells anything either, of what most parts were tried in.
        ways = _instead(used, openings) or [(how, openings)]
        for how, openings in [*ways, ways[0]]:
            report = _asked(geometry, used, openings, how, motions, choice)
            if report.anything:
                break
    others = list(dict.fromkeys(f.opening for f in used if f.opening not in openings))
    used = [fit for fit in used if fit.opening in openings]
    older = len(every) - len(every[-MOST_FITS:])
    gauges = one_gauges(used)
    return MoldAssessment(fits, used, choice, how, report, others, older, gauges)


def apart_by_kind(assessment: MoldAssessment) -> dict[str, list[list[str]]]:
    """By kind of which nothing is told, since it hangs together in fewer openings than
    what is: the groups of openings in which it was read, that of most parts first."""
    if assessment.openings != Openings.APART or not assessment.report.anything:
        return {}
    by_kind = {}
    for kind in Kind.values:
        whys = {value.why for value in getattr(assessment.report, kind)}
        if Why.OPENING not in whys or None in whys:
            continue
        read = [
            fit for fit in assessment.used if any(of == kind for _row, of in fit.nm)
        ]
        groups = linked_openings((fit.part.serial, fit.opening) for fit in read)
        if len(groups) > 1:
            by_kind[kind] = groups
    return by_kind


def _instead(used: list[FirstFit], openings: list[str]):
    """(how, openings) that may tell something where all together tell nothing, what
    most parts were tried in first."""
    groups = linked_openings((fit.part.serial, fit.opening) for fit in used)
    if len(used) == len(groups):
        return [(Openings.SCATTER, openings)]
    if len(groups) < 2:
        return []
    return [
        (Openings.APART if len(group) > 1 else Openings.ONE, group) for group in groups
    ]


def _asked(geometry, used, openings, how, motions, choice: Choice) -> ToolReport:
    rows = []
    used = [fit for fit in used if fit.opening in openings]
    for fit in used:
        name = fit.opening if how == Openings.APART else ""
        for row in sorted({row for row, _ in fit.nm}):
            gap, flush = (fit.nm.get((row, kind)) for kind in (Kind.GAP, Kind.FLUSH))
            rows.append(PulledReading(fit.part.serial, row, _mm(gap), _mm(flush), name))
    sd = None if choice.sd_nm is None else to_mm(choice.sd_nm)
    only = asked_of(len(geometry.stations))
    worth = to_mm(choice.worth_nm)
    alike = tuple(gauge.alike for gauge in one_gauges(used))
    return _told(geometry, tuple(rows), motions, sd, worth, only, alike)


def asked_of(count: int) -> frozenset[int] | None:
    """The rows that are told of a joint with so many stations; None: all."""
    if count <= MOST_STATIONS:
        return None
    return frozenset(k * count // MOST_STATIONS for k in range(MOST_STATIONS))


@lru_cache(maxsize=64)
def _told(
    geometry: Geometry,
    rows: tuple[PulledReading, ...],
    motions: tuple[Motion, ...],
    sd_mm: float | None,
    worth_mm: float,
    only: frozenset[int] | None,
    alike: tuple[Alike, ...],
) -> ToolReport:
    """Kept, since bounds are simulated for a second and pages ask again and again."""
    return estimate_tool(geometry, rows, motions, sd_mm, worth_mm, only, alike)


def came(geometry: Geometry, expected: list[float | None], fit: FirstFit):
    """How far a part came from target in gaps and flushnesses, mm, once it is seated
    as close to what was expected as it goes."""
    count = len(geometry.stations)
    read = [
        _mm(fit.nm.get((row, kind)))
        for kind in (Kind.GAP, Kind.FLUSH)
        for row in range(count)
    ]
    return next_part.come(geometry, free_to_move(geometry), expected, read)


def _mm(nm: int | None) -> float | None:
    return None if nm is None else to_mm(nm)
