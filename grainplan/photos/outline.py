"""Find a board in a photo without typed corners: four straight edges in the proportions that the tape gave."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from grainplan.errors import NotFound
from grainplan.geometry import Floats
from grainplan.photos.arris import meet_all, mind_arris, width_px
from grainplan.photos.borders import Border, find_border
from grainplan.photos.corners import CORNER_DOUBT_PX
from grainplan.photos.edges import Edge, fit_edge, list_steps_inside
from grainplan.photos.ends import FibreEnd, find_fibre_end
from grainplan.photos.open_ends import lay_open_end
from grainplan.photos.quads import SHOWN, Quad, judge_shape, search_quads
from grainplan.picture import Pixels

_LEAST_NEAR = 2.0
_LEAST_SUPPORT = 0.78
_EDGE_SUPPORT = 0.8
_WEAK_STEP = 6.0  # Lab: a long edge that steps less must be seen along more of its length
_WEAK_SUPPORT = 0.85
_NEAR_APART = 3.0  # standard deviations between two areas: beyond, an edge is not mistaken for a line of the wood
_TURNED_PX = 1.5
_TURN_GAIN = 2.0
_SHAPE_TOLD = 0.012
_SHAPE_REFUSED = 0.025
_SKEW_REFUSED_DEG = 3.0
_DOUBT_REFUSED = 0.0015  # of the photo's long side: 6 px of a 12-megapixel photo
_LEAST_REFUSED_PX = 2.0  # of a small photo
_LENS_BOW_PX = 0.5  # of both long edges together, inward
_CROOK_REFUSED = 0.006  # of the length: a board that bows more is no use, or no board
_RIM = 0.004  # of the photo's long side
_FIBRE_DOUBT_PX = 3.0  # how well the stop of the fibres alone places an end
EDGE_NAMES = ("upper edge", "right end", "lower edge", "left end")
NEXT_MOVE = (
    "lay the board on something plain that differs from it in colour, a hand's breadth of it showing all round, or "
    "type its four corners"
)


@dataclass(frozen=True, slots=True)
class Outline:
    """A board found in a photo.

    Parameters
    ----------
    corners_px : ndarray, shape (4, 2)
        Upper left, upper right, lower right, lower left of the board as it lies in the picture, its length to the
        right; from the first pixel's corner.
    edges : tuple of Edge
        Upper, right, lower, left.
    doubt_px : float
        How far a corner may be off, 19 times in 20.
    caveats : tuple of str
    shown : float
        Of a board that runs out of the picture: how much of it is seen over what was typed, by its width.
    """

    corners_px: Floats
    edges: tuple[Edge, ...]
    doubt_px: float
    caveats: tuple[str, ...] = ()
    shown: float = 1.0


def find_outline(
    pixels: Pixels,
    outline_mm: Floats,
    *,
    called: str,
    deep_mm: float | None,
    open_ends: tuple[bool, bool] = (False, False),
) -> Outline | NotFound:
    """Find a board that lies with its length across the picture.

    Parameters
    ----------
    pixels : ndarray of uint8
    outline_mm : ndarray, shape (4, 2)
        The board's corners in its own plane, clockwise from the upper left as it lies in the picture, mm.
    called : str
        How to name the photo to the maker.
    deep_mm : float or None
        The thickness of a board whose broad side is seen, with fibres that run along it and stop at its ends; None for
        end grain.
    open_ends : (bool, bool)
        Whether the board runs out of the picture at the left and at the right; its outline is then closed just inside
        the rim, by a line square across it.

    Returns
    -------
    Outline, or NotFound with the reason and what to do: never a guess.
    """
    found = search_quads(pixels, outline_mm, open_ends=open_ends)
    if not found:
        return NotFound(
            f"{called}: no board found, nothing has four straight edges in the proportions of the typed length and "
            f"width; {NEXT_MOVE}"
        )
    best = found[0]
    weak = [
        n
        for n, q, s in zip(EDGE_NAMES, best.evidence, best.support, strict=True)
        if q < _LEAST_NEAR or s < _LEAST_SUPPORT
    ]
    if weak:
        return NotFound(f"{called}: the board's {' and '.join(weak)} cannot be told from what lies behind; {NEXT_MOVE}")
    if any(open_ends):
        refined = _refine_part(pixels, outline_mm, best, open_ends=open_ends)
    else:
        refined = _refine(pixels, outline_mm, best, deep_mm=deep_mm)
    return replace(refined, reason=f"{called}: {refined.reason}") if isinstance(refined, NotFound) else refined


def _refine(pixels: Pixels, outline_mm: Floats, quad: Quad, *, deep_mm: float | None) -> Outline | NotFound:
    """From the searched picture to the photo's own pixels."""
    size = (pixels.shape[1], pixels.shape[0])
    reach = 2.0 + 4.5 * quad.scale
    edges = _fit_all(pixels, quad.corners_px, reach)
    edges = _fit_all(pixels, meet_all(edges), 5.0, edges)
    edges = [
        _mind_end(pixels, edges, i, reach_px=reach, fibres=deep_mm is not None) if i in (1, 3) else e
        for i, e in enumerate(edges)
    ]
    edges = mind_arris(pixels, outline_mm, edges, deep_mm=deep_mm)
    for i in (0, 2):
        checked = _mind_turn(pixels, edges[i])
        if isinstance(checked, NotFound):
            return NotFound(f"the board's {EDGE_NAMES[i]} {checked.reason}; {NEXT_MOVE}")
        edges[i] = checked
    corners = meet_all(edges)
    stretch, skew = judge_shape(outline_mm, corners, size)
    rim = _RIM * max(size)
    cut = [n for i, n in enumerate(EDGE_NAMES) if _at_rim(corners[[i, (i + 1) % 4]], size, rim)]
    if cut:
        return NotFound(
            f"the board's {' and '.join(cut)} reaches the rim of the photo; step back until the whole side is in the "
            "picture, or write as x which part of the length it shows"
        )
    weak = (
        e.support < (_WEAK_SUPPORT if i in (0, 2) and e.step < _WEAK_STEP else _EDGE_SUPPORT)
        for i, e in enumerate(edges)
    )
    unseen = [n for n, w in zip(EDGE_NAMES, weak, strict=True) if w]
    if unseen:
        return NotFound(f"the board's {' and '.join(unseen)} cannot be followed; {NEXT_MOVE}")
    if abs(stretch) > _SHAPE_REFUSED or skew > _SKEW_REFUSED_DEG:
        return NotFound(
            f"what looks like the board is {_say_stretch(stretch)} for its length than typed, and {skew:.0f} "
            f"degrees out of square; measure length and width again, or {NEXT_MOVE}"
        )
    doubt = _doubt_corners(outline_mm, edges, stretch)
    if doubt > max(_LEAST_REFUSED_PX, _DOUBT_REFUSED * max(size)):
        wrong = f"; by its outline the board is {_say_stretch(stretch)} for its length than typed" * (
            abs(stretch) > _SHAPE_TOLD
        )
        return NotFound(f"the board's corners cannot be placed better than {doubt:.0f} px{wrong}; {NEXT_MOVE}")
    caveats: tuple[str, ...] = ("its corners were found by the program; look whether they sit on the board",)
    if abs(stretch) > _SHAPE_TOLD:
        caveats += (
            f"by its outline the board is {_say_stretch(stretch)} for its length than typed; measure both again",
        )
    return Outline(corners, tuple(edges), doubt, caveats)


