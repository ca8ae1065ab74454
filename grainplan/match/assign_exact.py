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
from numpy.typing import NDArray

from grainplan.match.cliques import find_rows
from grainplan.match.model import IntArray, Pool, ReportState, SearchState, Selection
from grainplan.match.scoring import choose_ends, score_choice
from grainplan.progress import ShouldStop

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


Floats = NDArray[np.float64]
FINER = 10
"""Profits are no whole numbers; so many parts of one are counted."""
POLL_S = 0.05
"""How often progress is passed on and a wish to stop is heard."""


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
    others : int
        Plans that truly differ to look for beside the best one; 0 for the quickest answer.
    """

    solver_time: float = 60.0
    gap: float = 0.0
    start: tuple[int, ...] = ()
    others: int = 2


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


@dataclass(frozen=True, slots=True)
class Terms:
    """What the answer must look like.

    Attributes
    ----------
    avoid : sets of candidates
        From each of them the answer must differ by the board of at least one bay.
    keep : candidates that must be in it
        On boards with no other candidate the useful ends are then not asked for, and the bound is not for the whole.
    """

    avoid: tuple[tuple[int, ...], ...] = ()
    keep: tuple[int, ...] = ()


def solve_exactly(
    pool: Pool, rows: IntArray, *, effort: Effort | None = None, watch: Watch | None = None, terms: Terms | None = None
) -> Selection | None:
    """The cheapest set among some candidates.

    Parameters
    ----------
    pool : Pool
    rows : int array
        The candidates that may be chosen. The bound of the answer holds for these rows alone.
    effort, watch : Effort, Watch
    terms : Terms

    Returns
    -------
    Selection or None
        None where the search ended before it found any set.
    """
    from ortools.sat.python import cp_model

    effort, watch, terms = effort or Effort(), watch or Watch(), terms or Terms()
    built = _Model(cp_model, pool, rows, terms.keep)
    if effort.start:
        built.hint(effort.start)
    for other in terms.avoid:
        built.differ_from(other)
    solver = cp_model.CpSolver()
    _set_parameters(solver, effort)
    status = _run(solver, built.model, _make_callback(cp_model), watch)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    chosen = tuple(int(r) for r in sorted(r for r, var in built.taken.items() if solver.boolean_value(var)))
    cost = score_choice(pool, chosen).total
    bound = min(cost, int(np.ceil(solver.best_objective_bound - 1e-6)))
    proven = status == cp_model.OPTIMAL and effort.gap == 0
    return Selection(chosen, cost, bound, proven, spent=float(solver.response_proto.deterministic_time))


def solve_alone(pool: Pool, rows: IntArray, profit: Floats, *, solver_time: float) -> float:
    """What one board earns at the most with some of its candidates and its useful ends.

    Parameters
    ----------
    pool : Pool
    rows : int array
        Candidates of one board.
    profit : float array
        What each of them earns.
    solver_time : float
        Limit in the solver's deterministic time; the answer is then higher than what can be reached.
    """
    from ortools.sat.python import cp_model

    c, model = pool.candidates, cp_model.CpModel()
    taken = {int(row): model.new_bool_var("") for row in rows}
    ends: dict[int, Any] = {}
    for clique in find_rows(pool, rows):
        for end in clique.ends:
            if int(end) not in ends:
                ends[int(end)] = model.new_bool_var("")
        model.add_at_most_one([taken[int(r)] for r in clique.candidates] + [ends[int(e)] for e in clique.ends])
    for kind in np.unique(c.kind[rows]):
        halves = [(taken[int(r)], max(1, 2 * int(c.covers[r]))) for r in rows[c.kind[rows] == kind]]
        model.add(sum(count * var for var, count in halves) <= 2 * int(pool.demand[kind]))
    earned = [int(np.ceil(FINER * gain)) * var for gain, var in zip(profit, taken.values(), strict=True)]
    earned += [FINER * int(pool.left_over.value[end]) * var for end, var in ends.items()]
    model.maximize(sum(earned))
    solver = cp_model.CpSolver()
    _set_parameters(solver, Effort(solver_time))
    status = solver.solve(model)
    known = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return solver.best_objective_bound / FINER if known else np.inf


def _set_parameters(solver: cp_model.CpSolver, effort: Effort) -> None:
    parameters = solver.parameters
    parameters.num_workers = 1
    parameters.linearization_level = 2
    parameters.random_seed = 1
    parameters.max_deterministic_time = effort.solver_time
    parameters.relative_gap_limit = effort.gap
    parameters.log_search_progress = False
    parameters.catch_sigint_signal = False  # the command line hears it, and asks to stop


def _make_callback(cp_model: Any) -> Any:
    class Callback(cp_model.CpSolverSolutionCallback):  # type: ignore[misc]
        """Remembers the newest cost and bound; who waits for the solver passes them on."""

        def __init__(self) -> None:
            super().__init__()
            self.newest: tuple[float, float] | None = None

        def on_solution_callback(self) -> None:
            self.newest = (self.objective_value, self.best_objective_bound)

    return Callback()


def _run(solver: cp_model.CpSolver, model: cp_model.CpModel, callback: Any, watch: Watch) -> Any:
    """Solve in a thread of its own, so that the caller's thread can tell progress and hear an interrupt meanwhile."""
    answer: list[Any] = []

    def work() -> None:
        try:
            answer.append(solver.solve(model, callback))
        except Exception as error:
            answer.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    told = None
    try:
        while thread.is_alive():
            thread.join(POLL_S)
            if callback.newest != told:
                told = callback.newest
                watch.tell("search", *told)
            if watch.stopped:
                solver.stop_search()
    except BaseException:
        solver.stop_search()
        thread.join()
        raise
    if isinstance(answer[0], Exception):
        raise answer[0]
    return answer[0]


