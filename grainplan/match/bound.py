"""What no set of candidates can beat, and which candidates are worth looking at: a Lagrangian bound in plain arrays.

Each bay type gets a price that boards are paid for filling one of its bays. At given prices the boards no longer need
each other: on each board the best packing is bounded leaf by leaf, a weighted interval problem over the length. Prices
are moved until the bound is good. What looks alike, and pairs, never costs less than nothing and is left out here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from grainplan.match.demand import DemandSide
from grainplan.match.model import IntArray, Pool

Floats = NDArray[np.float64]
MEMORY = 0.8
"""How much of the last direction the next one keeps; prices that swing to and fro settle sooner."""
CELL = 10_000
"""Ticks of one cell of the interval problem; intervals are shrunk to whole cells, so the bound stays a bound."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A bound and the reduced costs that go with it.

    Attributes
    ----------
    value : no set costs less, thousandths.
    prices : per type, what a filled bay is paid.
    reduced : per candidate, by how much the bound rises when it must be taken; a candidate whose reduced cost is more
        than the distance from the bound to a known set is in no better set.
    """

    value: int
    prices: Floats
    reduced: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Arcs:
    """Intervals on the leaves that count, in the order of their ends; candidates first, then left-over ends."""

    leaf: IntArray
    start: IntArray
    end: IntArray
    row: IntArray  # candidate, or -1 - end
    share: Floats  # of the candidate's profit
    groups: IntArray  # first arc of each (end, leaf)
    group_leaf: IntArray
    group_of_end: IntArray  # first group of each end cell


class LagrangianBound:
    """The bound of a pool, at prices that can be moved.

    Parameters
    ----------
    pool : Pool
    """

    def __init__(self, pool: Pool) -> None:
        self.pool = pool
        c = pool.candidates
        self._bays = np.where(c.covers == 0, 0.5, c.covers.astype(float))
        self._cost = c.cost.astype(float) + _half_joins(pool)
        self._lanes = _count_lanes(pool)
        self._spines = [_find_spines(pool, board) for board in range(len(pool.leaves))]
        self._leaf_board = np.array([b for b, spine in enumerate(self._spines) for _ in spine], np.int64)
        self._copies = _count_copies(pool, self._lanes)
        order = np.argsort(c.board, kind="stable")
        self._rows_of = np.split(order, np.searchsorted(c.board[order], np.arange(1, len(pool.leaves))))
        self._others, self._paid = self._value_other_leaves()
        self.cells = int(pool.length.max(initial=0) // CELL) + 1
        self._arcs = self._list_arcs()
        self._demand = DemandSide(pool)

    def raise_prices(self, target: int, *, rounds: int) -> Bound:
        """Move the prices by Polyak's rule, a fixed number of rounds, and keep the best bound.

        First one price a type, which is quick; then one a type and board, which also sees what is to look alike.

        Parameters
        ----------
        target : int
            Cost of a known set.
        rounds : int
        """
        start = np.repeat(self._start_prices()[:, None], len(self.pool.leaves), axis=1)
        prices, value = self._climb(start, target, rounds, by_board=False)
        prices, value = self._climb(prices, target, rounds, by_board=True)
        forward, board_value = self._forward(prices)
        reduced = self._reduce(prices, forward, board_value)
        return Bound(int(np.floor(value + 1e-6)), prices.max(axis=1, initial=0.0), reduced)

    def _climb(self, prices: Floats, target: int, rounds: int, *, by_board: bool) -> tuple[Floats, float]:
        best_value, best_prices, slow, factor = -np.inf, prices, 0, 1.0
        top = self.pool.unfilled.astype(float)[:, None]
        direction = np.zeros_like(prices)
        for _ in range(rounds):
            value, slope = self._evaluate(prices, by_board=by_board)
            if value > best_value + 1e-6:
                best_value, best_prices, slow = value, prices, 0
            else:
                slow += 1
                if slow >= 6:
                    factor, slow, direction = factor / 2, 0, np.zeros_like(prices)
                    prices = best_prices
                    value, slope = self._evaluate(prices, by_board=by_board)
            direction = slope + MEMORY * direction
            norm = float((direction * direction).sum()) / (1 if by_board else len(self.pool.leaves))
            if norm < 1e-9 or factor < 1e-3:
                break
            goal = max(float(target), best_value + 0.005 * abs(best_value) + 1.0)
            prices = np.clip(prices + factor * (goal - value) / norm * direction, 0.0, top)
        return best_prices, best_value

    def _start_prices(self) -> Floats:
        """A little above the cheapest way to fill a bay of each type, a share of its board in it."""
        pool, c = self.pool, self.pool.candidates
        area = (c.x1 - c.x0) * c.run / np.maximum(pool.length[c.board] * pool.leaves[c.board], 1)
        guess = (self._cost + area * pool.open_cost[c.board]) / self._bays
        best = np.full(len(pool.demand), np.inf)
        np.minimum.at(best, c.kind, guess)
        return np.asarray(np.minimum(np.where(np.isfinite(best), best, 0.0), pool.unfilled.astype(float)))

    def _profit(self, prices: Floats) -> Floats:
        c = self.pool.candidates
        return np.asarray(prices[c.kind, c.board] * self._bays - self._cost - self._paid)

    def _forward(self, prices: Floats) -> tuple[Floats, Floats]:
        """Best value on each spine leaf up to each cell, and each board's price less what it earns."""
        arcs, profit = self._arcs, self._profit(prices)
        value = self._values(profit)
        best = np.zeros((self.cells + 1, len(self._leaf_board)))
        for cell in range(1, self.cells + 1):
            best[cell] = best[cell - 1]
            low, high = arcs.group_of_end[cell], arcs.group_of_end[cell + 1]
            if low == high:
                continue
            first = arcs.groups[low]
            last = arcs.groups[high] if high < len(arcs.groups) else len(arcs.leaf)
            through = best[arcs.start[first:last], arcs.leaf[first:last]] + value[first:last]
            top = np.maximum.reduceat(through, arcs.groups[low:high] - first)
            leaves = arcs.group_leaf[low:high]
            best[cell, leaves] = np.maximum(best[cell, leaves], top)
        earned = np.bincount(self._leaf_board, best[-1] * self._lanes[self._leaf_board], len(self.pool.leaves))
        return best, np.asarray(self.pool.open_cost - self._others - earned)

    def _values(self, profit: Floats) -> Floats:
        arcs = self._arcs
        ends = self.pool.left_over.value.astype(float)
        is_end = arcs.row < 0
        value = np.empty(len(arcs.row))
        value[~is_end] = profit[arcs.row[~is_end]] * arcs.share[~is_end]
        value[is_end] = ends[-1 - arcs.row[is_end]] * arcs.share[is_end]
        return value

    def _evaluate(self, prices: Floats, *, by_board: bool) -> tuple[float, Floats]:
        """The bound at these prices, and which way each price should move."""
        best, board_value = self._forward(prices)
        opened = board_value < 0
        used = np.zeros(prices.shape)
        self._trace(prices, best, opened, used)
        value = float(board_value[opened].sum())
        if by_board:
            cost, filled = self._demand.fill(prices)
            return value + cost, filled - used
        slope = self.pool.demand - used.sum(axis=1)
        return value + float(self.pool.demand @ prices[:, 0]), np.repeat(slope[:, None], prices.shape[1], axis=1)

    def _trace(self, prices: Floats, best: Floats, opened: NDArray[np.bool_], used: Floats) -> None:
        """Walk back over all leaves of opened boards at once and count what was taken."""
        arcs, value = self._arcs, self._values(self._profit(prices))
        c = self.pool.candidates
        at = np.where(opened[self._leaf_board], self.cells, 0)
        for cell in range(self.cells, 0, -1):
            here = np.flatnonzero((at == cell) & (best[cell] > best[cell - 1] + 1e-9))
            at[at == cell] = cell - 1
            if len(here) == 0:
                continue
            low, high = arcs.group_of_end[cell], arcs.group_of_end[cell + 1]
            for group in low + np.flatnonzero(np.isin(arcs.group_leaf[low:high], here)):
                first = arcs.groups[group]
                last = arcs.groups[group + 1] if group + 1 < len(arcs.groups) else len(arcs.leaf)
                leaf = int(arcs.group_leaf[group])
                arc = first + int(np.argmax(best[arcs.start[first:last], leaf] + value[first:last]))
                at[leaf] = arcs.start[arc]
                row = int(arcs.row[arc])
                if row >= 0:
                    lanes = self._lanes[self._leaf_board[leaf]]
                    used[c.kind[row], c.board[row]] += self._bays[row] * arcs.share[arc] * lanes

    def _reduce(self, prices: Floats, forward: Floats, board_value: Floats) -> Floats:
        """By how much the bound rises when each candidate must be taken."""
        arcs, value = self._arcs, self._values(self._profit(prices))
        backward = self._backward(value)
        total = forward[-1]
        is_row = arcs.row >= 0
        leaf, start, end = arcs.leaf[is_row], arcs.start[is_row], arcs.end[is_row]
        gap = total[leaf] - (forward[start, leaf] + value[is_row] + backward[end, leaf])
        reduced = np.bincount(arcs.row[is_row], np.maximum(gap, 0.0), len(self.pool.candidates))
        return np.asarray(reduced + np.maximum(board_value, 0.0)[self.pool.candidates.board])

    def _backward(self, value: Floats) -> Floats:
        arcs = self._arcs
        order = np.lexsort((arcs.leaf, arcs.start))
        start, leaf = arcs.start[order], arcs.leaf[order]
        best = np.zeros((self.cells + 1, len(self._leaf_board)))
        first = np.searchsorted(start, np.arange(self.cells + 2))
        for cell in range(self.cells - 1, -1, -1):
            best[cell] = best[cell + 1]
            low, high = first[cell], first[cell + 1]
            if low < high:
                through = best[arcs.end[order[low:high]], leaf[low:high]] + value[order[low:high]]
                np.maximum.at(best[cell], leaf[low:high], through)
        return best

    def _value_other_leaves(self) -> tuple[Floats, Floats]:
        """What leaves outside the spines earn at the most, by board, and what each candidate must leave to them.

        A candidate that also lies on such a leaf pays it the end value of the wood that it takes there. However that
        leaf is used, it then earns no more than its whole length as left-over wood.
        """
        pool, c, ends = self.pool, self.pool.candidates, self.pool.left_over
        per_tick = np.zeros(len(pool.leaves))
        np.maximum.at(per_tick, ends.board, ends.value / np.maximum(ends.x1 - ends.x0, 1))
        outside = pool.leaves - np.array([len(spine) for spine in self._spines])
        hits = np.zeros(len(c), np.int64)
        for board, spine in enumerate(self._spines):
            mine = self._rows_of[board]
            for leaf in spine:
                hits[mine] += (c.leaf[mine] <= leaf) & (leaf < c.leaf[mine] + c.run[mine])
        share = self._copies / self._lanes[c.board]
        paid = per_tick[c.board] * (c.x1 - c.x0) * (c.run - hits) * share
        return np.asarray(per_tick * pool.length * outside), np.asarray(paid)

    def _list_arcs(self) -> _Arcs:
        pool, c = self.pool, self.pool.candidates
        columns: list[tuple[NDArray[Any], ...]] = []
        offset = np.concatenate([[0], np.cumsum([len(spine) for spine in self._spines])])
        spine_table = np.full((len(pool.leaves), int(pool.leaves.max(initial=1))), -1, np.int64)
        for board, spine in enumerate(self._spines):
            for place, leaf in enumerate(spine):
                spine_table[board, leaf] = offset[board] + place
        copies = self._copies
        hits = np.zeros(len(c), np.int64)
        for step in range(int(c.run.max(initial=0))):
            inside = step < c.run
            hits[inside] += spine_table[c.board[inside], c.leaf[inside] + step] >= 0
        for step in range(int(c.run.max(initial=0))):
            whole = np.flatnonzero(step < c.run)
            met = spine_table[c.board[whole], c.leaf[whole] + step]
            rows = whole[met >= 0]
            share = 1.0 / (hits[rows] * copies[rows])
            columns.append((met[met >= 0], -(-c.x0[rows] // CELL), c.x1[rows] // CELL, rows, share))
        ends = pool.left_over
        end_leaf = spine_table[ends.board, ends.leaf]
        mine = np.flatnonzero(end_leaf >= 0)
        share = 1.0 / self._lanes[ends.board[mine]]
        columns.append((end_leaf[mine], -(-ends.x0[mine] // CELL), ends.x1[mine] // CELL, -1 - mine, share))
        joined = [np.concatenate([column[i] for column in columns]) for i in range(5)]
        return _sort_arcs(joined, self.cells)


def _sort_arcs(columns: list[NDArray[Any]], cells: int) -> _Arcs:
    leaf, start, end, row = (np.asarray(column, np.int64) for column in columns[:4])
    end = np.maximum(end, start + 1)
    order = np.lexsort((leaf, end))
    leaf, start, end, row = leaf[order], start[order], end[order], row[order]
    new = np.flatnonzero(np.diff(leaf) | np.diff(end)) + 1
    groups = np.concatenate([[0], new]).astype(np.int64) if len(leaf) else np.zeros(0, np.int64)
    group_of_end = np.searchsorted(end[groups], np.arange(cells + 2)).astype(np.int64)
    share = np.asarray(columns[4], float)[order]
    return _Arcs(leaf, start, end, row, share, groups, leaf[groups], group_of_end)


def _half_joins(pool: Pool) -> Floats:
    """Half of the cheapest join of each half panel; a panel of two halves pays at least both."""
    c = pool.candidates
    extra = np.zeros(len(c))
    half = np.flatnonzero(c.covers == 0)
    if pool.halves is not None and len(half):
        cheapest = np.where(pool.halves >= 0, pool.halves, np.iinfo(np.int64).max // 4).min(axis=2)
        extra[half] = cheapest[c.kind[half], c.board[half]] / 2
    return extra


def _find_spines(pool: Pool, board: int) -> tuple[int, ...]:
    """Leaves that every run of this board meets."""
    c = pool.candidates
    runs = c.run[c.board == board]
    if len(runs) == 0:
        return ()
    shortest = int(runs.min())
    return tuple(range(shortest - 1, int(pool.leaves[board]), shortest))


def _count_lanes(pool: Pool) -> Floats:
    """How many of the narrowest rectangles of a board fit beside each other."""
    c = pool.candidates
    narrowest = np.full(len(pool.leaves), np.iinfo(np.int64).max // 4)
    np.minimum.at(narrowest, c.board, c.y1 - c.y0)
    return np.asarray(np.maximum(1.0, pool.width // np.maximum(narrowest, 1)), float)


def _count_copies(pool: Pool, lanes: Floats) -> Floats:
    """Lanes that a candidate takes at the least, so that no set that fits takes more than there are.

    The dual feasible function of Fekete and Schepers: floor((k + 1) · height), one less where that is whole.
    """
    c = pool.candidates
    k = lanes[c.board]
    scaled = (k + 1) * (c.y1 - c.y0) / pool.width[c.board]
    whole = np.abs(scaled - np.rint(scaled)) < 1e-9
    return np.asarray(np.clip(np.where(whole, np.rint(scaled) - 1, np.floor(scaled)), 1.0, k))
