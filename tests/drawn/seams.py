"""Seams of known kinds, cut from drawn boards whose leaves are known at every depth.

Gaps are those of leaves 6.35 mm thick, kerf 1.6 mm, planing 0.8 mm a side: mates lay 3.2 mm apart in the board, a slip
9.55 mm, the two leaves of neighbouring pairs 15.9 mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from grainplan.match.bands import EdgeBand, EvenSurface, RingMove, cut_edge, even_surface, follow_rings
from grainplan.match.edges import (
    EdgeRun,
    EdgeSearch,
    Strangers,
    blend_slip,
    compare_edges,
    measure_strangers,
    reach_across,
    reach_after_rings,
    take_better,
)
from grainplan.picture import Picture
from tests.drawn.flat import grow_any
from tests.drawn.paint import draw_cut
from tests.drawn.solid import Plane, Solid, measure_ring_angle

KINDS = ("mates", "further apart", "slip", "same board, other place", "other board")
GAPS_MM = (3.2, 15.9, 9.55, 3.2, 3.2)
DEPTH_MM = {"A1 near": 2.0, "A1 far": 8.35, "A2 near": 11.55, "A2 far": 17.9}
MEETINGS = (("A1 far", "A2 near"), ("A1 near", "A2 far"), ("A1 near", "A2 near"))
PITH_DOUBT_MM = 6.0
ROOM_MM = 75.0
"""Between an edge and the far edge of its board, so that a strip of a useful width lies beside it."""


@dataclass(frozen=True, slots=True, eq=False)
class SawnBoard:
    """A drawn board and the true surfaces of its two leaves, ready for comparing."""

    solid: Solid
    surfaces: dict[str, EvenSurface]

    def ring_angle(self, y_mm: float) -> float:
        return float(measure_ring_angle(self.solid, self.solid.length_mm / 2, y_mm, 10.0))

    def edge(self, name: str, y_mm: float) -> EdgeBand:
        return cut_edge(self.surfaces[name], y_mm, toward=1)

    def move(self, names: tuple[str, str], doubt_mm: tuple[float, ...]) -> RingMove:
        """How rings move from one surface to the other, by a pith that is a little wrong."""
        pith = self.solid.pith
        foot = (pith.y_foot_mm + doubt_mm[0], pith.z_foot_mm + doubt_mm[1])
        head = (pith.y_head_mm + doubt_mm[2], pith.z_head_mm + doubt_mm[3])
        return RingMove(foot, head, self.solid.length_mm, DEPTH_MM[names[0]], DEPTH_MM[names[1]])


def saw_board(seed: int, *, length_mm: float = 800.0) -> SawnBoard:
    """A board of any species, pith and width, sawn into two leaves and photographed with a little blur and noise."""
    solid = grow_any(seed, length_mm=length_mm)
    random = np.random.default_rng(seed + 77)
    return SawnBoard(solid, {name: even_surface(_photograph(solid, z, random)) for name, z in DEPTH_MM.items()})


def _photograph(solid: Solid, depth_mm: float, random: np.random.Generator) -> Picture:
    soft = cv2.GaussianBlur(draw_cut(solid, Plane("z", depth_mm, 2.0)).astype(np.float32), (0, 0), 0.6)
    soft += 2.0 * random.standard_normal(soft.shape, dtype=np.float32)
    return Picture(np.clip(soft + 0.5, 0, 255).astype(np.uint8), 2.0)


class SeamTrials:
    """Five seams a board, one of each kind, and how far each stands above strangers.

    `edges_mm` tells where the last ones lay: the seam, the other place, the edge of the other board.
    """

    def __init__(self, boards: list[SawnBoard], *, seed: int = 2, pith_known: bool = False) -> None:
        self.boards = boards
        self.pith_known = pith_known
        self.random = np.random.default_rng(seed)
        self._strangers: dict[int, Strangers] = {}
        self.edges_mm = (0.0, 0.0, 0.0)

    def strangers(self, reach_mm: float) -> Strangers:
        """Edges that do not belong together, under a search of this reach: 12 pairs of boards."""
        key = round(reach_mm)
        if key not in self._strangers:
            some = self.boards[:13]
            bands = [board.edge("A1 far", 0.3 * board.solid.width_mm) for board in some]
            found = measure_strangers(bands, bands, EdgeSearch(key))
            assert isinstance(found, Strangers)
            self._strangers[key] = found
        return self._strangers[key]

    def compare(self, place: int) -> list[tuple[EdgeRun, Strangers]]:
        """The seams of board number `place`, in the order of `KINDS`; another board of its species is the stranger."""
        board, other = self.boards[place], self.boards[(place + 3) % len(self.boards)]
        width = board.solid.width_mm
        edge = float(self.random.uniform(2, width - ROOM_MM))
        strip = float(self.random.uniform(70, width - edge - 2))
        elsewhere = edge
        while abs(elsewhere - edge) < 20:
            elsewhere = float(self.random.uniform(2, width - ROOM_MM))
        angle = max(5.0, board.ring_angle(edge + 15))
        doubt = tuple(self.random.normal(0.0, PITH_DOUBT_MM, 4).tolist())
        strange = float(self.random.uniform(2, 60))
        self.edges_mm = (edge, elsewhere, strange)
        met = [(board, names, edge) for names in MEETINGS]
        met += [(board, MEETINGS[0], elsewhere), (other, MEETINGS[0], strange)]
        searches = [EdgeSearch(round(reach_across(gap, angle))) for gap in GAPS_MM]
        runs = []
        for kind, (second, names, at_mm) in enumerate(met):
            first, bands = board.edge(names[0], edge), [(second.edge(names[1], at_mm), searches[kind])]
            if self.pith_known:
                bands.append(self._follow(second, names, at_mm, doubt))
            moved = [(shift_half(band) if kind == 3 else band, search) for band, search in bands]
            found = [compare_edges(first, band, search) for band, search in moved]
            runs.append(take_better(*found) if self.pith_known else found[0])
        joint = cut_edge(board.surfaces["A1 near"], edge + strip, toward=-1, outward=False)
        runs[2] = blend_slip(compare_edges(joint, board.edge("A2 near", edge), EdgeSearch()), runs[2])
        return [(run, self.strangers(searches[0].across_mm)) for run in runs]

    def _follow(
        self, board: SawnBoard, names: tuple[str, str], edge_mm: float, doubt_mm: tuple[float, ...]
    ) -> tuple[EdgeBand, EdgeSearch]:
        """The second band following its rings, and what is left to search."""
        move = board.move(names, doubt_mm)
        reach = reach_after_rings(move, edge_mm + 15, PITH_DOUBT_MM)
        return follow_rings(board.surfaces[names[1]], edge_mm, move, toward=1), EdgeSearch(round(reach))

    def stand_above(self, place: int) -> list[float]:
        """Share of the way from strangers to perfect agreement, in the order of `KINDS`."""
        found = []
        for run, strangers in self.compare(place):
            score = run.score(0.0, self.boards[place].solid.length_mm, strangers=strangers)
            found.append(score.above_strangers)
        return found


def shift_half(band: EdgeBand) -> EdgeBand:
    """The same edge, half a board further along."""
    half = band.figure.shape[1] // 2
    return replace(band, figure=np.roll(band.figure, half, axis=1), lab_along=np.roll(band.lab_along, half, axis=0))


def list_orders(above: np.ndarray) -> dict[str, np.ndarray]:
    """Which orders came out right in each trial: rows are trials, columns the kinds."""
    mates, further, slip, place, board = above.T
    strangers = np.maximum(place, board)
    return {
        "mates above further apart": mates > further,
        "further apart above slip": further > slip,
        "slip above the same board's other place": slip > place,
        "slip above another board": slip > board,
        "mates above all others": mates > above[:, 1:].max(axis=1),
        "mates above strangers": mates > strangers,
        "further apart above strangers": further > strangers,
        "all in order": (mates > further) & (further > slip) & (slip > strangers),
    }


def share_right(above: np.ndarray) -> float:
    """Share of right orders among all pairs of kinds that have one; two kinds of strangers have none."""
    pairs = [(i, j) for i in range(5) for j in range(i + 1, 5) if (i, j) != (3, 4)]
    return float(np.mean([above[:, i] > above[:, j] for i, j in pairs]))
