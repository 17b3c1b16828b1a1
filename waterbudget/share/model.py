"""The linear model of 14 days, held by the solver so that it can be solved again after a change.

Columns are, for every day and block, the water, what drains, what is missing after the day and
what of it is past the limit; and for every week and block, what is missing at its end up to the
stage's floor and past it.  HiGHS solves it from nothing by its interior point method and, after a
change, by the dual simplex from where it stood.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waterbudget.share.problem import (
    STEPS,
    Blocks,
    Prices,
    Supply,
    Values,
    pump_shares,
)

Index = NDArray[np.int64]

MANY_CELLS = 900  # from about here the interior point method is the faster start
WALK = 0.25  # price of opening a valve once more, no part of the cost
UNEVEN = 0.3  # price of a millimetre between a block's waterings, no part of the cost


class Model:
    """One shared problem in the solver.

    Parameters
    ----------
    blocks, supply, price : the problem
    after : pair of ndarray, shape (blocks,), optional
        What may be missing after the last day [mm], and what each millimetre more costs in the
        days that follow.
    """

    def __init__(
        self, blocks: Blocks, supply: Supply, price: Prices,
        after: tuple[Values, Values] | None = None,
    ) -> None:  # fmt: skip
        self.blocks, self.supply, self.price, self.after = blocks, supply, price, after
        self.columns = 0
        shape = blocks.use_mm.shape
        self.water, self._drain, self._missing, self._past = (self._new(shape) for _ in range(4))
        self._above = self._new((len(STEPS), *blocks.target_mm.shape))
        self._below = self._new(blocks.target_mm.shape)
        self._even, self._uneven = self._new(shape[1:]), self._new(blocks.pinned_h.shape)
        self._beyond = self._new(shape[1:])
        self._entries: list[tuple[Index, Index, Values]] = []
        self._low: list[Values] = []
        self._high: list[Values] = []
        self._rows = 0
        self._depletion_rows()
        self.budget_rows = self._budget_rows()
        self.pump_rows = self._pump_rows()
        self.opening_rows = self._opening_rows()
        self._even_rows = self._evenness_rows()
        self._solver = self._load()
        self._values = np.zeros(self.columns)
        self.duals = np.zeros(self._rows)
        self.solved = 0

    # -------------------------------------------------------------- building

    def _new(self, shape: tuple[int, ...]) -> Index:
        columns = self.columns + np.arange(math.prod(shape)).reshape(shape)
        self.columns += columns.size
        return columns

    def _add(self, low: Values, high: Values, *terms: tuple[Index, Values | float]) -> Index:
        """Add like rows; each term is (columns, coefficients), broadcast to the rows' shape."""
        rows = self._rows + np.arange(low.size).reshape(low.shape)
        for columns, value in terms:
            at = np.broadcast_to(rows.reshape(low.shape), columns.shape)
            factor = np.broadcast_to(np.asarray(value, dtype=float), columns.shape)
            self._entries.append((at.ravel(), columns.ravel(), factor.ravel()))
        self._low.append(low.ravel())
        self._high.append(high.ravel())
        self._rows += low.size
        return rows

    def _depletion_rows(self) -> None:
        b = self.blocks
        brought = b.use_mm - b.rain_mm
        first = brought.copy()
        first[0] += b.dr_mm
        # missing[d] - missing[d-1] + water[d] - drain[d] = use[d] - rain[d]
        self._add(first[:1], first[:1], (self._missing[:1], 1.0), (self.water[:1], 1.0),
                  (self._drain[:1], -1.0))  # fmt: skip
        later = self._add(
            brought[1:], brought[1:], (self._missing[1:], 1.0), (self._missing[:-1], -1.0),
            (self.water[1:], 1.0), (self._drain[1:], -1.0),
        )  # fmt: skip
        self.day_rows = np.vstack([np.full_like(brought[:1], -1, dtype=np.int64), later])
        nothing = np.full_like(b.limit_mm, -np.inf)
        most = np.maximum(b.most_mm, b.pinned_mm().sum(axis=0))
        self._add(nothing[0], most, *((self.water[d], 1.0) for d in range(b.planned)))
        self._add(nothing, b.limit_mm, (self._missing, 1.0), (self._past, -1.0))
        ends, none = self._missing[list(b.ends)], np.full(b.target_mm.shape, -np.inf)
        above = [(columns, -1.0) for columns in self._above]
        self._add(none, b.target_mm, (ends, 1.0), *above, (self._below, -1.0))
        if self.after is not None:
            self._add(nothing[0], self.after[0], (self._missing[-1], 1.0), (self._beyond, -1.0))

    def _budget_rows(self) -> Index:
        m3 = np.broadcast_to(self.blocks.m3_mm, self.water.shape)
        rows = [
            self._add(np.array([-np.inf]), np.array([x.m3]),
                      (self.water[x.days].ravel(), m3[x.days].ravel()))
            for x in self.supply.budgets
        ]  # fmt: skip
        return np.concatenate([np.zeros(0, dtype=np.int64), *rows])

    def _pump_rows(self) -> Index:
        """Return rows of shape (4, 14, pumps): the hours of every day in four valid ways."""
        s, b = self.supply, self.blocks
        shares = pump_shares(b.flow_m3_h, s.pump_m3_h[s.pump]) / b.rate_mm_h
        rows = np.empty((len(shares), len(s.open_h), len(s.pump_m3_h)), dtype=np.int64)
        for j in range(len(s.pump_m3_h)):
            mine = np.flatnonzero(s.pump == j)
            for k, share in enumerate(shares):
                for day in range(len(s.open_h)):
                    high = s.open_h[day : day + 1, j]
                    term = (self.water[day, mine], share[mine])
                    rows[k, day, j] = self._add(np.array([-np.inf]), high, term)[0]
        return rows

    def _opening_rows(self) -> Index:
        """Return one row a day: the valves opened were all sets as long as they may be."""
        b, most = self.blocks, self.supply.most_openings()
        each = 1.0 / np.maximum(np.minimum(b.longest_h, b.pulse_h) * b.rate_mm_h, 1e-9)
        rows = [
            self._add(np.array([-np.inf]), most[day : day + 1], (self.water[day], each))
            for day in range(len(most))
        ]
        return np.concatenate(rows)

    def _evenness_rows(self) -> Index:
        """Return rows, off until :meth:`make_even`: a block's largest watering less each one."""
        free = np.full(self._uneven.shape, np.inf)
        even = np.broadcast_to(self._even, self._uneven.shape)
        water = self.water[: self.blocks.planned]
        return self._add(-free, free, (even, 1.0), (water, -1.0), (self._uneven, -1.0))

    def _load(self) -> Any:
        import highspy

        rows = np.concatenate([e[0] for e in self._entries])
        columns = np.concatenate([e[1] for e in self._entries])
        values = np.concatenate([e[2] for e in self._entries])
        order = np.argsort(columns, kind="stable")
        low, high, price = self._column_bounds()
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = self.columns, self._rows
        lp.col_cost_, lp.col_lower_, lp.col_upper_ = price, low, high
        lp.row_lower_, lp.row_upper_ = np.concatenate(self._low), np.concatenate(self._high)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        starts = np.searchsorted(columns[order], np.arange(self.columns + 1))
        lp.a_matrix_.start_ = starts.astype(np.int32)
        lp.a_matrix_.index_ = rows[order].astype(np.int32)
        lp.a_matrix_.value_ = values[order]
        solver = _quiet_solver()
        solver.setOptionValue("threads", 1)
        solver.setOptionValue("solver", "simplex")
        solver.passModel(lp)
        return solver

    def _column_bounds(self) -> tuple[Values, Values, Values]:
        b, p = self.blocks, self.price
        low, high = np.zeros(self.columns), np.full(self.columns, np.inf)
        price = np.zeros(self.columns)
        low[self._missing] = b.use_mm  # what a day takes is missing after it
        most = np.where(b.open_cells(), b.longest_h * b.rate_mm_h, 0.0)
        high[self.water] = most
        pinned = np.where(np.isnan(b.pinned_h), 0.0, b.pinned_mm())
        low[self.water[: b.planned]] = pinned
        high[self.water[: b.planned]] = np.maximum(most[: b.planned], pinned)
        high[self._above] = b.step_mm / len(STEPS)
        price[self.water], price[self._drain], price[self._past] = p.moved, p.drained, p.past
        for columns, step in zip(self._above, STEPS, strict=True):
            price[columns] = step * p.above_floor
        price[self._below] = p.below_floor
        price[self._uneven] = UNEVEN * b.size
        if self.after is not None:
            price[self._beyond] = self.after[1]
        return low, high, price

    # -------------------------------------------------------------- solving

    def solve(self) -> bool:
        """Solve from where the model stands; False where no plan keeps all limits."""
        import highspy

        first = self.solved == 0 and self.water.size > MANY_CELLS
        self._solver.setOptionValue("solver", "ipm" if first else "simplex")
        self._solver.run()
        self.solved += 1
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return False
        solution = self._solver.getSolution()
        self._values = np.array(solution.col_value)
        self.duals = np.array(solution.row_dual)
        return True

    @property
    def cost(self) -> float:
        """Cost of the solution."""
        return float(self._solver.getObjectiveValue())

    @property
    def net_mm(self) -> Values:
        """Water of the solution, shape (days, blocks) [mm]."""
        return np.maximum(self._values[self.water], 0.0)

    def missing_mm(self, day: int) -> Values:
        """What is missing after a day, shape (blocks,) [mm]."""
        return np.asarray(self._values[self._missing[day]])

    def price_of_missing(self, day: int) -> Values:
        """What a millimetre more missing in the morning of a day costs from then on, (blocks,)."""
        return np.maximum(self.duals[self.day_rows[day]], 0.0)

    def bound_water(self, low_mm: Values, high_mm: Values) -> None:
        """Bound the water of the days planned, shapes (planned days, blocks)."""
        at = self.water[: self.blocks.planned].ravel().astype(np.int32)
        self._solver.changeColsBounds(len(at), at, low_mm.ravel(), high_mm.ravel())

    def bound_hours(self, open_h: Values) -> None:
        """Bound the pumps' hours of the first days, shape (days, pumps)."""
        for rows in self.pump_rows[:, : len(open_h)]:
            for day, pump in np.ndindex(open_h.shape):
                at = int(rows[day, pump])
                self._solver.changeRowBounds(at, -np.inf, float(open_h[day, pump]))

    def price_walks(self, usual_mm: Values) -> None:
        """Make small sets dear, so that a block's water comes in few; no part of the cost.

        Parameters
        ----------
        usual_mm : ndarray, shape (blocks,)
            Depth of a usual watering.
        """
        b = self.blocks
        depth = np.maximum(self.net_mm[: b.planned], 0.25 * usual_mm)
        price = self.price.moved[: b.planned] + WALK * b.size / depth
        at = self.water[: b.planned].ravel().astype(np.int32)
        self._solver.changeColsCost(len(at), at, price.ravel())

    def make_even(self, sets: NDArray[np.bool_], least_mm: Values | None = None) -> None:
        """Ask for waterings of one depth within each block on the days of ``sets``.

        Parameters
        ----------
        least_mm : ndarray, shape (blocks,), optional
            Depth of the waterings before; the coming ones are to be no smaller.
        """
        if least_mm is not None:
            at, free = self._even.astype(np.int32), np.full(len(self._even), np.inf)
            self._solver.changeColsBounds(len(at), at, least_mm, free)
        rows = self._even_rows[sets].astype(np.int32)
        self._solver.changeRowsBounds(len(rows), rows, np.zeros(len(rows)), np.zeros(len(rows)))

    def bound_openings(self, kept_h: Values) -> None:
        """Count the openings of sets that are kept whole, shape (7, blocks) [h], 0 elsewhere."""
        most = self.supply.most_openings()
        for day in np.flatnonzero(np.isfinite(most[: self.blocks.planned])):
            row = int(self.opening_rows[day])
            for k in np.flatnonzero(kept_h[day]):
                self._solver.changeCoeff(row, int(self.water[day, k]), 0.0)
            taken = self.blocks.opened(kept_h[day]).sum()
            self._solver.changeRowBounds(row, -np.inf, float(max(0.0, most[day] - taken)))


def _quiet_solver() -> Any:
    """Return a solver that prints nothing: its greeting would stand in a JSON answer."""
    import highspy

    class Quiet(highspy.Highs):  # type: ignore[misc]
        def enableCallbacks(self) -> None:  # noqa: N802
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()

    return Quiet()
