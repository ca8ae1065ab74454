"""What may be chosen, as plain arrays: bay types with a demand, boards with leaves, candidates on rectangles of leaves.

Lengths here are whole *ticks* and costs are whole numbers (a thousandth of the cost unit), so that the solver's sums
are exact. Everything that knows about wood stays in `candidates.py` and `panels.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SearchState:
    """How far a choice has come: the cost of the best set so far and what no set can beat (None: not known yet)."""

    stage: str
    cost: float | None
    bound: float | None

    @property
    def gap(self) -> float | None:
        """Share of the cost that is not proven, 0 to 1, or None while either figure is missing."""
        if self.cost is None or self.bound is None:
            return None
        return max(0.0, self.cost - self.bound) / max(abs(self.cost), 1e-9)


ReportState = Callable[[SearchState], None]


@dataclass(frozen=True, slots=True)
class Alike:
    """Bays that are to look alike: each pays for how far its board lies from that of one bay, which leads the group.

    Attributes
    ----------
    types : the bay types of the group; a type belongs to one group at most.
    penalty : int array (boards, boards), paid by a bay on the second board when the first leads. Zero on the diagonal.
    """

    types: tuple[int, ...]
    penalty: IntArray

    def __post_init__(self) -> None:
        if not self.types:
            raise ValueError("an alike group needs at least one bay type")
        if self.penalty.ndim != 2 or self.penalty.shape[0] != self.penalty.shape[1]:
            raise ValueError(f"the penalty must be a square table of boards, got {self.penalty.shape}")
        if np.any(self.penalty < 0):
            raise ValueError("an alike penalty is never negative")


@dataclass(frozen=True, slots=True)
class Pairs:
    """Bays of one type that stand as pairs, and what a pair pays by the boards it comes from.

    Attributes
    ----------
    kind : the bay type; it holds two bays for each pair.
    count : number of pairs.
    penalty : int array (boards, boards), symmetric: paid by a pair with one bay on each board.
    """

    kind: int
    count: int
    penalty: IntArray

    def __post_init__(self) -> None:
        if self.count < 1:
            raise ValueError(f"a pair term needs at least one pair, got {self.count}")
        if np.any(self.penalty < 0) or not np.array_equal(self.penalty, self.penalty.T):
            raise ValueError("the pair penalty must be symmetric and never negative")


@dataclass(frozen=True, slots=True)
class Candidates:
    """Ways to fill a bay, one a row: a run of leaves of one board, one rectangle along and across on each of them.

    Attributes
    ----------
    kind, board, leaf, run : bay type, board, first leaf of the run (0 is at the face) and number of leaves.
    x0, x1, y0, y1 : the rectangle in ticks, half open; the crosscut behind it and the rip beside it are part of it.
    covers : bays that it fills (2 for a mirrored pair cut from one place); 0 for half a panel that needs a partner.
    cost : what it adds to the cost.
    """

    kind: IntArray
    board: IntArray
    leaf: IntArray
    run: IntArray
    x0: IntArray
    x1: IntArray
    y0: IntArray
    y1: IntArray
    covers: IntArray
    cost: IntArray

    def __post_init__(self) -> None:
        lengths = {len(getattr(self, name)) for name in self.__slots__}
        if len(lengths) != 1:
            raise ValueError(f"the columns of the candidates differ in length: {sorted(lengths)}")
        if np.any(self.x1 <= self.x0) or np.any(self.y1 <= self.y0):
            raise ValueError("a candidate must have length and width")

    def __len__(self) -> int:
        return len(self.kind)

    def take(self, rows: IntArray) -> Candidates:
        """The given rows, in the given order."""
        return Candidates(*(getattr(self, name)[rows] for name in self.__slots__))

    @staticmethod
    def join(parts: list[Candidates]) -> Candidates:
        """Several tables as one; an empty list gives an empty table."""
        if not parts:
            return Candidates(*(np.zeros(0, np.int64) for _ in Candidates.__slots__))
        return Candidates(*(np.concatenate([getattr(part, name) for part in parts]) for name in Candidates.__slots__))


@dataclass(frozen=True, slots=True)
class LeftOver:
    """Useful ends of leaves, one a row: what the rest of a leaf is worth when the ticks x0 to x1 stay untouched.

    Ends of one leaf that overlap exclude one another, so a leaf earns its longest free end at the foot and at the head.
    The rows stand in the order of their boards.
    """

    board: IntArray
    leaf: IntArray
    x0: IntArray
    x1: IntArray
    value: IntArray

    def __post_init__(self) -> None:
        if np.any(np.diff(self.board) < 0):
            raise ValueError("left-over ends must stand in the order of their boards")

    def __len__(self) -> int:
        return len(self.board)


@dataclass(frozen=True, slots=True)
class Pool:
    """Everything the choice may take, and what it costs.

    Attributes
    ----------
    demand, unfilled : per bay type, the number of bays and the price of leaving one empty.
    open_cost, leaves : per board, the price of opening it and the number of leaves.
    length, width : per board, in ticks: the end of the usable length and width (rectangles lie between 0 and these).
    halves : int array (types, boards, boards) or None: what a panel of halves from two boards adds; below 0: never.
    """

    demand: IntArray
    unfilled: IntArray
    open_cost: IntArray
    leaves: IntArray
    length: IntArray
    width: IntArray
    candidates: Candidates
    left_over: LeftOver
    alike: tuple[Alike, ...] = ()
    pairs: tuple[Pairs, ...] = ()
    halves: IntArray | None = None

    def __post_init__(self) -> None:
        c = self.candidates
        if len(c) == 0:
            return
        if c.kind.max() >= len(self.demand) or c.board.max() >= len(self.leaves):
            raise ValueError("a candidate names a bay type or a board that is not there")
        if np.any(c.leaf + c.run > self.leaves[c.board]):
            raise ValueError("a candidate takes more leaves than its board has")
        if np.any((c.x0 < 0) | (c.x1 > self.length[c.board]) | (c.y0 < 0) | (c.y1 > self.width[c.board])):
            raise ValueError("a candidate reaches over the end or the edge of its board")


@dataclass(frozen=True, slots=True)
class Selection:
    """A set of candidates that fits, and what is known about it.

    Attributes
    ----------
    rows : chosen rows of the candidates, in order; halves included.
    cost, bound : whole numbers in thousandths; no set costs less than the bound.
    proven : nothing cheaper exists.
    spent : the solver's deterministic time.
    """

    rows: tuple[int, ...]
    cost: int
    bound: int
    proven: bool
    spent: float = 0.0


def rows_by(column: IntArray, count: int) -> list[IntArray]:
    """The rows of each value of a column, 0 to count − 1, in order."""
    order = np.argsort(column, kind="stable")
    starts = np.searchsorted(column[order], np.arange(count + 1))
    return [order[starts[i] : starts[i + 1]] for i in range(count)]
