"""A plan told station by station, with what stays wrong and why in plain words."""

import math

import numpy as np

from qa.numeric.plan.bite import next_bite
from qa.numeric.plan.result import Move, StationPlan

TELLING_MM = 0.01  # second-order effects below this are not worth a word
RESOLVED_MM = 0.001
MOST_NAMES = 12


def station_plans(planner, gap_after, flush_after, trim, build_up, unresolved, move):
    """StationPlan of every row, measured or not; arrays are per reading, mm."""
    arrays, options = planner.arrays, planner.options
    gap_of = {int(row): k for k, row in enumerate(planner.gaps.rows)}
    gaps = _now_and_after(planner.gaps, gap_after)
    flushes = _now_and_after(planner.flushes, flush_after)
    flush_of = dict(zip(planner.flushes.rows.tolist(), flushes, strict=True))
    nothing = (None, None, None, None)
    steps_left = set(planner.flushes.rows[~planner.flushes.conform(flush_after)])
    closes = np.zeros(len(arrays.stations))
    if move is not None:
        moved = move.displacement(arrays.places)
        closes = np.einsum("ij,ij->i", moved, arrays.gap_directions)
    told = []
    for row, station in enumerate(arrays.stations):
        k = gap_of.get(row)
        depth, added, left = (
            (0.0, 0.0, 0.0)
            if k is None
            else (float(trim[k]), float(build_up[k]), float(unresolved[k]))
        )
        flush = flush_of.get(row, nothing)
        told.append(
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
                next_bite=next_bite(depth, options.bite, options.floor_mm),
                reason=_reason(planner, row, depth, left, flush, row in steps_left),
            )
        )
    return tuple(told)


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


def _reason(planner, row, depth, left, flush, step_left: bool) -> str:
    """Why a station stays wrong; "" when it does not."""
    reasons = []
    if left < 0:
        reasons.append(_tight(planner, row, depth, -left))
    elif left > 0:
        reasons.append(
            f"{_mm(left)} mm more than may be built up"
            if planner.options.build_up_mm > 0
            else f"{_mm(left)} mm too wide, and building up is not allowed"
        )
    if step_left:
        which = "proud" if flush[1] > planner.arrays.flush_scales.aim[row] else "low"
        reasons.append(
            f"{abs(flush[1]):.2f} mm {which if flush[1] else 'step'} stays: a step "
            "cannot be trimmed away (fill, sand or shim)"
        )
    return "; ".join(reasons)


def _tight(planner, row, depth, short) -> str:
    station, side = planner.arrays.stations[row], planner.sides[row]
    if side == "none":
        return f"{_mm(short)} mm too tight, and nothing may be cut here"
    if depth < planner.most_trim[row] - RESOLVED_MM:
        return (
            f"{_mm(short)} mm too tight: the trim may not change so fast along the edge"
        )
    if station.most_trim(side) <= planner.options.max_trim_mm:
        return f"{_mm(short)} mm more than may still be cut"
    return f"{_mm(short)} mm more than the greatest trim"


def _mm(value: float) -> str:
    """Two decimals, or as many as show that it is not nothing."""
    return f"{value:.2f}" if value >= 0.005 else f"{value:.6f}".rstrip("0")


def notes(planner, move: Move, stations) -> list[str]:
    """What a builder should know besides the numbers."""
    found = []
    if not planner.settled:
        found.append(
            "the plan did not settle: the gaps after the exact turn still change"
        )
    found += _proven(planner)
    if planner.held:
        found.append("held still, since no reading sees it: " + ", ".join(planner.held))
    found += _corners(planner, move)
    found += _unmeasured(planner)
    for station in stations:
        if station.reason:
            found.append(f"station {station.label}: {station.reason}")
    blind = [
        one for one in stations if one.gap_now is None and one.closes_by > TELLING_MM
    ]
    if len(blind) == 1:
        found.append(
            f"station {blind[0].label} has no gap reading, and the move closes it "
            f"by {blind[0].closes_by:.2f} mm: look before you push"
        )
    elif blind:
        names = ", ".join(str(one.label) for one in blind)
        most = max(one.closes_by for one in blind)
        found.append(
            f"stations {names} have no gap reading, and the move closes them "
            f"by {most:.2f} mm at most: look before you push"
        )
    return found


AIMS = {
    "overlap": "less overlap than {0:.3f} (this plan: {1:.3f}; length x depth in mm2)",
    "worst": "a worst deviation below {0:.3f} (this plan: {1:.3f}; 1 is the limit)",
    "step": "less of steps than {0:.3f} (this plan: {1:.3f}; length x height in mm2)",
    "unresolved": "less left over than {0:.3f} (this plan: {1:.3f}; in mm2)",
    "build_up": "less build-up than {0:.3f} (this plan: {1:.3f}; in mm2)",
    "trim": "less to come off than {0:.3f} (this plan: {1:.3f}; in mm2)",
}


def _proven(planner):
    """With several rotations a plan is the best of its starts; what is known of any."""
    proof = planner.proof
    if proof is not None:
        told = AIMS[proof.aim].format(proof.least, proof.reached)
        yield f"the best of several starts; proven is that no move gives {told}"


def _unmeasured(planner):
    """What has limits and no reading: nothing is said of it."""
    arrays = planner.arrays
    for kind, readings, scales in (
        ("gap", planner.gaps, arrays.gap_scales),
        ("flushness", planner.flushes, arrays.flush_scales),
    ):
        missing = scales.limited.copy()
        missing[readings.rows] = False
        if missing.any():
            names = [arrays.stations[row].label for row in np.flatnonzero(missing)]
            told = ", ".join(names[:MOST_NAMES])
            if names[MOST_NAMES:]:
                told += f" and {len(names) - MOST_NAMES} more"
            yield (
                f"{kind} not measured at {told}: outcome and probability say nothing "
                "of it"
            )


def _corners(planner, move: Move):
    """What a slide along a corner changes beyond the plan."""
    if move is None:
        return
    for label, slide, radius, extra in corner_slides(planner.arrays, move):
        yield (
            f"station {label}: sliding {slide:.2f} mm "
            f"along a corner of radius {radius:.0f} mm changes the gap by about "
            f"{extra:.2f} mm more than planned"
        )


def corner_slides(arrays, move: Move) -> list[tuple[str, float, float, float]]:
    """(station, slide, radius, change) mm: sliding s along a corner of radius r changes
    its gap by about s^2 / (2 r)."""
    moved = move.displacement(arrays.places)
    bent = arrays.bends()
    along = np.cross(arrays.gap_directions, arrays.faces)
    slide = np.einsum("ij,ij->i", moved, along)
    extra = slide**2 * bent / 2
    return [
        (
            arrays.stations[row].label,
            float(abs(slide[row])),
            float(1 / bent[row]),
            float(extra[row]),
        )
        for row in np.flatnonzero(extra > TELLING_MM)
    ]
