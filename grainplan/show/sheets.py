"""The shop sheets: the order of work, a page a board, a page a bay."""

from __future__ import annotations

from collections.abc import Sequence

from grainplan.boards import MeasuredBoard
from grainplan.errors import PlanError
from grainplan.frame import Bay
from grainplan.job import Job
from grainplan.plan import Plan
from grainplan.show.bay_page import draw_bay_page, gather_bay
from grainplan.show.board_page import draw_board_pages, gather_board
from grainplan.show.cutting import list_sawn
from grainplan.show.layout import Page
from grainplan.show.paper import Paper, PaperName, choose_paper
from grainplan.show.work_page import draw_work_page


def draw_sheets(
    job: Job, plan: Plan, *, measured: Sequence[MeasuredBoard] = (), paper: PaperName | None = None
) -> bytes:
    """The pages that go to the bandsaw and the bench, as one PDF.

    Parameters
    ----------
    job : Job
    plan : Plan
        Of this job.
    measured : sequence of MeasuredBoard
        For the ring angles, where they are known; without them wood is taken to move as plain-sawn.
    paper : {"A4", "Letter"} or None
        None: Letter for a job in inches, A4 for one in millimetres.

    Returns
    -------
    bytes
        The same for the same job and plan, byte by byte.

    Raises
    ------
    PlanError
        When the plan names a board or a bay that the job does not have.
    """
    bays = {bay.name: bay for bay in job.bays}
    known = {board.name: board for board in measured}
    boards = [gather_board(job, plan, use=use, measured=known.get(use.name)) for use in list_sawn(plan)]
    filled = [gather_bay(job, b, bay=_find_bay(bays, b.name), measured=tuple(measured)) for b in plan.bays]
    pile = Paper(paper or choose_paper(job.units), f"{job.title}: shop sheets")
    draw_work_page(Page(pile, job.title, "shop sheets"), job, plan=plan)
    pile.turn_page()
    for board in boards:
        draw_board_pages(Page(pile, f"Board {board.use.name}", job.title), board, job=job)
        pile.turn_page()
    for sheet in filled:
        draw_bay_page(Page(pile, sheet.bay.name[:1].upper() + sheet.bay.name[1:], job.title), sheet, job=job)
        pile.turn_page()
    return pile.finish()


def _find_bay(bays: dict[str, Bay], name: str) -> Bay:
    if name not in bays:
        raise PlanError(f'the plan fills a bay "{name}", which the job does not have; plan the job again')
    return bays[name]
