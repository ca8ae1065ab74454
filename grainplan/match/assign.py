"""The choice of leaves: the best set of boards and places for all bays, with its cost, its proof and its status."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from grainplan.match.assign_exact import Effort, Watch, solve_exactly
from grainplan.match.model import Pool, SearchState, Selection
from grainplan.match.panels import write_bay
from grainplan.match.pooling import Stacked, stack_request
from grainplan.match.request import Request
from grainplan.match.scoring import score_choice
from grainplan.match.tidy import push_to_foot
from grainplan.plan import BoardUse, Offcut, Plan, PlannedBay, Status, Unfilled
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop

UNIT = 1000.0


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
    """
    progress(0.0, "listing where each bay could come from")
    stacked = stack_request(request)

    def tell(state: SearchState) -> None:
        gap = state.gap
        words = "looking for a first set" if gap is None else f"within {100 * gap:.1f} % of the best possible"
        progress(0.2 + 0.75 * (0.0 if gap is None else 1.0 - min(gap, 1.0)), words)

    selection = select(stacked.pool, Watch(tell, should_stop), effort or Effort())
    progress(1.0, "done")
    return write_plan(stacked, selection)


def select(pool: Pool, watch: Watch, effort: Effort) -> Selection:
    """The best set of candidates that the effort finds."""
    rows = np.arange(len(pool.candidates))
    nothing = Selection((), score_choice(pool, ()).total, 0, proven=len(rows) == 0)
    if len(rows) == 0:
        return replace(nothing, bound=nothing.cost)
    found = solve_exactly(pool, rows, effort=effort, watch=watch) or nothing
    return replace(found, rows=push_to_foot(pool, found.rows))


def write_plan(stacked: Stacked, selection: Selection) -> Plan:
    """A selection as the plan tells it."""
    pool, request = stacked.pool, stacked.request
    bill = score_choice(pool, selection.rows)
    bays = _name_bays(stacked, selection)
    parts = dict.fromkeys(("seams", "tone", "continuity", "flaws", "wood"), 0.0)
    for row in selection.rows:
        for name, value in zip(("seams", "tone", "continuity", "flaws"), stacked.table.parts[row], strict=True):
            parts[name] += float(value)
    parts["tone"] += (bill.alike + bill.pairs + bill.halves) / UNIT
    parts["wood"] = (bill.boards - bill.left_over) / UNIT
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
        boards=_write_boards(stacked, bays),
        bays=tuple(bays[bay.name] for bay in request.bays if bay.name in bays),
        unfilled=_explain_unfilled(stacked, bays),
        offcuts=_list_offcuts(stacked, selection),
        caveats=(stacked.money.sentence,),
        weights=request.weights,
    )


def _name_bays(stacked: Stacked, selection: Selection) -> dict[str, PlannedBay]:
    """Give the chosen places of each type to its bays, in the order of boards and places."""
    c = stacked.table.rows
    named: dict[str, PlannedBay] = {}
    for index, kind in enumerate(stacked.types.types):
        rows = [r for r in selection.rows if c.kind[r] == index]
        rows.sort(key=lambda r: (int(c.board[r]), int(c.leaf[r]), int(c.x0[r])))
        for name, row in zip(kind.bays, rows, strict=False):
            named[name] = write_bay(stacked, row, name)
    return named


def _write_boards(stacked: Stacked, bays: dict[str, PlannedBay]) -> tuple[BoardUse, ...]:
    used: dict[str, float] = {}
    for bay in bays.values():
        for panel in bay.panels.values():
            widths = [strip.y_mm[1] - strip.y_mm[0] for strip in panel.strips]
            for strip, width in zip(panel.strips, widths, strict=True):
                share = panel.width_mm * width / sum(widths)
                used[strip.leaf.board] = used.get(strip.leaf.board, 0.0) + share * panel.height_mm
    found = []
    for stock in stacked.stock:
        use = stacked.request.uses.get(stock.board.name)
        if use is not None:
            rough = stock.board.board
            volume = rough.length_mm * rough.width_at(rough.length_mm / 2) * rough.thickness_mm
            share = used.get(use.name, 0.0) * use.finished_leaf_mm / volume
            found.append(replace(use, used_fraction=round(share, 4)))
    return tuple(found)


def _explain_unfilled(stacked: Stacked, bays: dict[str, PlannedBay]) -> tuple[Unfilled, ...]:
    found = []
    for bay in stacked.request.bays:
        if bay.name not in bays and not bay.done:
            reason = stacked.types.impossible.get(bay.name, "no leaf is left that is long and wide enough")
            found.append(Unfilled(bay.name, reason))
    return tuple(found)


def _list_offcuts(stacked: Stacked, selection: Selection) -> tuple[Offcut, ...]:
    return ()
