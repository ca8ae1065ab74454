"""The seams that somebody has already seen: pictures of both surfaces, compared once and looked up after that."""

from __future__ import annotations

from itertools import islice

import numpy as np

from grainplan.boards import Leaf, MeasuredBoard, Surface
from grainplan.frame import Match
from grainplan.match.arrange import StripPlace, mate_gap
from grainplan.match.request import Request
from grainplan.match.rings import find_ring_angle
from grainplan.match.seams import (
    LEAST_ACROSS_MM,
    MOST_ACROSS_MM,
    Band,
    Ground,
    SeamScan,
    Search,
    cut_band,
    prepare_ground,
    scan_seam,
)
from grainplan.plan import Foot
from grainplan.resaw import step_across

SEARCH_PX_PER_MM = 1.0
"""While thousands of places are compared; the seams that are chosen are measured again at `FINAL_PX_PER_MM`."""
FINAL_PX_PER_MM = 2.0
EDGE_STEP_MM = 2.0
STRANGERS = 12
UNKNOWN_ACROSS_MM = 12.0

BandKey = tuple[Leaf, Surface, float, int]


class SeamBook:
    """Looks up how well two edges meet, where both surfaces have been seen."""

    def __init__(self, request: Request, *, px_per_mm: float = SEARCH_PX_PER_MM) -> None:
        self.request = request
        self.px_per_mm = px_per_mm
        self._grounds: dict[tuple[Leaf, Surface], Ground] = {}
        self._scans: dict[tuple[object, ...], SeamScan] = {}
        self._strangers: dict[tuple[int, bool], float | None] = {}
        self._pictured = {key for key, found in request.surfaces.items() if found.is_real}
        self._seen_boards = {
            leaf.board
            for (leaf, _), surface in request.surfaces.items()
            if surface.picture is not None and surface.seen == "leaf photo"
        }

    def has_seen(self, board: str) -> bool:
        """Whether leaves of this board have been photographed."""
        return board in self._seen_boards

    def find_scan(
        self,
        board: MeasuredBoard,
        first_leaf: int,
        seam: tuple[StripPlace, StripPlace],
        *,
        lie: tuple[float, Foot, Match],
    ) -> SeamScan | None:
        """The comparison along one seam, or None where a surface has not been seen.

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
        keys = [self._key_of(board, first_leaf, strip, (y_mm, foot), right_edge=i == 0) for i, strip in enumerate(seam)]
        if any(key[:2] not in self._pictured for key in keys):
            return None
        search = self._make_search(board, seam, match)
        name = (*keys, search)
        if name not in self._scans:
            self._scans[name] = scan_seam(self._band(keys[0]), self._band(keys[1]), search)
        return self._scans[name]

    def find_strangers(self, board: MeasuredBoard, seam: tuple[StripPlace, StripPlace], match: Match) -> float | None:
        """The fit of edges that do not belong together, under the same search: other boards and places of this job."""
        search = self._make_search(board, seam, match)
        key = (round(search.across_mm), search.mirrored)
        if key not in self._strangers:
            self._strangers[key] = self._compare_strangers(search)
        return self._strangers[key]

    def _compare_strangers(self, search: Search) -> float | None:
        surfaces = sorted(self._pictured)
        fits = []
        pairs = (
            (i, j)
            for step in range(1, max(len(surfaces), 2))
            for i in range(len(surfaces))
            for j in [(i + step) % len(surfaces)]
        )
        for i, j in islice(pairs, STRANGERS):
            first, second = (self._middle_band(surfaces[k]) for k in (i, j))
            away = second.lightness.shape[1] // 2
            moved = Band(np.roll(second.lightness, away, axis=1), np.roll(second.lab, away, axis=1), second.px_per_mm)
            scan = scan_seam(first, moved, search)
            if scan.weight.sum() > 0:
                fits.append(float(np.average(scan.fit, weights=scan.weight)))
        return float(np.mean(fits)) if fits else None

    def _middle_band(self, surface: tuple[Leaf, Surface]) -> Band:
        ground = self._ground(surface)
        middle = ground.lightness.shape[0] / ground.px_per_mm / 3
        return cut_band(ground, middle, toward=1)

    def _make_search(self, board: MeasuredBoard, seam: tuple[StripPlace, StripPlace], match: Match) -> Search:
        use = self.request.uses[board.name]
        gap = mate_gap(*seam, gap_mm=use.mate_gap_mm, leaf_mm=use.finished_leaf_mm)
        across = UNKNOWN_ACROSS_MM
        if gap is not None:
            angle = find_ring_angle(board, board.board.width_mm / 2, board.board.thickness_mm / 2)
            step = step_across(gap, min(angle, 90.0)) if isinstance(angle, float) else None
            across = 1.5 * step if isinstance(step, float) else UNKNOWN_ACROSS_MM
        across = min(max(across, LEAST_ACROSS_MM), MOST_ACROSS_MM)
        grain = board.grain.angle_deg or 0.0
        return Search(float(round(across)), grain, mirrored=match == "book")

    def _key_of(
        self, board: MeasuredBoard, first: int, strip: StripPlace, place: tuple[float, Foot], *, right_edge: bool
    ) -> BandKey:
        """The band of a strip beside the seam: its right edge where it stands left of the seam."""
        y_mm, foot = place
        flipped = (strip.surface == "far") != (foot == "up")
        low_edge = flipped == right_edge
        edge = y_mm + strip.y_mm[0 if low_edge else 1]
        if self.px_per_mm < FINAL_PX_PER_MM:
            edge = round(edge / EDGE_STEP_MM) * EDGE_STEP_MM
        return Leaf(board.name, first + strip.leaf + 1), strip.surface, edge, 1 if low_edge else -1

    def _ground(self, surface: tuple[Leaf, Surface]) -> Ground:
        if surface not in self._grounds:
            picture = self.request.surfaces[surface].picture
            if picture is None:
                raise ValueError(f"nobody has seen {surface[0].name} {surface[1]}")
            self._grounds[surface] = prepare_ground(picture, px_per_mm=self.px_per_mm)
        return self._grounds[surface]

    def _band(self, key: BandKey) -> Band:
        leaf, surface, edge, toward = key
        return cut_band(self._ground((leaf, surface)), edge, toward=toward)
