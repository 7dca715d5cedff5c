"""Aims in strict order over a polyhedron, and the nearest point of what is left.

Each aim is a linear programme solved by HiGHS (the simplex method inside SciPy). What
reached its best is then held: a column or row with a nonzero dual is fixed where it is.
By complementary slackness that is the set of all optima (Isermann, "Linear
lexicographic optimization", OR Spektrum 4, 1982): no aim has a price in another. What
counts as zero in a dual, and how far the solver may overstep a row, are the constants
below, a thousandth of a nanometer where nothing forces more. The last
aim, the least movement, is a least-distance problem (Lawson and Hanson, "Solving Least
Squares Problems", chapter 23), or Wolfe's nearest point of a polytope (Mathematical
Programming 11, 1976) where columns are tied to each other by shared rows.
"""

import numpy as np

from qa.numeric.plan.nearest import FEASIBLE, ROUNDED, nearest_of_hull, nearest_point

PRICED = 1e-8  # a dual above this, with costs of size 1, is not zero
# Where the solver loses its way in roundings: without the old basis, without its
# scaling, by the primal method, with its presolve, and last a little less exactly.
OTHER_WAYS = (
    {},
    {"simplex_scale_strategy": 0},
    {"simplex_strategy": 4},
    {"presolve": "on"},
    {"primal_feasibility_tolerance": ROUNDED, "dual_feasibility_tolerance": ROUNDED},
)


class Infeasible(ValueError):
    """No point fulfills all the rows and bounds."""


class NotSolved(RuntimeError):
    """The solver gave up; its own status is the message."""


class Draft:
    """A programme being written down: movements first, then what the rows need.

    `box` holds the least and greatest movement (k,).
    """

    def __init__(self, box):
        self.motions = len(box[0])
        self._low, self._high = [np.asarray(box[0])], [np.asarray(box[1])]
        self._count = self.motions
        self._row_low, self._row_high, self._rows = [], [], 0
        self._entries = []

    def columns(self, low, high) -> np.ndarray:
        """Add columns with bounds (m,); their numbers (m,)."""
        low, high = np.broadcast_arrays(low, high)
        self._low.append(low)
        self._high.append(high)
        self._count += len(low)
        return np.arange(self._count - len(low), self._count)

    def rows(self, low, high, slopes, *terms) -> None:
        """Add rows low <= slopes @ movements + terms <= high; slopes (m, k).

        A term is (columns (m,), factor): one column for each row.
        """
        count = len(slopes)
        numbers = np.arange(self._rows, self._rows + count)
        self._row_low.append(np.broadcast_to(low, count))
        self._row_high.append(np.broadcast_to(high, count))
        self._rows += count
        across = np.tile(np.arange(slopes.shape[1]), count)
        self._entries.append(
            (np.repeat(numbers, slopes.shape[1]), across, slopes.ravel())
        )
        for columns, factor in terms:
            self._entries.append((numbers, columns, np.broadcast_to(factor, count)))

    def limit(self, cost) -> int:
        """Add a row for the sum of columns (c,) at these costs; its number."""
        used = np.flatnonzero(cost)
        self._entries.append((np.full(len(used), self._rows), used, cost[used]))
        self._row_low.append(np.full(1, -np.inf))
        self._row_high.append(np.full(1, np.inf))
        self._rows += 1
        return self._rows - 1

    def tie(self, columns) -> int:
        """Add a row of two movements that binds nothing until it is tied."""
        self._entries.append((np.full(2, self._rows), columns, np.ones(2)))
        self._row_low.append(np.full(1, -np.inf))
        self._row_high.append(np.full(1, np.inf))
        self._rows += 1
        return self._rows - 1

    def cost(self, *terms) -> np.ndarray:
        """Costs (c,) from (columns, price) pairs."""
        cost = np.zeros(self._count)
        for columns, price in terms:
            cost[columns] = price
        return cost

    def programme(self, basis=None) -> "Programme":
        """The programme, started from the basis of another of the same shape."""
        join = np.concatenate
        return Programme(
            (join(self._low), join(self._high)),
            (join(self._row_low), join(self._row_high)),
            tuple(join(part) for part in zip(*self._entries, strict=True)),
            self.motions,
            basis,
        )


