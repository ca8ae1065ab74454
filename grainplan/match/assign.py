"""The choice of leaves: the best set of boards and places for all bays, with its cost, its proof and its status."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from grainplan.errors import GrainplanError
from grainplan.match.assign_search import Effort, Watch, find_others, select
from grainplan.match.leftovers import list_offcuts
from grainplan.match.lying import FilledBay, fill_bays
from grainplan.match.missing import explain_unfilled
from grainplan.match.model import SearchState, Selection
from grainplan.match.panels import write_bay
from grainplan.match.pooling import Stacked, stack_request
from grainplan.match.request import Request
from grainplan.match.scoring import Bill, score_choice
from grainplan.match.seen import FINAL_PX_PER_MM, SeamBook
from grainplan.match.why import explain_bay, explain_difference, name_moves
from grainplan.plan import COST_PARTS, BoardUse, OtherPlan, Plan, PlannedBay, Status
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop

UNIT = 1000.0
LOOK_PARTS = ("seams", "tone", "continuity", "flaws")


def choose_leaves(
    request: Request,
    *,
    progress: Progress = keep_quiet,
    should_stop: ShouldStop = never_stop,
    effort: Effort | None = None,
) -> Plan:
    """Choose leaves and places for all bays of a job at once.

    Parameters
    ----------
    request : Request
        Bays, sizes, boards, how they are resawn, and the maker's wishes.
    progress : callable
        Told how far the choice is and how far from proven.
    should_stop : callable
        Asked now and then; once it answers True the best so far is the answer.
    effort : Effort or None
        How long to try; the same effort on the same request gives the same plan.

    Returns
    -------
    Plan
        With `status` "proven best", "best found" or "nothing fits"; bays that got no leaves say what is missing.

    Raises
    ------
    GrainplanError
        When something that is to be kept is not to be had.
    """
    progress(0.0, "listing where each bay could come from")
    stacked = stack_request(request)
    _check_kept(stacked)

    def tell(state: SearchState) -> None:
        gap = state.gap
        words = "looking for a first set" if gap is None else f"within {100 * gap:.1f} % of the best possible"
        progress(0.2 + 0.6 * (0.0 if gap is None else 1.0 - min(gap, 1.0)), words)

    effort = effort or Effort()
    watch = Watch(tell, should_stop)
    selection = select(stacked.pool, watch, effort)
    others: tuple[Selection, ...] = ()
    if selection.rows and not should_stop():
        progress(0.85, "looking for plans that truly differ")
        others = find_others(stacked.pool, selection, Watch(None, should_stop), effort)
    plan = write_choice(stacked, selection, others)
    progress(1.0, "done")
    return plan


def write_choice(stacked: Stacked, selection: Selection, others: tuple[Selection, ...] = ()) -> Plan:
    """A selection, and others that truly differ, as the plan tells them."""
    request = stacked.request
    bill = score_choice(stacked.pool, selection.rows)
    filled = fill_bays(stacked, selection.rows)
    _check_kept_filled(stacked, filled)
    book = SeamBook.of(request, px_per_mm=FINAL_PX_PER_MM)
    bays = _write_bays(stacked, filled, book)
    parts = _sum_parts(filled, bill)
    cost = round(sum(parts.values()), 3)
    bound = cost if selection.proven else min(cost, round((selection.bound - bill.unfilled) / UNIT, 3))
    status: Status = "nothing fits" if not bays else "proven best" if selection.proven else "best found"
    return Plan(
        request.title,
        request.job_sha256,
        status,
        cost,
        bound,
        {name: round(value, 3) for name, value in parts.items()},
        boards=_write_boards(stacked, filled),
        bays=bays,
        unfilled=explain_unfilled(stacked, filled),
        offcuts=list_offcuts(stacked.stock, filled, request.shop),
        others=tuple(
            sorted((_write_other(stacked, filled, parts, other) for other in others), key=lambda other: other.cost)
        ),
        caveats=(stacked.money.sentence,),
        weights=request.weights,
    )


def _write_bays(stacked: Stacked, filled: dict[str, FilledBay], book: SeamBook) -> tuple[PlannedBay, ...]:
    looks = _find_best_looks(stacked)
    bays = []
    for bay in stacked.request.bays:
        if bay.name in filled:
            planned = write_bay(stacked, filled[bay.name], book)
            index = stacked.types.type_of(bay.name)
            why = explain_bay(stacked, filled[bay.name], planned, looks.get(-1 if index is None else index, {}))
            bays.append(replace(planned, why=why))
    return tuple(bays)


def _find_best_looks(stacked: Stacked) -> dict[int, dict[str, float]]:
    """By type and board, what the look of a bay costs at the best place."""
    c = stacked.table.rows
    looks: dict[int, dict[str, float]] = {}
    boards = len(stacked.stock)
    best = np.full(len(stacked.types.types) * boards, np.inf)
    single = c.covers == 1
    np.minimum.at(best, c.kind[single] * boards + c.board[single], stacked.table.parts[single].sum(axis=1))
    for key in np.flatnonzero(np.isfinite(best)):
        kind, board = divmod(int(key), boards)
        looks.setdefault(kind, {})[stacked.stock[board].board.name] = float(best[key])
    return looks


def _sum_parts(filled: dict[str, FilledBay], bill: Bill) -> dict[str, float]:
    parts = dict.fromkeys(COST_PARTS, 0.0)
    for bay in filled.values():
        for name, value in zip(LOOK_PARTS, bay.parts, strict=True):
            parts[name] += float(value)
    parts["tone"] += (bill.alike + bill.pairs) / UNIT
    parts["seams"] += bill.halves / UNIT
    parts["wood"] = (bill.boards - bill.left_over) / UNIT
    return parts


def _write_other(stacked: Stacked, best: dict[str, FilledBay], parts: dict[str, float], other: Selection) -> OtherPlan:
    filled = fill_bays(stacked, other.rows)
    own = _sum_parts(filled, score_choice(stacked.pool, other.rows))
    says = explain_difference(parts, own, name_moves(best, filled))
    return OtherPlan(round(sum(own.values()), 3), says, _write_bays(stacked, filled, stacked.book))


def _write_boards(stacked: Stacked, filled: dict[str, FilledBay]) -> tuple[BoardUse, ...]:
    """How each board is sawn, and what share of it ends in finished panels."""
    used: dict[str, float] = {}
    for bay in filled.values():
        widths = [(lying, s.y_mm[1] - s.y_mm[0]) for lying in bay.lying for s in lying.option.strips]
        area = sum(piece.size.width_mm * piece.size.height_mm for piece in bay.kind.cut.pieces)
        for lying, width in widths:
            name = lying.stock.board.name
            used[name] = used.get(name, 0.0) + area * width / sum(w for _, w in widths)
    found = []
    for stock in stacked.stock:
        use = stacked.request.uses.get(stock.board.name)
        if use is not None:
            rough = stock.board.board
            volume = rough.length_mm * rough.width_at(rough.length_mm / 2) * rough.thickness_mm
            share = used.get(use.name, 0.0) * use.finished_leaf_mm / volume
            found.append(replace(use, used_fraction=round(share, 4)))
    return tuple(found)


def _check_kept(stacked: Stacked) -> None:
    """Every choice that the maker keeps must be a place that is there."""
    for index, kind in enumerate(stacked.types.types):
        if kind.kept is not None and not np.any(stacked.table.rows.kind == index):
            leaves = ", ".join(leaf.name for leaf in kind.kept.leaves)
            raise GrainplanError(
                f"{kind.kept.bay} cannot stay as it is on {leaves}: these leaves in this order do not give it there "
                "(too short, too narrow, lost, or a flaw would show); take the keep away, or mend what is in its way"
            )


def _check_kept_filled(stacked: Stacked, filled: dict[str, FilledBay]) -> None:
    lost = [kind.kept.bay for kind in stacked.types.types if kind.kept is not None and kind.kept.bay not in filled]
    if lost:
        raise GrainplanError(
            f"{' and '.join(lost)} cannot stay as it is beside the other choices that are kept: they want the same "
            "wood; take one of them away"
        )
