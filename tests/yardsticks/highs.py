"""The same choice for HiGHS, through scipy: another solver and rows of its own, pair by pair instead of by points."""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

from grainplan.match.cliques import find_overlaps
from grainplan.match.model import Pool


class _Program:
    """A mixed-integer program that is put together row by row."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.top: list[float] = []
        self.rows: list[tuple[dict[int, float], float, float]] = []

    def add(self, cost: float, top: float = 1.0) -> int:
        self.cost.append(float(cost))
        self.top.append(float(top))
        return len(self.cost) - 1

    def hold(self, terms: dict[int, float], low: float, high: float) -> None:
        self.rows.append((terms, low, high))

    def solve(self) -> float:
        matrix = lil_matrix((len(self.rows), len(self.cost)))
        for i, (terms, _, _) in enumerate(self.rows):
            for name, value in terms.items():
                matrix[i, name] = value
        limits = LinearConstraint(matrix.tocsr(), [r[1] for r in self.rows], [r[2] for r in self.rows])
        whole = np.ones(len(self.cost))
        answer = milp(self.cost, integrality=whole, bounds=Bounds(0, self.top), constraints=limits)
        assert answer.status == 0, answer.message
        return float(answer.fun)


def solve_with_highs(pool: Pool) -> int:
    """Cost of the cheapest set."""
    program, c = _Program(), pool.candidates
    taken = [program.add(cost) for cost in c.cost]
    opened = [program.add(cost) for cost in pool.open_cost]
    empty = [program.add(price, top) for price, top in zip(pool.unfilled, pool.demand, strict=True)]
    panels = _add_halves(program, pool, taken)
    for kind, demand in enumerate(pool.demand):
        terms = {taken[r]: float(c.covers[r]) for r in np.flatnonzero(c.kind == kind)} | {empty[kind]: 1.0}
        terms |= {name: 1.0 for (k, _, _), name in panels.items() if k == kind}
        program.hold(terms, demand, demand)
    for row in range(len(c)):
        program.hold({taken[row]: 1.0, opened[c.board[row]]: -1.0}, -np.inf, 0)
    for a, b in find_overlaps(pool, np.arange(len(c))):
        program.hold({taken[a]: 1.0, taken[b]: 1.0}, 0, 1)
    _add_ends(program, pool, taken, opened)
    counts = _count(program, pool, taken, panels)
    for group in pool.alike:
        _add_alike(program, pool, group, counts)
    for term in pool.pairs:
        _add_pairs(program, pool, term, (taken, empty, panels))
    return round(program.solve())


def _add_halves(program: _Program, pool: Pool, taken: list[int]) -> dict[tuple[int, int, int], int]:
    c, panels = pool.candidates, {}
    halves = {(int(c.kind[r]), int(c.board[r])) for r in np.flatnonzero(c.covers == 0)}
    for kind, a in halves:
        for _, b in (h for h in halves if h[0] == kind and h[1] >= a):
            if pool.halves is not None and pool.halves[kind, a, b] >= 0:
                panels[kind, a, b] = program.add(pool.halves[kind, a, b], pool.demand[kind])
    for kind, board in halves:
        terms = {taken[r]: 1.0 for r in np.flatnonzero((c.covers == 0) & (c.kind == kind) & (c.board == board))}
        for (k, a, b), name in panels.items():
            if k == kind and board in (a, b):
                terms[name] = -float((a == board) + (b == board))
        program.hold(terms, 0, 0)
    return panels


def _add_ends(program: _Program, pool: Pool, taken: list[int], opened: list[int]) -> None:
    c, ends = pool.candidates, pool.left_over
    names = [program.add(-value) for value in ends.value]
    for i in range(len(ends)):
        program.hold({names[i]: 1.0, opened[ends.board[i]]: -1.0}, -np.inf, 0)
        same = (ends.board == ends.board[i]) & (ends.leaf == ends.leaf[i])
        for j in np.flatnonzero(same & (ends.x0 < ends.x1[i]) & (ends.x0[i] < ends.x1)):
            if j > i:
                program.hold({names[i]: 1.0, names[j]: 1.0}, 0, 1)
        on_leaf = (c.board == ends.board[i]) & (c.leaf <= ends.leaf[i]) & (ends.leaf[i] < c.leaf + c.run)
        for r in np.flatnonzero(on_leaf & (c.x0 < ends.x1[i]) & (ends.x0[i] < c.x1)):
            program.hold({names[i]: 1.0, taken[r]: 1.0}, 0, 1)


def _count(program, pool, taken, panels):
    """Per type and board the number of bays, as terms; a panel of halves counts as its first board."""
    c, counts = pool.candidates, {}
    for row in np.flatnonzero(c.covers > 0):
        counts.setdefault((int(c.kind[row]), int(c.board[row])), {})[taken[row]] = float(c.covers[row])
    for (kind, a, _), name in panels.items():
        counts.setdefault((kind, a), {})[name] = 1.0
    return counts


def _add_alike(program, pool, group, counts):
    bays = float(sum(pool.demand[k] for k in group.types))
    boards = sorted({b for k, b in counts if k in group.types})
    leads = {b: program.add(0) for b in boards}
    program.hold(dict.fromkeys(leads.values(), 1.0), 0, 1)
    worst = float(group.penalty.max())
    for board in boards:
        terms = {}
        for kind in group.types:
            terms |= counts.get((kind, board), {})
        program.hold(terms | {leads[board]: -1.0}, 0, np.inf)
        follow = {lead: program.add(group.penalty[lead, board], bays) for lead in boards}
        far = program.add(worst, bays)
        for lead, name in follow.items():
            program.hold({name: 1.0, leads[lead]: -bays}, -np.inf, 0)
        program.hold(terms | dict.fromkeys(follow.values(), -1.0) | {far: -1.0}, 0, 0)


def _add_pairs(program, pool, term, names):
    taken, empty, panels = names
    c, single = pool.candidates, {}
    for row in np.flatnonzero((c.kind == term.kind) & (c.covers == 1)):
        single.setdefault(int(c.board[row]), {})[taken[row]] = 1.0
    for (kind, a, _), name in panels.items():
        if kind == term.kind:
            single.setdefault(a, {})[name] = 1.0
    made = {(a, b): program.add(term.penalty[a, b], term.count) for a in single for b in single if a <= b}
    far = program.add(float(term.penalty.max()), term.count)
    for board, terms in single.items():
        uses = {n: -float((a == board) + (b == board)) for (a, b), n in made.items() if board in (a, b)}
        program.hold(terms | uses, 0, np.inf)
    doubles = {taken[r]: 1.0 for r in np.flatnonzero((c.kind == term.kind) & (c.covers == 2))}
    program.hold(dict.fromkeys(made.values(), 1.0) | doubles | {far: 1.0, empty[term.kind]: 1.0}, term.count, np.inf)
