"""Small and large choices drawn at random: bay types, boards of a few leaves, candidates with costs, likeness terms.

Board sizes, bay sizes and prices are those of the made-up jobs that the solver was picked on: boards 1500 to 3000 mm
long with 2 to 5 leaves, bays of furniture in groups that look alike, left-over ends of 500 mm and more worth 40 % of
their wood. They are invented, and say nothing about real wood.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from grainplan.match.model import Alike, Candidates, LeftOver, Pairs, Pool

TICK = 1000
ALIKE_CENTS = 530
"""The program's own rate for bays that do not look alike, 0.8 board feet, at the drawn price of 2800 a cubic metre."""


def draw_small_pool(seed: int) -> Pool:
    """A choice small enough to try every set: 2 or 3 types, 2 or 3 boards, up to 16 candidates, all terms in play."""
    rng = np.random.default_rng(seed)
    types, boards = int(rng.integers(1, 4)), int(rng.integers(2, 4))
    demand = rng.integers(1, 3, types)
    if types == 1:
        demand[0] = 2 * rng.integers(1, 3)
    leaves = rng.integers(2, 5, boards)
    length = rng.integers(12, 21, boards) * 100 * TICK
    width = np.full(boards, 200 * TICK)
    span = rng.integers(4, 9, types) * 100 * TICK
    rows = []
    for _ in range(int(rng.integers(8, 17))):
        kind, board = int(rng.integers(types)), int(rng.integers(boards))
        run = int(min(rng.choice([1, 2, 2, 2, 4]), leaves[board]))
        leaf = int(rng.integers(0, leaves[board] - run + 1))
        x0 = int(rng.integers(0, max(1, (length[board] - span[kind]) // (50 * TICK)))) * 50 * TICK
        across = [(0, 200), (0, 200), (0, 95), (105, 200)][int(rng.integers(4))]
        covers = int(rng.choice([1, 1, 1, 0, 0, 2]))
        cost = rng.integers(900) * (covers + 1) // 2
        rows.append((kind, board, leaf, run, x0, x0 + span[kind], *(a * TICK for a in across), covers, cost))
    candidates = Candidates(*(np.array(column, np.int64) for column in zip(*rows, strict=True)))
    far = rng.integers(0, 400, (boards, boards))
    far = (far + far.T) * (1 - np.eye(boards, dtype=np.int64))
    alike = (Alike(tuple(range(min(types, 2))), far),) if rng.random() < 0.6 else ()
    even = [k for k in range(types) if demand[k] % 2 == 0]
    pairs = tuple(Pairs(k, int(demand[k]) // 2, far + 150) for k in even[:1])
    halves = np.where(rng.random((types, boards, boards)) < 0.7, rng.integers(0, 300, (types, boards, boards)), -1)
    halves = np.triu(halves) + np.transpose(np.triu(halves, 1), (0, 2, 1))
    return Pool(
        demand.astype(np.int64),
        rng.integers(2000, 6000, types),
        rng.integers(500, 1500, boards),
        leaves.astype(np.int64),
        length.astype(np.int64),
        width,
        candidates,
        _draw_ends(leaves, length, rng.integers(20, 60, boards)),
        alike,
        pairs,
        halves.astype(np.int64),
    )


def _draw_ends(leaves: np.ndarray, length: np.ndarray, worth: np.ndarray, step: int = 200) -> LeftOver:
    rows = []
    for board in range(len(leaves)):
        for size in range(500, int(length[board] // TICK), step):
            value = int(worth[board]) * size // 1000
            for leaf in range(int(leaves[board])):
                rows.append((board, leaf, 0, size * TICK, value))
                rows.append((board, leaf, length[board] - size * TICK, length[board], value))
    array = np.array(rows, np.int64).reshape(-1, 5)
    return LeftOver(*(np.ascontiguousarray(c) for c in array.T))


@dataclass(frozen=True, slots=True)
class Size:
    """How large a drawn job is."""

    bays: int
    boards: int
    grid_mm: int = 20


SHOP = Size(30, 40)
MILL = Size(200, 300)


def draw_large_pool(size: Size, seed: int) -> Pool:
    """A job of many bays and boards, with a cost for each place along each run of leaves that varies smoothly.

    Every bay takes two leaves of one board over the whole width, or four where the board is too narrow for two strips.
    """
    rng = np.random.default_rng(seed)
    boards = size.boards
    leaves = rng.integers(2, 6, boards)
    length = rng.integers(1500, 3001, boards)
    width = rng.uniform(120, 250, boards)
    log = np.arange(boards) // 4
    lab = rng.normal(0, (5.0, 1.8, 2.5), (log.max() + 1, 3))[log] + rng.normal(0, 1.0, (boards, 3))
    price = length * width * 42e-6 * 2.8 * rng.uniform(0.85, 1.15, boards) * 100
    types = _draw_types(rng, size.bays)
    demand = np.array([t[0] for t in types], np.int64)
    tables = [
        _draw_board(rng, b, int(leaves[b]), int(length[b]), float(width[b]), types, size.grid_mm) for b in range(boards)
    ]
    candidates = Candidates.join([t for t in tables if len(t)])
    tone = np.clip(np.linalg.norm(lab[:, None] - lab[None], axis=2) / 6, 0, 1)
    alike = tuple(
        Alike((k,), np.rint(tone * ALIKE_CENTS * t[3]).astype(np.int64)) for k, t in enumerate(types) if t[0] > 1
    )
    worth = np.rint(0.4 * price / leaves / length * 1000).astype(np.int64)
    return Pool(
        demand,
        np.full(len(types), 60_000, np.int64),
        np.rint(price).astype(np.int64),
        leaves.astype(np.int64),
        length.astype(np.int64) * TICK,
        np.full(boards, 250 * TICK, np.int64),
        candidates,
        _draw_ends(leaves, length * TICK, worth, step=100),
        alike,
    )


def _draw_types(rng: np.random.Generator, bays: int) -> list[tuple[int, int, float, float]]:
    """(demand, length along the board mm, strip width mm, visibility) of groups of equal bays."""
    types = []
    left = bays
    while left > 0:
        count = int(min(rng.integers(2, 5), left))
        span = int(rng.integers(250, 601) + rng.integers(350, 901) + 30 + rng.choice([4, 50, 70, 90]))
        types.append((count, span, float(rng.uniform(250, 450) / 2), float(rng.choice([1, 1.5, 2, 3]))))
        left -= count
    return types


def _draw_board(rng, board, leaves, length, width, types, grid):
    """All two-leaf candidates of a board; the misfit along each seam is a smooth random function."""
    parts = []
    x = np.arange(0, length, grid)
    knots = rng.poisson(2.2 * length / 1000)
    where = rng.uniform(0, length, knots)
    price = np.where(rng.random(knots) < 0.45, 10**9, rng.uniform(200, 700, knots))
    misfit = [_draw_smooth(rng, len(x) + 1, 250 / grid) for _ in range(leaves - 1)]
    for kind, (_, span, strip, visible) in enumerate(types):
        starts = np.unique(np.append(np.arange(0, max(length - span + 1, 0), grid), max(length - span, 0)))
        harm = sum(
            (np.where((starts < w) & (w < starts + span), p, 0.0) for w, p in zip(where, price, strict=True)), 0.0
        )
        harm = np.broadcast_to(harm, starts.shape)
        low = starts // grid
        high = np.minimum((starts + span) // grid, len(x))
        for run in (2, 4):
            if 2 * strip / run > width or span > length:
                continue
            for leaf in range(leaves - run + 1):
                total = np.concatenate([[0.0], np.cumsum(sum(misfit[leaf : leaf + run - 1]))])
                cost = 900 * (total[high] - total[low]) / (high - low) / (run - 1) + 150 * (run - 1)
                cost = visible * (cost + np.minimum(harm, 10**6))
                good = np.flatnonzero(harm < 10**6)
                ones, x0 = np.ones(len(good), np.int64), starts[good].astype(np.int64) * TICK
                numbers = (ones * n for n in (kind, board, leaf, run))
                across = (ones * 0, ones * 250 * TICK, ones)
                parts.append(Candidates(*numbers, x0, x0 + span * TICK, *across, np.rint(cost[good]).astype(np.int64)))
    return Candidates.join([p for p in parts if len(p)])


def _draw_smooth(rng: np.random.Generator, count: int, scale: float) -> np.ndarray:
    knots = rng.uniform(0, 1, int(count / scale) + 3)
    return np.interp(np.arange(count) / scale, np.arange(len(knots)), knots)
