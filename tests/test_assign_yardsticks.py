"""The choice against slower and plainer ways: every set tried, makers who never go back, and another solver."""

from __future__ import annotations

import os
import signal
import threading

import numpy as np
import pytest

from grainplan.geometry import Box
from grainplan.match.assign import choose_leaves
from grainplan.match.assign_exact import Effort, Watch, solve_exactly
from grainplan.match.assign_search import select
from grainplan.match.bound import LagrangianBound
from grainplan.match.cliques import find_overlaps
from grainplan.match.first import find_first
from grainplan.match.parts import Known, better_by_parts
from grainplan.match.scoring import score_choice
from grainplan.match.whole import look_closely
from tests.yardsticks.exhaustive import search_all
from tests.yardsticks.greedy import choose_greedily
from tests.yardsticks.highs import solve_with_highs
from tests.yardsticks.random_jobs import draw_request
from tests.yardsticks.random_pools import Size, draw_large_pool, draw_small_pool

SMALL_JOBS = 220
HIGHS_JOBS = 40
SHOP_JOBS = 30
COARSE_SHOP = Size(30, 40, grid_mm=100)


@pytest.mark.parametrize("first", range(0, SMALL_JOBS, 20))
def test_as_cheap_as_trying_every_set(first):
    for seed in range(first, first + 20):
        pool = draw_small_pool(seed)
        cost, _ = search_all(pool)
        found = select(pool, Watch(), Effort())
        assert found.proven
        assert found.cost == cost == found.bound, f"job {seed}"
        assert score_choice(pool, found.rows).total == cost
        assert not find_overlaps(pool, np.array(found.rows, np.int64))


def test_bound_holds_and_cuts_nothing_of_the_best_set():
    for seed in range(0, SMALL_JOBS, 4):
        pool = draw_small_pool(seed)
        best = solve_exactly(pool, np.arange(len(pool.candidates)))
        assert best is not None
        side = LagrangianBound(pool)
        bound = side.raise_prices(best.cost, rounds=30)
        closer = look_closely(bound, side, Watch())
        assert bound.value <= closer.value <= best.cost
        for one in (bound, closer):
            assert np.all(one.reduced[list(best.rows)] <= best.cost - one.value + 1)


def test_as_cheap_as_another_solver():
    for seed in range(1000, 1000 + HIGHS_JOBS):
        pool = draw_small_pool(seed)
        assert select(pool, Watch(), Effort()).cost == solve_with_highs(pool), f"job {seed}"


@pytest.mark.parametrize("seed", range(SHOP_JOBS))
def test_never_worse_than_the_best_greedy_maker(seed):
    """30 bays and 40 boards; a short search, which must still be ahead of six makers."""
    pool = draw_large_pool(COARSE_SHOP, seed)
    found = select(pool, Watch(), Effort(solver_time=1.0))
    assert found.bound <= found.cost <= choose_greedily(pool)
    assert not find_overlaps(pool, np.array(found.rows, np.int64))


def test_same_pool_gives_the_same_set():
    pool = draw_large_pool(COARSE_SHOP, 1)
    first, second = (select(pool, Watch(), Effort(solver_time=1.0)) for _ in range(2))
    assert first == second


def test_parts_side_by_side_better_a_set_and_add_up():
    """What both parts of a pair gain is the gain of the whole, and the same whichever of them ends first."""
    pool = draw_large_pool(COARSE_SHOP, 4)
    first = find_first(pool)
    bound = LagrangianBound(pool).raise_prices(score_choice(pool, first).total, rounds=30)
    start = Known(first, score_choice(pool, first).total, bound.value)
    found, again = (better_by_parts(pool, start, bound, Watch(), Effort(solver_time=0.8)) for _ in range(2))
    assert found == again
    assert bound.value <= found.cost < start.cost
    assert score_choice(pool, found.rows).total == found.cost
    assert not find_overlaps(pool, np.array(found.rows, np.int64))


def test_stopping_keeps_the_best_so_far():
    """The maker stops as soon as a first set is told."""
    pool = draw_large_pool(COARSE_SHOP, 2)
    told = []
    found = select(pool, Watch(told.append, lambda: len(told) > 1), Effort())
    assert told[0].cost is not None
    assert found.cost <= told[0].cost * 1000 + 1
    assert found.bound <= found.cost
    assert not found.proven


@pytest.mark.parametrize("seed", range(6))
def test_drawn_jobs_can_be_sawn_as_planned(seed):
    """Flaws, likeness, both sides: every strip lies on its board, no wood is used twice, nothing avoided shows."""
    request = draw_request(5, 8, seed, strips=(None, 2)[seed % 2])
    plan = choose_leaves(request, effort=Effort(others=1))
    assert plan.status == "proven best"
    assert plan.bound == pytest.approx(plan.cost)
    assert sum(plan.cost_parts.values()) == pytest.approx(plan.cost, abs=0.01)
    boards = {board.name: board for board in request.boards}
    taken: dict[str, list[Box]] = {}
    for bay in plan.bays:
        for panel in bay.panels.values():
            for place, strip in enumerate(panel.strips):
                board = boards[strip.leaf.board]
                box = Box(strip.x_mm[0], strip.y_mm[0], strip.x_mm[1], strip.y_mm[1])
                assert board.board.length_mm - 25.4 + 0.01 >= box.x1 > box.x0 >= 25.4 - 0.01
                assert board.board.width_mm + 0.01 >= box.y1 > box.y0 >= -0.01
                assert not any(box.overlaps(other) for other in taken.get(strip.leaf.name, []))
                taken.setdefault(strip.leaf.name, []).append(box)
                sight = sight_of(strip, (place == 0, place == len(panel.strips) - 1))
                both = next(b.seen for b in request.bays if b.name == bay.name) == "both"
                for flaw in board.flaws:
                    if flaw.avoid and shows(flaw, strip, leaves=request.uses[board.name].leaves, both=both):
                        assert not sight.overlaps(flaw.box), (bay.name, strip, flaw)


def sight_of(strip, outer):
    """What stays in sight: over-length and engagement off the ends, trim and groove or the joint off the edges."""
    left, right = (6.35 + 9.525 - 3.175 if out else 1.5875 for out in outer)
    low, high = (right, left) if strip.flipped else (left, right)
    end = 6.35 + 7.9375
    return Box(strip.x_mm[0] + end, strip.y_mm[0] + low + 0.002, strip.x_mm[1] - end, strip.y_mm[1] - high - 0.002)


def shows(flaw, strip, *, leaves, both):
    if flaw.on == "through":
        return True
    if flaw.on == "face":
        return strip.leaf.number == 1 and (both or strip.surface == "near")
    return strip.leaf.number == leaves and (both or strip.surface == "far")


def test_interrupt_is_heard_while_the_solver_works():
    """Control-C sets a flag in the command line's handler, which must run although the solver is at work."""
    asked = []
    before = signal.signal(signal.SIGINT, lambda *_: asked.append(True))
    try:
        pool = draw_large_pool(COARSE_SHOP, 3)
        timer = threading.Timer(2.5, os.kill, (os.getpid(), signal.SIGINT))
        timer.start()
        found = select(pool, Watch(should_stop=lambda: bool(asked)), Effort(solver_time=600.0))
        timer.cancel()
    finally:
        signal.signal(signal.SIGINT, before)
    assert found.rows
    assert found.bound <= found.cost
