"""How the best set is looked for: a quick first set, a bound that prices every candidate, then the exact search.

Candidates whose reduced cost is more than the distance from the bound to a known set are in no better set and are cut.
What is left is solved exactly where it is small enough; a larger job is first solved on a core of the most promising
candidates and then bettered part by part, each part exactly, the rest staying as it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from grainplan.match.assign_exact import Effort, Terms, Watch, solve_exactly
from grainplan.match.bound import Bound, LagrangianBound
from grainplan.match.dive import dive
from grainplan.match.first import better_quickly, fill_in_order, find_first
from grainplan.match.model import IntArray, Pool, Selection
from grainplan.match.parts import Known, better_by_parts
from grainplan.match.scoring import score_choice
from grainplan.match.tidy import push_to_foot
from grainplan.match.whole import look_closely

OTHERS_EFFORT = 0.06
OTHERS_ROWS = 1_200
OTHERS_GAP = 0.02
MOST_FOR_OTHERS = 20_000
MOST_AT_ONCE = 40_000
"""Candidates that are solved exactly in one go."""
QUICK_ROUNDS = 300
ROUNDS = 60
"""Of each of the two stages of the bound."""
CORE = 5_000
CORE_SHARE = 0.5
WIDER_CORE = 15_000
CORE_GAP = 0.002
CORE_PER_TYPE = 120
CORE_PER_BOARD = 12
MANY_ROUNDS = 240
"""The same for jobs that are too large to be solved in one go."""
WORTH_A_DIVE = 3_000
"""From so many candidates on boards are settled by the prices of the bound, for a better first set."""
DIVE_ROWS = 60_000
LARGE_STAGES = ((0.2, 240), (0.4, 800), (0.4, 0))
"""Share of the effort, and how long the prices are then moved on."""
LARGE_BAYS = 72
__all__ = ["Effort", "Watch", "find_others", "select"]


def select(pool: Pool, watch: Watch, effort: Effort) -> Selection:
    """The best set of candidates that the effort finds, with a bound for all candidates."""
    if len(pool.candidates) == 0:
        empty = score_choice(pool, ()).total
        return Selection((), empty, empty, proven=True)
    rows = find_first(pool)
    cost = score_choice(pool, rows).total
    watch.tell("first", cost, None)
    lagrange = LagrangianBound(pool)
    small = len(pool.candidates) < MOST_AT_ONCE
    bound = lagrange.raise_prices(cost, rounds=ROUNDS if small else MANY_ROUNDS)
    known = Known(rows, cost, bound.value)
    for guided in _guess_by_prices(pool, bound, small=small):
        known = known.better(Selection(guided, score_choice(pool, guided).total, 0, proven=False))
    watch.tell("bound", known.cost, known.bound)
    if not watch.stopped:
        known = _search(lagrange, known, bound, watch, effort)
    proven = known.bound >= known.cost
    return Selection(push_to_foot(pool, known.rows), known.cost, min(known.bound, known.cost), proven)


def _guess_by_prices(pool: Pool, bound: Bound, *, small: bool) -> Iterator[tuple[int, ...]]:
    """Sets that fit, made with what the bound says that bays are worth."""
    rounds = min(QUICK_ROUNDS, len(pool.candidates) // 10) if small else 0
    yield better_quickly(pool, find_first(pool, bound.worth), rounds=rounds)
    if len(pool.candidates) < WORTH_A_DIVE:
        return
    rows = np.sort(np.argsort(bound.reduced, kind="stable")[:DIVE_ROWS])
    few = LagrangianBound(replace(pool, candidates=pool.candidates.take(rows)))
    start = tuple(int(rows[row]) for row in dive(few, bound.prices))
    order = np.argsort(-bound.worth, kind="stable")
    for share in (0.4, 0.8):
        yield better_quickly(pool, fill_in_order(pool, order, share=share, start=start), rounds=rounds)


def _search(lagrange: LagrangianBound, known: Known, bound: Bound, watch: Watch, effort: Effort) -> Known:
    pool = lagrange.pool
    keep = _cut(known, bound)
    inner = _lift(watch, known.bound)
    if len(keep) > CORE:
        bound = look_closely(bound, lagrange, watch)
        known = replace(known, bound=max(known.bound, bound.value))
        watch.tell("bound", known.cost, known.bound)
        keep, inner = _cut(known, bound), _lift(watch, known.bound)
    if len(keep) > MOST_AT_ONCE and pool.demand.sum() > LARGE_BAYS:
        return _search_large(lagrange, known, bound, watch, effort)
    if len(keep) > CORE:
        core = _pick_core(pool, known, bound)
        share = replace(effort, solver_time=effort.solver_time * CORE_SHARE, gap=CORE_GAP)
        known = known.better(solve_exactly(pool, core, effort=share, watch=inner))
        watch.tell("core", known.cost, known.bound)
        keep = _cut(known, bound)
    if watch.stopped:
        return known
    whole = len(keep) <= MOST_AT_ONCE
    if not whole:
        best = np.argsort(bound.reduced[keep], kind="stable")[:WIDER_CORE]
        keep = np.union1d(keep[best], np.array(known.rows, np.int64))
    found = solve_exactly(pool, keep, effort=replace(effort, start=known.rows), watch=inner)
    known = known.better(found)
    if found is None or not whole:  # a bound for some of the candidates is none for all
        return known
    return replace(known, bound=max(known.bound, min(known.cost, found.bound)))


def _search_large(lagrange: LagrangianBound, known: Known, bound: Bound, watch: Watch, effort: Effort) -> Known:
    """Part by part, and now and then a better bound, which also tells better what looks promising."""
    pool = lagrange.pool
    for share, rounds in LARGE_STAGES:
        some = replace(effort, solver_time=effort.solver_time * share)
        known = better_by_parts(pool, known, bound, watch, some)
        if watch.stopped or known.bound >= known.cost:
            break
        if rounds:
            bound = lagrange.raise_prices(known.cost, rounds=rounds, prices=bound.prices)
            bound = look_closely(bound, lagrange, watch)
            known = replace(known, bound=max(known.bound, bound.value))
            watch.tell("bound", known.cost, known.bound)
    return known


def _lift(watch: Watch, least: int) -> Watch:
    """A watch that never tells a bound lower than the one already known."""
    if watch.report is None:
        return watch
    report = watch.report
    return Watch(
        lambda state: report(
            replace(state, bound=least / 1000 if state.bound is None else max(state.bound, least / 1000))
        ),
        watch.should_stop,
    )


def _cut(known: Known, bound: Bound) -> IntArray:
    """Candidates that may be in a better set, and those of the set itself."""
    keep = bound.reduced <= known.cost - bound.value + 1
    keep[list(known.rows)] = True
    return np.flatnonzero(keep)


def _pick_core(pool: Pool, known: Known, bound: Bound) -> IntArray:
    """The most promising candidates: the cheapest of all, and enough of each type on enough boards."""
    c = pool.candidates
    order = np.argsort(bound.reduced, kind="stable")
    order = order[bound.reduced[order] <= known.cost - bound.value + 1]
    few = _count_before(c.kind[order] * len(pool.leaves) + c.board[order]) < CORE_PER_BOARD
    thin = order[few]
    enough = _count_before(c.kind[thin]) < CORE_PER_TYPE
    core = set(thin[enough].tolist()) | set(known.rows)
    for row in order:
        if len(core) >= CORE:
            break
        core.add(int(row))
    return np.array(sorted(core), np.int64)


def _count_before(keys: IntArray) -> IntArray:
    """How many equal keys stand before each."""
    order = np.argsort(keys, kind="stable")
    sorted_keys = keys[order]
    first = np.searchsorted(sorted_keys, sorted_keys)
    count = np.empty(len(keys), np.int64)
    count[order] = np.arange(len(keys)) - first
    return count


def find_others(pool: Pool, best: Selection, watch: Watch, effort: Effort) -> tuple[Selection, ...]:
    """The next best sets in which at least one bay comes from another board than in all sets before it.

    They fill as many bays as the best one does. They are looked for with less effort and among the most promising
    candidates.
    """
    if len(pool.candidates) > MOST_FOR_OTHERS:
        return ()
    rows = np.arange(len(pool.candidates))
    if len(rows) > OTHERS_ROWS:
        reduced = LagrangianBound(pool).raise_prices(best.cost, rounds=ROUNDS // 2).reduced
        rows = np.union1d(np.argsort(reduced, kind="stable")[:OTHERS_ROWS], np.array(best.rows, np.int64))
    short = replace(effort, solver_time=effort.solver_time * OTHERS_EFFORT, gap=max(effort.gap, OTHERS_GAP))
    missing = score_choice(pool, best.rows).unfilled
    found: list[Selection] = []
    while len(found) < effort.others and not watch.stopped:
        avoid = tuple(s.rows for s in (best, *found))
        other = solve_exactly(pool, rows, effort=short, watch=watch, terms=Terms(avoid=avoid))
        if other is None or score_choice(pool, other.rows).unfilled > missing:
            break
        found.append(replace(other, rows=push_to_foot(pool, other.rows)))
    return tuple(found)
