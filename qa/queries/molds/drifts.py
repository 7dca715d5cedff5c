"""How a mold drifts from pull to pull, at each place and as a whole, for its page: what
its parts read at their first fits, as pulled, against the numbers of their pulls."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from django.urls import reverse
from django.utils.translation import gettext as _

from qa.models import Kind
from qa.numeric.measuring.modes import Mode
from qa.numeric.measuring.trend import MOST_BREAKS, Trend
from qa.queries.joints.drift import towards
from qa.queries.joints.joint_capability import KINDS
from qa.queries.joints.over_parts import MODES
from qa.queries.joints.part_charts import FINER
from qa.queries.molds import doubts
from qa.queries.molds.doubts import Doubts
from qa.rules import mold_assessment, over_parts
from qa.rules.mold_assessment import MOST_FITS
from qa.rules.mold_fits import FirstFit, MoldFits
from qa.wording.lengths import true_minus
from qa.wording.measuring import drift, remark, too_many_repairs
from shop.numeric.units import NM_PER


@dataclass(frozen=True)
class PlaceDrift:
    """A place with a trend, in words."""

    label: str
    kind: str
    rate: str
    course: str
    url: str


@dataclass(frozen=True)
class ModeDrift:
    """Whole parts in one fitted mode: their course in words, or why there is none."""

    name: str
    words: str
    estimated: bool
    url: str


@dataclass(frozen=True)
class MoldDrift:
    """`places` with a trend, of `told` at which one could be seen; `without` of these
    have none. `why` says why nothing could be told anywhere, `breaks` are repairs,
    `modes` whole parts, held against their targets; `doubts` of gauges that read some
    of it and were found off, lost, damaged or overdue."""

    joint: str
    places: list[PlaceDrift]
    estimated: int
    parts: int
    breaks: list[int]
    why: str = ""
    modes: tuple[ModeDrift, ...] = ()
    doubts: Sequence[str] = ()

    @property
    def without(self) -> int:
        return self.estimated - len(self.places)


def drift_of(fits: MoldFits, unit: str, in_doubt: Doubts) -> MoldDrift:
    """One statement. A part that was tried in several openings counts once, as it was
    tried first; of more than MOST_FITS the newest count, and of more stations than a
    page works out some (mold_assessment.py). in_doubt: what puts the checks of
    these fits in doubt."""
    first: dict[int, FirstFit] = {}
    for fit in fits.fits:
        if fit.nm:
            first.setdefault(fit.part.pk, fit)
    reads = list(first.values())[-MOST_FITS:]
    repairs = over_parts.repairs_of(reads).get(fits.tool.pk, [])
    pulls = [fit.pull.number for fit in reads]
    breaks = [number for number in repairs if pulls and pulls[0] <= number <= pulls[-1]]
    joint, places, with_trend, whys = fits.joint.number, [], 0, []
    unsure = doubts.of_parts(in_doubt, reads)
    if len(breaks) > MOST_BREAKS:
        why = too_many_repairs(MOST_BREAKS)
        return MoldDrift(joint, [], 0, len(reads), breaks, why, doubts=unsure)
    asked = mold_assessment.asked_of(len(fits.seam.stations))
    for row, station in enumerate(fits.seam.stations):
        if asked is not None and row not in asked:
            continue
        for kind in Kind.values:
            limits = over_parts.bare_limits(station, kind)
            own = [fit for fit in reads if (row, kind) in fit.nm]
            if limits == (None, None) or not own:
                continue
            values = tuple((fit.pull.number, fit.nm[row, kind]) for fit in own)
            fitted = _told(values, limits, tuple(breaks), unit)
            if fitted.slope is None:
                whys.append(remark(fitted.why) or "")
                continue
            with_trend += 1
            if fitted.course.code != "no_trend":
                places.append(_place(fits, station.label, kind, fitted, unit))
    why = "" if with_trend or not whys else max(set(whys), key=whys.count)
    whole = tuple(_modes(fits, reads, breaks, unit))
    return MoldDrift(joint, places, with_trend, len(reads), breaks, why, whole, unsure)


def _modes(fits: MoldFits, reads: list[FirstFit], breaks: list[int], unit: str):
    """Each mode, in the order in which the joint's page has them."""
    each = over_parts.modes_of(fits.seam, reads)
    for mode, name in MODES.items():
        url = reverse("over_parts_mode", args=[fits.joint.pk, str(mode)])
        values = [
            (fit.pull.number, round(modes_of_fit[mode].mm * NM_PER["mm"]))
            for fit, modes_of_fit in zip(reads, each, strict=True)
            if modes_of_fit[mode].why is None
        ]
        if not values:
            whys = [remark(modes_of_fit[mode].why) for modes_of_fit in each]
            yield ModeDrift(name, whys[-1] if whys else "", estimated=False, url=url)
            continue
        modes_of_fit = _told(tuple(values), (0, 0), tuple(breaks), unit)
        if modes_of_fit.slope is None:
            yield ModeDrift(
                name, remark(modes_of_fit.why) or "", estimated=False, url=url
            )
            continue
        words = true_minus(drift(modes_of_fit, unit, FINER[unit], to_target=True))
        kind = Kind.GAP if mode == Mode.SMALL else Kind.FLUSH
        _aims, bare = over_parts.targets_mm(fits.seam, kind)
        if bare:
            words = _("%(words)s; the target is the limit itself") % {"words": words}
        yield ModeDrift(name, words, estimated=True, url=url)


@lru_cache(maxsize=4096)
def _told(values, limits, breaks: tuple[int, ...], unit: str) -> Trend:
    """Kept, since exact sums take milliseconds a place and pages ask again."""
    low, high = (None if nm is None else over_parts.in_unit(nm, unit) for nm in limits)
    pulls = [pull for pull, _nm in values]
    read: list[Fraction] = [over_parts.in_unit(nm, unit) for _pull, nm in values]
    own = [number for number in breaks if pulls[0] <= number <= pulls[-1]]
    return towards(low, high, pulls, read, own)[0]


def _place(fits: MoldFits, label: str, kind: str, fitted: Trend, unit: str):
    rate = drift(fitted, unit, FINER[unit], to_target=False)
    url = reverse("over_parts_place", args=[fits.joint.pk, label, kind])
    return PlaceDrift(
        label,
        KINDS[kind],
        true_minus(rate),
        true_minus(remark(fitted.course) or ""),
        url,
    )
