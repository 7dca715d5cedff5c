"""What a plan is made of: what may be done, where the part goes, what is cut."""

import math
from dataclasses import dataclass, fields

import numpy as np

from qa.numeric.plan.adjusters import MOST_ADJUSTERS, Adjuster, Setting
from qa.numeric.plan.bite import aim_of
from qa.numeric.plan.motions import Motion, NothingSeen, displace, turned_by
from qa.numeric.verdict.acceptance import EDITIONS

EXPANDED = 2.0  # times the standard uncertainty: some 95 % (GUM 6.3.3)
FITS, CUT, CANNOT = "fits", "trim", "cannot"


class NothingToJudge(NothingSeen):
    """No station of the joint has limits."""


class OptionError(ValueError):
    """An option that cannot be; `option` is the name of its field."""

    def __init__(self, option: str, text: str):
        self.option = option
        super().__init__(text)


@dataclass(frozen=True)
class PlanOptions:
    """What the part may do and the shop's defaults; lengths mm, angles degrees.

    `trim` overrides the side that the stations state ("part", "surround" or "none");
    a station that says none stays none. `fairness` is the greatest change of trim per
    mm of seam. `motions` replace free motion and its four bounds; so do `adjusters`, in
    whole steps, each within `slack_mm` of its step where they over-determine the part.
    A part that conforms, with the probability `wish` where one is wished, is left as it
    is where anything is known of the resolution: the uncertainty of readings, or the
    least cut that is worth making. `cut_scatter_mm` is the standard deviation of what
    comes off about what is asked, `over_cut_risk` the chance that a bite may come out
    deeper than the limits allow. `common_u_mm` is the part of the uncertainty that all
    readings of a kind and gauge have in common: the zero of the gauge.
    """

    rule: str = "simple"
    uncertainty_mm: float | None = None
    edition: str = "2017"
    max_move_mm: float = 3.0
    max_turn_deg: float = 1.0
    max_raise_mm: float = 3.0
    max_tilt_deg: float = 1.0
    trim: str | None = None
    max_trim_mm: float = 3.0
    build_up_mm: float = 0.0
    fairness: float | None = None
    aim_mm: float = 0.0
    bite: float = 0.6
    floor_mm: float = 0.1
    motions: tuple[Motion, ...] | None = None
    adjusters: tuple[Adjuster, ...] | None = None
    slack_mm: float = 0.02
    least_cut_mm: float = 0.0
    cut_scatter_mm: float | None = None
    over_cut_risk: float = 0.05
    common_u_mm: float = 0.0
    wish: float | None = None

    def __post_init__(self):
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, int | float) and not (
                math.isfinite(value) and value >= 0
            ):
                raise OptionError(field.name, "must be a finite number, 0 or more")
        for name in ("max_turn_deg", "max_tilt_deg"):
            if getattr(self, name) > 45:
                raise OptionError(name, "must be at most 45 degrees")
        if not 0 < self.bite <= 1:
            raise OptionError("bite", "must be more than 0 and at most 1")
        if self.rule not in ("simple", "guarded"):
            raise OptionError("rule", "must be simple or guarded")
        if self.edition not in EDITIONS:
            raise OptionError("edition", f"must be one of {', '.join(EDITIONS)}")
        if self.uncertainty_mm == 0 or (
            self.rule == "guarded" and self.uncertainty_mm is None
        ):
            raise OptionError(
                "uncertainty_mm",
                "guarded acceptance needs a standard uncertainty above 0",
            )
        if self.common_u_mm and self.common_u_mm >= (self.uncertainty_mm or 0):
            text = "must be less than the uncertainty of a reading, of which it is part"
            raise OptionError("common_u_mm", text)
        if not 0 < (self.over_cut_risk or 0.05) < 1:
            raise OptionError("over_cut_risk", "must be more than 0 and less than 1")
        if self.wish is not None and self.wish > 1:
            raise OptionError("wish", "must be between 0 and 1")
        if self.trim not in (None, "part", "surround", "none"):
            raise OptionError("trim", "must be part, surround or none")
        if self.adjusters is None:
            return
        if self.motions is not None:
            text = "what it is set by and how it moves freely cannot both hold"
            raise OptionError("adjusters", text)
        if not 0 < len(self.adjusters) <= MOST_ADJUSTERS:
            text = f"{len(self.adjusters)} adjusters; 1 to {MOST_ADJUSTERS} can be"
            raise OptionError("adjusters", text)

    @property
    def scatter_mm(self) -> float | None:
        """The standard deviation with which a cut comes out as it is read, mm."""
        if self.cut_scatter_mm is None:
            return None
        return math.hypot(self.cut_scatter_mm, self.uncertainty_mm or 0.0)

    @property
    def aiming_mm(self) -> float:
        """How far inside the limit a cut aims: as is chosen, further where cuts scatter
        so that one is enough."""
        scatter = self.scatter_mm
        return self.aim_mm if scatter is None else max(self.aim_mm, aim_of(scatter))

    @property
    def resolution_mm(self) -> float:
        """What readings are known to, 0 where nothing is known of it."""
        return EXPANDED * (self.uncertainty_mm or 0.0)

    @property
    def resolved(self) -> bool:
        """Whether aims have a resolution at all."""
        return self.resolution_mm > 0 or (self.least_cut_mm or 0.0) > 0


