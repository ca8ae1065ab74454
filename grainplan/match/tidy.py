"""Of sets that cost the same, the one a maker would lay out: everything as near to the face and the foot as it goes."""

from __future__ import annotations

import numpy as np

from grainplan.match.model import IntArray, Pool
from grainplan.match.scoring import value_ends

ROUNDS = 3


def push_to_foot(pool: Pool, rows: tuple[int, ...]) -> tuple[int, ...]:
    """Move chosen candidates to lower leaves and nearer to the foot where that costs nothing.

    Parameters
    ----------
    pool : Pool
    rows : tuple of int
        A set that fits.

    Returns
    -------
    tuple of int
        A set of the same bays and boards that costs no more.
    """
    c = pool.candidates
    chosen = np.array(rows, np.int64)
    for _ in range(ROUNDS):
        before = chosen.copy()
        for place in np.lexsort((c.x0[chosen], c.leaf[chosen], c.board[chosen])):
            chosen[place] = _find_nearer(pool, chosen, int(place))
        if np.array_equal(before, chosen):
            break
    return tuple(int(r) for r in np.sort(chosen))


def _find_nearer(pool: Pool, chosen: IntArray, place: int) -> int:
    c, own = pool.candidates, int(chosen[place])
    others = np.delete(chosen, place)
    others = others[c.board[others] == c.board[own]]
    same = (c.kind == c.kind[own]) & (c.board == c.board[own]) & (c.covers == c.covers[own]) & (c.cost <= c.cost[own])
    nearer = (c.leaf < c.leaf[own]) | ((c.leaf == c.leaf[own]) & (c.x0 < c.x0[own]))
    rows = np.flatnonzero(same & nearer & (c.run == c.run[own]))
    board = int(c.board[own])
    now = value_ends(pool, np.append(others, own), board) - int(c.cost[own])
    for row in rows[np.lexsort((c.x0[rows], c.leaf[rows], c.cost[rows]))]:
        free = not np.any(
            (c.leaf[others] < c.leaf[row] + c.run[row])
            & (c.leaf[row] < c.leaf[others] + c.run[others])
            & (c.x0[others] < c.x1[row])
            & (c.x0[row] < c.x1[others])
            & (c.y0[others] < c.y1[row])
            & (c.y0[row] < c.y1[others])
        )
        if free and value_ends(pool, np.append(others, row), board) - int(c.cost[row]) >= now:
            return int(row)
    return own
