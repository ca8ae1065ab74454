"""From the wood to plain arrays: the pool of a request, with the cost of unfilled bays, boards, ends and likeness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from grainplan.match.baytypes import BayTypes, find_alike_groups, group_bays
from grainplan.match.candidates import POINTS, Table, TableMaker
from grainplan.match.colour import differ_ciede2000
from grainplan.match.cost import (
    ALIKE,
    LEFT_OVER_SHARE,
    OTHER_PLACE,
    SEAM_PER_METRE,
    TONE_PER_METRE,
    USEFUL_LENGTH_MM,
    Money,
    judge_tone,
    price_wood,
    volume_board_feet,
)
from grainplan.match.model import Alike, IntArray, LeftOver, Pairs, Pool
from grainplan.match.places import TICKS_PER_MM, Stock, prepare_stock, to_ticks
from grainplan.match.request import Request
from grainplan.match.seen import SeamBook

STEP_MM = 100.0
KEPT_FIRST = 20
"""A bay that the maker keeps comes before this many others."""


@dataclass(frozen=True, slots=True)
class Stacked:
    """A request as the choice sees it."""

    request: Request
    money: Money
    types: BayTypes
    stock: list[Stock]
    table: Table
    pool: Pool
    book: SeamBook


def stack_request(request: Request, *, grid_mm: float = 10.0) -> Stacked:
    """Work out every candidate of a request and its cost."""
    money = price_wood(tuple(board.board for board in request.boards), request.units)
    types = group_bays(request)
    stock = prepare_stock(request)
    book = SeamBook.of(request)
    maker = TableMaker(request, money, book, grid_mm=grid_mm)
    for index, kind in enumerate(types.types):
        for board in kind.boards:
            if stock[board].leaves:
                others = [other for other in types.types if board in other.boards]
                maker.add_board(index, kind, stock[board], others)
    table = maker.finish()
    return Stacked(request, money, types, stock, table, _make_pool(request, money, types, stock, table), book)


def _make_pool(request: Request, money: Money, types: BayTypes, stock: list[Stock], table: Table) -> Pool:
    weight = request.weights.wood
    worth = [weight * money.per_board_foot[s.board.name] * volume_board_feet(s.board.board) for s in stock]
    open_cost = np.array([round(w * POINTS) for w in worth], np.int64)
    demand = np.array([len(kind.bays) for kind in types.types], np.int64)
    return Pool(
        demand=demand,
        unfilled=_price_unfilled(types, table, open_cost),
        open_cost=open_cost,
        leaves=np.array([s.leaves for s in stock], np.int64),
        length=np.array([to_ticks(s.length_mm) for s in stock], np.int64),
        width=np.array([to_ticks(s.width_mm) for s in stock], np.int64),
        candidates=table.rows,
        left_over=_list_ends(stock, worth),
        alike=_list_alike(request, money, types),
        pairs=_list_pairs(request, money, types),
        halves=_price_halves(request, money, types),
    )


def _price_unfilled(types: BayTypes, table: Table, open_cost: IntArray) -> IntArray:
    """More than any bay can cost with a board of its own, so that no bay stays empty to save wood or looks."""
    dearest = int(open_cost.max(initial=0)) + int(table.rows.cost.max(initial=0)) + POINTS
    kept = [KEPT_FIRST if kind.kept is not None else 1 for kind in types.types]
    return np.array(
        [int(3 * first * dearest * max(kind.bay.matters, 1.0)) for first, kind in zip(kept, types.types, strict=True)],
        np.int64,
    )


def _list_ends(stock: list[Stock], worth: list[float]) -> LeftOver:
    """Useful ends of every leaf, foot and head, in steps of 100 mm."""
    columns: list[tuple[int, int, int, int, int]] = []
    for board, price in zip(stock, worth, strict=True):
        room = to_ticks(board.length_mm)
        per_mm = LEFT_OVER_SHARE * price / max(board.leaves, 1) / max(board.length_mm, 1.0)
        for length_mm in np.arange(USEFUL_LENGTH_MM, board.length_mm, STEP_MM):
            ticks, value = int(length_mm * TICKS_PER_MM), round(per_mm * length_mm * POINTS)
            for leaf in range(board.leaves):
                columns.append((board.index, leaf, 0, ticks, value))
                columns.append((board.index, leaf, room - ticks, room, value))
    array = np.array(columns, np.int64).reshape(-1, 5)
    return LeftOver(*(np.ascontiguousarray(column) for column in array.T))


def tone_table(request: Request) -> np.ndarray:
    """How plainly the mean colours of two boards differ, 0 to 1; 0.5 where a colour is not known."""
    colours = [board.grain.colour_lab for board in request.boards]
    table = np.zeros((len(colours), len(colours)))
    for i, a in enumerate(colours):
        for j, b in enumerate(colours):
            if i != j:
                table[i, j] = 0.5 if a is None or b is None else float(judge_tone(differ_ciede2000(a, b)))
                if request.boards[i].board.species != request.boards[j].board.species:
                    table[i, j] = 1.0
    return table


def _list_alike(request: Request, money: Money, types: BayTypes) -> tuple[Alike, ...]:
    groups = []
    for names in find_alike_groups(request, types):
        kinds = sorted({k for k in (types.type_of(name) for name in names) if k is not None})
        matters = max((types.types[k].bay.matters for k in kinds), default=0.0)
        scale = POINTS * request.weights.tone * money.mean * ALIKE * matters
        penalty = np.rint(tone_table(request) * scale).astype(np.int64)
        if kinds and penalty.max(initial=0) > 0:
            groups.append(Alike(tuple(kinds), penalty))
    return tuple(groups)


def _list_pairs(request: Request, money: Money, types: BayTypes) -> tuple[Pairs, ...]:
    terms = []
    for index, kind in enumerate(types.types):
        if kind.partners:
            table = OTHER_PLACE + (1.0 - OTHER_PLACE) * tone_table(request)
            scale = POINTS * request.weights.tone * money.mean * ALIKE * kind.bay.matters
            terms.append(Pairs(index, len(kind.partners), np.rint(table * scale).astype(np.int64)))
    return tuple(terms)


def _price_halves(request: Request, money: Money, types: BayTypes) -> IntArray | None:
    """What it costs to join two halves: a seam of strangers, and how far the two boards' colours lie apart."""
    if request.making.match != "book" or request.making.strips not in (None, 4) or not types.types:
        return None
    tone = tone_table(request)
    weights = request.weights
    table = np.full((len(types.types), *tone.shape), -1, np.int64)
    for index, kind in enumerate(types.types):
        metres = sum(piece.size.rough_height_mm for piece in kind.cut.pieces) / 1000
        scale = POINTS * money.mean * kind.bay.matters * metres
        cost = np.rint(scale * (weights.seams * SEAM_PER_METRE + weights.tone * TONE_PER_METRE * tone))
        table[index] = np.where(tone < 1.0, cost, -1).astype(np.int64)
    return table
