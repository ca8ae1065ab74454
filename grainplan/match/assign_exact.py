"""The exact choice: a typed set packing, solved by CP-SAT on its linear-programming side.

Bays alike in every respect are one type with a demand, so that no time is lost on which of two equal doors gets which
leaves. Each point of a leaf is taken at most once, and only while its board is opened. One worker, a limit in the
solver's own deterministic time and no wall clock: the same job gives the same answer every time.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from grainplan.match.cliques import find_rows
from grainplan.match.model import IntArray, Pool, ReportState, SearchState, Selection
from grainplan.match.scoring import score_choice
from grainplan.progress import ShouldStop

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to try.

    Attributes
    ----------
    solver_time : float
        Limit in the solver's deterministic time, roughly seconds of one core.
    gap : float
        Stop when the cost is proven to within this share, 0 for a full proof.
    start : rows of candidates
        A set that fits, to start from.
    """

    solver_time: float = 60.0
    gap: float = 0.0
    start: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Watch:
    """Who is told about progress, and who may end the search early."""

    report: ReportState | None = None
    should_stop: ShouldStop | None = None

    def tell(self, stage: str, cost: float | None, bound: float | None) -> None:
        """Pass a state on, costs in thousandths."""
        if self.report is not None:
            scale = 1000.0
            self.report(
                SearchState(stage, None if cost is None else cost / scale, None if bound is None else bound / scale)
            )

    @property
    def stopped(self) -> bool:
        """Whether the maker wants to end."""
        return self.should_stop is not None and self.should_stop()


def solve_exactly(
    pool: Pool,
    rows: IntArray,
    *,
    effort: Effort | None = None,
    watch: Watch | None = None,
    avoid: tuple[tuple[int, ...], ...] = (),
) -> Selection | None:
    """The cheapest set among some candidates.

    Parameters
    ----------
    pool : Pool
    rows : int array
        The candidates that may be chosen. The bound of the answer holds for these rows alone.
    effort, watch : Effort, Watch
    avoid : sets of candidates
        From each of them the answer must differ by the board of at least one bay.

    Returns
    -------
    Selection or None
        None where the search ended before it found any set.
    """
    from ortools.sat.python import cp_model

    effort, watch = effort or Effort(), watch or Watch()
    built = _Model(cp_model, pool, rows)
    if effort.start:
        built.hint(effort.start)
    for other in avoid:
        built.differ_from(other)
    solver = cp_model.CpSolver()
    _set_parameters(solver, effort)
    callback = _make_callback(cp_model, watch)
    ended = threading.Event()
    guard = threading.Thread(target=_guard_search, args=(solver, watch, ended), daemon=True)
    if watch.should_stop is not None:
        guard.start()
    try:
        status = solver.solve(built.model, callback)
    finally:
        ended.set()
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    chosen = tuple(int(r) for r in sorted(r for r, var in built.taken.items() if solver.boolean_value(var)))
    cost = score_choice(pool, chosen).total
    bound = min(cost, int(np.ceil(solver.best_objective_bound - 1e-6)))
    return Selection(chosen, cost, bound, proven=status == cp_model.OPTIMAL and effort.gap == 0)


def _set_parameters(solver: cp_model.CpSolver, effort: Effort) -> None:
    parameters = solver.parameters
    parameters.num_workers = 1
    parameters.linearization_level = 2
    parameters.random_seed = 1
    parameters.max_deterministic_time = effort.solver_time
    parameters.relative_gap_limit = effort.gap
    parameters.log_search_progress = False


def _make_callback(cp_model: Any, watch: Watch) -> Any:
    class Callback(cp_model.CpSolverSolutionCallback):  # type: ignore[misc]
        def on_solution_callback(self) -> None:
            watch.tell("search", self.objective_value, self.best_objective_bound)
            if watch.stopped:
                self.stop_search()

    return Callback()


def _guard_search(solver: cp_model.CpSolver, watch: Watch, ended: threading.Event) -> None:
    while not ended.wait(0.1):
        if watch.stopped:
            solver.stop_search()


