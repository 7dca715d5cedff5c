"""A plan station by station, with what stays wrong and why as codes with values.

The words of the codes are in qa/wording/plans.py.
"""

import math
from collections.abc import Callable

import numpy as np

from qa.numeric.plan.bite import next_bite, sure_bite
from qa.numeric.plan.result import Move, Reason, StationPlan
from shop.numeric.units import to_nm

TELLING_MM = 0.01  # second-order effects below this are not worth a word
RESOLVED_MM = 0.001


def station_plans(planner, gap_after, flush_after, trim, build_up, unresolved, move):
    """StationPlan of every row, measured or not; arrays are per reading, mm."""
    arrays = planner.arrays
    gap_of = {int(row): k for k, row in enumerate(planner.gaps.rows)}
    gaps = _now_and_after(planner.gaps, gap_after)
    flushes = _now_and_after(planner.flushes, flush_after)
    flush_of = dict(zip(planner.flushes.rows.tolist(), flushes, strict=True))
    nothing = (None, None, None, None)
    steps_left = set(planner.flushes.rows[~planner.flushes.conform(flush_after)])
    closes = np.zeros(len(arrays.stations))
    if move is not None:
        moved = planner.displaced(move, arrays)
        closes = np.einsum("ij,ij->i", moved, arrays.gap_directions)
    plans = []
    for row, station in enumerate(arrays.stations):
        k = gap_of.get(row)
        depth, added, left = (
            (0.0, 0.0, 0.0)
            if k is None
            else (float(trim[k]), float(build_up[k]), float(unresolved[k]))
        )
        flush = flush_of.get(row, nothing)
        plans.append(
            StationPlan(
                arrays.joint_of[row],
                station.label,
                *(nothing if k is None else gaps[k]),
                *flush,
                closes_by=float(closes[row]),
                side=planner.sides[row],
                most_trim=float(planner.most_trim[row]),
                trim=depth,
                build_up=added,
                unresolved=left,
                next_bite=bite_of(planner, row, depth, gap_after[k] if depth else 0.0),
                reasons=_reasons(planner, row, depth, left, flush, row in steps_left),
            )
        )
    return tuple(plans)


def bite_of(planner, row, depth, after) -> float:
    """What to take off next of a trim of `depth` after which the gap is `after`, mm."""
    options = planner.options
    if options.scatter_mm is None:
        return next_bite(depth, options.bite, options.floor_mm)
    room = float(planner.arrays.gap_scales.high[row] - after + depth)
    risk = options.over_cut_risk
    return sure_bite(depth, room, options.scatter_mm, risk, options.floor_mm)


def _now_and_after(readings, after):
    """For each reading (value now, value after, deviation now, deviation after)."""
    limited = readings.scales.limited
    columns = (
        readings.values.tolist(),
        after.tolist(),
        np.where(limited, readings.deviation(readings.values), np.nan).tolist(),
        np.where(limited, readings.deviation(after), np.nan).tolist(),
    )
    return [
        (now, then, None, None) if math.isnan(before) else (now, then, before, behind)
        for now, then, before, behind in zip(*columns, strict=True)
    ]


def _reasons(planner, row, depth, left, flush, step_left: bool) -> tuple[Reason, ...]:
    """Why a station stays wrong; none when it does not."""
    reasons = []
    short = abs(left)
    if _nm(left) < 0:
        reasons.append(Reason(_tight(planner, row, depth), {"mm": short}))
    elif _nm(left) > 0:
        allowed = planner.options.build_up_mm > 0
        code = "build_up_spent" if allowed else "too_wide"
        reasons.append(Reason(code, {"mm": short}))
    if step_left:
        high = flush[1] > planner.arrays.flush_scales.aim[row]
        code = ("step_high" if high else "step_low") if flush[1] else "step"
        reasons.append(Reason(code, {"mm": abs(flush[1])}))
    return tuple(reasons)


def _tight(planner, row, depth) -> str:
    station, side = planner.arrays.stations[row], planner.sides[row]
    if side == "none":
        return "never_cut"
    if depth < planner.most_trim[row] - RESOLVED_MM:
        return "fairness"
    if station.most_trim(side) <= planner.options.max_trim_mm:
        return "may_still_cut"
    return "greatest_trim"


def notes(planner, move: Move, stations) -> list[Reason]:
    """What a builder should know besides the numbers and the reasons of stations."""
    reasons = []
    if not planner.settled:
        reasons.append(Reason("unsettled", {}))
    proof = planner.prove()
    if proof is not None:
        # With several rotations a plan is the best of its starts; what is known of any.
        values = {"aim": proof.aim, "bound": proof.least, "reached": proof.reached}
        reasons.append(Reason("proven", values))
    reasons += planner.remarks
    if planner.held:
        reasons.append(Reason("held", {"names": planner.held}))
    if move is not None:
        for place, slide, radius, extra in corner_slides(
            planner.arrays, planner.displaced(move, planner.arrays)
        ):
            values = {"station": place, "slide": slide, "radius": radius, "mm": extra}
            reasons.append(Reason("corner", values))
    reasons += _unmeasured(planner)
    blind = [
        station
        for station in stations
        if station.gap_now is None and station.closes_by > TELLING_MM
    ]
    if blind:
        places = tuple((station.joint, station.label) for station in blind)
        most = max(station.closes_by for station in blind)
        reasons.append(Reason("blind", {"stations": places, "mm": most}))
    return reasons


def _unmeasured(planner):
    """What has limits and no reading: nothing is said of it."""
    arrays = planner.arrays
    for kind, readings, scales in (
        ("gap", planner.gaps, arrays.gap_scales),
        ("flush", planner.flushes, arrays.flush_scales),
    ):
        missing = scales.limited.copy()
        missing[readings.rows] = False
        if missing.any():
            rows = np.flatnonzero(missing)
            places = tuple((arrays.joint_of[k], arrays.stations[k].label) for k in rows)
            yield Reason("unmeasured", {"kind": kind, "stations": places})


LENGTHS = (
    "mm",
    "least",
    "slide",
    "radius",
    "read",
    "wide",
)  # of values; all others are as they are


def recorded(reason: Reason, name: Callable[[int, str], str]) -> list:
    """A reason as it is kept and put into words: [code, values], lengths whole
    nanometers, stations by what `name` makes of (joint, label)."""
    values = {}
    for key, value in reason.values.items():
        if key in LENGTHS:
            values[key] = _nm(value)
        elif key == "station":
            values[key] = name(*value)
        elif key == "stations":
            values[key] = [name(*place) for place in value]
        elif key == "ends":
            values[key] = [[adjuster, _nm(mm), sign] for adjuster, mm, sign in value]
        else:
            values[key] = value
    return [reason.code, values]


def _nm(mm: float) -> int:
    return to_nm(mm)


def corner_slides(arrays, moved: np.ndarray) -> list[tuple]:
    """((joint, station), slide, radius, change) mm where the part goes by `moved`
    (n, 3): sliding s along a corner of radius r changes its gap by about s^2 / (2 r).
    """
    bent = arrays.bends()
    along = np.cross(arrays.gap_directions, arrays.faces)
    slide = np.einsum("ij,ij->i", moved, along)
    extra = slide**2 * bent / 2
    return [
        (
            (arrays.joint_of[row], arrays.stations[row].label),
            float(abs(slide[row])),
            float(1 / bent[row]),
            float(extra[row]),
        )
        for row in np.flatnonzero(extra > TELLING_MM)
    ]