@dataclass(frozen=True)
class Move:
    """A move of the part: shift of the mean of all rows in mm, turns in degrees.

    `amounts` are (name, amount) of the motions it is made of, mm or degrees.
    """

    x_mm: float = 0.0
    y_mm: float = 0.0
    z_mm: float = 0.0
    turn_deg: float = 0.0
    tilt_x_deg: float = 0.0
    tilt_y_deg: float = 0.0
    amounts: tuple[tuple[str, float], ...] = ()
    motions: tuple[Motion, ...] = ()
    raw: tuple[float, ...] = ()

    def displacement(self, places) -> np.ndarray:
        """Where points (n, 3) mm of the part go: (n, 3) mm, exact."""
        points = np.array(places, dtype=float).reshape(-1, 3)
        return displace(points, self.motions, self.raw)[0]

    def whole(self) -> tuple[list[float], list[float], list[list[float]]]:
        """(about, shift, rotation): a point p goes to about + shift + R (p - about).

        mm and a matrix (3, 3). `about` is the origin of the first motion.
        """
        about = np.array(self.motions[0].origin if self.motions else (0.0, 0.0, 0.0))
        shift, matrix = self.displacement(about)[0], turned_by(self.motions, self.raw)
        return about.tolist(), shift.tolist(), matrix.tolist()

    def raise_at(self, places) -> np.ndarray:
        """How far the part rises along z at points (n, 3), mm: what shims must do."""
        return self.displacement(places)[:, 2]


@dataclass(frozen=True)
class Fit:
    """Gaps (or flushness) before and after a move: largest normalized deviations.

    Whether they conform is judged in whole nanometers, as readings are.
    """

    move: Move
    worst_before: float
    worst_after: float
    conforms: bool
    conforms_now: bool


@dataclass(frozen=True)
class TrimPlan:
    """Trim as a whole; areas mm2, over the stations with a gap reading."""

    move: Move
    needed: bool
    possible: bool
    area_mm2: float = 0.0
    build_up_mm2: float = 0.0
    unresolved_mm2: float = 0.0


# Why a station stays wrong: how much, mm, in each.
STATION_REASONS = (
    *("never_cut", "fairness", "may_still_cut", "greatest_trim"),
    *("too_wide", "build_up_spent", "step_high", "step_low", "step"),
)
# What there is to know of a plan: nothing; names, mm; nothing; aim, bound, reached;
# names; station, slide, radius, mm; kind, stations; stations, mm. Of settings_end:
# (name, mm it is set to then, 1 at its most or -1 at its least) of each. What is known
# of it: kind, station, read, mm, wide; kind, mm, stations; names, kind, stations.
PLAN_NOTES = (
    *("leave", "trifles", "unsettled", "proven", "held", "corner", "unmeasured"),
    *("blind", "pre_trim"),
    *("settings_few", "settings_unseen", "settings_rigid", "settings_trifling"),
    *("settings_unproven", "settings_fair", "settings_end"),
    *("again", "again_least", "between", "between_beyond", "show"),
)


@dataclass(frozen=True)
class Reason:
    """One of STATION_REASONS or PLAN_NOTES with its values: lengths in mm, stations as
    (joint, label)."""

    code: str
    values: dict


@dataclass(frozen=True)
class StationPlan:
    """One station, now and after the plan; mm, None where not measured or limited.

    `closes_by` is how much the plan closes the gap here by moving the part. `reasons`
    say what stays wrong.
    """

    joint: int
    label: str
    gap_now: float | None
    gap_after: float | None
    gap_deviation_now: float | None
    gap_deviation_after: float | None
    flush_now: float | None
    flush_after: float | None
    flush_deviation_now: float | None
    flush_deviation_after: float | None
    closes_by: float
    side: str
    most_trim: float
    trim: float
    build_up: float
    unresolved: float
    next_bite: float
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class SetOnly:
    """What settings do with nothing cut: the largest normalized deviation, whether all
    that was measured conforms, and mm in order of rows, None where not measured."""

    worst_after: float
    conforms: bool
    probability: float | None
    gaps: tuple[float | None, ...]
    flushes: tuple[float | None, ...]


@dataclass(frozen=True)
class Plan:
    """The answer. `outcome`: "fits", "trim" or "cannot"; `move` is what to do.

    Outcome and probability are of what was measured: `measured` of the `limited`
    characteristics that have limits. `held` are codes of motions, or what several come
    to: ("sliding", direction), ("turning", point in the plane), ("turning", point mm,
    direction).
    Where the part is set by adjusters, `settings` are theirs, and `move` is what they
    make of it.
    """

    outcome: str
    move: Move
    seat: Fit | None
    level: Fit | None
    trim: TrimPlan | None
    held: tuple
    probability: float | None
    stations: tuple[StationPlan, ...]
    notes: tuple[Reason, ...]
    settled: bool
    limited: int
    measured: int
    settings: tuple[Setting, ...] | None = None
    set_only: SetOnly | None = None
    known: object | None = None  # known.Known, where it was asked for

    @property
    def complete(self) -> bool:
        """Whether all that has limits was measured."""
        return self.measured == self.limited

    @property
    def exit_code(self) -> int:
        return {FITS: 0, CUT: 1, CANNOT: 2}[self.outcome] if self.complete else 2
