"""A first set in a moment: bays one after the other, each at its cheapest place, tried in several orders."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from grainplan.match.model import IntArray, Pool
from grainplan.match.scoring import score_choice

Floats = NDArray[np.float64]
SHARES = (0.2, 0.4, 0.7, 1.0)
"""Share of a closed board's price that the first bay on it is charged with."""


def find_first(pool: Pool, prices: Floats | None = None) -> tuple[int, ...]:
    """The best of several quick choices; a set that fits, in the order of its rows.

    Parameters
    ----------
    pool : Pool
    prices : float array or None
        What a filled bay of each type is worth, from the bound: dear bays choose first.
    """
    c = pool.candidates
    span = np.zeros(len(pool.demand))
    np.maximum.at(span, c.kind, ((c.x1 - c.x0) * c.run).astype(float))
    supply = np.bincount(c.kind, minlength=len(pool.demand)) / pool.demand
    orders = [np.argsort(-span, kind="stable"), np.argsort(supply, kind="stable")]
    if prices is not None:
        orders.append(np.argsort(-prices, kind="stable"))
    best: tuple[int, tuple[int, ...]] | None = None
    for order in orders:
        for share in SHARES:
            rows = fill_in_order(pool, order, share=share)
            found = (score_choice(pool, rows).total, rows)
            if best is None or found < best:
                best = found
    assert best is not None
    return best[1]


def fill_in_order(pool: Pool, order: IntArray, *, share: float) -> tuple[int, ...]:
    """Bays type by type, each at the place that costs least now; half panels are left to the exact search."""
    c = pool.candidates
    free = c.covers > 0
    extra = share * pool.open_cost.astype(float)
    by_kind = _rows_by(c.kind, len(pool.demand))
    by_board = _rows_by(c.board, len(pool.leaves))
    groups = [(group.types, group.penalty.astype(float)) for group in pool.alike]
    lead: list[int | None] = [None] * len(groups)
    chosen: list[int] = []
    for kind in order:
        left = int(pool.demand[kind])
        mine = by_kind[kind]
        while left > 0:
            rows = mine[free[mine] & (c.covers[mine] <= left)]
            if len(rows) == 0:
                break
            price = (c.cost[rows] + extra[c.board[rows]]) / c.covers[rows]
            for (types, penalty), first in zip(groups, lead, strict=True):
                if kind in types and first is not None:
                    price = price + penalty[first, c.board[rows]]
            row = int(rows[np.argmin(price)])
            chosen.append(row)
            left -= int(c.covers[row])
            extra[c.board[row]] = 0.0
            lead = [
                int(c.board[row]) if first is None and kind in types else first
                for (types, _), first in zip(groups, lead, strict=True)
            ]
            _take(pool, free, by_board[c.board[row]], row)
    return tuple(sorted(chosen))


def clash_with(pool: Pool, rows: IntArray, row: int) -> NDArray[np.bool_]:
    """Which of some candidates of one board want wood that `row` takes."""
    c = pool.candidates
    return np.asarray(
        (c.leaf[rows] < c.leaf[row] + c.run[row])
        & (c.leaf[row] < c.leaf[rows] + c.run[rows])
        & (c.x0[rows] < c.x1[row])
        & (c.x0[row] < c.x1[rows])
        & (c.y0[rows] < c.y1[row])
        & (c.y0[row] < c.y1[rows])
    )


def _take(pool: Pool, free: NDArray[np.bool_], board_rows: IntArray, row: int) -> None:
    free[board_rows[clash_with(pool, board_rows, row)]] = False


def _rows_by(column: IntArray, count: int) -> list[IntArray]:
    order = np.argsort(column, kind="stable")
    starts = np.searchsorted(column[order], np.arange(count + 1))
    return [order[starts[i] : starts[i + 1]] for i in range(count)]
