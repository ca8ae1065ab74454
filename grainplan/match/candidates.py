"""Where a bay could come from: every run of leaves, place along and place across, with what it would cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grainplan.boards import MeasuredBoard
from grainplan.match.arrange import Arrangement, Option, Ripping, arrange_running, arrange_strips, other_side
from grainplan.match.baytypes import BayType
from grainplan.match.cost import FLAW_PER_INCH2, FOOT_UP, Money
from grainplan.match.cuts import hidden_side, strip_width
from grainplan.match.flawmap import Showing, find_free_places, price_flaws
from grainplan.match.judge import judge_option
from grainplan.match.model import Candidates, IntArray
from grainplan.match.request import Request
from grainplan.plan import Foot, Span

Floats = NDArray[np.float64]
TICKS_PER_MM = 1000
POINTS = 1000
"""Whole costs are thousandths of the unit."""
GRID_MM = 10.0
MOST_STARTS = 160
FEET: tuple[Foot, ...] = ("down", "up")


def to_ticks(length_mm: float) -> int:
    """Whole ticks, rounded up: what is cut out of a board is never smaller than asked."""
    return int(np.ceil(length_mm * TICKS_PER_MM - 1e-6))


@dataclass(frozen=True, slots=True)
class Table:
    """Candidates with what is needed to draw them: the option, the exact place, and the parts of the cost.

    Attributes
    ----------
    rows : the candidates.
    option : index into `options`. y_mm : lower edge across the board.
    parts : shape (candidates, 4), weighted seams, tone, continuity and flaws in the cost unit.
    """

    rows: Candidates
    options: tuple[Option, ...]
    option: IntArray
    y_mm: Floats
    parts: Floats


@dataclass(frozen=True, slots=True)
class Stock:
    """One board as the choice sees it.

    Attributes
    ----------
    index : place in the request. leaves : number of leaves.
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


def prepare_stock(request: Request) -> list[Stock]:
    """The boards of a request with what they give after their ends and edges are trued."""
    stock = []
    for index, board in enumerate(request.boards):
        use = request.uses.get(board.name)
        length = board.board.length_mm - 2 * request.shop.end_waste_mm + request.shop.crosscut_mm
        width = board.board.largest_width_mm - 2 * request.shop.edge_waste_mm
        leaves = use.leaves if use is not None and length > 0 and width > 0 else 0
        edge, end = request.shop.edge_waste_mm, request.shop.end_waste_mm
        stock.append(Stock(index, board, leaves, end, edge, max(length, 0.0), max(width, 0.0)))
    return stock


def usable_width(stock: Stock, start_mm: float, length_mm: float) -> Span:
    """What of the width can be used over a stretch of the board, board frame: taper, crook and edge waste taken off.

    A straight strip out of a board with crook c over its length L loses c·(l/L)² over a length l; which edge is hollow
    is not told, so half is taken off each.
    """
    board = stock.board.board
    narrow = min(board.width_at(start_mm), board.width_at(min(start_mm + length_mm, board.length_mm)))
    lost = board.crook_mm * (length_mm / board.length_mm) ** 2 / 2
    return stock.edge_mm + lost, narrow - stock.edge_mm - lost


