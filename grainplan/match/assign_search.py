"""How the best set is looked for: a quick careful choice first, then the exact search, then plans that truly differ."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from grainplan.match.assign_exact import Effort, Watch, solve_exactly
from grainplan.match.model import Pool, Selection
from grainplan.match.scoring import score_choice
from grainplan.match.tidy import push_to_foot

OTHERS = 2
OTHERS_EFFORT = 0.25
OTHERS_GAP = 0.01
MOST_FOR_OTHERS = 30_000
__all__ = ["Effort", "Watch", "find_others", "select"]


def select(pool: Pool, watch: Watch, effort: Effort) -> Selection:
    """The best set of candidates that the effort finds."""
    rows = np.arange(len(pool.candidates))
    nothing = Selection((), score_choice(pool, ()).total, 0, proven=False)
    if len(rows) == 0:
        return replace(nothing, bound=nothing.cost, proven=True)
    found = solve_exactly(pool, rows, effort=effort, watch=watch) or nothing
    return replace(found, rows=push_to_foot(pool, found.rows))


def find_others(pool: Pool, best: Selection, watch: Watch, effort: Effort) -> tuple[Selection, ...]:
    """The next best sets in which at least one bay comes from another board than in all sets before it.

    They fill as many bays as the best one does, and are looked for with less effort.
    """
    if len(pool.candidates) > MOST_FOR_OTHERS:
        return ()
    rows = np.arange(len(pool.candidates))
    short = replace(effort, solver_time=effort.solver_time * OTHERS_EFFORT, gap=max(effort.gap, OTHERS_GAP))
    missing = score_choice(pool, best.rows).unfilled
    found: list[Selection] = []
    while len(found) < OTHERS and not watch.stopped:
        avoid = tuple(s.rows for s in (best, *found))
        other = solve_exactly(pool, rows, effort=short, watch=watch, avoid=avoid)
        if other is None or score_choice(pool, other.rows).unfilled > missing:
            break
        found.append(replace(other, rows=push_to_foot(pool, other.rows)))
    return tuple(found)
