"""The steps from readings to a plan of a part that may move by given motions.

Seat and level are planned together, flat joints and curved ones alike; where that is
not enough, what may be cut is cut. What comes out is judged after the exact motion, in
whole nanometers, by the acceptance that holds for readings.
"""

from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.plan import reasons, trifles
from qa.numeric.plan.going import motions_about, move_of
from qa.numeric.plan.joint_arrays import JointArrays
from qa.numeric.plan.motions import Freedom, NothingSeen, freedom
from qa.numeric.plan.readings import Readings, together
from qa.numeric.plan.result import (
    CANNOT,
    CUT,
    FITS,
    Fit,
    Move,
    Plan,
    PlanOptions,
    TrimPlan,
)
from qa.numeric.plan.seat import solve_seat
from qa.numeric.plan.separate import solve_apart
from qa.numeric.plan.trim import Trim, TrimRules, solve_trim
from qa.numeric.verdict.simultaneous import all_conform

# What may be done: the best of all, less and less of it, or what the best seat leaves.
BEST, SET, TRIM, LEAVE, SEAT_FIRST = "best", "set", "trim", "leave", "seat_first"
SHIMS = "shims"


class Planner:
    """The steps from readings to a plan; each step reads what those before it left."""

    by_settings = False  # whether the part goes where whole steps put it

    def __init__(self, arrays: JointArrays, options: PlanOptions):
        self.arrays, self.options = arrays, options
        self.gaps, self.flushes = arrays.gap_readings(), arrays.flush_readings()
        self.every = together(self.gaps, self.flushes, arrays.clearances())
        self.sides, self.most_trim = self._allowed()
        self.seat, self.cut, self.held, self.remarks = None, None, (), []

    def plan(self, way: str = BEST) -> Plan:
        """The plan of one way. The seat is searched once, whatever is asked for."""
        if self.seat is None:
            self._sit()
        return copy(self)._planned(way)

    def _sit(self) -> None:
        if not self.every.scales.limited.any():
            raise NothingSeen("nothing was measured that has limits")
        self.settled, self.prove = True, lambda: None
        self.seat = self._solve_seat()

    def _planned(self, way: str) -> Plan:
        self.remarks = list(self.remarks)
        self.stays = way == SEAT_FIRST
        if way == BEST and self.options.resolved:
            still = copy(self)
            still.seat = still.at_rest()
            if trifles.may_stay(still):
                still.remarks = [*self.remarks, trifles.LEAVE_IT]
                return still._told()
        may_cut = way in (BEST, TRIM, SEAT_FIRST) and len(self.gaps)
        if may_cut and not self._conforms():
            self.cut = self._solve_trim()
        elif self.options.resolved:
            self._drop_trifles()
        self._look_at_ends()
        return self._told()

    def _solve_seat(self) -> "Solved":
        every = self.every
        free = self._freedom(self._pulls())
        self.held = free.held
        seat, self.settled = solve_apart(every, free, solve_seat)
        self.prove = seat.prove
        return Solved(free, self._move(free, seat.step), seat.step)

    def _pulls(self) -> Readings:
        """The readings that say where it should go."""
        every = self.every
        return every.take(every.scales.limited | (every.values < every.floor))

    def at_rest(self) -> "Solved":
        free = self.seat.freedom
        still = np.zeros(len(free.motions))
        return Solved(free, self._move(free, still), still)

    def _drop_trifles(self) -> None:
        """The seat without ways to move that gain less than the resolution."""
        fewer = trifles.seat_without(self)
        if fewer is not None:
            seat, self.settled = fewer
            free, self.prove = self.seat.freedom, seat.prove
            self.seat = Solved(free, self._move(free, seat.step), seat.step)

    def _look_at_ends(self) -> None:
        """Remark on adjusters whose range ends; a part that goes freely has none."""

    def _freedom(self, pulls: Readings) -> Freedom:
        """What the readings that say where it should go can see."""
        options, arrays = self.options, self.arrays
        motions = options.motions
        if motions is None:
            measured = bool(len(self.gaps)), bool(len(self.flushes))
            about = arrays.center, arrays.rho
            motions = motions_about(*about, pulls, measured, options)
        return freedom(motions, arrays.rho, pulls.places, pulls.directions)

    def _move(self, free: Freedom, step) -> Move:
        raw, center = free.amounts(step), self.arrays.center
        return move_of(free.motions, raw, center, free=self.options.motions is None)

    def moves_of(self, free: Freedom, step) -> Move:
        """What the part does at rim movements (k,)."""
        return self._move(free, step)

    def gone(self, move: Move) -> tuple[Freedom, np.ndarray]:
        """(freedom, rim movements (k,)) of a move, by the ways in which it is told."""
        pulls = self._pulls()
        free = freedom(move.motions, self.arrays.rho, pulls.places, pulls.directions)
        return free, np.array(move.raw) * free.unit

    def _after(self, readings: Readings, move: Move) -> np.ndarray:
        """Readings (m,) after the exact move, nothing cut."""
        moved = self.displaced(move, readings)
        return readings.values + np.einsum("ij,ij->i", moved, readings.directions)

    def displaced(self, move: Move, readings: Readings | JointArrays) -> np.ndarray:
        """How far the part goes against its surround at each place (n, 3), mm."""
        return move.displacement(readings.places)

    def _fit(self, readings: Readings) -> Fit | None:
        """How these readings sit by the move alone; None when none has limits."""
        if not readings.scales.limited.any():
            return None
        move, now = self.seat.move, readings.values
        after = self._after(readings, move)
        before, worst = (
            float(readings.deviation(values).max(initial=0.0))
            for values in (now, after)
        )
        return Fit(
            move, before, worst, readings.all_right(after), readings.all_right(now)
        )

    def _conforms(self) -> bool:
        """Whether the move alone is enough."""
        return self.every.all_right(self._after(self.every, self.seat.move))

    def _allowed(self) -> tuple[list[str], np.ndarray]:
        """The side that may be cut at each row, and how far (n,) mm."""
        options, sides, most = self.options, [], []
        for station in self.arrays.stations:
            side = station.trim_side or "part"
            if side != "none" and options.trim is not None:
                side = options.trim
            limit = station.most_trim(side)
            sides.append(side)
            most.append(min(limit, options.max_trim_mm))
        return sides, np.array(most)

    def _solve_trim(self) -> "Cut":
        def solve(readings, free):
            return solve_trim(readings, free, self.rules(readings))

        free = self.seat.freedom
        if self.stays:
            free = replace(free, low=self.seat.step, high=self.seat.step)
        trim, settled = solve_apart(self.every, free, solve)
        if self.options.resolved and not self.stays:
            trim, settled = trifles.cut_without(self, free, solve, (trim, settled))
        self.settled &= settled
        self.prove = trim.prove
        return Cut(trim, self._move(self.seat.freedom, trim.step))

    def rules(self, readings: Readings) -> TrimRules:
        """What may be cut at readings with all the gaps first, or with none of them."""
        rest = np.zeros(len(readings) - int(readings.gap.sum()))
        if len(rest) == len(readings):
            return TrimRules(rest, rest, aim=self.options.aiming_mm)
        build_up = np.full(len(self.gaps), self.options.build_up_mm)
        return TrimRules(
            np.r_[self.most_trim[self.gaps.rows], rest],
            np.r_[build_up, rest],
            aim=self.options.aiming_mm,
            ramps=tuple(self._ramps()),
            least=self.options.least_cut_mm,
        )

    def _ramps(self):
        """Neighbor gaps of one edge and how much their trims may differ, mm."""
        if self.options.fairness is None:
            return
        number = {int(row): k for k, row in enumerate(self.gaps.rows)}
        for start, finish, distance, corner in self.arrays.neighbors(self.gaps.rows):
            if not corner and {self.sides[start], self.sides[finish]} != {
                "part",
                "surround",
            }:
                yield number[start], number[finish], self.options.fairness * distance

    def _told(self) -> Plan:
        gaps, flushes = self.gaps, self.flushes
        cut = self.cut.solved if self.cut else None
        move = (self.cut or self.seat).move
        if cut is None:
            gap_after, zeros = self._after(gaps, move), np.zeros(len(gaps))
            trim = build_up = unresolved = zeros
        else:
            part = slice(0, len(gaps))
            gap_after, trim = cut.values[part], cut.trim[part]
            build_up, unresolved = cut.build_up[part], cut.unresolved[part]
        flush_after = self._after(flushes, move)
        trim_plan = self._trim_plan(cut, move, trim, build_up, gap_after)
        every_after = self._after(self.every, move)
        every_after[: len(gaps)] = gap_after
        if not self.every.all_right(every_after):
            outcome = CANNOT
        else:
            outcome = CUT if trim_plan and trim_plan.needed else FITS
        stations = reasons.station_plans(
            self, gap_after, flush_after, trim, build_up, unresolved, move
        )
        limited = self.arrays.gap_scales.limited, self.arrays.flush_scales.limited
        return Plan(
            outcome=outcome,
            move=move,
            seat=self._fit(gaps),
            level=self._fit(flushes),
            trim=trim_plan,
            held=self.held,
            probability=self.probability(gap_after, flush_after),
            stations=stations,
            notes=tuple(reasons.notes(self, move, stations)),
            settled=self.settled,
            limited=sum(int(kind.sum()) for kind in limited),
            measured=int(self.every.scales.limited.sum()),
        )

    def _trim_plan(self, solved: Trim | None, move, trim, build_up, gap_after):
        if solved is None:
            whole = TrimPlan(move, needed=False, possible=True)
            return whole if self.gaps.scales.limited.any() else None
        possible = self.gaps.all_right(gap_after)
        areas = solved.area, solved.build_up_area, solved.unresolved_area
        needed = bool((trim > 0).any() or (build_up > 0).any() or not possible)
        return TrimPlan(move, needed, possible, *areas)

    def probability(self, gap_after, flush_after) -> float | None:
        """That all that was measured conforms after the plan.

        Errors are independent, but for the zero that those of a kind and gauge have in
        common: over that it is summed.
        """
        if self.options.uncertainty_mm is None:
            return None
        common, chance = self.options.common_u_mm or 0.0, 1.0
        for readings, values, limits in (
            (self.gaps, gap_after, self.arrays.gap_limits),
            (self.flushes, flush_after, self.arrays.flush_limits),
        ):
            gauge, whole = self.arrays.zeros_of(readings), self._uncertainty(readings)
            for number in np.unique(gauge):
                zero, own = common if number >= 0 else 0.0, gauge == number
                alone = np.sqrt(whole[own] ** 2 - zero**2)
                here = [limits[row] for row in readings.rows[own]]
                chance *= all_conform(values[own], here, alone, zero)
        return chance

    def _uncertainty(self, readings: Readings) -> np.ndarray:
        """Standard uncertainty (m,) mm of readings after the plan."""
        return np.full(len(readings), self.options.uncertainty_mm)


@dataclass(frozen=True)
class Solved:
    freedom: Freedom
    move: Move
    step: np.ndarray


@dataclass(frozen=True)
class Cut:
    solved: Trim
    move: Move
