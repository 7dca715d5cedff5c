"""A plan in settings: what the adjusters of a part can do, in whole steps.

Without cuts the settings are the best in the strict order of `seat`, where that is not
enough and something may be cut in that of `trim`; both proven over all settings. The
part goes exactly where the settings put it, and its cuts are those that are left to do
there.
"""

from copy import copy
from dataclasses import replace
from functools import cached_property

import numpy as np

from qa.numeric.plan import at_ends, set_remarks, trifles
from qa.numeric.plan.adjusters import Rig, Setting
from qa.numeric.plan.branching import Best, best_settings
from qa.numeric.plan.free_planner import Cut, Planner, Solved
from qa.numeric.plan.lattice import Lattice
from qa.numeric.plan.lattice_aims import SeatAims, TrimAims
from qa.numeric.plan.motions import UNSEEN, Freedom
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.resolution import seat_bounds, trim_bounds
from qa.numeric.plan.result import Plan, SetOnly
from qa.numeric.plan.seat import NoFeasibleMotion
from qa.numeric.plan.trim import CUT_MM, solve_trim

WITHOUT_END = 1e9  # mm: as good as any place


class SetPlanner(Planner):
    """A Planner whose part moves as its adjusters are set."""

    by_settings = True

    @cached_property
    def rig(self) -> Rig:
        return Rig(self.options.adjusters, self.arrays.rho)

    @cached_property
    def anywhere(self) -> Freedom:
        """A part that its adjusters may take anywhere."""
        rig, far = self.rig, np.full(len(self.rig.motions), WITHOUT_END)
        return Freedom(rig.motions, rig.unit, -far, far, rig.unset, (), rig.bodies)

    def _solve_seat(self) -> Solved:
        rig = self.rig
        slopes = self.slopes(self.every, np.zeros(6))
        most = np.linalg.norm(slopes, axis=0)
        self.blind = most < UNSEEN * np.sqrt(max(1, len(slopes)))
        self.held, seen = set_remarks.still(rig, self.every)
        self.remarks += set_remarks.about(rig, self.blind, seen, self.options)
        best = self._best(SeatAims(self.every, self.anywhere))
        self.steps = best.steps
        return self._at(self.steps)

    def at_rest(self) -> Solved:
        self.steps = np.zeros_like(self.steps)
        return self._at(self.steps)

    def _lattice(self, aims: SeatAims) -> Lattice:
        return Lattice(
            self.rig, aims, self.arrays.center, self.options.slack_mm, self.blind
        )

    def _best(self, aims: SeatAims, before: Best | None = None) -> Best:
        best = self._searched(self._lattice(aims), before)
        if best is None:
            raise NoFeasibleMotion(
                "no settings are allowed, not even leaving all as it is"
            )
        if not best.proven:
            self.remarks.append(set_remarks.NOT_PROVEN)
        return best

    def _searched(self, lattice: Lattice, before: Best | None) -> Best | None:
        return best_settings(lattice, before)

    def _at(self, steps) -> Solved:
        """The part where settings put it, and free to go nowhere else."""
        movements, _ = self.rig.solve((steps * self.rig.steps)[None])
        step = self.rig.step(movements)[0]
        frozen = replace(self.anywhere, low=step, high=step)
        return Solved(frozen, self._move(frozen, step), step)

    def _solve_trim(self) -> Cut:
        rules = self.rules(self.every)
        aimed = np.zeros(len(self.every), dtype=bool)
        steps, at, best = self.steps, self.seat, None
        may_cut = (rules.most_trim > 0).any() or (rules.most_build_up > 0).any()
        while may_cut and not self.stays:
            aims = TrimAims(self.every, self.anywhere, rules, aimed)
            best = self._best(aims, best)
            steps = best.steps
            at = self._at(steps)
            cut = aims.cut(self._after(self.every, at.move))
            more = (cut > CUT_MM) & ~aimed
            if rules.aim <= 0 or not more.any():
                break
            aimed = aimed | more
        self.steps, self.seat = steps, at
        if rules.ramps:
            self.remarks.append(set_remarks.FAIR)
        trim = solve_trim(self.every, at.freedom, rules)
        if self.options.resolved and not self.stays:
            trim = self._cut_without_trifles(trim, rules)
        self.settled &= trim.settled
        return Cut(trim, self.seat.move)

    def _cut_without_trifles(self, cut, rules):
        """What is left to cut with fewer adjusters set, where that is as right."""
        ends, cuts = cut.values, (cut.trim, cut.build_up)
        resolution = self.options.resolution_mm
        bounds = trim_bounds(self.every, ends, cuts, rules, resolution)
        fewer = self._fewer(self.steps, bounds)
        if (fewer == self.steps).all():
            return cut
        at = self._at(fewer)
        again = solve_trim(self.every, at.freedom, rules)
        right = self._trifling(fewer, again.values, ends)
        if not right or not trifles.no_more_is_cut(again, cut):
            return cut
        self._leave(fewer)
        self.seat = at
        return again

    def slopes(self, readings: Readings, step) -> np.ndarray:
        """mm of each reading per mm of each adjuster (m, k) at rim movements."""
        rig = self.rig
        own = rig.own_rates(step) @ rig.basis
        seen = rig.rates(readings.places, readings.directions, step) @ rig.basis
        return seen @ np.linalg.pinv(own)

    def _uncertainty(self, readings: Readings) -> np.ndarray:
        """Of a reading, and of every adjuster that is set: it goes nearly there."""
        u = super()._uncertainty(readings)
        changed = np.flatnonzero(self.steps)
        spread = [self.rig.adjusters[k].set_u or 0.0 for k in changed]
        slopes = self.slopes(readings, self.seat.step)[:, changed]
        return np.sqrt(u**2 + ((slopes * spread) ** 2).sum(axis=1))

    def _drop_trifles(self) -> None:
        ends = self._after(self.every, self.seat.move)
        bounds = seat_bounds(self.every, ends, self.options.resolution_mm)
        fewer = self._fewer(self.steps, bounds)
        at = self._at(fewer)
        after = self._after(self.every, at.move)
        if (fewer != self.steps).any() and self._trifling(fewer, after, ends):
            self._leave(fewer)
            self.seat = at

    def _look_at_ends(self) -> None:
        self.remarks += at_ends.about(self)

    def _trifling(self, fewer, after, before) -> bool:
        """Whether fewer settings leave readings as right, as surely as is wished."""
        other = copy(self)
        other.steps = fewer
        return trifles.as_right((other, after), (self, before))

    def _leave(self, fewer) -> None:
        left = np.flatnonzero((self.steps != 0) & (fewer == 0))
        names = [self.rig.adjusters[k].name for k in left]
        if names:
            remark = set_remarks.trifles(names, self.options.resolution_mm)
            self.remarks.append(remark)
        self.steps = fewer

    def _fewer(self, steps, bounds) -> np.ndarray:
        """The fewest of the adjusters that are set, and then the fewest steps of each,
        with which all readings (m,) stay within bounds."""
        lattice = self._lattice(SeatAims(self.every, self.anywhere))

        def within_bounds(some):
            readings, allowed = lattice.readings(some)
            inside = (readings >= bounds[0]) & (readings <= bounds[1])
            return some[allowed & inside.all(axis=1)]

        changed = np.flatnonzero(steps)
        if not len(changed):
            return steps
        subsets = np.indices((2,) * len(changed)).reshape(len(changed), -1).T
        tried = np.tile(steps, (len(subsets), 1))
        tried[:, changed] *= subsets
        candidates = within_bounds(tried)
        if not len(candidates):
            return steps
        sizes = (candidates != 0).sum(axis=1), np.abs(candidates).sum(axis=1)
        return candidates[np.lexsort((sizes[1], sizes[0]))[0]]

    def _told(self) -> Plan:
        plan = super()._told()
        settings = tuple(
            Setting(adjuster, int(steps))
            for adjuster, steps in zip(self.rig.adjusters, self.steps, strict=True)
        )
        only = self.set_only(range(len(self.arrays.stations)))
        return replace(plan, settings=settings, set_only=only)

    def set_only(self, rows) -> SetOnly:
        """What the settings do at these rows with nothing cut."""
        gaps, flushes = (
            self._after(each, self.seat.move) for each in (self.gaps, self.flushes)
        )
        every = self._after(self.every, self.seat.move)
        return SetOnly(
            worst_after=float(self.every.deviation(every).max(initial=0.0)),
            conforms=self.every.all_right(every),
            probability=self.probability(gaps, flushes),
            gaps=_by_row(self.gaps, gaps, rows),
            flushes=_by_row(self.flushes, flushes, rows),
        )


def _by_row(readings: Readings, values, rows) -> tuple:
    by_row = dict(zip(readings.rows.tolist(), values.tolist(), strict=True))
    return tuple(by_row.get(row) for row in rows)