class Programme:
    """A linear programme whose aims are taken one after the other.

    Columns have bounds (c,), rows bounds (r,); entries are (row, column, value) arrays.
    The first `motions` columns are the movements of the part. `basis` is where the
    solver starts, as kept in `first_basis` by a programme of the same shape; `near` are
    the `bases` in which one much like this ended with one aim after the other, kept
    where it is not None.
    """

    def __init__(self, columns, rows, entries, motions: int, basis=None):
        self.column_low, self.column_high = (np.array(b, dtype=float) for b in columns)
        self.row_low, self.row_high = (np.array(b, dtype=float) for b in rows)
        row, column, value = (part[entries[2] != 0] for part in entries)
        order = np.lexsort((row, column))
        self._row = np.asarray(row, dtype=np.int32)[order]
        self._column = np.asarray(column, dtype=np.int32)[order]
        self._value = np.asarray(value, dtype=float)[order]
        self.motions = motions
        self.first_basis, self.bases, self.near = None, [], None
        self.values = None
        self._load(basis)

    def _load(self, basis) -> None:
        # SciPy pins HiGHS and hands it out only here; its own linprog builds everything
        # anew at each call and costs ten times as much as the few pivots between aims.
        from scipy.optimize._highspy import _core as highs

        self._highs = highs
        self._solver = solver = highs._Highs()
        for name, value in (
            ("output_flag", False),
            ("presolve", "off"),
            ("threads", 1),
            ("random_seed", 0),
            ("primal_feasibility_tolerance", FEASIBLE),
            ("dual_feasibility_tolerance", FEASIBLE),
        ):
            solver.setOptionValue(name, value)
        lp = highs.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.column_low), len(self.row_low)
        lp.col_cost_ = np.zeros(len(self.column_low))
        lp.col_lower_, lp.col_upper_ = self.column_low, self.column_high
        lp.row_lower_, lp.row_upper_ = self.row_low, self.row_high
        matrix = lp.a_matrix_
        matrix.num_col_, matrix.num_row_ = lp.num_col_, lp.num_row_
        matrix.format_ = highs.MatrixFormat.kColwise
        counts = np.bincount(self._column, minlength=lp.num_col_)
        matrix.start_ = np.r_[0, np.cumsum(counts)].astype(np.int32)
        matrix.index_, matrix.value_ = self._row, self._value
        solver.passModel(lp)
        if basis is not None:
            solver.setBasis(basis)

    def minimize(self, cost: np.ndarray, *, sure: bool = False) -> float:
        """Least cost (c,); the point is left in `values`. Raises Infeasible.

        `sure` says that there is a point, from the aim before: then roundings are the
        reason when the solver finds none, and it may overstep a little more.
        """
        size = self._size = float(np.abs(cost).max()) or 1.0
        count = len(cost)
        columns = np.arange(count, dtype=np.int32)
        self._solver.changeColsCost(count, columns, cost / size)
        self._begin_near()
        try:
            self._run()
        except Infeasible:
            if not sure:
                raise
            self._overstep(ROUNDED)
            self._solver.clearSolver()
            try:
                self._run()
            finally:
                self._overstep(FEASIBLE)
        if self.first_basis is None:
            self.first_basis = self._solver.getBasis()
        if self.near is not None:
            self.bases.append(self._solver.getBasis())
        self._solution = self._solver.getSolution()
        self.values = np.array(self._solution.col_value)
        return float(cost @ self.values)

    def leave_out(self, cost: np.ndarray) -> None:
        """Hold columns (c,) that cost something, none of which is below 0, at 0: the
        optima of an aim that comes to nothing, if there are any."""
        columns = np.flatnonzero(cost)
        nothing = np.zeros(len(columns))
        self.bound(columns, nothing, nothing)
        if self.near:
            self.bases.append(self.near[len(self.bases)])

    def _begin_near(self) -> None:
        """Start where a programme much like this one ended with the same aim."""
        if self.near and len(self.near) > len(self.bases):
            self._solver.setBasis(self.near[len(self.bases)])

    def _column_dual(self) -> np.ndarray:
        """Reduced costs (c,) at the last point: lists of the solver cost their copy."""
        return np.array(self._solution.col_dual)

    def _overstep(self, most: float) -> None:
        self._solver.setOptionValue("primal_feasibility_tolerance", most)

    def _run(self) -> None:
        kinds = self._highs.HighsModelStatus
        conclusive = kinds.kOptimal, kinds.kInfeasible
        self._solver.run()
        status = self._solver.getModelStatus()
        for ways in OTHER_WAYS:
            if status in conclusive:
                break
            kept = {name: self._solver.getOptionValue(name)[1] for name in ways}
            self._set(ways)
            self._solver.clearSolver()
            self._solver.run()
            status = self._solver.getModelStatus()
            self._set(kept)
        if status == kinds.kInfeasible:
            raise Infeasible("no point fulfills all the rows and bounds")
        if status != kinds.kOptimal:
            raise NotSolved(self._solver.modelStatusToString(status))

    def _set(self, options: dict) -> None:
        for name, value in options.items():
            self._solver.setOptionValue(name, value)

    def hold(self) -> None:
        """From now on only optima of the last aim are allowed."""
        low, high, dual = self.column_low, self.column_high, self._column_dual()
        row_dual = np.array(self._solution.row_dual)
        high[dual > PRICED] = low[dual > PRICED]
        low[dual < -PRICED] = high[dual < -PRICED]
        loose = self.row_low < self.row_high
        at_low = loose & (row_dual > PRICED)
        at_high = loose & (row_dual < -PRICED)
        self.row_high[at_low] = self.row_low[at_low]
        self.row_low[at_high] = self.row_high[at_high]
        columns = np.arange(len(low), dtype=np.int32)
        self._solver.changeColsBounds(len(low), columns, low, high)
        for row in np.flatnonzero(at_low | at_high):
            self._solver.changeRowBounds(
                int(row), float(self.row_low[row]), float(self.row_high[row])
            )

    def bound(self, columns: np.ndarray, low, high) -> None:
        """New bounds (m,) for columns (m,)."""
        self.column_low[columns], self.column_high[columns] = low, high
        self._solver.changeColsBounds(len(columns), columns.astype(np.int32), low, high)

    def cap(self, row: int, most: float) -> None:
        """A new upper bound for a row."""
        self.row_high[row] = most
        self._solver.changeRowBounds(row, float(self.row_low[row]), float(most))

    def retie(self, row: int, columns, factors, level: float) -> None:
        """Tie columns: their sum at these factors is `level`."""
        for column, factor in zip(columns, factors, strict=True):
            self._solver.changeCoeff(row, int(column), float(factor))
        self._solver.changeRowBounds(row, float(level), float(level))

    def untie(self, row: int) -> None:
        self._solver.changeRowBounds(row, -np.inf, np.inf)

    def row_price(self, row: int) -> float:
        """What one unit more on a tied row would add to the last aim."""
        return float(self._solution.row_dual[row]) * self._size

    def felt(self) -> float:
        """What one unit more on every row would add to the last aim at most."""
        return float(np.abs(self._solution.row_dual).sum()) * self._size

    def prices(self, columns: np.ndarray) -> np.ndarray:
        """What one unit more of fixed columns would add to the last aim."""
        return self._column_dual()[columns] * self._size

    def pin(self, columns: np.ndarray, values: np.ndarray) -> None:
        """Fix columns, with just enough play for the roundings of the solver.

        What is fixed already stays so: a sine has arms of hundreds of mm.
        """
        low, high = self.column_low[columns], self.column_high[columns]
        play = 4 * FEASIBLE
        self.bound(
            columns,
            np.where(low < high, np.maximum(low, values - play), low),
            np.where(low < high, np.minimum(high, values + play), high),
        )

    def least_movement(self, *, tied: bool = False) -> np.ndarray:
        """The movements (k,) with the least sum of squares that the rows still allow.

        With `tied`, columns other than the movements may share rows.
        """
        return self._nearest_vertex_mix() if tied else self._nearest_in_shadow()

    def _nearest_in_shadow(self) -> np.ndarray:
        """Each row bounds its line of movements by what its own columns can take up."""
        k = self.motions
        own = self._column >= k
        value, row, column = self._value[own], self._row[own], self._column[own]
        low, high = value * self.column_low[column], value * self.column_high[column]
        low, high = np.minimum(low, high), np.maximum(low, high)
        count = len(self.row_low)
        least = self.row_low - np.bincount(row, high, count)
        most = self.row_high - np.bincount(row, low, count)
        lines = np.zeros((count, k))
        lines[self._row[~own], self._column[~own]] = self._value[~own]
        lines = np.vstack([lines, np.eye(k)])
        least = np.r_[least, self.column_low[:k]]
        most = np.r_[most, self.column_high[:k]]
        return nearest_point(lines, least, most, self.values[:k])

    def _nearest_vertex_mix(self) -> np.ndarray:
        k = self.motions

        def lowest(direction):
            cost = np.zeros(len(self.column_low))
            cost[:k] = direction
            self.minimize(cost)
            return self.values[:k].copy()

        return nearest_of_hull(lowest, self.values[:k].copy())
