"""The boards' side of the bound: what a board can earn at given prices, line by line along its leaves.

A line runs along one leaf at one place across. On it the best set of candidates is a weighted interval problem over the
length, solved cell by cell for all lines at once. A candidate that lies on several lines brings each of them its share.
Where strips lie side by side on a board, two sets of lines are looked at, and the one that holds it to less counts:

- *lanes*: one line a leaf, taken as often as the narrowest strip fits beside itself; a wide strip takes several lanes;
- *stabs*: lines at so few places across that every candidate lies on one of them, each taken once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from grainplan.match.demand import place_prices
from grainplan.match.model import IntArray, Pool, rows_by

Floats = NDArray[np.float64]
CELL = 10_000
"""Ticks of one cell of the interval problem; intervals are shrunk to whole cells, so the bound stays a bound."""
LANES, STABS = 0, 1
_TINY = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Earned:
    """What the boards earn at some prices.

    Attributes
    ----------
    value : per arc. best : best value on each line up to each cell, shape (cells + 1, lines).
    counts : per line, whether it belongs to the set of lines that counts for its board.
    board : per board, its price less what it earns; an opened board adds this to the bound where it is below 0.
    """

    value: Floats
    best: Floats
    counts: NDArray[np.bool_]
    board: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """Where the lines are. `kind`: lanes or stabs; `times`: how often a line is taken."""

    board: IntArray
    leaf: IntArray
    across: IntArray  # ticks; -1 for lanes
    kind: IntArray
    times: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Arcs:
    """Intervals on the lines, in the order of their ends; `row` is a candidate, or -1 - end."""

    line: IntArray
    start: IntArray
    end: IntArray
    row: IntArray
    weight: Floats  # of the price, in its value
    fixed: Floats  # what its value is without the price
    copies: Floats  # lanes that it takes
    groups: IntArray  # first arc of each (end, line)
    group_end: IntArray  # end of each group
    group_line: IntArray
    group_of_end: IntArray  # first group of each end cell


class BoardSide:
    """What every board earns at given prices.

    Parameters
    ----------
    pool : Pool
    cost : float array
        Of each candidate, what it costs at the least.
    """

    def __init__(self, pool: Pool, cost: Floats) -> None:
        self.pool = pool
        c = pool.candidates
        self.bays = np.where(c.covers == 0, 0.5, c.covers.astype(float))
        self.cells = int(pool.length.max(initial=0) // CELL) + 1
        self._cost = cost
        self._spines = [_find_spines(pool, board) for board in range(len(pool.leaves))]
        self._lanes = _count_lanes(pool)
        self._copies = _count_copies(pool, self._lanes)
        self._rows_of = rows_by(c.board, len(pool.leaves))
        self._lines = self._list_lines()
        self._per_tick = self._value_ends()
        self._arcs = self._list_arcs()
        arcs = self._arcs
        real = arcs.row >= 0
        row = np.where(real, arcs.row, 0)
        self._column, self.columns = place_prices(pool)
        place = c.kind[row] * self.columns + self._column[row] if len(c) else row
        self._place = np.where(real, place, len(pool.demand) * self.columns)
        self._flat = arcs.start * len(self._lines.board) + arcs.line

    def profit(self, prices: Floats) -> Floats:
        """What each candidate earns where it is taken whole."""
        return np.asarray(prices[self.pool.candidates.kind, self._column] * self.bays - self._cost)

    def earn(self, prices: Floats) -> Earned:
        """Solve every line at these prices, shape (types, columns)."""
        arcs, lines = self._arcs, self._lines
        value = np.append(prices.ravel(), 0.0)[self._place]
        value *= arcs.weight
        value += arcs.fixed
        best = np.zeros((self.cells + 1, len(lines.board)))
        flat, ends = best.reshape(-1), arcs.group_of_end
        for cell in range(1, self.cells + 1):
            row = best[cell]
            row[:] = best[cell - 1]
            low, high = ends[cell], ends[cell + 1]
            if low < high:
                first, last = arcs.groups[low], arcs.group_end[high - 1]
                through = flat[self._flat[first:last]]
                through += value[first:last]
                top = np.maximum.reduceat(through, arcs.groups[low:high] - first)
                here = arcs.group_line[low:high]
                row[here] = np.maximum(row[here], top)
        return self._settle(value, best)

    def _settle(self, value: Floats, best: Floats) -> Earned:
        """Of the two sets of lines of a board, take the one that earns it less."""
        lines, boards = self._lines, len(self.pool.leaves)
        earned = np.full((2, boards), np.inf)
        for kind in (LANES, STABS):
            mine = lines.kind == kind
            total = np.bincount(lines.board[mine], best[-1, mine] * lines.times[mine], boards)
            there = np.bincount(lines.board[mine], minlength=boards) > 0
            earned[kind, there] = total[there]
        earned[LANES, ~np.isfinite(earned).any(axis=0)] = 0.0
        kind = np.argmin(earned, axis=0)
        counts = kind[lines.board] == lines.kind
        return Earned(value, best, counts, self.pool.open_cost - earned.min(axis=0))

    def trace(self, earned: Earned, opened: NDArray[np.bool_]) -> tuple[Floats, IntArray]:
        """What opened boards are filled with: bays by type and board, and the candidates that were met on the way."""
        arcs, lines, c, best = self._arcs, self._lines, self.pool.candidates, earned.best
        used = np.zeros((len(self.pool.demand), self.columns))
        rises = best[1:] > best[:-1] + _TINY
        at = np.where(opened[lines.board] & earned.counts, self.cells, 0)
        met: list[int] = []
        for cell in range(self.cells, 0, -1):
            now = at == cell
            here = np.flatnonzero(now & rises[cell - 1])
            at[now] = cell - 1
            low, high = arcs.group_of_end[cell], arcs.group_of_end[cell + 1]
            for group in low + np.searchsorted(arcs.group_line[low:high], here):
                first, last, line = arcs.groups[group], arcs.group_end[group], arcs.group_line[group]
                through = best[arcs.start[first:last], line] + earned.value[first:last]
                arc = first + int(np.argmax(through))
                at[line] = arcs.start[arc]
                if arcs.row[arc] >= 0:
                    met.append(arc)
        taken = np.array(met, np.int64)
        rows = arcs.row[taken]
        np.add.at(used, (c.kind[rows], self._column[rows]), arcs.weight[taken] * lines.times[arcs.line[taken]])
        return used, np.unique(rows)

    def reduce(self, earned: Earned) -> Floats:
        """By how much the bound rises when each candidate must be taken."""
        arcs = self._arcs
        backward = self._backward(earned.value)
        real = np.flatnonzero((arcs.row >= 0) & earned.counts[arcs.line])
        line = arcs.line[real]
        through = earned.best[arcs.start[real], line] + earned.value[real] + backward[arcs.end[real], line]
        gap = np.maximum(earned.best[-1, line] - through, 0.0) * arcs.copies[real]
        reduced = np.bincount(arcs.row[real], gap, len(self.pool.candidates))
        return np.asarray(reduced + np.maximum(earned.board, 0.0)[self.pool.candidates.board])

    def _backward(self, value: Floats) -> Floats:
        arcs = self._arcs
        order = np.lexsort((arcs.line, arcs.start))
        start, line = arcs.start[order], arcs.line[order]
        best = np.zeros((self.cells + 1, len(self._lines.board)))
        first = np.searchsorted(start, np.arange(self.cells + 2))
        for cell in range(self.cells - 1, -1, -1):
            best[cell] = best[cell + 1]
            low, high = first[cell], first[cell + 1]
            if low < high:
                through = best[arcs.end[order[low:high]], line[low:high]] + value[order[low:high]]
                np.maximum.at(best[cell], line[low:high], through)
        return best

    def _list_lines(self) -> _Lines:
        rows: list[tuple[int, int, int, int, float]] = []
        for board, spine in enumerate(self._spines):
            lanes = float(self._lanes[board])
            if not spine:
                continue
            all_leaves = range(int(self.pool.leaves[board]))
            rows += [(board, leaf, -1, LANES, lanes) for leaf in all_leaves]
            if lanes > 1:
                stabs = _find_stabs(self.pool, self._rows_of[board])
                rows += [(board, leaf, y, STABS, 1.0) for leaf in all_leaves for y in stabs]
        columns = list(zip(*rows, strict=True)) if rows else [()] * 5
        whole = [np.array(column, np.int64) for column in columns[:4]]
        return _Lines(whole[0], whole[1], whole[2], whole[3], np.array(columns[4], float))

    def _value_ends(self) -> Floats:
        """By board, what a tick of a left-over end is worth at the most."""
        pool, ends = self.pool, self.pool.left_over
        per_tick = np.zeros(len(pool.leaves))
        np.maximum.at(per_tick, ends.board, ends.value / np.maximum(ends.x1 - ends.x0, 1))
        return per_tick

    def _list_arcs(self) -> _Arcs:
        parts = [self._arcs_of_board(board) for board in range(len(self.pool.leaves))]
        joined = [np.concatenate([part[i] for part in parts]) for i in range(7)] if parts else []
        return _sort_arcs(joined, self.cells)

    def _arcs_of_board(self, board: int) -> list[NDArray[Any]]:
        """Line, start, end, row, weight, fixed value and copies of all intervals of a board."""
        columns = []
        for kind in (LANES, STABS):
            lines = np.flatnonzero((self._lines.board == board) & (self._lines.kind == kind))
            if len(lines):
                columns += [self._arcs_of_rows(board, lines, kind), self._arcs_of_ends(board, lines, kind)]
        if not columns:
            return [np.zeros(0, np.int64)] * 4 + [np.zeros(0)] * 3
        return [np.concatenate([column[i] for column in columns]) for i in range(7)]

    def _arcs_of_rows(self, board: int, lines: IntArray, kind: int) -> list[NDArray[Any]]:
        """A candidate also pays the leaves outside the spines what the wood that it takes there is worth as ends."""
        c, mine = self.pool.candidates, self._rows_of[board]
        leaves = int(self.pool.leaves[board])
        leaf, across = self._lines.leaf[lines][:, None], self._lines.across[lines][:, None]
        on_line = (c.leaf[mine] <= leaf) & (leaf < c.leaf[mine] + c.run[mine])
        on_leaf = on_line.reshape(leaves, -1, len(mine))[:, 0]
        share = self._share_leaves(board, on_leaf)
        outside = on_leaf & (share == 0)
        if kind == LANES:
            copies = lines_met = self._copies[mine]
            part = copies / self._lanes[board]
        else:
            on_line &= (c.y0[mine] <= across) & (across < c.y1[mine])
            copies = np.ones(len(mine))
            lines_met = on_line.reshape(leaves, -1, len(mine)).sum(axis=1).max(axis=0).astype(float)
            part = lines_met * leaves / len(lines)
        pay = self._per_tick[board] * (c.x1[mine] - c.x0[mine]) * part
        line, at = np.nonzero(on_line)
        rows, of_leaf = mine[at], line * leaves // len(lines)
        weight = share[of_leaf, at] / lines_met[at]
        paid = outside[of_leaf, at] * pay[at] / lines_met[at]
        fixed = paid - weight * (self._cost[rows] + (pay * outside.sum(axis=0))[at])
        start, end = -(-c.x0[rows] // CELL), c.x1[rows] // CELL
        return [lines[line], start, end, rows, self.bays[rows] * weight, fixed, copies[at]]

    def _arcs_of_ends(self, board: int, lines: IntArray, kind: int) -> list[NDArray[Any]]:
        """A left-over end lies on every line of its leaf and brings each the same."""
        ends = self.pool.left_over
        low, high = np.searchsorted(ends.board, [board, board + 1])
        line, at = np.nonzero(ends.leaf[low:high] == self._lines.leaf[lines][:, None])
        rows = low + at
        lanes = self._lanes[board] if kind == LANES else len(lines) / int(self.pool.leaves[board])
        start, end = -(-ends.x0[rows] // CELL), ends.x1[rows] // CELL
        return [lines[line], start, end, -1 - rows, np.zeros(len(rows)), ends.value[rows] / lanes, np.ones(len(rows))]

    def _share_leaves(self, board: int, on_leaf: NDArray[np.bool_]) -> Floats:
        """Which share of a candidate each leaf pays for: the leaves that every run meets, in equal shares."""
        inside = np.zeros(len(on_leaf), dtype=np.bool_)
        inside[list(self._spines[board])] = True
        share = on_leaf * inside[:, None]
        return np.asarray(share / share.sum(axis=0))


def _sort_arcs(columns: list[NDArray[Any]], cells: int) -> _Arcs:
    line, start, end, row = (np.asarray(column, np.int64) for column in columns[:4])
    end = np.maximum(end, start + 1)
    order = np.lexsort((line, end))
    line, start, end, row = line[order], start[order], end[order], row[order]
    new = np.flatnonzero(np.diff(line) | np.diff(end)) + 1
    groups = np.concatenate([[0], new]).astype(np.int64) if len(line) else np.zeros(0, np.int64)
    group_end = np.append(groups[1:], len(line)).astype(np.int64)
    group_of_end = np.searchsorted(end[groups], np.arange(cells + 2)).astype(np.int64)
    weight, fixed, copies = (np.asarray(column, float)[order] for column in columns[4:])
    return _Arcs(line, start, end, row, weight, fixed, copies, groups, group_end, line[groups], group_of_end)


def _find_spines(pool: Pool, board: int) -> tuple[int, ...]:
    """Leaves that every run of this board meets."""
    c = pool.candidates
    runs = c.run[c.board == board]
    if len(runs) == 0:
        return ()
    shortest = int(runs.min())
    leaves = int(pool.leaves[board])
    if leaves == 2 * shortest:
        return (shortest - 1, shortest)
    return tuple(range(shortest - 1, leaves, shortest))


def _find_stabs(pool: Pool, mine: IntArray) -> list[int]:
    """As few places across as meet every candidate of a board, toward the middle, where wide strips meet several.

    From the foot of the width each place lies as far up as it may, from its top as far down. The lower half of the
    first and the upper half of the second meet everything too: what lies between them would be missed by both.
    """
    c = pool.candidates
    spans = np.unique(np.column_stack([c.y0[mine], c.y1[mine]]), axis=0)
    upward: list[int] = []
    for y0, y1 in spans[np.argsort(spans[:, 1], kind="stable")]:
        if not upward or upward[-1] < y0:
            upward.append(int(y1) - 1)
    downward: list[int] = []
    for y0, y1 in spans[np.argsort(-spans[:, 0], kind="stable")]:
        if not downward or downward[-1] >= y1:
            downward.append(int(y0))
    half = (len(upward) + 1) // 2
    return upward[:half] + downward[::-1][half:]


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
