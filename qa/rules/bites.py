"""What to cut next at each station of a plan: never thinner than can be told."""

import math
from dataclasses import dataclass

from qa.models import Kind
from qa.numeric.plan.bite import Shortfall, corrected_bite
from qa.numeric.plan.intervals import CutInterval
from qa.numeric.plan.result import StationPlan
from qa.rules import requirements
from qa.wording import lengths
from shop.numeric.units import to_mm, to_nm

# Decimals that a cut is told in.
PLACES = {"mm": 2, "in": 3}


@dataclass(frozen=True)
class Bite:
    """The cut to ask for at a station, mm: the next bite, the full trim it is part of,
    and the code of why they differ from the plan's own ("" when they do not). `half`
    and `trim_half` of their 95 % intervals, None where nothing is known of them."""

    bite: float
    trim: float
    why: str = ""
    half: float | None = None
    trim_half: float | None = None


def rounded_bite(bite: float) -> float:
    """A bite as it is told, in hundredths of a millimeter, and never more of it."""
    return math.floor(bite * 100 + 1e-6) / 100


def known_bite(bite: float, half: float, least: float) -> tuple[float, float]:
    """(the same in the digits that are known of it, where that is still a cut; half of
    its interval about that, which is less than what the interval is of)."""
    shown = bite
    for _ in range(2):  # with what was left out, fewer digits may be known
        places = lengths.places_known(half + bite - shown, "mm")
        shown = math.floor(bite * 10**places + 1e-6) / 10**places
        if shown < min(least, bite) or not shown:
            shown = rounded_bite(bite)
    return shown, half + bite - shown


def depth_text(count: int, unit: str) -> str:
    """So many of the last digit that a cut is told in: 45 of a millimeter are 0.45."""
    places = PLACES[unit]
    whole, part = divmod(count, 10**places)
    return f"{whole}.{part:0{places}d}"


def bite_of(
    joint,
    station: StationPlan,
    least: float,
    shortfall: Shortfall | None,
    known: CutInterval | None = None,
) -> Bite:
    """What to cut next here, corrected by what was learned. joint: PlannedJoint."""
    trim = station.trim
    if trim <= 0:
        return Bite(0.0, 0.0)
    if trim < least:
        return _too_thin(joint, station, least)
    corrected = corrected_bite(station.next_bite, trim, shortfall)
    asked = min(trim, max(corrected, least))
    if known is None or not station.next_bite:
        return Bite(rounded_bite(asked), trim)
    shown, half = known_bite(asked, _half(known, asked / station.next_bite), least)
    return Bite(
        shown,
        trim,
        "",
        *(to_mm(to_nm(half_width)) for half_width in (half, known.half)),
    )


def _half(known: CutInterval, ratio: float) -> float:
    """Half of the interval of so much of a bite; a cut scatters as any other does."""
    drawn = math.sqrt(max(0.0, known.bite_half**2 - known.scatter_half**2))
    return math.hypot(drawn * ratio, known.scatter_half)


def _too_thin(joint, station: StationPlan, least: float) -> Bite:
    """A trim that the instrument cannot tell: as much as it can, or none."""
    high = _high_mm(joint, station.label)
    fits = high is None or station.gap_after + least - station.trim <= high
    if fits and least <= station.most_trim:
        return Bite(rounded_bite(least), least, "least_cut")
    return Bite(0.0, 0.0, "too_thin")


def _high_mm(joint, label: str) -> float | None:
    seam, revision = joint.state.seam, joint.state.revision
    required = requirements.requirement(
        seam.stations[seam.rows[label]], Kind.GAP, joint.check.finish
    )
    # The limit that governs: drawn in where the rule is guarded.
    inside = requirements.acceptance(
        required, joint.check.u_nm, revision.rule, revision.edition
    )
    if inside is None or required.high_nm is None:
        return None
    return to_mm(inside.high_in)
