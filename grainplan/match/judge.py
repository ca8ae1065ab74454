"""How good the seams of one panel are expected to be, before and after its surfaces have been seen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from grainplan.boards import MeasuredBoard
from grainplan.errors import NotFound
from grainplan.match.arrange import Option, StripPlace, mate_gap, other_side
from grainplan.match.baytypes import BayType
from grainplan.match.cost import (
    BACK_SHARE,
    JUMP_PER_STRIP,
    SEAM_PER_METRE,
    TONE_PER_METRE,
    UNKNOWN_SEAM,
    judge_fit,
    judge_step,
    judge_tone,
)
from grainplan.match.model import IntArray
from grainplan.match.places import Place
from grainplan.match.request import Request
from grainplan.match.rings import expect_step
from grainplan.match.seen import SeamBook
from grainplan.plan import Foot

Floats = NDArray[np.float64]
NO_STRANGERS = 0.45
"""The fit of strangers where the job has too few surfaces to measure it: that of drawn boards."""


@dataclass(frozen=True, slots=True)
class Judged:
    """Seams, tone and continuity of a bay at each start, in board feet, before the maker's weights."""

    seams: Floats
    tone: Floats
    continuity: Floats


@dataclass(frozen=True, slots=True)
class SeamOutlook:
    """One seam before it is cut: the gap, the expected step, or why there is none."""

    gap_mm: float | None
    step: float | NotFound
    edge_y_mm: float


def look_ahead(
    request: Request,
    board: MeasuredBoard,
    first_leaf: int,
    seam: tuple[StripPlace, StripPlace],
    *,
    place: tuple[float, Foot],
) -> SeamOutlook:
    """What is known of a seam from the board alone.

    Parameters
    ----------
    request : Request
    board : MeasuredBoard
    first_leaf : int
        First leaf of the run, 0 at the face.
    seam : (StripPlace, StripPlace)
        Left and right strip as they show on the side that is judged.
    place : (float, {"down", "up"})
        Lower edge of the bay across the board, mm, and which way the foot stands.
    """
    left, right = seam
    y_mm, foot = place
    flipped = (left.surface == "far") != (foot == "up")
    edge = y_mm + (left.y_mm[0] if flipped else left.y_mm[1])
    use = request.uses[board.name]
    gap = mate_gap(left, right, gap_mm=use.mate_gap_mm, leaf_mm=use.finished_leaf_mm)
    if gap is None:
        return SeamOutlook(None, NotFound("these two edges lay at different places across the board"), edge)
    if gap == 0.0:
        return SeamOutlook(0.0, 0.0, edge)
    depth = 0.0 if first_leaf + left.leaf == 0 else use.cuts_mm[min(first_leaf + left.leaf, len(use.cuts_mm)) - 1]
    return SeamOutlook(gap, expect_step(board, gap, y_mm=edge, z_mm=depth), edge)


def judge_option(book: SeamBook, place: Place, option: Option, *, y_mm: float, rows: IntArray) -> Judged:
    """What the seams of one way to open leaves cost, at some of the starts of a place.

    Where both surfaces of a seam have been seen it is their fit and tone; else the step that the rings foretell.

    Parameters
    ----------
    book : SeamBook
    place : Place
    option : Option
    y_mm : float
        Lower edge across the board.
    rows : int array
        Which of the starts.
    """
    board, starts = place.stock.board, place.starts_mm[rows]
    seams, tone = np.zeros(len(rows)), np.zeros(len(rows))
    for seam in pairwise(option.strips):
        for share, shown in ((1.0, seam), (BACK_SHARE, turn_seam(seam))):
            if share < 1 and place.kind.bay.seen != "both":
                continue
            lie = (y_mm, option.foot, option.arrangement.match)
            run = book.find_run(board, place.first, shown, lie=lie)
            if run is None:
                outlook = look_ahead(book.request, board, place.first, shown, place=(y_mm, option.foot))
                step = outlook.step if isinstance(outlook.step, float) else None
                seams += share * judge_step(step) * _metres(place)
                continue
            found = book.find_strangers(board, shown, option.arrangement.match)
            strangers = NO_STRANGERS if found is None else found.level
            for piece in place.kind.cut.pieces:
                low, high = place.kind.cut.place(piece.sight_mm, 0.0, option.foot)
                fit, _, tone_de = run.average(starts + low, starts + high)
                metres = share * piece.size.rough_height_mm / 1000
                seams += metres * np.nan_to_num(judge_fit(fit, strangers), nan=UNKNOWN_SEAM)
                tone += metres * np.nan_to_num(judge_tone(tone_de), nan=0.0)
    jump = JUMP_PER_STRIP * judge_step(expect_jump(place.kind, board)) * len(option.strips)
    return Judged(seams * SEAM_PER_METRE, tone * TONE_PER_METRE, np.full(len(rows), jump))


def _metres(place: Place) -> float:
    return sum(piece.size.rough_height_mm for piece in place.kind.cut.pieces) / 1000


def turn_seam(seam: tuple[StripPlace, StripPlace]) -> tuple[StripPlace, StripPlace]:
    """The same two strips as they show on the back of the panel, left to right as seen from behind."""
    left, right = (StripPlace(s.leaf, other_side(s.surface), s.y_mm) for s in reversed(seam))
    return left, right


def expect_jump(kind: BayType, board: MeasuredBoard) -> float | None:
    """How far the grain jumps sideways behind the rail, mm: what is hidden less what the leaf lost, along the grain.

    None where the grain angle is not known and the leaf does not run on as the rail hides it.
    """
    cut = kind.cut
    if cut.hidden_mm is None or cut.leaf_mm is None or abs(cut.hidden_mm - cut.leaf_mm) < 1e-6:
        return 0.0
    if board.grain.angle_deg is None:
        return None
    return abs(cut.hidden_mm - cut.leaf_mm) * math.tan(math.radians(abs(board.grain.angle_deg)))
