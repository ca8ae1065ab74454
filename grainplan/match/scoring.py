"""What a finished choice costs, worked out from the choice alone; it shares no line with the solver's own sums."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cache

import numpy as np

from grainplan.match.model import IntArray, Pool


@dataclass(frozen=True, slots=True)
class Bill:
    """The parts of the cost of a choice, in thousandths of the cost unit."""

    candidates: int
    boards: int
    left_over: int
    alike: int
    pairs: int
    halves: int
    unfilled: int

    @property
    def total(self) -> int:
        """All parts together; left-over wood counts against the rest."""
        return self.candidates + self.boards - self.left_over + self.alike + self.pairs + self.halves + self.unfilled


def score_choice(pool: Pool, rows: tuple[int, ...]) -> Bill:
    """What the chosen rows of a pool cost together.

    Raises
    ------
    ValueError
        When halves stay without a partner, or more bays are filled than there are.
    """
    c = pool.candidates
    chosen = np.array(sorted(rows), np.int64)
    filled = np.bincount(c.kind[chosen], c.covers[chosen], len(pool.demand)).astype(np.int64)
    halves_cost, half_boards = _join_halves(pool, chosen)
    for kind, _ in half_boards:
        filled[kind] += 1
    missing = pool.demand - filled
    if np.any(missing < 0):
        raise ValueError(f"more bays are filled than there are, by type: {(-missing).tolist()}")
    opened = np.unique(c.board[chosen])
    return Bill(
        candidates=int(c.cost[chosen].sum()),
        boards=int(pool.open_cost[opened].sum()),
        left_over=sum(value_ends(pool, chosen, int(b)) for b in opened),
        alike=_price_alike(pool, chosen, half_boards),
        pairs=_price_pairs(pool, chosen, half_boards, missing),
        halves=halves_cost,
        unfilled=int((missing * pool.unfilled).sum()),
    )


def pair_halves(pool: Pool, rows: IntArray) -> list[tuple[int, int]]:
    """The chosen half panels as pairs, each type's cheapest pairing of boards; rows of the candidates."""
    c = pool.candidates
    found: list[tuple[int, int]] = []
    halves = [int(r) for r in rows if c.covers[r] == 0]
    for kind in sorted({int(c.kind[r]) for r in halves}):
        found += _pair_kind(pool, kind, tuple(r for r in halves if c.kind[r] == kind))
    return found


def _pair_kind(pool: Pool, kind: int, halves: tuple[int, ...]) -> list[tuple[int, int]]:
    c = pool.candidates
    if pool.halves is None or len(halves) % 2:
        raise ValueError("a half panel has no partner")
    table = pool.halves[kind]

    @cache
    def best(left: tuple[int, ...]) -> tuple[float, tuple[tuple[int, int], ...]]:
        if not left:
            return 0.0, ()
        first, rest = left[0], left[1:]
        options = []
        for i, other in enumerate(rest):
            price = table[c.board[first], c.board[other]]
            if price >= 0:
                cost, pairs = best(rest[:i] + rest[i + 1 :])
                options.append((cost + float(price), ((first, other), *pairs)))
        return min(options, default=(float("inf"), ()))

    cost, pairs = best(halves)
    if cost == float("inf"):
        raise ValueError("the half panels come from boards that do not go together")
    return list(pairs)


def _join_halves(pool: Pool, chosen: IntArray) -> tuple[int, list[tuple[int, int]]]:
    """What joining the halves costs, and for each panel its type and the board it counts as."""
    cost, counted = 0, []
    for a, b in pair_halves(pool, chosen):
        boards = sorted((int(pool.candidates.board[a]), int(pool.candidates.board[b])))
        kind = int(pool.candidates.kind[a])
        assert pool.halves is not None
        cost += int(pool.halves[kind, boards[0], boards[1]])
        counted.append((kind, boards[0]))
    return cost, counted