def _refine_part(pixels: Pixels, outline_mm: Floats, quad: Quad, *, open_ends: tuple[bool, bool]) -> Outline | NotFound:
    """The same for a board that runs out of the picture: its width tells how much of it is seen."""
    size = (pixels.shape[1], pixels.shape[0])
    is_open = (False, open_ends[1], False, open_ends[0])
    edges = list(_draw_edges(quad.corners_px))
    reach = 2.0 + 4.5 * quad.scale
    for reach_px in (reach, 5.0):
        corners = meet_all(edges)
        for i in range(4):
            if not is_open[i]:
                curve = (0.0, 0.0, edges[i].curve[2])
                edges[i] = fit_edge(pixels, corners[i], corners[(i + 1) % 4], reach_px=reach_px, curve=curve)
    for i in (1, 3):
        if not is_open[i]:
            edges[i] = _mind_end(pixels, edges, i, reach_px=reach, fibres=True)
    unseen = [n for i, n in enumerate(EDGE_NAMES) if not is_open[i] and edges[i].support < _EDGE_SUPPORT]
    if unseen:
        return NotFound(f"the board's {' and '.join(unseen)} cannot be followed; {NEXT_MOVE}")
    for i in (1, 3):
        if is_open[i]:
            other = None if is_open[4 - i] else edges[4 - i]
            upper, lower = lay_open_end((edges[0], edges[2]), other, right=i == 1, size_px=size)
            edges[i] = _draw_edge(*((upper, lower) if i == 1 else (lower, upper)))
    corners = meet_all(edges)
    stretch, skew = judge_shape(outline_mm, corners, size)
    if not SHOWN[0] < stretch < SHOWN[1] or skew > _SKEW_REFUSED_DEG:
        shown = math.exp(stretch) * float(np.linalg.norm(outline_mm[1] - outline_mm[0]))
        return NotFound(
            f"what looks like the board is {skew:.0f} degrees out of square, and by its width the photo shows "
            f"{shown:.0f} mm of it: see whether x is the part of the length that the photo shows, or {NEXT_MOVE}"
        )
    doubt = _doubt_corners(outline_mm, edges, 0.0)
    if doubt > max(_LEAST_REFUSED_PX, _DOUBT_REFUSED * max(size)):
        return NotFound(f"the board's corners cannot be placed better than {doubt:.0f} px; {NEXT_MOVE}")
    caveats = ("its edges were found by the program, and by its width how much of its length the photo shows",)
    return Outline(corners, tuple(edges), doubt, caveats, math.exp(stretch))


