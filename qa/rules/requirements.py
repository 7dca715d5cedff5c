"""The only bridge from models to numeric: requirements, limits, feet."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from qa.files import motions as motions_file
from qa.models import (
    Check,
    Finish,
    FitUp,
    JointRevision,
    Kind,
    PlanDefaults,
    Side,
    Station,
    TrimSide,
)
from qa.numeric.geometry import joint as geometry
from qa.numeric.plan.motions import Motion
from qa.numeric.plan.result import PlanOptions
from qa.numeric.verdict import acceptance as verdict
from shop.numeric import thermal
from shop.numeric.units import E9, MICRO, MILLI, to_mm, to_nm


@dataclass(frozen=True)
class Requirement:
    """Limits in nm that hold for one characteristic in the state it is checked in."""

    low_nm: int | None
    high_nm: int | None

    @property
    def limits(self) -> tuple[int | None, int | None]:
        return self.low_nm, self.high_nm

    @property
    def empty(self) -> bool:
        return self.low_nm is None and self.high_nm is None


def _shifted(limit: int | None, by: int) -> int | None:
    return None if limit is None else limit + by


def requirement(station: Station, kind: str, finish: str) -> Requirement:
    """Return the limits of a station, moved for finish still to come when bare.

    Limits hold for the finished state (design 4.4): checked bare, a gap must leave room
    for the finish on both edges; flushness moves by the difference of the two faces.
    """
    revision = station.revision
    part, surround = revision.finish_part_nm, revision.finish_surround_nm
    bare = finish == Finish.BARE
    if kind == Kind.GAP:
        by = part + surround if bare else 0
        low, high = station.gap_min_nm, station.gap_max_nm
    else:
        by = surround - part if bare else 0
        low, high = station.flush_min_nm, station.flush_max_nm
    return Requirement(_shifted(low, by), _shifted(high, by))


@lru_cache(maxsize=10_000)
def _acceptance(low, high, u, rule, edition) -> verdict.Acceptance:
    return verdict.acceptance(low, high, u, rule, edition)


def acceptance(
    wanted: Requirement, u_nm: int | None, rule: str, edition: str
) -> verdict.Acceptance | None:
    """Return the integer limits to judge by, None where nothing is required.

    Raises verdict.NarrowLimits or ValueError as qa.numeric.verdict.acceptance does.
    """
    if wanted.empty:
        return None
    return _acceptance(wanted.low_nm, wanted.high_nm, u_nm, rule, edition)


def bridge_excess_nm(station: Station, check: Check) -> int | None:
    """Return what the check's bridge reads too much here, None without a radius."""
    feet = (check.foot_1_nm, check.foot_2_nm, check.probe_nm)
    if not station.radius_nm or None in feet:
        return None
    excess = verdict.bridge_excess(*(to_mm(n) for n in (station.radius_nm, *feet)))
    return to_nm(excess)


def side_to_cut(station: Station, wish: str | None) -> str:
    """Return the side a plan may cut here: "part", "surround" or "none".

    Where both may be cut it is the side wished for, the part when nothing is wished.
    """
    if wish == "none" or station.trim_side == TrimSide.NONE:
        return "none"
    if station.trim_side == TrimSide.BOTH:
        return wish or Side.PART
    return station.trim_side


def joint_to_plan(
    revision: JointRevision,
    stations: Sequence[Station],
    *,
    finish: str,
    lost_mm: dict[str, Sequence[float]],
    wish: str | None = None,
) -> geometry.Joint:
    """Return a revision as the numbers want it, limits as they hold in `finish`.

    lost_mm: by side, what each station's edge has lost already; what may still be cut
    is less by it. Raises JointError for a joint that cannot be.
    """
    rows = []
    for row, station in enumerate(stations):
        station.revision = revision
        side = side_to_cut(station, wish)
        left = left_to_cut_mm(station, side, lost_mm, row)
        rows.append(
            geometry.Station(
                label=station.label,
                place=(to_mm(station.x_nm), to_mm(station.y_nm), to_mm(station.z_nm)),
                gap_direction=_direction(station, "gap"),
                face=_direction(station, "face"),
                gap=_limits(requirement(station, Kind.GAP, finish)),
                flush=_limits(requirement(station, Kind.FLUSH, finish)),
                trim_side=side,
                trim_max=left if side != Side.SURROUND else None,
                trim_max_surround=left if side == Side.SURROUND else None,
                corner=station.corner or None,
                land=None if station.land_nm is None else to_mm(station.land_nm),
            )
        )
    return geometry.build_joint(
        rows, closed=revision.closed, part_inside=revision.part_inside
    )