def value_ends(pool: Pool, chosen: IntArray, board: int) -> int:
    """What the useful ends of one opened board are worth beside the chosen rows."""
    return sum(int(pool.left_over.value[end]) for end in choose_ends(pool, chosen, board))


def choose_ends(pool: Pool, chosen: IntArray, board: int) -> list[int]:
    """The dearest useful ends of one opened board that leave the chosen rows alone; rows of the left-over ends."""
    c, ends = pool.candidates, pool.left_over
    low, high = np.searchsorted(ends.board, [board, board + 1])
    mine = chosen[c.board[chosen] == board]
    found: list[int] = []
    for leaf in range(int(pool.leaves[board])):
        here = np.flatnonzero(ends.leaf[low:high] == leaf) + low
        on_leaf = mine[(c.leaf[mine] <= leaf) & (leaf < c.leaf[mine] + c.run[mine])]
        found += _best_ends(pool, on_leaf, here)
    return found


def _best_ends(pool: Pool, on_leaf: IntArray, here: IntArray) -> list[int]:
    """The dearest set of ends that leave the rectangles of a leaf, and each other, alone."""
    c, ends = pool.candidates, pool.left_over
    if len(on_leaf) and len(here):
        clash = (c.x0[on_leaf][:, None] < ends.x1[here]) & (ends.x0[here] < c.x1[on_leaf][:, None])
        here = here[~clash.any(axis=0)]
    best: list[tuple[int, int, list[int]]] = [(0, 0, [])]  # where the last end stops, value and ends so far
    for end in here[np.argsort(ends.x1[here], kind="stable")]:
        before = max((state for state in best if state[0] <= ends.x0[end]), key=lambda state: state[1])
        if before[1] + int(ends.value[end]) > best[-1][1]:
            best.append((int(ends.x1[end]), before[1] + int(ends.value[end]), [*before[2], int(end)]))
    return best[-1][2]


def _count_boards(pool: Pool, chosen: IntArray, kinds: tuple[int, ...], halves: list[tuple[int, int]]) -> Counter[int]:
    c = pool.candidates
    count: Counter[int] = Counter()
    for row in chosen:
        if int(c.kind[row]) in kinds and c.covers[row]:
            count[int(c.board[row])] += int(c.covers[row])
    for kind, board in halves:
        count[board] += kind in kinds
    return count


def _price_alike(pool: Pool, chosen: IntArray, halves: list[tuple[int, int]]) -> int:
    total = 0
    for group in pool.alike:
        count = _count_boards(pool, chosen, group.types, halves)
        boards = np.array(sorted(count), np.int64)
        if len(boards):
            bays = np.array([count[int(b)] for b in boards])
            total += int((group.penalty[np.ix_(boards, boards)] @ bays).min())
    return total


def _price_pairs(pool: Pool, chosen: IntArray, halves: list[tuple[int, int]], missing: IntArray) -> int:
    """Pairs not cut from one place pay by their boards; a bay that stays empty takes its pair with it."""
    c, total = pool.candidates, 0
    for term in pool.pairs:
        mine = chosen[c.kind[chosen] == term.kind]
        boards = [int(c.board[r]) for r in mine if c.covers[r] == 1] + [b for k, b in halves if k == term.kind]
        wanted = term.count - int((c.covers[mine] == 2).sum()) - int(missing[term.kind])
        total += _cheapest_pairs(term.penalty, tuple(sorted(boards)), max(0, wanted))
    return total


def _cheapest_pairs(penalty: IntArray, boards: tuple[int, ...], wanted: int) -> int:
    @cache
    def best(left: tuple[int, ...], wanted: int) -> float:
        if wanted == 0:
            return 0.0
        if len(left) < 2 * wanted:
            return float("inf")
        costs = [best(left[1:], wanted)]
        for i in range(1, len(left)):
            if i == 1 or left[i] != left[i - 1]:
                costs.append(float(penalty[left[0], left[i]]) + best(left[1:i] + left[i + 1 :], wanted - 1))
        return min(costs)

    return int(best(boards, wanted))
