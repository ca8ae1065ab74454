"""Bettering a set part by part: some bays are freed, all others stay, and the part is solved exactly.

Two parts that share no bay type and no board are solved beside each other, one a core; what both gain adds up. Which
parts are tried depends on the set and on a seeded draw alone, and each solver has one worker and a limit in its own
deterministic time, so the same job gives the same answer however many cores there are.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from grainplan.match.assign_exact import Effort, Terms, Watch, solve_exactly
from grainplan.match.bound import Bound
from grainplan.match.first import clash_with
from grainplan.match.model import IntArray, Pool, Selection

SIDE_BY_SIDE = 2
LEAST_SPENT = 0.2
"""A part counts with at least so much deterministic time, for making it ready takes time too."""


@dataclass(frozen=True, slots=True)
class Scope:
    """How large a part is: bays, candidates, the solver's time and the share of the cost that need not be proven."""

    bays: int
    rows: int
    time: float
    gap: float


SCOPES = (Scope(18, 1200, 3.0, 0.0005), Scope(26, 1800, 5.0, 0.0005), Scope(40, 2600, 8.0, 0.0005))
"""From small and quick to large; the next one is taken when the gain gets small."""
SLOW = 6
"""So many pairs of parts are looked back on, to tell whether the gain is small."""
SMALL_GAIN = 0.002
"""Share of the cost."""
REGRET_FLOOR = 0.5
"""Bays that the bound would have cut elsewhere are freed sooner; this share of their mean regret is added to all."""


@dataclass(frozen=True, slots=True)
class Known:
    """The best set so far and the best bound so far."""

    rows: tuple[int, ...]
    cost: int
    bound: int

    def better(self, selection: Selection | None) -> Known:
        """With a selection found beside it; its bound is not taken over."""
        if selection is None or selection.cost >= self.cost:
            return self
        return replace(self, rows=selection.rows, cost=selection.cost)


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """Bay types and boards that are free in a part."""

    kinds: IntArray
    boards: np.ndarray  # bool, by board


def better_by_parts(pool: Pool, known: Known, bound: Bound, watch: Watch, effort: Effort) -> Known:
    """Better a set until the effort is spent, the maker stops, or the cost meets the bound.

    Parameters
    ----------
    pool : Pool
    known : Known
    bound : Bound
        Which candidates look promising.
    watch, effort : Watch, Effort
    """
    rng = np.random.default_rng(1)
    left, scope, costs = effort.solver_time, 0, [known.cost]
    inner = Watch(None, watch.should_stop)
    with ThreadPoolExecutor(SIDE_BY_SIDE) as threads:
        while left > 0 and not watch.stopped and known.cost > known.bound * (1 + effort.gap):
            size = SCOPES[scope]
            parts = _pick_parts(pool, known, bound, size, rng)
            tasks = [_rows_for_part(pool, known, bound, (part, size)) for part in parts]
            limit = Effort(min(left, size.time), gap=size.gap)
            found = list(
                threads.map(lambda t: solve_exactly(pool, t[0], effort=limit, watch=inner, terms=t[1]), tasks)  # noqa: B023
            )
            known = _join(pool, known, parts, found)
            watch.tell("parts", known.cost, known.bound)
            left -= sum(limit.solver_time if one is None else max(one.spent, LEAST_SPENT) for one in found)
            costs.append(known.cost)
            if len(costs) > SLOW and costs[-1 - SLOW] - known.cost < SMALL_GAIN * known.cost:
                scope, costs = min(scope + 1, len(SCOPES) - 1), [known.cost]
    return known


def _join(pool: Pool, known: Known, parts: list[_Part], found: list[Selection | None]) -> Known:
    """All parts that gained, put together; parts touch no common type and no common board, so gains add up."""
    c = pool.candidates
    rows, cost = np.array(known.rows, np.int64), known.cost
    for part, one in zip(parts, found, strict=True):
        if one is not None and one.cost < known.cost:
            new = np.array(one.rows, np.int64)
            mine, theirs = (part.boards[c.board[r]] & np.isin(c.kind[r], part.kinds) for r in (new, rows))
            rows = np.concatenate([rows[~theirs], new[mine]])
            cost -= known.cost - one.cost
    return replace(known, rows=tuple(int(r) for r in np.sort(rows)), cost=cost)


