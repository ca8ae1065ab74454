"""What filling all bays costs at given prices: the other half of the bound, where bays ask and likeness counts.

Each board asks a price for a bay of each type. A type takes its bays from the cheapest boards, no more from each than
it could ever give; bays that are to look alike also pay for the distance to the board that leads them, and the group
takes the lead that is cheapest for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grainplan.match.model import IntArray, Pool

Floats = NDArray[np.float64]
NEAR = 64
"""Boards that are looked at beside each lead; what a bay from any other one costs at the least is told by the next."""


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """What is settled already while a set is built up board by board.

    Attributes
    ----------
    left : per type, bays that are still to be filled.
    fixed : bays that are filled, shape (types, columns of prices).
    free : per board, whether it may still be asked.
    """

    left: IntArray
    fixed: IntArray
    free: NDArray[np.bool_]

    @staticmethod
    def nothing(pool: Pool) -> Standing:
        """Every bay is still to be filled, from any board."""
        fixed = np.zeros((len(pool.demand), place_prices(pool)[1]), np.int64)
        return Standing(pool.demand.copy(), fixed, np.ones(len(pool.leaves), dtype=np.bool_))


@dataclass(frozen=True, slots=True, eq=False)
class _Asking:
    """One type in its group.

    Attributes
    ----------
    boards : those that could fill it. near : a row a lead, the boards nearest to it, shape (leads, up to NEAR).
    distance : what a bay from them pays, alike in shape. beyond : what one from any other board pays at the least.
    """

    kind: int
    boards: IntArray
    near: IntArray
    distance: Floats
    beyond: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Company:
    """Types that choose one lead; without likeness there is one row, which stands for no lead."""

    asking: tuple[_Asking, ...]
    penalty: Floats  # (leads, columns)


class DemandSide:
    """The cheapest way to fill the bays at given prices.

    Parameters
    ----------
    pool : Pool
    """

    def __init__(self, pool: Pool) -> None:
        self.pool = pool
        self._most = np.minimum(_count_most(pool), pool.demand[:, None])
        self._empty = pool.unfilled - share_pairs(pool)
        grouped: set[int] = set()
        self._companies: list[_Company] = []
        for group in pool.alike:
            kinds = [k for k in group.types if k not in grouped]
            grouped |= set(kinds)
            if kinds:
                self._companies.append(self._join(kinds, group.penalty.astype(float)))
        for kind in range(len(pool.demand)):
            if kind not in grouped:
                self._companies.append(self._join([kind], np.zeros((1, len(pool.leaves)))))

    def _join(self, kinds: list[int], penalty: Floats) -> _Company:
        boards, columns = len(self.pool.leaves), self._most.shape[1]
        if len(penalty) > 1:
            leads = np.unique(np.flatnonzero((self._most[kinds] > 0).any(axis=0)) % boards)
            penalty = penalty[leads] if len(leads) else np.zeros((1, boards))
        penalty = np.pad(penalty, ((0, 0), (0, columns - boards)))
        return _Company(tuple(_ask(kind, self._most[kind], penalty) for kind in kinds), penalty)

    def fill(self, prices: Floats, standing: Standing | None = None) -> tuple[float, Floats]:
        """Total cost, and how many bays of each type each board fills; shape (types, columns), as `prices`.

        The cost is never above the true one: where a bay would come from a board that was not looked at, it counts with
        the least that it could cost there.
        """
        standing = standing or Standing.nothing(self.pool)
        free = np.resize(standing.free, prices.shape[1])
        asked = np.where(free[None, :], prices, np.inf)
        total, filled = 0.0, np.zeros(prices.shape)
        for company in self._companies:
            settled = standing.fixed[[one.kind for one in company.asking]].sum(axis=0)
            used = np.flatnonzero(settled)
            costs = company.penalty[:, used] @ settled[used].astype(float)
            taken = []
            for one in company.asking:
                if standing.left[one.kind] > 0:
                    cost, boards, bays = self._take(one, asked[one.kind], int(standing.left[one.kind]))
                    costs = costs + cost
                    taken.append((one.kind, boards, bays))
            lead = int(np.argmin(costs))
            total += float(costs[lead])
            for kind, boards, bays in taken:
                np.add.at(filled, (kind, boards[lead]), bays[lead])
        return total, filled

    def _take(self, one: _Asking, asked: Floats, left: int) -> tuple[Floats, IntArray, IntArray]:
        """Under each lead: what the bays of a type cost, from which boards they come, and how many from each."""
        empty = float(self._empty[one.kind])
        cost = asked[one.near] + one.distance
        order = _first_few(cost, left)
        cost, boards = np.take_along_axis(cost, order, 1), np.take_along_axis(one.near, order, 1)
        least = asked[one.boards].min(initial=np.inf) + one.beyond
        most = self._most[one.kind][boards]
        before = np.cumsum(most, axis=1) - most
        bays = np.clip(left - before, 0, most)
        bays[cost >= empty] = 0
        rest = np.minimum(empty, least)
        each = np.minimum(cost, rest[:, None])
        counted = np.clip(left - before, 0, most)
        total = np.where(counted > 0, counted * each, 0.0).sum(axis=1) + (left - counted.sum(axis=1)) * rest
        return np.asarray(total), np.asarray(boards), np.asarray(bays)


def _first_few(cost: Floats, count: int) -> IntArray:
    """The columns of the lowest costs of each row, in order."""
    if cost.shape[1] > count:
        few = np.argpartition(cost, count - 1, axis=1)[:, :count]
        inner = np.argsort(np.take_along_axis(cost, few, 1), axis=1, kind="stable")
        return np.asarray(np.take_along_axis(few, inner, 1))
    return np.asarray(np.argsort(cost, axis=1, kind="stable"))


def _ask(kind: int, most: IntArray, penalty: Floats) -> _Asking:
    boards = np.flatnonzero(most > 0)
    distance = penalty[:, boards]
    if len(boards) <= NEAR or len(penalty) == 1:
        near = np.broadcast_to(boards, distance.shape)
        return _Asking(kind, boards, near, distance, np.full(len(penalty), np.inf))
    order = np.argsort(distance, axis=1, kind="stable")
    beyond = np.take_along_axis(distance, order[:, NEAR : NEAR + 1], 1)[:, 0]
    order = order[:, :NEAR]
    return _Asking(kind, boards, boards[order], np.take_along_axis(distance, order, 1), beyond)


def place_prices(pool: Pool) -> tuple[IntArray, int]:
    """The price column of each candidate, and how many columns there are: one a board, and one more for its halves.

    Half a panel has a price of its own. The panel is alike to the board of its first half, so what the second one pays
    for likeness is nothing, and that must not make whole panels cheaper.
    """
    c, boards = pool.candidates, len(pool.leaves)
    half = c.covers == 0
    return c.board + boards * half, boards * (2 if half.any() else 1)


def share_pairs(pool: Pool) -> Floats:
    """Per type, what a bay pays at the least for standing in a pair that is not cut from one place."""
    share = np.zeros(len(pool.demand))
    for term in pool.pairs:
        if pool.demand[term.kind] == 2 * term.count:
            share[term.kind] = float(term.penalty.min(initial=0)) / 2
    return share


def _count_most(pool: Pool) -> IntArray:
    """More bays of a type than this no board can ever fill; shape (types, columns)."""
    c = pool.candidates
    column, columns = place_prices(pool)
    shape = (len(pool.demand), columns)
    huge = np.iinfo(np.int64).max // 4
    span, run, high = (np.full(shape, huge) for _ in range(3))
    covers = np.zeros(shape, np.int64)
    at = (c.kind, column)
    np.minimum.at(span, at, c.x1 - c.x0)
    np.minimum.at(run, at, c.run)
    np.minimum.at(high, at, c.y1 - c.y0)
    np.maximum.at(covers, at, np.maximum(c.covers, 1))
    length, leaves, width = (np.resize(whole, columns) for whole in (pool.length, pool.leaves, pool.width))
    most = (length // span) * (leaves // run) * (width // high) * covers
    most[:, len(pool.leaves) :] = -(-most[:, len(pool.leaves) :] // 2)
    return np.asarray(most)
