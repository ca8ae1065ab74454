"""The cheapest set by trying every set; nothing is shared with the solver but the pool and the bill."""

from __future__ import annotations

import numpy as np

from grainplan.match.cliques import find_overlaps
from grainplan.match.model import Pool
from grainplan.match.scoring import score_choice


def search_all(pool: Pool) -> tuple[int, tuple[int, ...]]:
    """Cost and rows of the cheapest set; sets that cannot be cheaper than the best so far are not completed.

    What a set costs at the least: its candidates, its boards and the bays that can no longer be filled, less every
    end of an opened board.
    """
    count = len(pool.candidates)
    c = pool.candidates
    clash = np.zeros((count, count), bool)
    for a, b in find_overlaps(pool, np.arange(count)):
        clash[a, b] = clash[b, a] = True
    ends = np.bincount(pool.left_over.board, pool.left_over.value, len(pool.leaves))
    best = (score_choice(pool, ()).total, ())

    def fill(kind_left: list[int]) -> int:
        return sum(max(0, left) * int(price) for left, price in zip(kind_left, pool.unfilled, strict=True))

    order = sorted(range(count), key=lambda r: (int(c.kind[r]), int(c.cost[r])))
    reach = [[0] * len(pool.demand)]
    for row in reversed(order):
        after = list(reach[-1])
        after[int(c.kind[row])] += {0: 1, 1: 2, 2: 4}[int(c.covers[row])]
        reach.append(after)
    reach.reverse()

    def visit(place: int, chosen: tuple[int, ...], half_bays: list[int]) -> None:
        nonlocal best
        opened = {int(c.board[r]) for r in chosen}
        least = sum(int(c.cost[r]) for r in chosen) + sum(int(pool.open_cost[b] - ends[b]) for b in opened)
        left = [int(d) - (h + r) // 2 for d, h, r in zip(pool.demand, half_bays, reach[place], strict=True)]
        closed = sum(min(0, int(pool.open_cost[b] - ends[b])) for b in range(len(pool.leaves)) if b not in opened)
        if least + closed + fill(left) >= best[0]:
            return
        if place == count:
            try:
                cost = score_choice(pool, chosen).total
            except ValueError:
                return
            if cost < best[0]:
                best = (cost, chosen)
            return
        row = order[place]
        kind, weight = int(c.kind[row]), {0: 1, 1: 2, 2: 4}[int(c.covers[row])]
        if half_bays[kind] + weight <= 2 * pool.demand[kind] and not any(clash[row, r] for r in chosen):
            more = list(half_bays)
            more[kind] += weight
            visit(place + 1, (*chosen, row), more)
        visit(place + 1, chosen, half_bays)

    visit(0, (), [0] * len(pool.demand))
    return best
