"""Chosen candidates as they lie on the boards: which board, which leaves, where along and across, for which bay."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from grainplan.match.arrange import Option, mirror_option
from grainplan.match.baytypes import BayType
from grainplan.match.places import TICKS_PER_MM, Stock
from grainplan.match.pooling import Stacked
from grainplan.match.scoring import pair_halves


@dataclass(frozen=True, slots=True)
class Lying:
    """All strips of a bay that come from one place of one board.

    Attributes
    ----------
    first : first leaf of the run, 0 at the face.
    start_mm : first cut from the foot of the board. y_mm : lower edge across it.
    """

    stock: Stock
    first: int
    option: Option
    start_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class FilledBay:
    """A bay with the one place it comes from, or the two places of its halves, left to right.

    Attributes
    ----------
    parts : weighted seams, tone, continuity and flaws, in the cost unit, of its candidates.
    """

    name: str
    kind: BayType
    lying: tuple[Lying, ...]
    parts: tuple[float, float, float, float]


def fill_bays(stacked: Stacked, rows: tuple[int, ...]) -> dict[str, FilledBay]:
    """Give the chosen places of each type to its bays, by name; equal bays in the order of boards and places."""
    filled: dict[str, FilledBay] = {}
    for index, kind in enumerate(stacked.types.types):
        placed = _place_kind(stacked, index, rows)
        for name, (lying, rows_of, share) in zip(_in_pairs(kind), placed, strict=False):
            parts = stacked.table.parts[list(rows_of)].sum(axis=0) * share
            filled[name] = FilledBay(name, kind, lying, (parts[0], parts[1], parts[2], parts[3]))
    return filled


_Placed = tuple[tuple[Lying, ...], tuple[int, ...], float]


def _place_kind(stacked: Stacked, index: int, rows: tuple[int, ...]) -> list[_Placed]:
    """What each bay of a type gets, with its candidates and its share of their cost; mirrored pairs side by side."""
    c = stacked.table.rows
    mine = [r for r in rows if c.kind[r] == index]
    mine.sort(key=lambda r: (int(c.board[r]), int(c.leaf[r]), int(c.x0[r]), int(c.y0[r])))
    placed: list[_Placed] = []
    for row in (r for r in mine if c.covers[r] == 2):
        left = lay_row(stacked, row)
        right = replace(left, first=left.first + left.option.arrangement.run, option=mirror_option(left.option))
        placed += [((left,), (row,), 0.5), ((right,), (row,), 0.5)]
    singles: list[_Placed] = [((lay_row(stacked, r),), (r,), 1.0) for r in mine if c.covers[r] == 1]
    halves = np.array([r for r in mine if c.covers[r] == 0], np.int64)
    for a, b in pair_halves(stacked.pool, halves):
        first, second = sorted((a, b), key=lambda r: int(c.board[r]))
        singles.append(((lay_row(stacked, first), lay_row(stacked, second)), (first, second), 1.0))
    return placed + _same_board_first(singles)


def _same_board_first(singles: list[_Placed]) -> list[_Placed]:
    """Bays in twos from one board first, so that mirrored pairs fall on one board where they can."""
    by_board: dict[int, list[_Placed]] = {}
    for single in singles:
        by_board.setdefault(single[0][0].stock.index, []).append(single)
    twos = [single for group in by_board.values() for single in group[: len(group) // 2 * 2]]
    return twos + [group[-1] for group in by_board.values() if len(group) % 2]


def _in_pairs(kind: BayType) -> list[str]:
    """The names of a type's bays, mirrored pairs together."""
    names: list[str] = []
    for pair in kind.partners:
        names += pair
    return names + [name for name in kind.bays if name not in names]


def lay_row(stacked: Stacked, row: int) -> Lying:
    """One candidate as it lies on its board."""
    table = stacked.table
    stock = stacked.stock[int(table.rows.board[row])]
    start = stock.end_mm + int(table.rows.x0[row]) / TICKS_PER_MM
    option = table.options[int(table.option[row])]
    return Lying(stock, int(table.rows.leaf[row]), option, start, float(table.y_mm[row]))
