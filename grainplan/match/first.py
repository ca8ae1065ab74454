"""A first set in a moment: bays one after the other, each at its cheapest place, tried in several orders."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from grainplan.match.model import IntArray, Pool, rows_by
from grainplan.match.scoring import score_choice

Floats = NDArray[np.float64]
SHARES = (0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9, 1.0)
"""Share of a closed board's price that the first bay on it is charged with."""
MANY = 50_000
"""From so many candidates on fewer orders are tried, for each takes its time."""


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
    along = np.zeros(len(pool.demand))
    np.maximum.at(along, c.kind, (c.x1 - c.x0).astype(float))
    orders = [np.argsort(-key, kind="stable") for key in (span, along, -supply)]
    if prices is not None:
        orders.append(np.argsort(-prices, kind="stable"))
    best: tuple[int, tuple[int, ...]] | None = None
    for order in orders:
        for share in SHARES if len(c) < MANY else SHARES[1::3]:
            rows = fill_in_order(pool, order, share=share)
            found = (score_choice(pool, rows).total, rows)
            if best is None or found < best:
                best = found
    assert best is not None
    return best[1]


def better_quickly(pool: Pool, rows: tuple[int, ...], *, rounds: int) -> tuple[int, ...]:
    """Take a few bays out, or all of one board, fill them in again, and keep what is cheaper; always the same draws.

    Parameters
    ----------
    pool : Pool
    rows : tuple of int
        A set that fits.
    rounds : int
    """
    rng = np.random.default_rng(7)
    board = pool.candidates.board
    best, cost = rows, score_choice(pool, rows).total
    for place in range(rounds):
        if not best:
            break
        chosen = np.array(best, np.int64)
        if place % 2:
            out = np.isin(board[chosen], rng.choice(np.unique(board[chosen]), 2))
        else:
            out = np.isin(np.arange(len(chosen)), rng.choice(len(chosen), min(4, len(chosen)), replace=False))
        order = rng.permutation(len(pool.demand))
        start = tuple(int(r) for r in chosen[~out])
        trial = fill_in_order(pool, order, share=float(rng.uniform(0.0, 1.0)), start=start)
        total = score_choice(pool, trial).total
        if total < cost:
            best, cost = trial, total
    return best


def fill_in_order(pool: Pool, order: IntArray, *, share: float, start: tuple[int, ...] = ()) -> tuple[int, ...]:
    """Bays type by type, each at the place that costs least now; half panels are left to the exact search.

    Parameters
    ----------
    pool : Pool
    order : int array
        Types, in the order in which they choose.
    share : float
        Of the price of a closed board, charged to the first bay on it.
    start : tuple of int
        What is chosen already.
    """
    c = pool.candidates
    free = c.covers > 0
    extra = share * pool.open_cost.astype(float)
    by_kind = rows_by(c.kind, len(pool.demand))
    by_board = rows_by(c.board, len(pool.leaves))
    groups = [(group.types, group.penalty.astype(float)) for group in pool.alike]
    lead: list[int | None] = [None] * len(groups)
    chosen = list(start)
    left_of = pool.demand.copy()
    for row in start:
        left_of[c.kind[row]] -= c.covers[row]
        extra[c.board[row]] = 0.0
        _take(pool, free, by_board[c.board[row]], row)
        lead = _follow(groups, lead, int(c.kind[row]), int(c.board[row]))
    for kind in order:
        left = int(left_of[kind])
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
            lead = _follow(groups, lead, int(kind), int(c.board[row]))
            _take(pool, free, by_board[c.board[row]], row)
    return tuple(sorted(chosen))


def _follow(
    groups: list[tuple[tuple[int, ...], Floats]], lead: list[int | None], kind: int, board: int
) -> list[int | None]:
    """Who leads each group once a bay of a type stands on a board: the first bay of the group."""
    return [board if first is None and kind in types else first for (types, _), first in zip(groups, lead, strict=True)]


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
