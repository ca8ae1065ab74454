"""The choice for a whole job: boards resawn, panels sized, surfaces seen or foreseen, leaves assigned.

Nothing here writes what a maker reads; only what is predicted of the insides is kept, so that it is worked out once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from grainplan.aftersaw import list_lost, read_leaves
from grainplan.boards import Leaf, MeasuredBoard, RoughBoard
from grainplan.errors import NotFound
from grainplan.frame import Bay, BaySize
from grainplan.job import Job, Keep
from grainplan.match.request import Request
from grainplan.match.shelf import SEAMS_FOLDER
from grainplan.match.spare import choose_with_spare
from grainplan.match.surfaces import Surfaces
from grainplan.movement import Wood, size_panels
from grainplan.pieces import cut_free
from grainplan.plan import BoardUse, Plan
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop, part_of
from grainplan.resaw import Resaw, Stock, plan_resaw
from grainplan.sight import Foretold, Looking, Sight, see_leaves, tell_leaves
from grainplan.units import format_length


@dataclass(frozen=True, slots=True)
class Outcome:
    """A job with its plan, what its leaves look like, and the files that came of it so far."""

    job: Job
    boards: tuple[MeasuredBoard, ...]
    plan: Plan
    surfaces: Surfaces
    files: tuple[Path, ...] = ()
    books: dict[float, Any] = field(default_factory=dict)
    """Seam comparisons that were made on the way, for the next choice over the same surfaces."""
    foretold: tuple[Foretold, ...] = ()
    """Surfaces that were foretold before the saw and have been photographed since."""
    told: tuple[str, ...] = ()
    """What the maker should know of the leaves that were photographed."""


def size_bay(job: Job, bay: Bay, *, boards: Sequence[MeasuredBoard] = ()) -> BaySize:
    """The panels of a bay, from sight size to rough, with room for the board of the job that moves most.

    No board is chosen yet, so the most restless one counts. Boards that were measured move by their own ring angle, the
    others as plain-sawn wood.
    """
    angles = {board.name: board.grain.ring_angle_deg for board in boards}
    woods = {Wood(job.species[b.species], b.moisture_percent, angles.get(b.name)) for b in job.boards}
    sizes = [size_panels(bay, job.panel, shop=job.shop, climate=job.climate, wood=wood) for wood in woods]
    return max(sizes, key=lambda size: size.float_mm)


def resaw_as(plan: Plan, job: Job) -> dict[str, Resaw | NotFound]:
    """How a plan resaws its boards: as many leaves of each as the plan says."""
    leaves = {use.name: use.leaves for use in plan.boards}
    return {
        board.name: plan_resaw(
            Stock.of(board), job.shop, finished_mm=job.panel.thickness_mm, leaves=leaves.get(board.name) or None
        )
        for board in job.boards
    }


def resaw_boards(job: Job, *, tight: bool = False) -> dict[str, Resaw | NotFound]:
    """How every board is resawn, or why it gives no leaf.

    Parameters
    ----------
    job : Job
    tight : bool
        Whether a board may give the last leaf that it has room for, though a cut that wanders would spoil one. Leaves
        that the maker has named, to keep them or because they are sawn already, are there in any case.
    """
    named = [*(leaf for keep in job.keeps for leaf in keep.leaves), *(report.leaf for report in job.leaf_reports)]
    return {
        board.name: _resaw_board(
            board, job, tight=tight, least=max((leaf.number for leaf in named if leaf.board == board.name), default=1)
        )
        for board in job.boards
    }


def _resaw_board(board: RoughBoard, job: Job, *, tight: bool, least: int) -> Resaw | NotFound:
    stock, thickness = Stock.of(board), job.panel.thickness_mm
    most = plan_resaw(stock, job.shop, finished_mm=thickness)
    if isinstance(most, NotFound) or tight or not most.tight or most.leaves <= least:
        return most
    fewer = plan_resaw(stock, job.shop, finished_mm=thickness, leaves=most.leaves - 1)
    assert not isinstance(fewer, NotFound)
    spare, cuts = format_length(most.spare_mm, job.units), most.leaves - 1
    told = f"{most.leaves} leaves would be tight ({spare} to spare for {cuts} cuts), so {fewer.leaves} are planned"
    return replace(fewer, caveats=(*fewer.caveats, told))


def make_plan(job: Job, boards: tuple[MeasuredBoard, ...], *, looking: Looking | None = None) -> Outcome:
    """Look inside the boards and choose leaves for every bay; nothing is written but what is kept of the insides.

    Boards are sawn tightly only where bays would stay empty otherwise.

    Parameters
    ----------
    job : Job
    boards : tuple of MeasuredBoard
        All boards of the job.
    looking : Looking, optional
        How many boards are looked into at once, who is told, who may stop it.
    """
    job, boards = cut_free(job, boards)
    sawn = read_leaves(job)
    looking = looking or Looking()
    seeing = replace(looking, progress=part_of(looking.progress, 0.0, 0.7))
    watch = (part_of(looking.progress, 0.7, 1.0), looking.should_stop)
    best: tuple[Outcome, Sight] | None = None
    for resaws in _list_resaws(job):
        sight = see_leaves(job, boards, resaws, sawn=sawn, looking=seeing)
        found = _choose(job, boards, resaws, known=(sight.surfaces, {}), watch=watch)
        if best is None or len(found.plan.unfilled) < len(best[0].plan.unfilled):
            best = found, sight
        if not best[0].plan.unfilled or looking.should_stop():
            break
    assert best is not None
    outcome, sight = best
    told = tell_leaves(job, boards, sight) if sawn else ()
    plan = replace(outcome.plan, caveats=(*outcome.plan.caveats, *sight.insides, *told))
    return replace(outcome, plan=plan, foretold=sight.foretold, told=told)


def choose_again(
    before: Outcome, job: Job, *, progress: Progress = keep_quiet, should_stop: ShouldStop = never_stop
) -> Outcome:
    """Choose anew after the maker changed what is kept, left out or weighed, but not the boards or how they are sawn.

    Boards stay sawn as they were and what their leaves look like is known, so the answer comes at once.

    Parameters
    ----------
    before : Outcome
        Of the job as it was.
    job : Job
        As it is now.
    progress, should_stop : callable
    """
    job, _ = cut_free(job, ())
    resaws = resaw_as(before.plan, job)
    known = (before.surfaces, before.books)
    outcome = _choose(job, before.boards, resaws, known=known, watch=(progress, should_stop))
    plan = replace(outcome.plan, caveats=(*outcome.plan.caveats, *before.told))
    return replace(outcome, plan=plan, foretold=before.foretold, told=before.told)


def _list_resaws(job: Job) -> list[dict[str, Resaw | NotFound]]:
    """With room for the saw to wander; then tightly, where that gives more leaves."""
    safe, tight = resaw_boards(job), resaw_boards(job, tight=True)
    return [safe] if safe == tight else [safe, tight]


def _choose(
    job: Job,
    boards: tuple[MeasuredBoard, ...],
    resaws: Mapping[str, Resaw | NotFound],
    *,
    known: tuple[Surfaces, dict[float, Any]],
    watch: tuple[Progress, ShouldStop],
) -> Outcome:
    surfaces, books = known
    lost = list_lost(job)
    gone = [keep for keep in job.keeps if any(leaf in lost for leaf in keep.leaves)]
    request = Request(
        title=job.title,
        job_sha256=job.sha256,
        bays=job.bays,
        sizes={bay.name: size_bay(job, bay, boards=boards) for bay in job.bays},
        boards=boards,
        uses={name: _use_of(name, found) for name, found in resaws.items()},
        making=job.panel,
        shop=job.shop,
        weights=job.weights,
        kept=tuple(keep for keep in job.keeps if keep not in gone),
        left_out=job.leave_outs,
        surfaces=surfaces,
        lost=lost,
        units=job.units,
        spare_pair=job.spare_pair,
        books=books,
        seams_folder=job.folder / SEAMS_FOLDER,
    )
    plan = choose_with_spare(request, progress=watch[0], should_stop=watch[1])
    anew = [_tell_gone(keep, request, leaf) for keep in gone for leaf in keep.leaves if leaf in lost]
    told = replace(plan, caveats=(*plan.caveats, *dict.fromkeys(anew), *job.remarks))
    return Outcome(job, boards, told, surfaces, books=books)


def _tell_gone(keep: Keep, request: Request, leaf: Leaf) -> str:
    """What becomes of a bay that was kept on a leaf which is lost."""
    told = f"{keep.bay} was kept on {leaf.name}, which is lost ({request.lost[leaf]})"
    instead = next((other for other in request.kept if other.bay == keep.bay), None)
    if instead is None:
        return f"{told}; it is chosen anew"
    stay = " and ".join(one.name for one in instead.leaves if one in keep.leaves)
    come = " and ".join(one.name for one in instead.leaves if one not in keep.leaves)
    return f"{told}; what is left of it stays: {stay}, with {come}. Take the keep away to choose it afresh"


def see_job(
    job: Job,
    boards: Sequence[MeasuredBoard],
    resaws: Mapping[str, Resaw | NotFound],
    *,
    progress: Progress = keep_quiet,
) -> Sight:
    """What is known of all leaves of a job that is sawn this way, without choosing anew."""
    return see_leaves(job, boards, resaws, sawn=read_leaves(job), looking=Looking(progress=progress))


def _use_of(name: str, found: Resaw | NotFound) -> BoardUse:
    """What a board is sawn into, before anybody has chosen from it."""
    if isinstance(found, NotFound):
        return BoardUse(name, 0, 0.0, (), 0.0, 0.0, False, 0.0, (), 0.0, (found.reason,))
    return BoardUse(
        name=name,
        leaves=found.leaves,
        flat_thickness_mm=found.flat_thickness_mm,
        sawn_leaf_mm=found.sawn_leaf_mm,
        finished_leaf_mm=found.finished_leaf_mm,
        spare_mm=found.spare_mm,
        tight=found.tight,
        mate_gap_mm=found.mate_gap_mm,
        cuts_mm=found.cuts_mm,
        used_fraction=0.0,
        caveats=found.caveats,
    )
