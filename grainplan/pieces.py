"""Boards that are crosscut or ripped before they are resawn: each piece becomes a board with a name of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from grainplan.boards import BROAD_SIDES, END_SIDES, BoardSide, MeasuredBoard, Piece, Side
from grainplan.errors import NotFound
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.resaw import cut_pieces, move_flaw
from grainplan.units import Units, format_length
from grainplan.wood.grain import find_pith_line, measure_grain


def cut_free(job: Job, boards: Sequence[MeasuredBoard]) -> tuple[Job, tuple[MeasuredBoard, ...]]:
    """The job as the resaw meets it: boards with `pieces` stand aside for their pieces.

    Parameters
    ----------
    job : Job
    boards : sequence of MeasuredBoard
        All boards of the job, or those of them that are measured.

    Returns
    -------
    Job, tuple of MeasuredBoard
        The same objects where no board has pieces. A piece's pictures are cut from its board's; an end that is cut
        fresh has none.
    """
    if not any(board.pieces for board in job.boards):
        return job, tuple(boards)
    rough = tuple(piece for board in job.boards for piece in cut_pieces(board))
    told = tuple(_tell(board.name, board.pieces, job.units) for board in job.boards if board.pieces)
    measured = tuple(piece for board in boards for piece in _cut_measured(board, job))
    return replace(job, boards=rough, remarks=(*job.remarks, *told)), measured


def _cut_measured(board: MeasuredBoard, job: Job) -> tuple[MeasuredBoard, ...]:
    if not board.board.pieces:
        return (board,)
    cut = []
    for piece, rough in zip(board.board.pieces, cut_pieces(board.board), strict=True):
        sides = _cut_sides(board, piece.box)
        pictures = {side: seen.picture for side, seen in sides.items()}
        line = find_pith_line(pictures)
        pith = None if isinstance(line, NotFound) else line
        cut.append(
            replace(
                board,
                board=rough,
                length_mm=replace(board.length_mm, value=rough.length_mm),
                width_mm=replace(board.width_mm, value=rough.width_mm),
                sides=sides,
                grain=measure_grain(pictures, job.ring_bands, pith=pith),
                pith=pith,
                flaws=tuple(move_flaw(flaw, piece.box) for flaw in board.flaws if flaw.box.overlaps(piece.box)),
            )
        )
    return tuple(cut)


def _cut_sides(board: MeasuredBoard, box: Box) -> dict[Side, BoardSide]:
    rough = board.board
    boxes: dict[Side, Box] = dict.fromkeys(BROAD_SIDES, box)
    if box.x0 <= 0:
        boxes["foot"] = Box(box.y0, 0.0, box.y1, rough.thickness_mm)
    if box.x1 >= rough.length_mm:
        boxes["head"] = Box(box.y0, 0.0, box.y1, rough.thickness_mm)
    return {
        side: replace(board.sides[side], picture=board.sides[side].picture.crop(boxes[side]))
        for side in (*BROAD_SIDES, *END_SIDES)
        if side in board.sides and side in boxes
    }


def _tell(name: str, pieces: Sequence[Piece], units: Units) -> str:
    """Where a board is cut before it is resawn, as the sheets say it."""
    places = [
        f"{piece.name} from {format_length(piece.box.x0, units)} to {format_length(piece.box.x1, units)} along, "
        f"{format_length(piece.box.y0, units)} to {format_length(piece.box.y1, units)} across"
        for piece in pieces
    ]
    return f"cut board {name} into pieces before flattening and resawing: {'; '.join(places)}"