def find_starts(
    stock: Stock, cut_mm: float, lengths_mm: list[float], flawed: list[float], *, grid_mm: float
) -> IntArray:
    """Where along the usable length a bay may start, ticks.

    Without anything to see or to dodge, only places that stand against an end, a flaw or another bay are needed (any
    other set of bays can be pushed together toward the foot); with flaws or seen surfaces a grid is added.
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


def list_arrangements(request: Request, kind: BayType, usable_mm: float) -> list[Arrangement]:
    """Every way to open leaves of one board into a panel of this type."""
    making, shop = request.making, request.shop
    if making.match == "running" and making.strips is None:
        rough = next(iter(kind.size.panels.values())).rough_width_mm
        return arrange_running(rough, shop.joint_mm, usable_mm)
    counts = (1, 2, 3, 4) if making.strips is None else (making.strips,)
    found: list[Arrangement] = []
    for strips in counts:
        ripping = Ripping(strip_width(kind.size, strips, shop), shop.rip_mm, usable_mm)
        found += arrange_strips(strips, making.match, ripping, mates_on_front=making.true_side == "front")
    return found


def show_strips(option: Option, kind: BayType, request: Request, y_mm: float) -> list[Showing]:
    """What stays in sight across, strip by strip: joints, trim and grooves are not."""
    outer, joint = hidden_side(kind.size, request.shop), request.shop.joint_mm
    strips = option.strips
    shown = []
    for i, strip in enumerate(strips):
        left = outer if i == 0 else joint
        right = outer if i == len(strips) - 1 else joint
        flipped = (strip.surface == "far") != (option.foot == "up")
        low, high = (right, left) if flipped else (left, right)
        surfaces = (strip.surface,) if kind.bay.seen == "front" else (strip.surface, other_side(strip.surface))
        shown.append(Showing(strip.leaf, surfaces, (y_mm + strip.y_mm[0] + low, y_mm + strip.y_mm[1] - high)))
    return shown


class TableMaker:
    """Collects candidates type by type and board by board."""

    def __init__(self, request: Request, money: Money, *, grid_mm: float = GRID_MM) -> None:
        self.request = request
        self.money = money
        self.grid_mm = grid_mm
        self.options: list[Option] = []
        self._option_index: dict[Option, int] = {}
        self._rows: list[Candidates] = []
        self._option: list[IntArray] = []
        self._y: list[Floats] = []
        self._parts: list[Floats] = []

    def finish(self) -> Table:
        """Everything collected so far."""
        none = np.zeros(0)
        return Table(
            Candidates.join(self._rows),
            tuple(self.options),
            np.concatenate([np.zeros(0, np.int64), *self._option]),
            np.concatenate([none, *self._y]),
            np.concatenate([np.zeros((0, 4)), *self._parts]),
        )

    def add_board(self, index: int, kind: BayType, stock: Stock, others: list[BayType]) -> None:
        """All candidates of one type on one board.

        Parameters
        ----------
        index : int
            Of the type.
        kind : BayType
        stock : Stock
        others : list of BayType
            All types that may stand beside it on this board.
        """
        shop = self.request.shop
        lengths = [other.cut.length_mm + shop.crosscut_mm for other in others]
        flaws = self.request.boards[stock.index].flaws
        dodge = find_free_places(tuple(f for f in flaws if f.avoid), kind.cut)
        grid = self.grid_mm if flaws or stock.board.board.width_head_mm is not None else 0.0
        starts = find_starts(stock, kind.cut.length_mm + shop.crosscut_mm, lengths, dodge, grid_mm=grid)
        if len(starts) == 0:
            return
        low, high = usable_width(stock, stock.end_mm, stock.board.board.length_mm - 2 * stock.end_mm)
        narrowest = self._narrowest_strip(others)
        widest = max(high - low, stock.width_mm)
        for run, group in _by_run(list_arrangements(self.request, kind, widest)).items():
            for first in range(stock.leaves - run + 1):
                self._add_group(_Place(index, kind, stock, first, starts, narrowest), group)

    def _narrowest_strip(self, others: list[BayType]) -> float:
        counts = (4,) if self.request.making.strips is None else (self.request.making.strips,)
        return min(strip_width(kind.size, n, self.request.shop) for kind in others for n in counts)

    def _add_group(self, place: _Place, group: list[Arrangement]) -> None:
        """Candidates of one run of leaves; ways that take the same wood compete, and the cheapest stays."""
        for width, ways in _by_width(group).items():
            best = _Best(len(place.starts))
            shared = width + self.request.shop.rip_mm + place.narrowest <= place.stock.width_mm
            spans = _spans(place, width, shared=shared, rip_mm=self.request.shop.rip_mm)
            for y_mm, rectangle in spans:
                if shared:
                    best = _Best(len(place.starts))
                self._try_ways(best, place, ways, y_mm)
                if shared:
                    self._keep(best, place, ways[0].run, rectangle)
            if not shared:
                self._keep(best, place, ways[0].run, (0, to_ticks(place.stock.width_mm)))

    def _try_ways(self, best: _Best, place: _Place, ways: list[Arrangement], y_mm: Floats) -> None:
        kind, stock = place.kind, place.stock
        flaws = self.request.boards[stock.index].flaws
        starts_mm = place.starts / TICKS_PER_MM + stock.end_mm
        middle = float(np.nanmedian(y_mm)) if np.any(np.isfinite(y_mm)) else 0.0
        for way in ways:
            for foot in FEET if flaws else FEET[:1]:
                option = Option(way, foot)
                judged = judge_option(self.request, kind, stock.board, option, place=(place.first, middle))
                harm = self._price_flaws(option, place, y_mm, starts_mm)
                scale = self.money.mean * kind.bay.matters
                weights = self.request.weights
                parts = np.empty((len(starts_mm), 4))
                parts[:, 0] = weights.seams * judged.seams * scale
                parts[:, 1] = weights.tone * judged.tone * scale
                parts[:, 2] = weights.continuity * judged.continuity * scale
                parts[:, 3] = weights.flaws * (harm * FLAW_PER_INCH2 + (FOOT_UP if foot == "up" else 0.0)) * scale
                parts[~np.isfinite(y_mm)] = np.inf
                best.offer(parts, y_mm, self._index_of(option))

    def _price_flaws(self, option: Option, place: _Place, y_mm: Floats, starts_mm: Floats) -> Floats:
        """Flaws in sight; on a tapered board the place across changes from start to start."""
        flaws = self.request.boards[place.stock.index].flaws
        harm = np.zeros(len(starts_mm))
        if not flaws:
            return harm
        for y in np.unique(y_mm[np.isfinite(y_mm)]):
            mine = np.flatnonzero(y_mm == y)
            shown = [
                Showing(s.leaf + place.first, s.surfaces, s.y_mm)
                for s in show_strips(option, place.kind, self.request, float(y))
            ]
            leaves = place.stock.leaves
            harm[mine] = price_flaws(flaws, shown, starts_mm[mine], lie=(place.kind.cut, option.foot), leaves=leaves)
        return harm

    def _index_of(self, option: Option) -> int:
        if option not in self._option_index:
            self._option_index[option] = len(self.options)
            self.options.append(option)
        return self._option_index[option]

    def _keep(self, best: _Best, place: _Place, run: int, across: tuple[int, int]) -> None:
        good = np.flatnonzero(np.isfinite(best.total))
        if len(good) == 0:
            return
        shop = self.request.shop
        ones = np.ones(len(good), np.int64)
        x0 = place.starts[good]
        length = to_ticks(place.kind.cut.length_mm + shop.crosscut_mm)
        cost = np.rint(best.total[good] * POINTS).astype(np.int64)
        kind, board, leaf, runs, y0, y1 = (
            ones * n for n in (place.index, place.stock.index, place.first, run, *across)
        )
        self._rows.append(Candidates(kind, board, leaf, runs, x0, x0 + length, y0, y1, ones, cost))
        self._option.append(best.option[good])
        self._y.append(best.y_mm[good])
        self._parts.append(best.parts[good])


@dataclass(frozen=True, slots=True)
class _Place:
    """One type on one run of leaves of one board, at all its starts."""

    index: int
    kind: BayType
    stock: Stock
    first: int
    starts: IntArray
    narrowest: float


class _Best:
    """The cheapest way found so far at each start."""

    def __init__(self, starts: int) -> None:
        self.total = np.full(starts, np.inf)
        self.parts = np.full((starts, 4), np.inf)
        self.option = np.zeros(starts, np.int64)
        self.y_mm = np.zeros(starts)

    def offer(self, parts: Floats, y_mm: Floats, option: int) -> None:
        """Take a way where it is cheaper than what is there; the first of equals stays."""
        total = parts.sum(axis=1)
        better = total < self.total - 1e-9
        self.total[better] = total[better]
        self.parts[better] = parts[better]
        self.option[better] = option
        self.y_mm[better] = y_mm[better]


def _by_run(ways: list[Arrangement]) -> dict[int, list[Arrangement]]:
    groups: dict[int, list[Arrangement]] = {}
    for way in ways:
        groups.setdefault(way.run, []).append(way)
    return groups


def _by_width(ways: list[Arrangement]) -> dict[float, list[Arrangement]]:
    groups: dict[float, list[Arrangement]] = {}
    for way in ways:
        groups.setdefault(way.width_mm, []).append(way)
    return groups


def _spans(place: _Place, width: float, *, shared: bool, rip_mm: float) -> list[tuple[Floats, tuple[int, int]]]:
    """Places across to try, as a lower edge for each start (nan where it does not fit) and the rectangle it takes.

    First the middle of the board, then its two edges, then places that just clear a flaw. Where another strip fits
    beside this one, places that leave room for it, and only wood that is really taken counts.
    """
    limits = [
        usable_width(place.stock, start / TICKS_PER_MM + place.stock.end_mm, place.kind.cut.length_mm)
        for start in place.starts
    ]
    low, high = (np.array([limit[side] for limit in limits]) for side in (0, 1))
    room = high - low - width
    fits = room >= -1e-6
    lower, upper = low, low + np.maximum(room, 0.0)
    places = [(lower + upper) / 2, lower, upper]
    if shared:
        places = [lower, upper, *_beside(place, lower, upper, width + rip_mm)]
    else:
        for flaw in place.stock.board.flaws:
            for edge in (flaw.box.y1, flaw.box.y0 - width):
                places.append(np.clip(np.full(len(lower), edge), lower, upper))
    edge_mm = place.stock.edge_mm
    spans = []
    for y in places:
        y = np.where(fits, y, np.nan)
        known = y[np.isfinite(y)]
        if len(known) == 0:
            continue
        top = to_ticks(place.stock.width_mm)
        y0 = max(0, int(np.floor((known.min() - edge_mm) * TICKS_PER_MM)))
        y1 = min(top, to_ticks(known.max() - edge_mm + width + rip_mm))
        spans.append((y, (y0, y1)))
    return spans


def _beside(place: _Place, lower: Floats, upper: Floats, step_mm: float) -> list[Floats]:
    """Places that stand one or more strips of the same width away from the lower edge."""
    found = []
    for n in (1, 2):
        y = lower + n * step_mm
        if np.any(y <= upper + 1e-6):
            found.append(np.where(y <= upper + 1e-6, y, np.nan))
    return found