class _Model:
    """The sums of the choice, as the solver reads them."""

    def __init__(self, cp_model: Any, pool: Pool, rows: IntArray) -> None:
        self.model = cp_model.CpModel()
        self.pool = pool
        self.rows = np.asarray(rows, np.int64)
        c = pool.candidates
        self.taken = {int(r): self.model.new_bool_var("") for r in self.rows}
        self.opened = {int(b): self.model.new_bool_var("") for b in np.unique(c.board[self.rows])}
        self.missing = [self.model.new_int_var(0, int(d), "") for d in pool.demand]
        self.costs: list[Any] = [int(pool.open_cost[b]) * var for b, var in self.opened.items()]
        self.costs += [int(c.cost[r]) * var for r, var in self.taken.items()]
        self.costs += [int(p) * var for p, var in zip(pool.unfilled, self.missing, strict=True)]
        self.on_board = self._count_on_boards()
        self.halved = self._add_halves()
        self._add_demand()
        self._add_packing()
        for group in pool.alike:
            self._add_alike(group.types, group.penalty)
        for term in pool.pairs:
            self._add_pairs(term.kind, term.count, term.penalty)
        self.model.minimize(sum(self.costs))

    def hint(self, start: tuple[int, ...]) -> None:
        """Start from a set that fits."""
        for row, var in self.taken.items():
            self.model.add_hint(var, row in start)

    def differ_from(self, other: tuple[int, ...]) -> None:
        """At least one type of bay must come less often from one of the boards that it came from."""
        c = self.pool.candidates
        count: dict[tuple[int, int], int] = defaultdict(int)
        for row in other:
            if c.covers[row]:
                count[int(c.kind[row]), int(c.board[row])] += int(c.covers[row])
        fewer = []
        for key, bays in count.items():
            one, double = self.on_board.get(key, (0, 0))
            less = self.model.new_bool_var("")
            self.model.add(one + 2 * double <= bays - 1).only_enforce_if(less)
            fewer.append(less)
        self.model.add_bool_or(fewer)

    def _count_on_boards(self) -> dict[tuple[int, int], tuple[Any, Any]]:
        """Per type and board: single bays, and bays in mirrored pairs cut from one place."""
        c = self.pool.candidates
        single: dict[tuple[int, int], list[Any]] = defaultdict(list)
        double: dict[tuple[int, int], list[Any]] = defaultdict(list)
        for row, var in self.taken.items():
            into = single if c.covers[row] == 1 else double if c.covers[row] == 2 else None
            if into is not None:
                into[int(c.kind[row]), int(c.board[row])].append(var)
        counts = {}
        for key in sorted(single.keys() | double.keys()):
            one = self.model.new_int_var(0, int(self.pool.demand[key[0]]), "")
            self.model.add(one == sum(single[key]))
            counts[key] = (one, sum(double[key]))
        return counts

    def _add_halves(self) -> dict[tuple[int, int, int], Any]:
        """Panels of two halves: per type and pair of boards, how many."""
        c, table = self.pool.candidates, self.pool.halves
        by_board = defaultdict(list)
        for row, var in self.taken.items():
            if c.covers[row] == 0:
                by_board[int(c.kind[row]), int(c.board[row])].append(var)
        panels = {}
        for kind, a in sorted(by_board):
            for _, b in sorted(k for k in by_board if k[0] == kind and k[1] >= a):
                if table is not None and table[kind, a, b] >= 0:
                    panels[kind, a, b] = var = self.model.new_int_var(0, int(self.pool.demand[kind]), "")
                    self.costs.append(int(table[kind, a, b]) * var)
        for (kind, board), variables in by_board.items():
            ends = [
                v * ((a == board) + (b == board)) for (k, a, b), v in panels.items() if k == kind and board in (a, b)
            ]
            self.model.add(sum(variables) == sum(ends))
        return panels

    def _add_demand(self) -> None:
        for kind, demand in enumerate(self.pool.demand):
            filled = [one + 2 * double for (k, _), (one, double) in self.on_board.items() if k == kind]
            filled += [var for (k, _, _), var in self.halved.items() if k == kind]
            self.model.add(sum(filled) + self.missing[kind] == int(demand))
        for (kind, board), (one, double) in self.on_board.items():
            self.model.add(one + 2 * double <= int(self.pool.demand[kind]) * self.opened[board])

    def _add_packing(self) -> None:
        ends: dict[int, Any] = {}
        for row in find_rows(self.pool, self.rows):
            for end in row.ends:
                if int(end) not in ends:
                    ends[int(end)] = self.model.new_bool_var("")
                    self.costs.append(-int(self.pool.left_over.value[end]) * ends[int(end)])
            variables = [self.taken[int(r)] for r in row.candidates] + [ends[int(e)] for e in row.ends]
            self.model.add_at_most_one([*variables, ~self.opened[row.board]])

    def _boards_of(self, kinds: tuple[int, ...], *, doubles: bool) -> dict[int, Any]:
        """Bays of some types that stand on each board; a panel of two halves counts as its first board."""
        count: dict[int, list[Any]] = defaultdict(list)
        for (kind, board), (one, double) in self.on_board.items():
            if kind in kinds:
                count[board] += [one, 2 * double] if doubles else [one]
        for (kind, first, _), var in self.halved.items():
            if kind in kinds:
                count[first].append(var)
        return {board: sum(parts) for board, parts in sorted(count.items())}

    def _add_alike(self, kinds: tuple[int, ...], penalty: IntArray) -> None:
        """One board leads the group; each bay pays for the distance of its board to it (a small location problem)."""
        bays = int(sum(self.pool.demand[k] for k in kinds))
        worst = int(penalty.max())
        leads = [self.model.new_bool_var("") for _ in range(len(penalty))]
        self.model.add_exactly_one(leads)
        for board, count in self._boards_of(kinds, doubles=True).items():
            near = [lead for lead in range(len(penalty)) if penalty[lead, board] < worst]
            parts = []
            for lead in near:
                part = self.model.new_int_var(0, bays, "")
                self.model.add(part <= bays * leads[lead])
                self.costs.append(int(penalty[lead, board]) * part)
                parts.append(part)
            far = self.model.new_int_var(0, bays, "")
            self.costs.append(worst * far)
            self.model.add(sum(parts) + far == count)

    def _add_pairs(self, kind: int, pairs: int, penalty: IntArray) -> None:
        worst = int(penalty.max())
        counts = self._boards_of((kind,), doubles=False)
        made = {}
        for a in counts:
            for b in (b for b in counts if b >= a and penalty[a, b] < worst):
                made[a, b] = self.model.new_int_var(0, pairs, "")
                self.costs.append(int(penalty[a, b]) * made[a, b])
        far = self.model.new_int_var(0, pairs, "")
        self.costs.append(worst * far)
        for board, count in counts.items():
            self.model.add(
                sum(v * ((a == board) + (b == board)) for (a, b), v in made.items() if board in (a, b)) <= count
            )
        doubles = [double for (k, _), (_, double) in self.on_board.items() if k == kind]
        self.model.add(sum(made.values()) + far + sum(doubles) + self.missing[kind] >= pairs)
