"""Makers who choose one bay after the other and never go back, each by a habit of their own."""

from __future__ import annotations

import numpy as np

from grainplan.match.model import Pool
from grainplan.match.scoring import score_choice


def choose_greedily(pool: Pool) -> int:
    """Cost of the best of all makers."""
    return min(score_choice(pool, maker(pool)).total for maker in MAKERS)


def best_match_first(pool: Pool) -> tuple[int, ...]:
    """Takes the best-looking place of all that are left, for whichever bay, and lets the wood cost what it costs."""
    c = pool.candidates
    return _take_in_order(pool, np.lexsort((np.arange(len(c)), c.cost / np.maximum(c.covers, 1))))


def largest_bay_first(pool: Pool) -> tuple[int, ...]:
    """Fills the largest bays first, each at its best-looking place."""
    c = pool.candidates
    return _take_in_order(pool, np.lexsort((c.cost, -(c.x1 - c.x0))))


def use_up_boards(pool: Pool) -> tuple[int, ...]:
    """Opens the board that is cheapest for its length and fills it as far as it goes, then the next one."""
    c = pool.candidates
    order = np.argsort(pool.open_cost / np.maximum(pool.length * pool.leaves, 1), kind="stable")
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    return _take_in_order(pool, np.lexsort((c.cost, c.x0, rank[c.board])))


def careful(pool: Pool, *, share: float) -> tuple[int, ...]:
    """Fills the largest bays first by match and wood together; a new board counts with a share of its price."""
    c = pool.candidates
    left, opened, chosen = pool.demand.copy(), np.zeros(len(pool.leaves), bool), []
    kinds = sorted(range(len(pool.demand)), key=lambda k: -int((c.x1 - c.x0)[c.kind == k].max(initial=0)))
    free = c.covers > 0
    for kind in kinds:
        while left[kind] > 0:
            rows = np.flatnonzero(free & (c.kind == kind) & (c.covers <= left[kind]))
            if len(rows) == 0:
                break
            price = c.cost[rows] + np.where(opened[c.board[rows]], 0.0, share * pool.open_cost[c.board[rows]])
            row = int(rows[np.argmin(price / c.covers[rows])])
            chosen.append(row)
            left[kind] -= c.covers[row]
            opened[c.board[row]] = True
            free &= ~_wants_wood_of(pool, row)
    return tuple(chosen)


def _take_in_order(pool: Pool, order: np.ndarray) -> tuple[int, ...]:
    c = pool.candidates
    left, free, chosen = pool.demand.copy(), c.covers > 0, []
    for row in order:
        if free[row] and c.covers[row] <= left[c.kind[row]]:
            chosen.append(int(row))
            left[c.kind[row]] -= c.covers[row]
            free &= ~_wants_wood_of(pool, int(row))
            if not left.any():
                break
    return tuple(chosen)


def _wants_wood_of(pool: Pool, row: int) -> np.ndarray:
    c = pool.candidates
    return (
        (c.board == c.board[row])
        & (c.leaf < c.leaf[row] + c.run[row])
        & (c.leaf[row] < c.leaf + c.run)
        & (c.x0 < c.x1[row])
        & (c.x0[row] < c.x1)
        & (c.y0 < c.y1[row])
        & (c.y0[row] < c.y1)
    )


MAKERS = (
    best_match_first,
    largest_bay_first,
    use_up_boards,
    lambda pool: careful(pool, share=0.25),
    lambda pool: careful(pool, share=0.5),
    lambda pool: careful(pool, share=1.0),
)
