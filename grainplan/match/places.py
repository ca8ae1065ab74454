"""Where along and across a board a bay may lie, in whole ticks, with taper, crook and waste taken off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grainplan.boards import MeasuredBoard
from grainplan.match.baytypes import BayType
from grainplan.match.model import IntArray
from grainplan.match.request import Request
from grainplan.plan import Span

Floats = NDArray[np.float64]
TICKS_PER_MM = 1000
GRID_MM = 10.0
MOST_STARTS = 160


def to_ticks(length_mm: float) -> int:
    """Whole ticks, rounded up: what is cut out of a board is never smaller than asked."""
    return int(np.ceil(length_mm * TICKS_PER_MM - 1e-6))


@dataclass(frozen=True, slots=True)
class Stock:
    """One board as the choice sees it.

    Attributes
    ----------
    index : place in the request. leaves : number of leaves. lost : those that are gone, 0 at the face.
    end_mm, edge_mm : where the usable length and width begin.
    length_mm, width_mm : usable; the length holds one crosscut more, since each bay brings its own.
    """

    index: int
    board: MeasuredBoard
    leaves: int
    end_mm: float
    edge_mm: float
    length_mm: float
    width_mm: float
    lost: frozenset[int] = frozenset()


def prepare_stock(request: Request) -> list[Stock]:
    """The boards of a request with what they give after their ends and edges are trued."""
    stock = []
    for index, board in enumerate(request.boards):
        use = request.uses.get(board.name)
        length = board.board.length_mm - 2 * request.shop.end_waste_mm + request.shop.crosscut_mm
        width = board.board.largest_width_mm - 2 * request.shop.edge_waste_mm
        leaves = use.leaves if use is not None and length > 0 and width > 0 else 0
        edge, end = request.shop.edge_waste_mm, request.shop.end_waste_mm
        if board.board.largest_width_mm > request.shop.saw_height_mm + 1e-6:
            leaves = 0  # the resaw does not take it on edge
        lost = frozenset(leaf.number - 1 for leaf in request.lost if leaf.board == board.name)
        stock.append(Stock(index, board, leaves, end, edge, max(length, 0.0), max(width, 0.0), lost))
    return stock


def usable_width(stock: Stock, start_mm: float, length_mm: float) -> Span:
    """What of the width can be used over a stretch of the board, board frame: taper, crook and edge waste taken off.

    The board frame runs straight from corner to corner, and a board with crook wanders off it by up to that much; which
    edge is hollow is not told, nor where the most is, so all of it is taken off either edge.
    """
    board = stock.board.board
    narrow = min(board.width_at(start_mm), board.width_at(min(start_mm + length_mm, board.length_mm)))
    lost = stock.edge_mm + board.crook_mm
    return lost, narrow - lost


def find_starts(
    stock: Stock, cut_mm: float, lengths_mm: list[float], flawed: list[float], *, grid_mm: float
) -> IntArray:
    """Where along the usable length a bay may start, ticks.

    Without anything to see or to dodge, only places that stand against an end, a flaw or another bay are needed (any
    other set of bays can be pushed together toward the foot); with seen surfaces a grid is added.
    """
    room = to_ticks(stock.length_mm) - 1
    own = to_ticks(cut_mm)
    last = room - own
    if last < 0:
        return np.zeros(0, np.int64)
    clear = [to_ticks(x - stock.end_mm) for x in flawed]
    steps = sorted({to_ticks(length) for length in lengths_mm})
    anchors = {0, *(x for x in clear if 0 <= x <= last)}
    starts = _stack(anchors, steps, last)
    starts |= {last - x for x in _stack({0}, steps, last)}
    if grid_mm > 0:
        starts |= set(range(0, last + 1, to_ticks(grid_mm)))
    return np.array(sorted(starts), np.int64)


def _stack(anchors: set[int], steps: list[int], last: int) -> set[int]:
    """All places that are reached from the anchors by laying bays end to end, up to a number that stays manageable."""
    found, edge = set(anchors), set(anchors)
    while edge and len(found) < MOST_STARTS:
        edge = {x + step for x in edge for step in steps if x + step <= last} - found
        found |= set(sorted(edge)[: MOST_STARTS - len(found)])
    return found


@dataclass(frozen=True, slots=True)
class Place:
    """One type on one run of leaves of one board, at all its starts.

    Attributes
    ----------
    index : of the type.
    first : first leaf of the run, 0 at the face.
    starts : ticks from the first usable place of the board.
    narrowest : the narrowest strip that could stand beside it, mm.
    copies : 2 for a mirrored pair of bays side by side in the thickness, else 1.
    half : whether it is half a panel, to be joined with one of another board.
    """

    index: int
    kind: BayType
    stock: Stock
    first: int
    starts: IntArray
    narrowest: float
    copies: int = 1
    half: bool = False

    @property
    def starts_mm(self) -> Floats:
        """First cuts, mm from the foot of the board."""
        return self.starts / TICKS_PER_MM + self.stock.end_mm


def list_spans(place: Place, width: float, *, shared: bool, rip_mm: float) -> list[tuple[Floats, tuple[int, int]]]:
    """Places across to try, as a lower edge for each start (nan where it does not fit) and the rectangle it takes.

    First the middle of the board, then its two edges, then places that just clear a flaw. Where another strip fits
    beside this one, places that leave room for it, and only wood that is really taken counts.
    """
    limits = [
        usable_width(place.stock, start / TICKS_PER_MM + place.stock.end_mm, place.kind.cut.length_mm)
        for start in place.starts
    ]
    low, high = (np.array([limit[side] for limit in limits]) for side in (0, 1))
    kept = place.kind.kept
    room = high - low - width
    fits = room >= -1e-6
    lower, upper = low, low + np.maximum(room, 0.0)
    places = [(lower + upper) / 2, lower, upper]
    if kept is not None and kept.y_mm is not None:
        places = [np.where(np.abs(np.clip(kept.y_mm, lower, upper) - kept.y_mm) < 0.01, kept.y_mm, np.nan)]
    else:
        if shared:
            places = [lower, upper, *_beside(lower, upper, width + rip_mm)]
        for flaw in place.stock.board.flaws:
            for edge in (flaw.box.y1, flaw.box.y0 - width):
                places.append(np.clip(np.full(len(lower), edge), lower, upper))
    edge_mm = place.stock.edge_mm
    spans: list[tuple[Floats, tuple[int, int]]] = []
    for y in places:
        y = np.where(fits, y, np.nan)
        known = y[np.isfinite(y)]
        if len(known) == 0 or any(np.array_equal(y, other, equal_nan=True) for other, _ in spans):
            continue
        top = to_ticks(place.stock.width_mm)
        y0 = max(0, int(np.floor((known.min() - edge_mm) * TICKS_PER_MM)))
        y1 = min(top, to_ticks(known.max() - edge_mm + width + rip_mm))
        spans.append((y, (y0, y1)))
    return spans


def _beside(lower: Floats, upper: Floats, step_mm: float) -> list[Floats]:
    """Places that stand one or more strips of the same width away from the lower edge."""
    found = []
    for n in (1, 2):
        y = lower + n * step_mm
        if np.any(y <= upper + 1e-6):
            found.append(np.where(y <= upper + 1e-6, y, np.nan))
    return found