def _draw_edges(corners: Floats) -> tuple[Edge, ...]:
    return tuple(_draw_edge(corners[i], corners[(i + 1) % 4]) for i in range(4))


def _draw_edge(start: Floats, end: Floats) -> Edge:
    """A straight line that nobody looked for."""
    return Edge(start, end, (0.0, 0.0, 0.0), 0.0, 0.0, 1.0)


def _doubt_corners(outline_mm: Floats, edges: list[Edge], stretch: float) -> float:
    """How far a corner may be off, px, by how its edges bow and by what the typed proportions leave open."""
    corners = meet_all(edges)
    upper, right, lower, left = (e.bow_px for e in edges)
    # A crook bows both long edges the same way, which is inward on one and outward on the other; a lens bows them
    # against each other, but little. What is left is an edge that was not followed well; ends are sawn straight.
    crook, apart = 0.5 * abs(upper - lower), max(0.0, abs(upper + lower) - _LENS_BOW_PX)
    wide = width_px(corners)
    if crook > _CROOK_REFUSED * float(np.ptp(outline_mm[:, 0]) / np.ptp(outline_mm[:, 1])) * wide:
        apart += crook
    bows = 1.5 * (abs(right) + abs(left)) + 2.0 * apart
    # What the typed proportions leave open, one of the four corners may be off by alone.
    return max(CORNER_DOUBT_PX, 2.0 * max(e.spread_px for e in edges), bows, abs(math.expm1(stretch)) * wide)


def _say_stretch(stretch: float) -> str:
    return f"{abs(math.expm1(stretch)):.1%} {'narrower' if stretch > 0 else 'wider'}"


def _fit_all(pixels: Pixels, corners: Floats, reach: float, like: list[Edge] | None = None) -> list[Edge]:
    curves = [(0.0, 0.0, e.curve[2]) for e in like] if like else [(0.0, 0.0, 0.0)] * 4
    return [fit_edge(pixels, corners[i], corners[(i + 1) % 4], reach_px=reach, curve=curves[i]) for i in range(4)]


def _at_rim(ends: Floats, size: tuple[int, int], rim: float) -> bool:
    """Whether both ends of an edge lie on the same side's rim of the photo."""
    low, high = ends < rim, ends > np.array(size) - rim
    return bool(low.all(axis=0).any() or high.all(axis=0).any())


def _mind_turn(pixels: Pixels, edge: Edge) -> Edge | NotFound:
    """A long edge that is hard to tell from a line of the wood at an angle to it, held against the areas beside it."""
    border = find_border(pixels, edge)
    if not _is_turned(border):
        return edge
    c0, c1, c2 = edge.curve
    curve = (c0 + border.off_px, c1 + border.turn_px, c2)
    again = fit_edge(pixels, edge.start, edge.end, reach_px=_FIBRE_DOUBT_PX, curve=curve)
    if _is_turned(find_border(pixels, again)):
        return NotFound("cannot be told from the lines of the wood")
    return again


def _is_turned(border: Border) -> bool:
    return border.apart < _NEAR_APART and abs(border.turn_px) >= _TURNED_PX and border.gain >= _TURN_GAIN


def _mind_end(pixels: Pixels, edges: list[Edge], at: int, *, reach_px: float, fibres: bool) -> Edge:
    """The board's own end, where a joint in the floor or the rim of a shadow beside it is stronger.

    The lines along the wood stop there. Wood that shows none has no lines across it either: of several lines along an
    end, the innermost is then where the board ends.
    """
    edge = edges[at]
    corners = meet_all(edges)
    chord, inner = corners[[at, (at + 1) % 4]], corners[[(at + 3) % 4, (at + 2) % 4]]
    end = find_fibre_end(pixels, chord, inner, reach_px=2 * reach_px) if fibres else None
    if isinstance(end, FibreEnd):
        curve = (end.off_px, end.turn_px, 0.0)
        toned = fit_edge(pixels, chord[0], chord[1], reach_px=_FIBRE_DOUBT_PX, curve=curve)
        if toned.support >= _LEAST_SUPPORT and abs(toned.curve[0] - end.off_px) <= _FIBRE_DOUBT_PX:
            return replace(toned, support=max(toned.support, _EDGE_SUPPORT))
        return replace(toned, curve=curve, spread_px=_FIBRE_DOUBT_PX / 2, support=_EDGE_SUPPORT)
    for off in list_steps_inside(pixels, edge, reach_px=reach_px):
        c0, c1, c2 = edge.curve
        inner_edge = fit_edge(pixels, edge.start, edge.end, reach_px=2.0, curve=(c0 + off, c1, c2))
        if inner_edge.support >= _LEAST_SUPPORT and inner_edge.curve[0] > c0 + 1.0:
            return inner_edge
    return edge
