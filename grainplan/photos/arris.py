"""The long edges of a face held against its typed width: where its own edge is seen too, or a line beside it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from grainplan.geometry import Floats
from grainplan.photos.edges import Edge, fit_edge, meet_edges
from grainplan.photos.quads import judge_shape, see_walls
from grainplan.picture import Pixels

_NARROWEST = 0.004  # of the proportions: less is how well they are typed
_TYPED = 0.005  # standard deviation of the width over the length: 0.8 mm of 160
_THIN_EDGE_PX = 8.0  # a board's edge that shows wider has an arris to be seen
_PLACED_DOUBT = 0.004  # of the width: how well its proportion to the length is typed
_LEAST_WALL_PX = 1.0


def mind_arris(pixels: Pixels, outline_mm: Floats, edges: list[Edge], *, deep_mm: float | None) -> list[Edge]:
    """Where the camera looks past a long edge, the board's own edge is seen below its face; the face ends at the arris.

    The typed proportions tell how far off a long edge then is. A step in the tone there is taken for the arris; where
    the board's edge shows too thinly for a step of its own, the proportions alone place it, on the side that the camera
    stands on, and no farther than the board's thickness can show. An edge that took a line of the wood at one end is
    sought again there too.

    Parameters
    ----------
    pixels : ndarray of uint8
    outline_mm : ndarray, shape (4, 2)
    edges : list of Edge
        Upper, right, lower, left.
    deep_mm : float or None
        The board's thickness; None where it is not what lies behind.
    """
    size = (pixels.shape[1], pixels.shape[0])
    corners = meet_all(edges)
    stretch, _ = judge_shape(outline_mm, corners, size)
    if abs(stretch) < _NARROWEST:
        return edges
    best, least = edges, (stretch / _TYPED) ** 2
    walls = see_walls(outline_mm, corners, size, deep_mm=deep_mm or 0.0)
    for i, wall in ((0, walls[0]), (2, walls[1])):
        for edge, dear in _list_others(pixels, edges[i], stretch * width_px(corners), wall):
            others = [edge if j == i else e for j, e in enumerate(edges)]
            again, _ = judge_shape(outline_mm, meet_all(others), size)
            weaker = max(0.02, min(1.0, edge.step / max(edges[i].step, 1e-6)))
            cost = (again / _TYPED) ** 2 + dear - 2.0 * math.log(weaker)
            if cost < least:
                best, least = others, cost
    return best


def _list_others(pixels: Pixels, edge: Edge, wide_px: float, wall_px: float) -> Iterator[tuple[Edge, float]]:
    """Where else an edge may lie that makes the board `wide_px` too narrow, and how dear each place is."""
    c0, c1, c2 = edge.curve
    for turn in (0.0, 1.0, -1.0):
        curve = (c0 - wide_px, c1 + turn * wide_px, c2)
        moved = fit_edge(pixels, edge.start, edge.end, reach_px=2.0, curve=curve)
        yield moved, 1.0 + 4.0 * max(0.0, 0.9 - moved.support) + 0.5 * abs(turn)
    # Without a step to fit, an edge is only ever moved inward: past the arris lies the board's own edge.
    if wall_px >= _LEAST_WALL_PX and -_THIN_EDGE_PX < wide_px < 0:
        off = min(-wide_px, wall_px)
        yield replace(edge, curve=(c0 + off, c1, c2), spread_px=edge.spread_px + _PLACED_DOUBT * abs(off)), 0.5


def meet_all(edges: list[Edge]) -> Floats:
    """The four corners of four edges, upper left first."""
    return np.array([meet_edges(edges[i - 1], edges[i]) for i in range(4)])


def width_px(corners: Floats) -> float:
    """Of the two ends, on average."""
    return 0.5 * float(np.linalg.norm(corners[3] - corners[0]) + np.linalg.norm(corners[2] - corners[1]))