def _pick_parts(pool: Pool, known: Known, bound: Bound, size: Scope, rng: np.random.Generator) -> list[_Part]:
    """Bay types for each part, and each board to the part that has more of its bays there."""
    c = pool.candidates
    rows = np.array(known.rows, np.int64)
    groups = _grow_together(pool)
    taken: set[int] = set()
    regret = bound.reduced[rows] + REGRET_FLOOR * bound.reduced[rows].mean() + 1.0
    kinds = []
    for _ in range(SIDE_BY_SIDE):
        order = rng.choice(rows, len(rows), replace=False, p=regret / regret.sum())
        kinds.append(_pick_kinds(pool, (rows, order), size, (groups, taken)))
    kinds = [one for one in kinds if len(one)]
    if len(kinds) < SIDE_BY_SIDE:
        return [_Part(one, np.ones(len(pool.leaves), dtype=np.bool_)) for one in kinds]
    bays = np.stack(
        [np.bincount(c.board[rows[np.isin(c.kind[rows], one)]], minlength=len(pool.leaves)) for one in kinds]
    )
    nobody = np.flatnonzero(bays[0] == bays[1])
    first = bays[0] > bays[1]
    cheapest = np.full(len(pool.leaves), np.inf)
    np.minimum.at(cheapest, c.board, bound.reduced)
    order = nobody[np.argsort(cheapest[nobody], kind="stable")]
    first[order[int(rng.integers(2)) :: 2]] = True
    return [_Part(kinds[0], first), _Part(kinds[1], ~first)]


def _grow_together(pool: Pool) -> list[set[int]]:
    """By type, the types that pay for likeness together; parts must not share them."""
    groups = [{kind} for kind in range(len(pool.demand))]
    for alike in pool.alike:
        joined = set().union(*(groups[kind] for kind in alike.types))
        for kind in joined:
            groups[kind] = joined
    return groups


def _pick_kinds(
    pool: Pool, drawn: tuple[IntArray, IntArray], size: Scope, state: tuple[list[set[int]], set[int]]
) -> IntArray:
    """Types that share boards, up to a number of bays: the boards as they were drawn, and all types cut from them."""
    groups, taken = state
    rows, order = drawn
    c = pool.candidates
    kinds: set[int] = set()
    bays = 0
    for row in order:
        for kind in np.unique(c.kind[rows[c.board[rows] == c.board[row]]]):
            more = groups[int(kind)] - kinds
            count = int(pool.demand[list(more)].sum()) if more else 0
            if more and not more & taken and (bays + count <= size.bays or not kinds):
                kinds |= more
                bays += count
        if bays >= size.bays - 1:
            break
    taken |= kinds
    return np.array(sorted(kinds), np.int64)


def _rows_for_part(pool: Pool, known: Known, bound: Bound, task: tuple[_Part, Scope]) -> tuple[IntArray, Terms]:
    """The most promising candidates of the freed types that leave the others alone, with what is there; what stays."""
    c, (part, size) = pool.candidates, task
    rows = np.array(known.rows, np.int64)
    free_kind = np.zeros(len(pool.demand), dtype=np.bool_)
    free_kind[part.kinds] = True
    fixed = rows[~(free_kind[c.kind[rows]] & part.boards[c.board[rows]])]
    wanted = np.flatnonzero(free_kind[c.kind] & part.boards[c.board] & (bound.reduced <= known.cost - bound.value + 1))
    clash = np.zeros(len(pool.candidates), dtype=np.bool_)
    for row in fixed:
        here = wanted[c.board[wanted] == c.board[row]]
        clash[here[clash_with(pool, here, int(row))]] = True
    wanted = wanted[~clash[wanted]]
    wanted = wanted[np.argsort(bound.reduced[wanted], kind="stable")][: size.rows]
    return np.unique(np.concatenate([rows, wanted])), Terms(keep=tuple(int(row) for row in fixed))
