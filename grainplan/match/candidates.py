"""Where a bay could come from: every run of leaves, place along and place across, with what it would cost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Flaw
from grainplan.frame import Part
from grainplan.geometry import Box
from grainplan.match.arrange import (
    Arrangement,
    Option,
    Ripping,
    arrange_running,
    arrange_strips,
    mirror_option,
    other_side,
    pair_ends,
)
from grainplan.match.baytypes import BayType
from grainplan.match.cost import FLAW_PER_INCH2, FOOT_UP, Money
from grainplan.match.cuts import hidden_side, strip_width
from grainplan.match.faces import Face, list_faces
from grainplan.match.flawmap import Showing, find_free_places, price_flaws
from grainplan.match.judge import judge_option
from grainplan.match.model import Candidates, IntArray
from grainplan.match.places import GRID_MM, TICKS_PER_MM, Place, Stock, find_starts, list_spans, to_ticks, usable_width
from grainplan.match.railjudge import RailJudge
from grainplan.match.request import Request
from grainplan.match.seen import SeamBook
from grainplan.match.thin import find_worthwhile
from grainplan.plan import Foot

Floats = NDArray[np.float64]
POINTS = 1000
"""Whole costs are thousandths of the unit."""
KEPT_SLACK = 20
"""Ticks: a place that is kept was written down in hundredths of a millimetre, and may overlap by what was rounded."""
FEET: tuple[Foot, ...] = ("down", "up")
_Key = TypeVar("_Key", int, float)


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


def list_arrangements(request: Request, kind: BayType, usable_mm: float) -> list[Arrangement]:
    """Every way to open leaves of one board into a panel of this type."""
    found = _list_lower(request, kind, usable_mm)
    return [way for lower in found for way in pair_ends(lower)] if kind.cut.end_matched else found


def _list_lower(request: Request, kind: BayType, usable_mm: float) -> list[Arrangement]:
    """The same without an upper panel of its own leaves."""
    making, shop = request.making, request.shop
    if making.match == "running" and making.strips is None:
        rough = next(iter(kind.size.panels.values())).rough_width_mm
        return arrange_running(rough, shop.joint_mm, usable_mm, least_mm=shop.narrowest_ripped_mm)
    counts = (1, 2, 3, 4) if making.strips is None else (making.strips,)
    found: list[Arrangement] = []
    for strips in counts:
        ripping = Ripping(strip_width(kind.size, strips, shop), shop.rip_mm, usable_mm)
        found += arrange_strips(strips, making.match, ripping, mates_on_front=making.true_side == "front")
    return found


def list_halves(request: Request, kind: BayType, usable_mm: float) -> list[Arrangement]:
    """Ways to open two leaves into half a panel of four strips; only where two strips are too wide for the board."""
    making, shop = request.making, request.shop
    if making.match != "book" or making.strips not in (None, 4):
        return []
    if making.strips is None and strip_width(kind.size, 2, shop) <= usable_mm:
        return []
    ripping = Ripping(strip_width(kind.size, 4, shop), shop.rip_mm, usable_mm)
    found = arrange_strips(2, "book", ripping, mates_on_front=making.true_side == "front")
    return [way for lower in found for way in pair_ends(lower)] if kind.cut.end_matched else found


def show_strips(face: Face, place: Place, request: Request, y_mm: float) -> list[Showing]:
    """What stays in sight across, strip by strip: joints, trim and grooves are not."""
    outer, joint = hidden_side(place.kind.size, request.shop), request.shop.joint_mm
    if place.half:
        outer = joint  # which side it will stand on is not settled yet
    strips = face.strips
    shown = []
    for i, strip in enumerate(strips):
        left = outer if i == 0 else joint
        right = outer if i == len(strips) - 1 else joint
        flipped = (strip.surface == "far") != (face.foot == "up")
        low, high = (right, left) if flipped else (left, right)
        surfaces = (strip.surface,) if place.kind.bay.seen == "front" else (strip.surface, other_side(strip.surface))
        across = (y_mm + strip.y_mm[0] + low, y_mm + strip.y_mm[1] - high)
        shown.append(Showing(place.first + strip.leaf, surfaces, across))
    return shown


def list_copies(option: Option, place: Place) -> list[tuple[Option, Place]]:
    """The bays of a place: one, or a mirrored pair on leaves that follow one another."""
    copies = [(option, place)]
    if place.copies == 2:
        copies.append((mirror_option(option), replace(place, first=place.first + option.arrangement.run)))
    return copies


class TableMaker:
    """Collects candidates type by type and board by board."""

    def __init__(self, request: Request, money: Money, book: SeamBook, *, grid_mm: float = GRID_MM) -> None:
        self.request = request
        self.money = money
        self.book = book
        self.rails = RailJudge(book)
        self.grid_mm = grid_mm
        self._options: dict[Option, int] = {}
        self._rows: list[Candidates] = []
        self._option: list[IntArray] = []
        self._y: list[Floats] = []
        self._parts: list[Floats] = []

    def finish(self) -> Table:
        """Everything collected so far."""
        return Table(
            Candidates.join(self._rows),
            tuple(self._options),
            np.concatenate([np.zeros(0, np.int64), *self._option]),
            np.concatenate([np.zeros(0), *self._y]),
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
        starts = self._find_starts(kind, stock, others)
        if len(starts) == 0:
            return
        low, high = usable_width(stock, stock.end_mm, stock.length_mm)
        widest = max(high - low, stock.width_mm)
        place = Place(index, kind, stock, 0, starts, self._narrowest_strip(others))
        before = len(self._rows)
        ways = list_arrangements(self.request, kind, widest)
        if self.request.making.match == "running" and self.request.making.strips is None:
            ways = self._arrange_running(place)
        for run, group in _group_by(ways, lambda way: way.run).items():
            self._add_runs(place, run, group)
            if kind.partners:
                self._add_runs(replace(place, copies=2), run, group)
        for run, group in _group_by(list_halves(self.request, kind, widest), lambda way: way.run).items():
            self._add_runs(replace(place, half=True), run, group)
        self._thin_out(before)

    def _arrange_running(self, place: Place) -> list[Arrangement]:
        """Ways of a running match, at the full width of the board where a bay has most of it and where it has least."""
        length = place.kind.cut.length_mm
        spans = [usable_width(place.stock, start, length) for start in place.starts_mm]
        widths = [round(high - low, 6) for low, high in spans if high > low]
        chosen = sorted({max(widths), min(widths)}, reverse=True) if widths else []
        found = [way for width in chosen for way in list_arrangements(self.request, place.kind, width)]
        return list(dict.fromkeys(found))

    def _thin_out(self, before: int) -> None:
        """Drop what is beaten in every respect among the rows added since."""
        if len(self._rows) <= before:
            return
        keep = np.flatnonzero(find_worthwhile(Candidates.join(self._rows[before:])))
        self._rows[before:] = [Candidates.join(self._rows[before:]).take(keep)]
        self._option[before:] = [np.concatenate(self._option[before:])[keep]]
        self._y[before:] = [np.concatenate(self._y[before:])[keep]]
        self._parts[before:] = [np.concatenate(self._parts[before:])[keep]]

    def _find_starts(self, kind: BayType, stock: Stock, others: list[BayType]) -> IntArray:
        crosscut = self.request.shop.crosscut_mm
        if kind.kept is not None and kind.kept.x_mm is not None:
            start = round((kind.kept.x_mm - stock.end_mm) * TICKS_PER_MM)
            last = to_ticks(stock.length_mm) - to_ticks(kind.cut.length_mm + crosscut)
            fits = last >= 0 and -KEPT_SLACK <= start <= last + KEPT_SLACK
            return np.array([min(max(0, start), last)] if fits else [], np.int64)
        flaws = self.request.boards[stock.index].flaws
        dodge = find_free_places(flaws, kind.cut) + self._find_beside_kept(kind, stock, others)
        grid = self.grid_mm if self.book.has_seen(stock.board.name) else 0.0
        lengths = [other.cut.length_mm + crosscut for other in others]
        return find_starts(stock, kind.cut.length_mm + crosscut, lengths, dodge, grid_mm=grid)

    def _find_beside_kept(self, kind: BayType, stock: Stock, others: list[BayType]) -> list[float]:
        """Starts right behind and right before each bay that is held to a place of this board."""
        crosscut, places = self.request.shop.crosscut_mm, []
        for other in others:
            kept = other.kept
            if kept is not None and kept.x_mm is not None and kept.leaves[0].board == stock.board.name:
                places += [
                    kept.x_mm + other.cut.length_mm + crosscut,
                    kept.x_mm - kind.cut.length_mm - crosscut,
                ]
        return places

    def _narrowest_strip(self, others: list[BayType]) -> float:
        strips = self.request.making.strips or 4
        return min(strip_width(kind.size, strips, self.request.shop) for kind in others)

    def _add_runs(self, place: Place, run: int, group: list[Arrangement]) -> None:
        """Candidates on every run of leaves that is whole; ways that take the same wood compete, the cheapest stays."""
        total = run * place.copies
        for first in range(place.stock.leaves - total + 1):
            if any(leaf in place.stock.lost for leaf in range(first, first + total)):
                continue
            for width, ways in _group_by(group, lambda way: way.width_mm).items():
                self._add_width(replace(place, first=first), width, ways)

    def _add_width(self, place: Place, width: float, ways: list[Arrangement]) -> None:
        rip_mm = self.request.shop.rip_mm
        shared = width + rip_mm + place.narrowest <= place.stock.width_mm
        best = _Best(len(place.starts))
        for y_mm, rectangle in list_spans(place, width, shared=shared, rip_mm=rip_mm):
            if shared:
                best = _Best(len(place.starts))
            for way in ways:
                self._try_way(best, place, way, y_mm)
            if shared:
                self._keep(best, place, ways[0].run, rectangle)
        if not shared:
            self._keep(best, place, ways[0].run, (0, to_ticks(place.stock.width_mm)))

    def _try_way(self, best: _Best, place: Place, way: Arrangement, y_mm: Floats) -> None:
        flaws = self.request.boards[place.stock.index].flaws
        both_feet = bool(flaws) or self.book.has_seen(place.stock.board.name) or place.kind.kept is not None
        for foot in FEET if both_feet else FEET[:1]:
            option = Option(way, foot)
            if not _is_kept_way(place, option):
                continue
            parts = np.zeros((len(place.starts), 4))
            for copy, where in list_copies(option, place):
                parts += self._price_copy(copy, where, y_mm)
            parts[~np.isfinite(y_mm)] = np.inf
            best.offer(parts, y_mm, self._options.setdefault(option, len(self._options)))

    def _price_copy(self, option: Option, place: Place, y_mm: Floats) -> Floats:
        """Weighted seams, tone, continuity and flaws of one bay at every start."""
        weights, parts = self.request.weights, np.zeros((len(place.starts), 4))
        for y in np.unique(y_mm[np.isfinite(y_mm)]):
            mine = np.flatnonzero(y_mm == y)
            judged = judge_option(self.rails, place, option, y_mm=float(y), rows=mine)
            harm = self._price_flaws(option, replace(place, starts=place.starts[mine]), float(y))
            parts[mine, 0] = weights.seams * judged.seams
            parts[mine, 1] = weights.tone * judged.tone
            parts[mine, 2] = weights.continuity * judged.continuity
            shown = np.where(np.isfinite(harm), weights.flaws * harm * FLAW_PER_INCH2, np.inf)
            parts[mine, 3] = shown + (FOOT_UP if option.foot == "up" else 0.0)
        return parts * (self.money.mean * place.kind.bay.matters)

    def _price_flaws(self, option: Option, place: Place, y_mm: float) -> Floats:
        flaws = self.request.boards[place.stock.index].flaws
        if not flaws:
            return np.zeros(len(place.starts))
        if place.kind.kept is not None:
            flaws = tuple(_shrink(flaw) for flaw in flaws)
        harm = np.zeros(len(place.starts))
        for face in list_faces(option, place.kind.cut):
            shown, lie = show_strips(face, place, self.request, y_mm), (face.cut, option.foot)
            harm += price_flaws(flaws, shown, place.starts_mm, lie=lie, leaves=place.stock.leaves)
        return harm

    def _keep(self, best: _Best, place: Place, run: int, across: tuple[int, int]) -> None:
        good = np.flatnonzero(np.isfinite(best.total))
        if len(good) == 0:
            return
        ones = np.ones(len(good), np.int64)
        x0 = place.starts[good]
        length = to_ticks(place.kind.cut.length_mm + self.request.shop.crosscut_mm)
        cost = np.rint(best.total[good] * POINTS).astype(np.int64)
        numbers = (place.index, place.stock.index, place.first, run * place.copies, *across)
        kind, board, leaf, runs, y0, y1 = (ones * n for n in numbers)
        covers = ones * (0 if place.half else place.copies)
        slack = KEPT_SLACK if place.kind.kept is not None else 0
        x1 = x0 + length - slack
        self._rows.append(Candidates(kind, board, leaf, runs, x0, x1, y0, y1 - slack, covers, cost))
        self._option.append(best.option[good])
        self._y.append(best.y_mm[good])
        self._parts.append(best.parts[good])


def _shrink(flaw: Flaw) -> Flaw:
    """A flaw without the rim that rounding may have moved into sight."""
    x = min(KEPT_SLACK / TICKS_PER_MM, flaw.box.width / 2)
    y = min(KEPT_SLACK / TICKS_PER_MM, flaw.box.height / 2)
    return replace(flaw, box=Box(flaw.box.x0 + x, flaw.box.y0 + y, flaw.box.x1 - x, flaw.box.y1 - y))


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


def _is_kept_way(place: Place, option: Option) -> bool:
    """Whether an option is what the maker keeps: the same leaves from left to right, and the same foot."""
    keep = place.kind.kept
    if keep is None:
        return True
    wanted = [leaf.name for leaf in keep.leaves]
    if keep.foot not in (None, option.foot):
        return False
    told: dict[Part, list[str]] = {"lower": wanted}
    if option.is_end_matched:
        count = len(option.strips) * (2 if place.half else 1)
        told = {"lower": wanted[:count], "upper": wanted[count:]}
    for part, mine in told.items():
        names = [f"{place.stock.board.name}{place.first + s.leaf + 1}" for s in option.strips_of(part)]
        if (mine or part == "lower") and names not in ((mine[:2], mine[2:]) if place.half else (mine,)):
            return False
    return True


def _group_by(ways: list[Arrangement], key: Callable[[Arrangement], _Key]) -> dict[_Key, list[Arrangement]]:
    groups: dict[_Key, list[Arrangement]] = {}
    for way in ways:
        groups.setdefault(key(way), []).append(way)
    return groups
