"""How good the seams of one panel are expected to be, before and after its surfaces have been seen."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from grainplan.boards import MeasuredBoard
from grainplan.errors import NotFound
from grainplan.frame import Match
from grainplan.match.arrange import Option, StripPlace, mate_gap, other_side
from grainplan.match.cost import (
    BACK_SHARE,
    SEAM_PER_METRE,
    TONE_PER_METRE,
    UNKNOWN_SEAM,
    judge_fit,
    judge_step,
    judge_tone,
)
from grainplan.match.faces import Face, list_faces
from grainplan.match.model import IntArray
from grainplan.match.places import Place
from grainplan.match.railjudge import RailJudge
from grainplan.match.request import Request
from grainplan.match.rings import expect_step
from grainplan.match.seen import SeamBook
from grainplan.match.trust import expect_unseen_fit
from grainplan.plan import Foot

Floats = NDArray[np.float64]
NO_STRANGERS = 0.25
"""The fit of strangers where the job has too few surfaces to measure it: drawn boards under a search of 18 mm."""


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


def judge_option(rails: RailJudge, place: Place, option: Option, *, y_mm: float, rows: IntArray) -> Judged:
    """What the seams of one way to open leaves cost, and its rail, at some of the starts of a place.

    Where both surfaces of a seam have been seen or predicted it is their fit and tone; else the step that the rings
    foretell, yet no less than what seams of that gap cost where they are seen: a board is not to be preferred for being
    unknown.

    Parameters
    ----------
    rails : RailJudge
        With the book that seams are looked up in.
    place : Place
    option : Option
    y_mm : float
        Lower edge across the board.
    rows : int array
        Which of the starts.
    """
    seams, tone = np.zeros(len(rows)), np.zeros(len(rows))
    for face in list_faces(option, place.kind.cut):
        for seam in pairwise(face.strips):
            for share, shown in ((1.0, seam), (BACK_SHARE, turn_seam(seam))):
                if share == 1.0 or place.kind.bay.seen == "both":
                    add = _judge_seam(rails.book, place, option, (face, shown), at=(y_mm, place.starts_mm[rows]))
                    seams += share * add[0]
                    tone += share * add[1]
    continuity = rails.judge(place, option, y_mm=y_mm, rows=rows)
    return Judged(seams * SEAM_PER_METRE, tone * TONE_PER_METRE, continuity)


def _judge_seam(
    book: SeamBook,
    place: Place,
    option: Option,
    seen: tuple[Face, tuple[StripPlace, StripPlace]],
    *,
    at: tuple[float, Floats],
) -> tuple[Floats, Floats]:
    """How bad one seam is over its panels, and how far its tones lie apart, in metres of it."""
    (face, shown), (y_mm, starts), board = seen, at, place.stock.board
    match, seams, tone = option.arrangement.match, np.zeros(len(starts)), np.zeros(len(starts))
    run = book.find_run(board, place.first, shown, lie=(y_mm, face.foot, match))
    if run is None:
        outlook = look_ahead(book.request, board, place.first, shown, place=(y_mm, face.foot))
        bad = judge_step(outlook.step if isinstance(outlook.step, float) else None)
        if book.has_seen_any:
            typical = judge_fit(np.array(expect_unseen_fit(outlook.gap_mm)), _find_strangers(book, board, shown, match))
            bad = max(bad, float(typical))
        return seams + bad * _metres(face), tone
    strangers = _find_strangers(book, board, shown, match)
    for piece in face.cut.pieces:
        low, high = face.cut.place(piece.sight_mm, 0.0, option.foot)
        fit, _, tone_de = run.average(starts + low, starts + high)
        metres = piece.size.rough_height_mm / 1000
        seams += metres * np.nan_to_num(judge_fit(fit, strangers), nan=UNKNOWN_SEAM)
        tone += metres * np.nan_to_num(judge_tone(tone_de), nan=0.0)
    return seams, tone


def _find_strangers(book: SeamBook, board: MeasuredBoard, shown: tuple[StripPlace, StripPlace], match: Match) -> float:
    found = book.find_strangers(board, shown, match)
    return NO_STRANGERS if found is None else found.level


def _metres(face: Face) -> float:
    return sum(piece.size.rough_height_mm for piece in face.cut.pieces) / 1000


def turn_seam(seam: tuple[StripPlace, StripPlace]) -> tuple[StripPlace, StripPlace]:
    """The same two strips as they show on the back of the panel, left to right as seen from behind."""
    left, right = (StripPlace(s.leaf, other_side(s.surface), s.y_mm) for s in reversed(seam))
    return left, right