@dataclass(frozen=True, slots=True)
class _Group:
    """The variables of bays that are to look alike: who leads, and how many bays of a board follow whom."""

    kinds: tuple[int, ...]
    penalty: IntArray
    leads: dict[int, Any]
    parts: dict[tuple[int, int], Any]
    far: dict[int, Any]

    def hint(self, model: cp_model.CpModel, count: dict[tuple[int, int], int]) -> None:
        """Tell the cheapest lead for so many bays of each type on each board."""
        bays = {board: sum(count.get((kind, board), 0) for kind in self.kinds) for board in self.leads}
        used = [board for board, number in bays.items() if number]
        first = min(used, key=lambda lead: sum(int(self.penalty[lead, b]) * bays[b] for b in used), default=-1)
        for board, var in self.leads.items():
            model.add_hint(var, board == first)
        for (lead, board), var in self.parts.items():
            model.add_hint(var, bays[board] if lead == first else 0)
        for board, var in self.far.items():
            model.add_hint(var, 0 if (first, board) in self.parts else bays[board])


class _Model:
    """The sums of the choice, as the solver reads them."""

    def __init__(self, cp_model: Any, pool: Pool, rows: IntArray, keep: tuple[int, ...] = ()) -> None:
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
        self.groups: list[_Group] = []
        self.ends: dict[int, Any] = {}
        self.on_board = self._count_on_boards()
        self.halved = self._add_halves()
        self._add_demand()
        for row in keep:
            self.model.add(self.taken[row] == 1)
        self._add_packing(self.rows[self._where_open(keep)])
        for group in pool.alike:
            self._add_alike(group.types, group.penalty)
        for term in pool.pairs:
            self._add_pairs(term.kind, term.count, term.penalty)
        self.model.minimize(sum(self.costs))

    def hint(self, start: tuple[int, ...]) -> None:
        """Start from a set that fits; every variable is told, for a hint that is only half told is filled in badly."""
        c = self.pool.candidates
        chosen = np.array(sorted(start), np.int64)
        boards = {int(b) for b in c.board[chosen]}
        ends = {end for board in boards for end in choose_ends(self.pool, chosen, board)}
        self._tell(self.taken, set(start))
        self._tell(self.opened, boards)
        self._tell(self.ends, ends)
        count: dict[tuple[int, int], int] = defaultdict(int)
        bays: dict[int, int] = defaultdict(int)
        for row in start:
            count[int(c.kind[row]), int(c.board[row])] += int(c.covers[row])
            bays[int(c.kind[row])] += int(c.covers[row])
        doubles = {(int(c.kind[r]), int(c.board[r])) for r in start if c.covers[r] == 2}
        for key, (one, _) in self.on_board.items():
            if key not in doubles:
                self.model.add_hint(one, count[key])
        for kind, var in enumerate(self.missing):
            self.model.add_hint(var, max(0, int(self.pool.demand[kind]) - bays[kind]))
        for group in self.groups:
            group.hint(self.model, count)

    def _tell(self, variables: dict[int, Any], true: set[int]) -> None:
        for name, var in variables.items():
            self.model.add_hint(var, name in true)

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

    def _where_open(self, keep: tuple[int, ...]) -> NDArray[np.bool_]:
        """Which candidates lie on boards where something is still to be chosen."""
        board = self.pool.candidates.board[self.rows]
        return np.isin(board, board[~np.isin(self.rows, np.array(keep, np.int64))])

    def _add_packing(self, rows: IntArray) -> None:
        ends = self.ends
        for row in find_rows(self.pool, rows):
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
        """The board of one bay leads; each bay pays for the distance of its board to it (a small location problem)."""
        bays = int(sum(self.pool.demand[k] for k in kinds))
        worst = int(penalty.max())
        counts = self._boards_of(kinds, doubles=True)
        group = _Group(kinds, penalty, {board: self.model.new_bool_var("") for board in counts}, {}, {})
        self.model.add_at_most_one(group.leads.values())
        for board, count in counts.items():
            self.model.add(group.leads[board] <= count)
            near = [lead for lead in counts if penalty[lead, board] < worst]
            for lead in near:
                group.parts[lead, board] = part = self.model.new_int_var(0, bays, "")
                self.model.add(part <= bays * group.leads[lead])
                self.costs.append(int(penalty[lead, board]) * part)
            group.far[board] = far = self.model.new_int_var(0, bays, "")
            self.costs.append(worst * far)
            self.model.add(sum(group.parts[lead, board] for lead in near) + far == count)
        self.groups.append(group)

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