def left_to_cut_mm(station: Station, side: str, lost_mm, row: int) -> float | None:
    """Return what may still come off a side of a station, None where nothing limits."""
    name = "trim_max_surround_nm" if side == Side.SURROUND else "trim_max_nm"
    most = getattr(station, name)
    if most is None or side == "none":
        return None
    lost = lost_mm.get(side)
    return max(0.0, to_mm(most) - (float(lost[row]) if lost is not None else 0.0))


def _direction(station: Station, name: str) -> tuple[float, float, float]:
    x, y, z = (getattr(station, f"{name}_{axis}_e9") / E9 for axis in "xyz")
    return x, y, z


def _limits(wanted: Requirement) -> geometry.Limits:
    return geometry.Limits(
        *(None if nm is None else to_mm(nm) for nm in (wanted.low_nm, wanted.high_nm))
    )


def motions_of(fit_up: FitUp) -> tuple[Motion, ...] | None:
    """Return how the part may move in this fit-up; None when it is free.

    Raises FileComplaints when what is on record cannot be read.
    """
    motions = fit_up.motions or fit_up.revision.motions
    if not motions:
        return None
    return motions_file.parse(json.dumps({"motions": motions}).encode())


def least_cut_mm(defaults: PlanDefaults, check: Check) -> float:
    """Return the least cut worth asking for: the shop's floor, and no less than what
    the instrument can tell (its resolution, twice its standard uncertainty)."""
    can_tell = [defaults.floor_nm, 2 * (check.u_nm or 0)]
    if check.instrument and check.instrument.resolution_nm:
        can_tell.append(check.instrument.resolution_nm)
    return to_mm(max(can_tell))


def plan_options(
    defaults: PlanDefaults, check: Check, motions: tuple[Motion, ...] | None, **wished
) -> PlanOptions:
    """Return what a plan may do: the shop's defaults, and what was wished otherwise."""
    revision = check.fit_up.revision
    aim = defaults.aim_nm if revision.aim_nm is None else revision.aim_nm
    usual = {
        "max_move_mm": to_mm(defaults.max_move_nm),
        "max_turn_deg": defaults.max_turn_mdeg / MILLI,
        "max_raise_mm": to_mm(defaults.max_raise_nm),
        "max_tilt_deg": defaults.max_tilt_mdeg / MILLI,
        "max_trim_mm": to_mm(defaults.max_trim_nm),
        "aim_mm": to_mm(aim),
        "fairness": None
        if defaults.fairness_e6 is None
        else defaults.fairness_e6 / MICRO,
    }
    return PlanOptions(
        rule=revision.rule,
        uncertainty_mm=to_mm(check.u_nm) if check.u_nm else None,
        edition=revision.edition,
        bite=defaults.bite_permille / MILLI,
        floor_mm=least_cut_mm(defaults, check),
        least_cut_mm=least_cut_mm(defaults, check),
        motions=motions,
        **{**usual, **wished},
    )


def gap_at_20_nm(check: Check, gap_nm: int | None) -> int | None:
    """Return a gap as it would be at 20 degC, for two unlike materials.

    None when they are alike, or the temperature or the expansions are not known. The
    opening and the part grow over the length that the revision states.
    """
    revision = check.fit_up.revision
    rates = (revision.part_expansion_e9, revision.surround_expansion_e9)
    inputs = (gap_nm, check.temperature_mc, revision.expanding_length_nm, *rates)
    if None in inputs or rates[0] == rates[1]:
        return None
    length = revision.expanding_length_nm
    warmer = check.temperature_mc / MILLI - thermal.REFERENCE_C
    part, surround = (rate / MILLI for rate in rates)
    return gap_nm - round(thermal.gap_change(surround, length, part, length, warmer))
