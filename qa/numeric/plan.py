"""What to do next so that it fits: one plan for seat, level and trim.

`plan_fit` takes a joint with its readings and answers everything that the page, the
paper and the command line show. In flat joints with free motion the seat (x, y, turn)
and the level (z, tilts) are planned apart: to first order neither touches the other,
and the gaps are those after the exact turn alone. What a tilt takes off the gaps by
foreshortening is said in a note where it can be measured. Everything else is planned
together.

Motion is that of the part about the plain mean of all rows, right-handed: x right, y
up, z out of the skin. Errors of readings count as independent.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric import plan_words
from qa.numeric.joint import Joint
from qa.numeric.motions import (
    IN_PLANE,
    OUT_OF_PLANE,
    Freedom,
    Motion,
    NothingSeen,
    free_motions,
    freedom,
    rigid_move,
)
from qa.numeric.picture import Measured, Picture
from qa.numeric.planned import (
    CANNOT,
    CUT,
    FITS,
    Fit,
    Move,
    Plan,
    PlanOptions,
    TrimPlan,
)
from qa.numeric.readings import Readings, together
from qa.numeric.seat import solve_seat
from qa.numeric.trim import Trim, TrimRules, solve_trim
from qa.numeric.verdict import conformance_probability

METHOD = "plan/1"


def plan_fit(
    joint: Joint,
    gaps: Sequence[float | None],
    flushes: Sequence[float | None],
    options: PlanOptions | None = None,
) -> Plan:
    """The plan for one joint; gaps and flushes (n,) in mm in order of its stations.

    Raises NothingSeen when there is nothing to plan by, NoFeasibleMotion, NarrowLimits
    when the guard bands leave nothing between limits.
    """
    return plan_joints([Measured(joint, gaps, flushes)], options)


def plan_joints(parts: Sequence[Measured], options: PlanOptions | None = None) -> Plan:
    """One plan for a part with several joints measured in the same condition."""
    options = options or PlanOptions()
    picture = Picture(parts, options.uncertainty_mm, options.rule, options.edition)
    if not (picture.gap_scales.limited.any() or picture.flush_scales.limited.any()):
        raise NothingSeen("no station has limits: there is nothing to plan for")
    return _Planner(picture, options).plan()


class _Planner:
    """The steps from readings to a plan; each step reads what those before it left."""

    def __init__(self, picture: Picture, options: PlanOptions):
        self.picture, self.options = picture, options
        self.gaps, self.flushes = picture.gap_readings(), picture.flush_readings()
        self.clearances = picture.clearances()
        self.sides, self.most_trim = self._allowed()
        self.held: list[str] = []
        self.settled = True
        self.seat = self.level = self.cut = None
        self.apart = picture.flat and options.motions is None

    def plan(self) -> Plan:
        has_gaps = bool(self.gaps.scales.limited.any())
        has_flushes = bool(self.flushes.scales.limited.any())
        if not has_gaps and not has_flushes:
            raise NothingSeen("nothing was measured that has limits")
        in_plane, out_of_plane = self._motions()
        if self.apart:
            if has_gaps:
                self.seat = self._solve(self.gaps, in_plane)
            if has_flushes:
                rest = together(self.flushes, self.clearances)
                self.level = self._solve(rest, out_of_plane)
        else:
            every = together(self.gaps, self.flushes, self.clearances)
            both = self._solve(every, in_plane + out_of_plane)
            self.seat = both if has_gaps else None
            self.level = both if has_flushes else None
        if self.seat and not self._conforms():
            self.cut = self._solve_trim()
        return self._told()

    def _motions(self) -> tuple[list[Motion], list[Motion]]:
        options = self.options
        if options.motions is not None:
            return list(options.motions), []
        free = free_motions(
            self.picture.center,
            options.max_move_mm,
            math.radians(options.max_turn_deg),
            options.max_raise_mm,
            math.radians(options.max_tilt_deg),
        )
        flat = [motion for motion in free if motion.name in IN_PLANE]
        rest = [motion for motion in free if motion.name in OUT_OF_PLANE]
        if self.apart:
            return flat, rest
        return free, []

    def _solve(self, readings: Readings, motions) -> "_Solved":
        pulls = readings.scales.limited
        free = freedom(
            motions,
            self.picture.rho,
            readings.places[pulls],
            readings.directions[pulls],
        )
        self.held += free.held
        found = solve_seat(readings, free)
        self.settled &= found.settled
        return _Solved(readings, free, self._move(free, found.step))

    def _move(self, free: Freedom, step) -> Move:
        raw = free.amounts(step)
        shift, turn = rigid_move(free.motions, raw, self.picture.center)
        named = [
            (motion.name, math.degrees(amount) if motion.turns else float(amount))
            for motion, amount in zip(free.motions, raw, strict=True)
        ]
        angles = dict(
            zip(("tilt_x", "tilt_y", "turn"), np.degrees(turn).tolist(), strict=True)
        )
        if self.options.motions is None:
            angles |= {name: amount for name, amount in named if name in angles}
        return Move(
            *shift.tolist(),
            angles["turn"],
            angles["tilt_x"],
            angles["tilt_y"],
            tuple(named),
            free.motions,
            tuple(raw.tolist()),
        )

    def _after(self, solved: "_Solved | None", readings: Readings) -> np.ndarray:
        """Readings (m,) after a move, nothing cut."""
        if solved is None:
            return readings.values.copy()
        moved = solved.move.displacement(readings.places)
        return readings.values + np.einsum("ij,ij->i", moved, readings.directions)

    def _fit(self, solved, readings: Readings) -> Fit | None:
        if solved is None:
            return None
        before = float(readings.deviation(readings.values).max(initial=0.0))
        values = self._after(solved, readings)
        worst = float(readings.deviation(values).max(initial=0.0))
        now, after = (
            bool(readings.conform(each).all()) for each in (readings.values, values)
        )
        return Fit(solved.move, before, worst, after, now)

    def _conforms(self) -> bool:
        fits = [self._fit(self.seat, self.gaps)]
        if not self.apart:
            fits.append(self._fit(self.level, self.flushes))
        return all(fit is None or fit.conforms for fit in fits)

    def _allowed(self) -> tuple[list[str], np.ndarray]:
        """The side that may be cut at each row, and how far (n,) mm."""
        options, sides, most = self.options, [], []
        for station in self.picture.stations:
            side = station.trim_side or "part"
            if side != "none" and options.trim is not None:
                side = options.trim
            limit = math.inf if station.trim_max is None else station.trim_max
            sides.append(side)
            most.append(0.0 if side == "none" else min(limit, options.max_trim_mm))
        return sides, np.array(most)

    def _solve_trim(self) -> "_Cut":
        readings, gaps = self.seat.readings, self.gaps
        rest = np.zeros(len(readings) - len(gaps))
        rules = TrimRules(
            most_trim=np.r_[self.most_trim[gaps.rows], rest],
            most_build_up=np.r_[np.full(len(gaps), self.options.build_up_mm), rest],
            aim=self.options.aim_mm,
            ramps=tuple(self._ramps()),
        )
        found = solve_trim(readings, self.seat.freedom, rules)
        self.settled &= found.settled
        return _Cut(found, self._move(self.seat.freedom, found.step))

    def _ramps(self):
        """Neighbor gaps of one edge and how much their trims may differ, mm."""
        if self.options.fairness is None:
            return
        number = {int(row): k for k, row in enumerate(self.gaps.rows)}
        for one, other, distance, corner in self.picture.neighbors(self.gaps.rows):
            if not corner and {self.sides[one], self.sides[other]} != {
                "part",
                "surround",
            }:
                yield number[one], number[other], self.options.fairness * distance

    def _told(self) -> Plan:
        gaps, flushes = self.gaps, self.flushes
        found = self.cut.found if self.cut else None
        seat_move = self.cut.move if self.cut else self.seat and self.seat.move
        if found is None:
            gap_after, zeros = self._after(self.seat, gaps), np.zeros(len(gaps))
            trim = build_up = unresolved = zeros
        else:
            part = slice(0, len(gaps))
            gap_after, trim = found.values[part], found.trim[part]
            build_up, unresolved = found.build_up[part], found.unresolved[part]
        steps = self.level
        if not self.apart and self.cut:
            steps = _Solved(flushes, self.seat.freedom, self.cut.move)
        flush_after = self._after(steps, flushes)
        step_left = not flushes.conform(flush_after).all()
        trim_plan = self._trim_plan(found, seat_move, trim, build_up, gap_after)
        if step_left or (trim_plan and not trim_plan.possible):
            outcome = CANNOT
        else:
            outcome = CUT if trim_plan and trim_plan.needed else FITS
        move = self._whole(seat_move, steps.move if steps else None)
        stations = plan_words.station_plans(
            self, gap_after, flush_after, trim, build_up, unresolved, seat_move or move
        )
        return Plan(
            outcome=outcome,
            move=move,
            seat=self._fit(self.seat, gaps),
            level=self._fit(self.level, flushes),
            trim=trim_plan,
            held=tuple(self.held),
            probability=self._probability(gap_after, flush_after),
            stations=stations,
            notes=tuple(plan_words.notes(self, move, stations)),
            settled=self.settled,
        )

    def _trim_plan(self, found: Trim | None, move, trim, build_up, gap_after):
        if self.seat is None:
            return None
        if found is None:
            return TrimPlan(move, needed=False, possible=True)
        possible = bool(self.gaps.conform(gap_after).all())
        areas = found.area, found.build_up_area, found.unresolved_area
        needed = bool((trim > 0).any() or (build_up > 0).any() or not possible)
        return TrimPlan(move, needed, possible, *areas)

    def _whole(self, seat_move: Move | None, level_move: Move | None) -> Move:
        """Seat and level as one move, the level first."""
        if seat_move is None or level_move is None or not self.apart:
            return seat_move or level_move
        return Move(
            seat_move.x_mm,
            seat_move.y_mm,
            level_move.z_mm,
            seat_move.turn_deg,
            level_move.tilt_x_deg,
            level_move.tilt_y_deg,
            level_move.amounts + seat_move.amounts,
            level_move.motions + seat_move.motions,
            level_move.raw + seat_move.raw,
        )

    def _probability(self, gap_after, flush_after) -> float | None:
        """That all readings conform after the plan: product, errors independent."""
        u = self.options.uncertainty_mm
        if u is None:
            return None
        chance = 1.0
        for readings, values, limits in (
            (self.gaps, gap_after, self.picture.gap_limits),
            (self.flushes, flush_after, self.picture.flush_limits),
        ):
            for row, value in zip(readings.rows, values, strict=True):
                if not limits[row].empty:
                    low, high = limits[row].low, limits[row].high
                    chance *= conformance_probability(float(value), low, high, u)
        return chance


@dataclass(frozen=True)
class _Solved:
    readings: Readings
    freedom: Freedom
    move: Move


@dataclass(frozen=True)
class _Cut:
    found: Trim
    move: Move
