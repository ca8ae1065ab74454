"""A sharper bound: boards that look worth opening are packed exactly, each by itself, at the prices of the bound.

Line by line a board seems to earn more than it can, for what lies across several leaves is not seen as one piece. At
given prices a board needs no other one, so an exact packing of its most promising candidates is a small task; whatever
uses another candidate earns less by that candidate's reduced cost. Boards are looked at two at a time, each by a solver
with one worker and a limit in its own deterministic time, so the same job gives the same bound every time.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from grainplan.match.assign_exact import Watch, solve_alone
from grainplan.match.bound import Bound, LagrangianBound
from grainplan.match.model import IntArray, Pool

Floats = NDArray[np.float64]
SIDE_BY_SIDE = 2
FEW_ROWS = (300, 1_200)
"""Candidates of a board that are packed exactly; the larger number where the smaller one does not settle it."""
BOARD_TIME = 4.0
"""Limit of one board, in the solver's deterministic time."""


def look_closely(bound: Bound, side: LagrangianBound, watch: Watch) -> Bound:
    """A bound that is no lower, with reduced costs that are no lower against it.

    Parameters
    ----------
    bound : Bound
        From `side`.
    side : LagrangianBound
    watch : Watch
        Boards that are not reached before the maker stops keep what the lines say of them.
    """
    pool, board = side.pool, side.pool.candidates.board
    by_lines, profit = side.price_boards(bound.prices)
    gap = bound.reduced - np.maximum(by_lines, 0.0)[board]
    exact = by_lines.copy()

    def price(place: int) -> float:
        mine = np.flatnonzero((board == place) & (profit > 0))
        return _price_board(pool, (mine, gap[mine], profit), (place, by_lines[place]), watch)

    places = [int(place) for place in np.flatnonzero(by_lines < 0)]
    with ThreadPoolExecutor(SIDE_BY_SIDE) as threads:
        exact[places] = list(threads.map(price, places))
    lift = np.minimum(exact, 0.0) - np.minimum(by_lines, 0.0)
    reduced = np.maximum(exact[board], by_lines[board] + gap) - np.minimum(exact, 0.0)[board]
    return Bound(bound.value + int(np.floor(lift.sum())), bound.prices, reduced)


def _price_board(pool: Pool, mine: tuple[IntArray, Floats, Floats], place: tuple[int, float], watch: Watch) -> float:
    """What opening a board costs less what it earns, no more than is true, and no more than is asked for."""
    (rows, gap, profit), (board, by_lines) = mine, place
    order = np.argsort(gap, kind="stable")
    value = by_lines
    for most in FEW_ROWS:
        if watch.stopped or value >= 0:
            break
        few = order[:most]
        beyond = by_lines + float(gap[order[most]]) if most < len(order) else np.inf
        chosen = np.sort(rows[few])
        earned = solve_alone(pool, chosen, profit[chosen], solver_time=BOARD_TIME) if len(chosen) else -np.inf
        price = float(pool.open_cost[board]) - earned
        value = max(value, min(price, beyond))
        if price <= beyond:
            break
    return float(value)
