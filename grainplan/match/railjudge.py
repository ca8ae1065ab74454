"""What it costs where the grain does not run on behind a rail, or two panels do not mirror each other across it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Leaf, MeasuredBoard, Surface
from grainplan.errors import NotFound
from grainplan.match.arrange import Option, StripPlace, mate_gap
from grainplan.match.baytypes import BayType
from grainplan.match.cost import JUMP_PER_STRIP, judge_fit, judge_step
from grainplan.match.cuts import BayCut
from grainplan.match.ends import END_BAND_MM, EndRuns
from grainplan.match.model import IntArray
from grainplan.match.places import Place
from grainplan.match.rails import RailCut
from grainplan.match.rings import expect_step
from grainplan.match.seen import SeamBook
from grainplan.plan import Foot, Span

Floats = NDArray[np.float64]
NO_END_STRANGERS = 0.15
"""The fit of ends that do not belong together, of drawn boards: where the job has too few surfaces to measure it."""


class RailJudge:
    """Judges bays at their rail, on pictures where the surfaces have been seen.

    Where nobody has seen them, grain that runs on is taken to do so as well as that of the job's seen boards does on
    the average, so that a board is not preferred for being unknown.

    Parameters
    ----------
    book : SeamBook
    """

    def __init__(self, book: SeamBook) -> None:
        self.book = book
        self._typical: dict[tuple[float | None, float | None], float] = {}

    def judge(self, place: Place, option: Option, *, y_mm: float, rows: IntArray) -> Floats:
        """How bad the rail of a bay is at some of the starts of a place, in board feet, before the maker's weights.

        Parameters
        ----------
        place : Place
        option : Option
        y_mm : float
            Lower edge across the board.
        rows : int array
            Which of the starts.
        """
        total = np.zeros(len(rows))
        if place.kind.cut.hidden_mm is None:
            return total
        starts = place.starts_mm[rows]
        for lower, upper in zip(option.strips_of("lower"), option.strips_of("upper"), strict=True):
            if option.is_end_matched:
                total += self._judge_mirror(place, option, (lower, upper), (starts, y_mm))
            else:
                total += self._judge_run_on(place, option, lower, (starts, y_mm))
        return total * JUMP_PER_STRIP

    def _judge_run_on(self, place: Place, option: Option, strip: StripPlace, at: tuple[Floats, float]) -> Floats:
        starts, y_mm = at
        board, leaf = place.stock.board, name_leaf(place.stock.board, place.first, strip)
        cut = lay_rail(place.kind.cut, option.foot, start_mm=0.0, grain_deg=find_grain(board))
        runs = self.book.find_run_on(leaf, strip.surface, cut)
        unseen = max(self._find_typical(place.kind.cut), judge_step(expect_jump(place.kind, board)))
        if runs is None:
            return np.full(len(starts), unseen)
        return self._judge_seen(runs, starts + cut.foot_side_mm, across(strip, y_mm), unseen)

    def _judge_mirror(
        self, place: Place, option: Option, pair: tuple[StripPlace, StripPlace], at: tuple[Floats, float]
    ) -> Floats:
        starts, y_mm = at
        board = place.stock.board
        unseen = judge_step(expect_mirror_step(self.book, board, pair, (place.first, y_mm)))
        runs = self.book.find_end_match(board, name_pair(board, place.first, pair))
        if runs is None:
            return np.full(len(starts), unseen)
        asked = starts + ask_mirror_at(place.kind.cut, option.foot, start_mm=0.0)
        return self._judge_seen(runs, asked, across(pair[0], y_mm), unseen)

    def _judge_seen(self, runs: EndRuns, at_mm: Floats, y_mm: Span, unseen: float) -> Floats:
        """Whichever is worse: lines that do not agree, or that come out too far from where they should."""
        strangers = self.book.find_end_strangers(runs.ends)
        fit, miss = runs.average(at_mm, y_mm)
        bad = np.maximum(
            judge_fit(fit, NO_END_STRANGERS if strangers is None else strangers.level),
            np.array([judge_step(float(m)) for m in np.nan_to_num(miss)]),
        )
        return np.where(np.isfinite(fit), bad, unseen)

    def _find_typical(self, cut: BayCut) -> float:
        """How badly the grain of the seen boards runs on under this rail, on the average; 0 where none is seen."""
        key = (cut.hidden_mm, cut.leaf_mm)
        if key not in self._typical:
            self._typical[key] = 0.0
            found = [self._average_leaf(cut, *key_) for key_ in self._choose_one_each()]
            known = [bad for bad in found if bad is not None]
            self._typical[key] = float(np.mean(known)) if known else 0.0
        return self._typical[key]

    def _choose_one_each(self) -> list[tuple[Leaf, Surface]]:
        names = {board.name for board in self.book.request.boards}
        chosen: dict[str, tuple[Leaf, Surface]] = {}
        for (leaf, surface), found in sorted(self.book.request.surfaces.items(), key=lambda item: item[0]):
            if found.is_real and leaf.board in names:
                chosen.setdefault(leaf.board, (leaf, surface))
        return list(chosen.values())

    def _average_leaf(self, cut: BayCut, leaf: Leaf, surface: Surface) -> float | None:
        board = next(b for b in self.book.request.boards if b.name == leaf.board)
        rail = lay_rail(cut, "down", start_mm=0.0, grain_deg=find_grain(board))
        runs = self.book.find_run_on(leaf, surface, rail)
        if runs is None:
            return None
        bad = self._judge_seen(runs, runs.at_mm, (0.0, board.board.width_mm), math.nan)
        return float(np.nanmean(bad)) if np.isfinite(bad).any() else None


def find_grain(board: MeasuredBoard) -> float:
    """Grain to the length, degrees, as `boards.json` keeps it: so that a plan is the same after it was read again."""
    return round(board.grain.angle_deg or 0.0, 2)


def lay_rail(cut: BayCut, foot: Foot, *, start_mm: float, grain_deg: float) -> RailCut:
    """Where the two panels of a bay end at the rail on a leaf, for grain that runs on behind it."""
    assert cut.hidden_mm is not None
    spans = sorted(cut.place(piece.sight_mm, start_mm, foot) for piece in cut.pieces)
    return RailCut(spans[0][1], spans[1][0], cut.hidden_mm, grain_deg)


def ask_mirror_at(cut: BayCut, foot: Foot, *, start_mm: float) -> float:
    """The x by which an end match is looked up: where its wood toward the foot of the board begins at the rail.

    Where the panels reach toward the head instead, the same wood is the last 20 mm before a place 20 mm further on.
    """
    low, high = cut.place(cut.pieces[0].sight_mm, start_mm, foot)
    return high if foot == "down" else low + END_BAND_MM


def across(strip: StripPlace, y_mm: float) -> Span:
    """A strip across the board."""
    return y_mm + strip.y_mm[0], y_mm + strip.y_mm[1]


def name_leaf(board: MeasuredBoard, first: int, strip: StripPlace) -> Leaf:
    """The leaf of a strip; `first` is the first leaf of the run, 0 at the face."""
    return Leaf(board.name, first + strip.leaf + 1)


def name_pair(
    board: MeasuredBoard, first: int, pair: tuple[StripPlace, StripPlace]
) -> tuple[tuple[Leaf, Surface], tuple[Leaf, Surface]]:
    """What shows below and above the rail."""
    lower, upper = ((name_leaf(board, first, strip), strip.surface) for strip in pair)
    return lower, upper


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


def expect_mirror_step(
    book: SeamBook, board: MeasuredBoard, pair: tuple[StripPlace, StripPlace], at: tuple[int, float]
) -> float | None:
    """How far ring lines miss each other across an end match, by the ring angle, mm; None where it is not known.

    Parameters
    ----------
    book : SeamBook
    board : MeasuredBoard
    pair : (StripPlace, StripPlace)
        Below and above the rail.
    at : (int, float)
        First leaf of the run, 0 at the face; lower edge of the bay across the board, mm.
    """
    first, y_mm = at
    use = book.request.uses[board.name]
    gap = mate_gap(*pair, gap_mm=use.mate_gap_mm, leaf_mm=use.finished_leaf_mm)
    if gap is None or not use.cuts_mm:
        return None
    depth = use.cuts_mm[min(first + min(strip.leaf for strip in pair), len(use.cuts_mm) - 1)]
    step = expect_step(board, gap, y_mm=sum(across(pair[0], y_mm)) / 2, z_mm=depth)
    return None if isinstance(step, NotFound) else step
