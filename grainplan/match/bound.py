"""What no set of candidates can beat, and which candidates are worth looking at: a Lagrangian bound in plain arrays.

Each bay type gets a price at each board, which the board is paid for filling one of its bays. At given prices the
boards no longer need each other, nor do they need the bays: `lines.py` says what each board can earn, `demand.py` what
filling all bays costs. Prices are moved until the two together are good. What pairs cost is never less than nothing and
is left out here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from grainplan.match.demand import DemandSide, Standing, share_pairs
from grainplan.match.lines import BoardSide, Earned
from grainplan.match.model import IntArray, Pool

Floats = NDArray[np.float64]
CLOSED = -1e12
"""Price of a bay that nobody asks for any more."""
AFRESH, ONWARD = 0.05, 0.01
"""How far above the best bound the next one is hoped for, at first and when earlier prices are moved on."""
FLAT_ROUNDS = 80
"""With one price a type there is little to gain from more."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A bound and the reduced costs that go with it.

    Attributes
    ----------
    value : no set costs less, thousandths.
    prices : per type and board (for halves: in further columns), what a filled bay is paid.
    reduced : per candidate, by how much the bound rises when it must be taken; a candidate whose reduced cost is more
        than the distance from the bound to a known set is in no better set.
    """

    value: int
    prices: Floats
    reduced: Floats

    @property
    def worth(self) -> Floats:
        """Per type, the most that is paid for a filled bay."""
        return np.asarray(self.prices.max(axis=1, initial=0.0))


@dataclass(frozen=True, slots=True)
class Pace:
    """How prices are moved.

    Attributes
    ----------
    rounds : at the most.
    reach : how far above the best bound, as a share of it, the next one is hoped for at first.
    memory : how much of the last direction the next one keeps; prices that swing to and fro settle sooner.
    patience : rounds without a better bound before less is hoped for.
    shrink : what is then hoped for, as a share of what was.
    target : cost of a known set; no bound above it is hoped for.
    by_board : whether each board has prices of its own.
    """

    rounds: int
    reach: float
    memory: float = 0.8
    patience: int = 12
    shrink: float = 0.7
    target: float = np.inf
    by_board: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """The bound at some prices.

    Attributes
    ----------
    value : the bound. slope : bays asked for less bays offered, by type and board.
    earned : what the boards earn. rows : candidates that the opened boards would take.
    """

    value: float
    slope: Floats
    earned: Earned
    rows: IntArray


class LagrangianBound:
    """The bound of a pool, at prices that can be moved.

    Parameters
    ----------
    pool : Pool
    """

    def __init__(self, pool: Pool) -> None:
        self.pool = pool
        self._boards = BoardSide(pool, _least_cost(pool))
        self._demand = DemandSide(pool)

    def raise_prices(self, target: int, *, rounds: int, prices: Floats | None = None) -> Bound:
        """Move the prices a fixed number of rounds, or until the bound meets a known cost, and keep the best bound.

        First one price a type, which is quick; then one a type and board, which also sees what is to look alike.

        Parameters
        ----------
        target : int
            Cost of a known set.
        rounds : int
            Of each stage.
        prices : float array or None
            Prices of an earlier bound to go on from; the first stage is then left out.
        """
        pace = Pace(rounds, reach=AFRESH if prices is None else ONWARD, target=target)
        if prices is None:
            start = np.repeat(self._start_prices()[:, None], self._boards.columns, axis=1)
            prices, _ = self.climb(start, replace(pace, rounds=min(rounds, FLAT_ROUNDS), by_board=False))
        prices, value = self.climb(prices, pace)
        return Bound(int(np.floor(value + 1e-6)), prices, self._boards.reduce(self._boards.earn(prices)))

    def climb(
        self,
        prices: Floats,
        pace: Pace,
        *,
        standing: Standing | None = None,
        note: Callable[[Look], None] | None = None,
    ) -> tuple[Floats, float]:
        """The best prices that are met on the way, and their bound; steps by Polyak's rule toward a hoped-for bound.

        Parameters
        ----------
        prices : float array (types, columns)
        pace : Pace
        standing : Standing or None
            What is settled already.
        note : callable or None
            Told every look on the way.
        """
        best_value, best_prices, slow, reach = -np.inf, prices, 0, pace.reach
        top = self.pool.unfilled.astype(float)[:, None]
        direction = np.zeros_like(prices)
        for _ in range(pace.rounds):
            look = self.look(prices, by_board=pace.by_board, standing=standing)
            if note is not None:
                note(look)
            if look.value > best_value + 1e-6:
                best_value, best_prices, slow = look.value, prices, 0
            else:
                slow += 1
            if slow >= pace.patience:
                reach, slow, direction = reach * pace.shrink, 0, np.zeros_like(prices)
                prices = best_prices
                continue
            direction = look.slope + pace.memory * direction
            norm = float((direction * direction).sum())
            if norm < 1e-9 or reach < 1e-5 or best_value >= pace.target:
                break
            hoped = min(best_value + reach * (abs(best_value) + 1.0), pace.target)
            prices = np.clip(prices + max(hoped - look.value, 0.0) / norm * direction, 0.0, top)
        return best_prices, best_value

    def look(self, prices: Floats, *, by_board: bool = True, standing: Standing | None = None) -> Look:
        """The bound at these prices, and which way each price should move."""
        paid = prices
        if standing is not None:
            paid = np.where((standing.left > 0)[:, None], prices, CLOSED)
        earned = self._boards.earn(paid)
        opened = earned.board < 0
        if standing is not None:
            opened = opened & standing.free
        used, rows = self._boards.trace(earned, opened)
        value = float(earned.board[opened].sum())
        if by_board:
            cost, filled = self._demand.fill(prices, standing)
            return Look(value + cost, filled - used, earned, rows)
        slope = (self.pool.demand - used.sum(axis=1)) / max(prices.shape[1], 1)
        wide = np.repeat(slope[:, None], prices.shape[1], axis=1)
        return Look(value + float(self.pool.demand @ prices[:, 0]), wide, earned, rows)

    def price_boards(self, prices: Floats) -> tuple[Floats, Floats]:
        """What opening each board costs less what it earns, and what each candidate earns."""
        return self._boards.earn(prices).board, self._boards.profit(prices)

    def _start_prices(self) -> Floats:
        """A little above the cheapest way to fill a bay of each type, a share of its board in it."""
        pool, c = self.pool, self.pool.candidates
        area = (c.x1 - c.x0) * c.run / np.maximum(pool.length[c.board] * pool.leaves[c.board], 1)
        guess = (_least_cost(pool) + area * pool.open_cost[c.board]) / self._boards.bays
        best = np.full(len(pool.demand), np.inf)
        np.minimum.at(best, c.kind, guess)
        return np.asarray(np.minimum(np.where(np.isfinite(best), best, 0.0), pool.unfilled.astype(float)))


def _least_cost(pool: Pool) -> Floats:
    """Of each candidate, with its share of a pair; half a panel also pays half of its cheapest join."""
    c = pool.candidates
    bays = np.where(c.covers == 0, 0.5, c.covers % 2)  # two bays cut from one place are a pair already
    cost = c.cost + bays * share_pairs(pool)[c.kind]
    half = np.flatnonzero(c.covers == 0)
    if pool.halves is not None and len(half):
        cheapest = np.where(pool.halves >= 0, pool.halves, np.iinfo(np.int64).max // 4).min(axis=2)
        cost[half] += cheapest[c.kind[half], c.board[half]] / 2
    return np.asarray(cost)
