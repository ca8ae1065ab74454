"""The seams whose two surfaces have been seen: pictures of both, compared once and looked up after that."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from grainplan.boards import Leaf, MeasuredBoard, Surface
from grainplan.errors import NotFound
from grainplan.frame import Match
from grainplan.jobfolder.safesave import SaveError
from grainplan.match.arrange import StripPlace, mate_gap
from grainplan.match.bands import EdgeBand, EvenSurface, cut_edge, even_surface, follow_rings
from grainplan.match.edges import (
    LEAST_ACROSS_MM,
    STRANGER_PAIRS,
    EdgeRun,
    EdgeScore,
    EdgeSearch,
    Strangers,
    blend_slip,
    compare_edges,
    measure_strangers,
    reach_across,
    take_better,
)
from grainplan.match.ends import EndRuns, Ends, Plane32, compare_ends, draw_lines
from grainplan.match.following import REACH_STEP_MM, Following, follow_seam
from grainplan.match.rails import RailCut, score_end_match, score_run_on
from grainplan.match.request import Request
from grainplan.match.rings import find_ring_angle
from grainplan.match.shelf import Shelf
from grainplan.match.surfaces import SurfaceKey
from grainplan.match.trust import expect_end_fit, expect_strangers, temper_run, trust_along
from grainplan.plan import Foot, Span

SEARCH_PX_PER_MM = 1.0
"""While thousands of places are compared; the seams that are chosen are measured again at `FINAL_PX_PER_MM`."""
FINAL_PX_PER_MM = 2.0
EDGE_STEP_MM = 2.0
"""While many places are compared, edges closer than this count as one."""
FINE_STEP_MM = 0.25
"""Half a pixel: a bay that is held where it was is written in hundredths, and its seams are the same ones still."""
UNKNOWN_ANGLE_DEG = 20.0
"""What is searched where the ring angle is not known."""
SURFACES_HELD, BANDS_HELD, LINES_HELD = 6, 24, 12
"""Evened surfaces, bands and drawn lines that are held ready, some 10, 2 and 2 MB each; the comparisons are small and
all stay."""


@dataclass(frozen=True, slots=True)
class _Side:
    """One side of a seam: which surface, where its edge lies, and toward which y the strip lies."""

    leaf: Leaf
    surface: Surface
    edge_mm: float
    toward: int


class SeamBook:
    """Looks up how well two edges meet, where both surfaces have been seen.

    Parameters
    ----------
    request : Request
    px_per_mm : float
        Density to compare at.
    """

    def __init__(self, request: Request, *, px_per_mm: float = SEARCH_PX_PER_MM) -> None:
        self.request = request
        self.px_per_mm = px_per_mm
        self._surface = lru_cache(maxsize=SURFACES_HELD)(self._make_surface)
        self._band = lru_cache(maxsize=BANDS_HELD)(self._make_band)
        self._lines = lru_cache(maxsize=LINES_HELD)(self._draw_lines)
        self._runs: dict[tuple[object, ...], EdgeRun | None] = {}
        self._end_runs: dict[tuple[object, ...], EndRuns | None] = {}
        self._end_strangers: dict[Ends, Strangers | None] = {}
        self._scores: dict[tuple[object, ...], EdgeScore | NotFound] = {}
        self._strangers: dict[tuple[EdgeSearch, Match], Strangers | None] = {}
        self._strange_bands: list[EdgeBand] = []
        self._marks: dict[SurfaceKey, str] = {}
        folder = request.seams_folder
        self._shelf = Shelf(folder and folder / f"{px_per_mm:g}-px-per-mm.bin")
        self._pictured = {key for key, found in request.surfaces.items() if found.is_real}
        self._photographed = {key for key in self._pictured if request.surfaces[key].seen != "inside"}
        self._seen_boards = {leaf.board for leaf, surface in self._pictured if not self._is_outside(leaf, surface)}

    @classmethod
    def of(cls, request: Request, *, px_per_mm: float = SEARCH_PX_PER_MM) -> SeamBook:
        """The book that came with a request, where it was made over the same boards and surfaces; else a new one."""
        book = request.books.get(px_per_mm)
        if isinstance(book, cls) and book._is_over(request):
            book.request = request
        else:
            book = request.books[px_per_mm] = cls(request, px_per_mm=px_per_mm)
        return book

    def _is_over(self, request: Request) -> bool:
        mine = self.request
        return mine.surfaces is request.surfaces and mine.boards == request.boards and mine.uses == request.uses

    def has_seen(self, board: str) -> bool:
        """Whether more than the outside of this board has been seen, so that every place along it differs."""
        return board in self._seen_boards

    @property
    def has_seen_any(self) -> bool:
        """Whether this is so of any board."""
        return bool(self._seen_boards)

    def find_run(
        self,
        board: MeasuredBoard,
        first_leaf: int,
        seam: tuple[StripPlace, StripPlace],
        *,
        lie: tuple[float, Foot, Match],
    ) -> EdgeRun | None:
        """The comparison along one seam, or None where a surface has not been seen.

        Where a surface is predicted, the fit is the one that the real surfaces are expected to reach (`match.trust`).

        Parameters
        ----------
        board : MeasuredBoard
        first_leaf : int
            0 at the face.
        seam : (StripPlace, StripPlace)
            Left and right strip as they show on one side.
        lie : (float, {"down", "up"}, {"book", "slip", "running"})
            Lower edge across the board, mm; which way the foot stands; how they are matched.
        """
        y_mm, foot, match = lie
        left, right = (self._find_side(board, first_leaf, strip, (y_mm, foot), place=i) for i, strip in enumerate(seam))
        if not {(left.leaf, left.surface), (right.leaf, right.surface)} <= self._pictured:
            return None
        gap = self._find_gap(board, seam)
        search = self._make_search(board, gap)
        name = (left, right, search, match)
        if name not in self._runs:
            pair, use = ((left.leaf, left.surface), (right.leaf, right.surface)), self.request.uses[board.name]
            follow = follow_seam(board, use, pair, edge_mm=right.edge_mm, toward=right.toward)
            sides = [(self._mark((side.leaf, side.surface)), side.edge_mm, side.toward) for side in (left, right)]
            found = self._shelf.take(
                *("edges", sides, search, follow, match),
                make=lambda: self._compare((left, right), (search, follow), match),
            )
            self._runs[name] = self._expect(found, (left, right), (gap, search.across_mm))
        return self._runs[name]

    def find_strangers(
        self, board: MeasuredBoard, seam: tuple[StripPlace, StripPlace], match: Match
    ) -> Strangers | None:
        """The fit of edges that do not belong together, searched as the mates of this board are.

        Wherever lines are looked for further off, strangers find more luck; but lines that were found there were found,
        and weighing each search by its own luck puts more seams in a wrong order than it puts right.
        """
        search = self._make_search(board, self.request.uses[board.name].mate_gap_mm)
        if not self._photographed:
            return expect_strangers(search.across_mm)
        key = (search, match)
        if key not in self._strangers:
            marks = [self._mark(chosen) for chosen in self._choose_one_each()]
            self._strangers[key] = self._shelf.take(
                "strange edges", marks, search, match, make=lambda: self._compare_strangers(search, match)
            )
        return self._strangers[key]

    def find_run_on(self, leaf: Leaf, surface: Surface, cut: RailCut) -> EndRuns | None:
        """How the grain runs on behind a rail, at every place along one leaf at once; None where nobody has seen it.

        Ask the answer with `EndRuns.average(x of the foot side's end, strip across the board)`.

        Parameters
        ----------
        leaf : Leaf
        surface : {"near", "far"}
            What shows.
        cut : RailCut
            Only how far its two ends lie apart, and what the rail hides; not where.
        """
        return self._find_ends(((leaf, surface), (leaf, surface)), cut.ends)

    def find_end_match(
        self, board: MeasuredBoard, pair: tuple[SurfaceKey, SurfaceKey], *, apart_mm: float = 0.0
    ) -> EndRuns | None:
        """How a lower panel and an upper one that stands foot up mirror each other, at every place along two leaves.

        Parameters
        ----------
        board : MeasuredBoard
        pair : ((Leaf, Surface), (Leaf, Surface))
            What shows below and above the rail, of one board.
        apart_mm : float
            From the end of the lower strip at the rail to that of the upper one, along the board.
        """
        lower, upper = (StripPlace(leaf.number - 1, surface, (0.0, 0.0)) for leaf, surface in pair)
        reach = self._make_search(board, self._find_gap(board, (lower, upper))).across_mm
        return self._find_ends(pair, Ends(round(apart_mm, 1), mirrored=True, reach_mm=reach))

    def find_end_strangers(self, ends: Ends) -> Strangers | None:
        """The fit that ends which do not belong together reach under the search of an `EndRuns.ends`."""
        alike = Ends(0.0, ends.mirrored, reach_mm=ends.reach_mm)
        if alike not in self._end_strangers:
            marks = [self._mark(chosen) for chosen in self._choose_one_each()]
            self._end_strangers[alike] = self._shelf.take(
                "strange ends", marks, alike, make=lambda: self._compare_end_strangers(alike)
            )
        return self._end_strangers[alike]

    def score_run_on(self, leaf: Leaf, surface: Surface, cut: RailCut, *, y_mm: Span) -> EdgeScore | NotFound:
        """The grain behind one rail, for the plan: as `match.rails.score_run_on`, strangers beside it."""
        if (leaf, surface) not in self._pictured:
            return NotFound(f"nobody has seen {leaf.name} {surface}")
        strangers = self.find_end_strangers(cut.ends)
        foot_side, apart = _be_fine(cut.foot_side_mm), cut.ends.apart_mm
        cut = replace(cut, foot_side_mm=foot_side, head_side_mm=round(foot_side + apart, 2))
        y_mm = _be_fine(y_mm[0]), _be_fine(y_mm[1])

        def score() -> EdgeScore | NotFound:
            even = self._surface(leaf, surface)
            return score_run_on(even, even, cut, y_mm=y_mm, strangers=strangers)

        return self._take_score(((leaf, surface),), cut.ends, cut, y_mm, strangers, make=score)

    def score_end_match(
        self, board: MeasuredBoard, pair: tuple[SurfaceKey, SurfaceKey], ends_mm: Span, *, y_mm: Span
    ) -> EdgeScore | NotFound:
        """One end match, for the plan: as `match.rails.score_end_match`, strangers beside it."""
        run = self.find_end_match(board, pair, apart_mm=ends_mm[1] - ends_mm[0])
        if run is None:
            return NotFound(f"nobody has seen both {pair[0][0].name} {pair[0][1]} and {pair[1][0].name} {pair[1][1]}")
        ends, strangers = run.ends, self.find_end_strangers(run.ends)
        ends_mm, y_mm = ((_be_fine(low), _be_fine(high)) for low, high in (ends_mm, y_mm))

        def score() -> EdgeScore | NotFound:
            surfaces = (self._surface(*pair[0]), self._surface(*pair[1]))
            return score_end_match(surfaces, ends_mm, y_mm=y_mm, reach_mm=ends.reach_mm, strangers=strangers)

        return self._take_score(pair, ends, ends_mm, y_mm, strangers, make=score)

    def _take_score(
        self, shown: tuple[SurfaceKey, ...], ends: Ends, *what: object, make: Callable[[], EdgeScore | NotFound]
    ) -> EdgeScore | NotFound:
        """Scored once: most bays stay where they were when one is moved by hand."""
        key = (shown, ends, *what)
        if key not in self._scores:
            found = self._shelf.take("ends", [self._mark(one) for one in shown], ends, *what, make=make)
            if isinstance(found, EdgeScore) and (trust := self._trust(shown)) < 1.0:
                found = replace(found, fit=float(expect_end_fit(np.float64(found.fit), trust, ends)))
            self._scores[key] = found
        return self._scores[key]

    def say_doubt(self, board: MeasuredBoard, first_leaf: int, seam: tuple[StripPlace, StripPlace]) -> tuple[str, ...]:
        """What the maker should know where one of the surfaces is predicted and not yet seen."""
        return self.say_predicted((Leaf(board.name, first_leaf + strip.leaf + 1), strip.surface) for strip in seam)

    def say_predicted(self, shown: Iterable[SurfaceKey]) -> tuple[str, ...]:
        """Which of these surfaces are predicted and not yet seen, a sentence each."""
        return tuple(
            f"{leaf.name} {surface} is predicted, confidence {found.confidence:.2f}"
            for leaf, surface in shown
            if (found := self.request.surfaces.get((leaf, surface))) is not None and found.seen == "inside"
        )

    def keep(self) -> None:
        """Write what was compared to the disk; :class:`SaveError` where that cannot be."""
        self._shelf.save()

    def _mark(self, key: SurfaceKey) -> str:
        """Changes with any pixel that is compared."""
        if key not in self._marks:
            picture = self.request.surfaces[key].compared
            self._marks[key] = "" if picture is None else picture.mark
        return self._marks[key]

    def _is_outside(self, leaf: Leaf, surface: Surface) -> bool:
        return self.request.surfaces[leaf, surface].seen == "own side"

    def _compare(
        self, sides: tuple[_Side, _Side], how: tuple[EdgeSearch, Following | None], match: Match
    ) -> EdgeRun | None:
        left, right = sides
        second = self._band(right, outward=True)
        first = self._band(left, outward=match == "book")
        if first is None or second is None:
            return None
        if match != "slip":
            return self._find_lines(first, right, second, how)
        meeting = compare_edges(first, second, replace(how[0], across_mm=LEAST_ACROSS_MM))
        same = _Side(left.leaf, left.surface, right.edge_mm, right.toward)
        repeated = self._band(same, outward=True)
        return meeting if repeated is None else blend_slip(meeting, self._find_lines(repeated, right, second, how))

    def _find_lines(
        self, first: EdgeBand, right: _Side, second: EdgeBand, how: tuple[EdgeSearch, Following | None]
    ) -> EdgeRun:
        """Lines of the right strip as they lie, or where the pith says that they went: whichever agrees better."""
        search, follow = how
        run = compare_edges(first, second, search)
        if follow is None:
            return run
        surface = self._surface(right.leaf, right.surface)
        followed = follow_rings(surface, right.edge_mm, follow.move, toward=right.toward)
        return take_better(run, compare_edges(first, followed, replace(search, across_mm=follow.across_mm)))

    def _compare_strangers(self, search: EdgeSearch, match: Match) -> Strangers | None:
        if not self._strange_bands:
            self._strange_bands = self._cut_strange_bands()
        seconds = [replace(band) for band in self._strange_bands]  # what was worked out of a band is let go with it
        firsts = seconds if match == "book" else [turn_inward(band) for band in self._strange_bands]
        found = measure_strangers(firsts, seconds, search)
        return found if isinstance(found, Strangers) else None

    def _cut_strange_bands(self) -> list[EdgeBand]:
        """One surface of each board, at a third of its width; two places of it where there is only one board."""
        chosen = self._choose_one_each()
        found: list[EdgeBand] = []
        for leaf, surface in chosen:
            height = self._surface(leaf, surface).figure.shape[0] / self.px_per_mm
            for share in (1 / 3,) if len(chosen) > 1 else (0.2, 0.5):
                band = self._make_band(_Side(leaf, surface, round(height * share), 1), outward=True)
                found += [] if band is None else [band]
            if len(found) > STRANGER_PAIRS:  # no more of them are compared
                break
        return found

    def _find_ends(self, pair: tuple[SurfaceKey, SurfaceKey], ends: Ends) -> EndRuns | None:
        if not set(pair) <= self._pictured:
            return None
        name = (*pair, ends)
        if name not in self._end_runs:

            def compare() -> EndRuns | None:
                first, second = (self._lines(*key, ends.grain_deg) for key in pair)
                return compare_ends(first, second, ends, px_per_mm=self._surface(*pair[0]).px_per_mm)

            marks = [self._mark(one) for one in pair]
            found = self._shelf.take("ends along", marks, ends, make=compare)
            if found is not None and (trust := self._trust(pair)) < 1.0:
                found = replace(found, fit=expect_end_fit(found.fit, trust, ends))
            self._end_runs[name] = found
        return self._end_runs[name]

    def _choose_one_each(self) -> list[tuple[Leaf, Surface]]:
        """One surface of each board that has been seen; predicted ones only where there is no photo at all."""
        chosen: dict[str, tuple[Leaf, Surface]] = {}
        for leaf, surface in sorted(self._photographed or self._pictured):
            chosen.setdefault(leaf.board, (leaf, surface))
        return list(chosen.values())

    def _compare_end_strangers(self, ends: Ends) -> Strangers | None:
        """One board's ends against the next one's; turned end for end where there is only one board."""
        chosen = self._choose_one_each()
        lines = [self._lines(*key, 0.0) for key in chosen[:4]]
        seconds = [*lines[1:], lines[0]] if len(lines) > 1 else [np.ascontiguousarray(x[::-1, ::-1]) for x in lines]
        density = min(self.px_per_mm, *(self._surface(*key).px_per_mm for key in chosen[:1])) if chosen else 1.0
        runs = [compare_ends(a, b, ends, px_per_mm=density) for a, b in zip(lines, seconds, strict=True)]
        fits = [float(np.average(run.fit, weights=run.weight)) for run in runs if run is not None]
        return Strangers(float(np.mean(fits)), float(np.std(fits)), len(fits)) if fits else None

    def _make_search(self, board: MeasuredBoard, gap_mm: float) -> EdgeSearch:
        angle = find_ring_angle(board, board.board.width_mm / 2, board.board.thickness_mm / 2)
        known = angle if isinstance(angle, float) else UNKNOWN_ANGLE_DEG
        across = reach_across(gap_mm, known)
        return EdgeSearch(across_mm=round(across / REACH_STEP_MM) * REACH_STEP_MM, grain_deg=board.grain.angle_deg or 0)

    def _find_gap(self, board: MeasuredBoard, seam: tuple[StripPlace, StripPlace]) -> float:
        use = self.request.uses[board.name]
        gap = mate_gap(*seam, gap_mm=use.mate_gap_mm, leaf_mm=use.finished_leaf_mm)
        return use.mate_gap_mm if gap is None else gap

    def _trust(self, shown: Iterable[SurfaceKey]) -> float:
        """The geometric mean of the trust in two surfaces, or in one; 1 for photos."""
        found = [self.request.surfaces[key] for key in shown]
        return float(np.prod([one.confidence for one in found if one.seen == "inside"]) ** (1 / len(found)))

    def _expect(self, run: EdgeRun | None, sides: tuple[_Side, _Side], lay: tuple[float, float]) -> EdgeRun | None:
        if run is None:
            return None
        first, second = (
            trust_along(self.request.surfaces[side.leaf, side.surface], side.edge_mm, run.x_mm, toward=side.toward)
            for side in sides
        )
        return temper_run(run, (first, second), gap_mm=lay[0], reach_mm=lay[1])

    def _find_side(
        self, board: MeasuredBoard, first: int, strip: StripPlace, lie: tuple[float, Foot], *, place: int
    ) -> _Side:
        """The edge of a strip at the seam: its right edge where it stands left of the seam (`place` 0)."""
        y_mm, foot = lie
        flipped = (strip.surface == "far") != (foot == "up")
        low_edge = flipped == (place == 0)
        edge = y_mm + strip.y_mm[0 if low_edge else 1]
        step = EDGE_STEP_MM if self.px_per_mm < FINAL_PX_PER_MM else FINE_STEP_MM
        edge = round(edge / step) * step
        return _Side(Leaf(board.name, first + strip.leaf + 1), strip.surface, float(edge), 1 if low_edge else -1)

    def _draw_lines(self, leaf: Leaf, surface: Surface, grain_deg: float) -> Plane32:
        return draw_lines(self._surface(leaf, surface), grain_deg)

    def _make_surface(self, leaf: Leaf, surface: Surface) -> EvenSurface:
        picture = self.request.surfaces[leaf, surface].compared
        if picture is None:
            raise ValueError(f"nobody has seen {leaf.name} {surface}")
        return even_surface(picture, px_per_mm=self.px_per_mm)

    def _make_band(self, side: _Side, outward: bool) -> EdgeBand | None:
        """None where too little wood lies beside the edge to compare."""
        try:
            return cut_edge(self._surface(side.leaf, side.surface), side.edge_mm, toward=side.toward, outward=outward)
        except ValueError:
            return None


def _be_fine(place_mm: float) -> float:
    return float(round(place_mm / FINE_STEP_MM) * FINE_STEP_MM)


def turn_inward(band: EdgeBand) -> EdgeBand:
    """The wood of an outward band as it stands on the first side of a slip or running match."""
    return replace(band, figure=np.ascontiguousarray(band.figure[::-1]), outward=False)


def keep_compared(books: Mapping[float, Any]) -> None:
    """Write the comparisons of a choice to the disk; where that cannot be, they are only made again another time."""
    with suppress(SaveError):
        for book in books.values():
            if isinstance(book, SeamBook):
                book.keep()
