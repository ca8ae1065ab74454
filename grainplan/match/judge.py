"""How good the seams of one panel are expected to be, before and after its surfaces have been seen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from grainplan.boards import MeasuredBoard
from grainplan.errors import NotFound
from grainplan.match.arrange import Option, StripPlace, mate_gap, other_side
from grainplan.match.baytypes import BayType
from grainplan.match.cost import BACK_SHARE, JUMP_PER_STRIP, SEAM_PER_METRE, judge_step
from grainplan.match.request import Request
from grainplan.match.rings import expect_step
from grainplan.plan import Foot


@dataclass(frozen=True, slots=True)
class Judged:
    """Seams, tone and continuity of a bay, in board feet, before the maker's weights."""

    seams: float
    tone: float
    continuity: float


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


def judge_option(
    request: Request, kind: BayType, board: MeasuredBoard, option: Option, *, place: tuple[int, float]
) -> Judged:
    """What the seams of one way to open leaves cost where nothing of them has been seen.

    Parameters
    ----------
    request : Request
    kind : BayType
    board : MeasuredBoard
    option : Option
    place : (int, float)
        First leaf of the run, 0 at the face, and the lower edge across the board, mm.
    """
    first, y_mm = place
    height_m = sum(piece.size.rough_height_mm for piece in kind.cut.pieces) / 1000
    seams = 0.0
    for seam in pairwise(option.strips):
        front = look_ahead(request, board, first, seam, place=(y_mm, option.foot))
        seams += judge_step(front.step if isinstance(front.step, float) else None)
        if kind.bay.seen == "both":
            back = look_ahead(request, board, first, turn_seam(seam), place=(y_mm, option.foot))
            seams += BACK_SHARE * judge_step(back.step if isinstance(back.step, float) else None)
    jump = expect_jump(kind, board)
    continuity = JUMP_PER_STRIP * judge_step(jump) * len(option.strips)
    return Judged(seams * SEAM_PER_METRE * height_m, 0.0, continuity)


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
