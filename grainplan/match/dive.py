"""A first set from the prices of the bound: boards are settled a few at a time, and the prices follow what is left.

At good prices the best filling of each board is known. Those boards that are opened round after round are taken as they
are; then the prices are moved for the bays that are left, and so on, until every bay is filled or no board pays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from grainplan.match.bound import LagrangianBound, Look, Pace
from grainplan.match.demand import Standing
from grainplan.match.first import clash_with
from grainplan.match.model import IntArray, Pool, rows_by

Floats = NDArray[np.float64]
SHARE = 0.06
"""Of the bays that are left, how many are settled before the prices are moved again."""
FIRST = Pace(30, reach=0.02, patience=8)
AGAIN = Pace(12, reach=0.02, patience=8)
FADE = 0.9
"""How much the earlier rounds weigh when boards that are opened again and again are told."""


def dive(bound: LagrangianBound, prices: Floats) -> tuple[int, ...]:
    """A set that fits, from good prices; bays may stay empty, for which somebody else finds a place.

    Parameters
    ----------
    bound : LagrangianBound
        Of the candidates that may be chosen; a few tens of thousands keep it quick.
    prices : float array (types, boards)

    Returns
    -------
    tuple of int
        Rows of the candidates, in order. Half panels are never among them.
    """
    pool = bound.pool
    standing = Standing.nothing(pool)
    often = np.zeros(len(pool.leaves))
    chosen: list[int] = []
    pace = FIRST
    by_board = rows_by(pool.candidates.board, len(pool.leaves))
    while standing.left.sum() > 0:
        prices, look = _move(bound, prices, pace, standing, often)
        settled = _settle(pool, prices, look, (standing, often, by_board))
        if not settled:
            break
        chosen += settled
        pace = AGAIN
    return tuple(sorted(chosen))


def _move(bound: LagrangianBound, prices: Floats, pace: Pace, standing: Standing, often: Floats) -> tuple[Floats, Look]:
    """Better prices for what is left; `often` learns which boards are opened on the way."""
    board = bound.pool.candidates.board

    def note(look: Look) -> None:
        opened = np.zeros(len(often))
        opened[board[look.rows]] = 1.0
        often[:] = FADE * often + (1 - FADE) * opened

    prices, _ = bound.climb(prices, pace, standing=standing, note=note)
    return prices, bound.look(prices, standing=standing)


def _settle(pool: Pool, prices: Floats, look: Look, state: tuple[Standing, Floats, list[IntArray]]) -> list[int]:
    """Take the boards that are opened most often, as they would be filled, up to a share of what is left."""
    standing, often, by_board = state
    c = pool.candidates
    boards = np.unique(c.board[look.rows])
    boards = boards[standing.free[boards]]
    order = np.lexsort((look.earned.board[boards], -np.round(often[boards], 6)))
    wanted = max(1, int(SHARE * standing.left.sum()))
    settled: list[int] = []
    for board in boards[order]:
        rows = _fill_board(pool, prices, by_board[board], (look.rows, standing.left))
        if not rows:
            continue
        np.subtract.at(standing.left, c.kind[rows], c.covers[rows])
        np.add.at(standing.fixed, (c.kind[rows], board), c.covers[rows])
        standing.free[board] = False
        settled += rows
        wanted -= int(c.covers[rows].sum())
        if wanted <= 0:
            break
    return settled


def _fill_board(pool: Pool, prices: Floats, mine: IntArray, wish: tuple[IntArray, IntArray]) -> list[int]:
    """What fits on one board of what the bound would take, then of all else that pays, the dearest first."""
    c, (asked, left) = pool.candidates, wish
    mine = mine[c.covers[mine] > 0]
    gain = prices[c.kind[mine], c.board[mine]] * c.covers[mine] - c.cost[mine]
    free = gain > 0
    gain = gain + np.where(np.isin(mine, asked), 1e15, 0.0)
    left = left.copy()
    taken: list[int] = []
    while True:
        may = np.flatnonzero(free & (c.covers[mine] <= left[c.kind[mine]]))
        if len(may) == 0:
            return taken
        row = int(mine[may[np.argmax(gain[may])]])
        taken.append(row)
        left[c.kind[row]] -= c.covers[row]
        free &= ~clash_with(pool, mine, row)
