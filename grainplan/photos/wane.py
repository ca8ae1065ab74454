"""Where the wood of a board's straight frame is missing: waney edges, and corners that are broken or cut off.

Wood that is missing along a long edge shows what lies behind, or bark: greyer than the wood. A dark band of the wood's
own rings has the colour of the wood, only darker, and is left alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.geometry import Floats, apply_homography, list_runs, solve_homography
from grainplan.photos.edges import Edge, look_along
from grainplan.picture import Pixels

_BLOCKS = 128
_INWARD = 0.4  # of the board's width: how deep it is sought, the wood's own tone in it
_OUTWARD_PX = 12
_UNLIKE = 11.0  # CIE Lab units: less is figure
_UNLIKE_SPREADS = 3.0  # of the wood's own variation there
_DARKER = 8.0  # L*: bark is darker than the wood beside it, sapwood is paler
_CONTRAST = 14.0  # Lab, of a whole stretch against the wood beside it
_GREYER = 8.0  # of which in a* and b*: dark bands of the wood stay under 7, drawn bark is over 10
_LIKE_FLOOR = 0.35  # of the contrast: what differs less from what lies outside is that
_OTHER_HUE = 8.0  # in a* and b*, of floor in shadow against the wood
_DEEP_PX = 3.0
_DEEP_MM = 4.0
_LONG_MM = 25.0
_GONE_MM = 10.0
_MOST = 0.6  # of an edge's length: what runs further is a band of the wood
_PATCH_MM = 75.0  # how far from a corner it is looked at, and
_PATCH_SHARE = 0.4  # of the width at most
_UNSURE = 0.4  # of the shorter leg
_ROUGH = 0.15  # of its leg along the board: what is farther off a straight cut is no broken corner


@dataclass(frozen=True, slots=True)
class Wane:
    """A stretch of a long edge where the wood ends inside the straight frame.

    Parameters
    ----------
    edge : {0, 2}
        The first or the third of the edges that were looked along.
    start_mm, end_mm : float
        Along the board, where the outline has them.
    deep_mm : float
        How far in the wood begins, at the worst.
    doubt_mm : float
        Of the depth.
    """

    edge: int
    start_mm: float
    end_mm: float
    deep_mm: float
    doubt_mm: float


@dataclass(frozen=True, slots=True)
class Gone:
    """A corner that is not there: which one of the outline, how far its cut reaches along and across, doubt of both."""

    corner: int
    along_mm: float
    across_mm: float
    doubt_mm: float


def find_missing(
    pixels: Pixels, edges: tuple[Edge, ...], corners_px: Floats, outline_mm: Floats
) -> tuple[tuple[Wane, ...], tuple[Gone, ...]]:
    """Look along the edges of a board's frame for wood that is missing.

    Parameters
    ----------
    pixels : ndarray of uint8
    edges : tuple of Edge
        Clockwise, each from corner to corner, the first a long one.
    corners_px, outline_mm : ndarray, shape (4, 2)
        The frame's corners in the picture and on the board, clockwise in the picture; the first edge starts from the
        first.
    """
    length, width = (float(np.linalg.norm(outline_mm[i] - outline_mm[0])) for i in (1, 3))
    px_per_mm = float(np.linalg.norm(corners_px[1] - corners_px[0])) / length
    gone = tuple(g for i in range(4) if (g := find_gone(pixels, (edges[i - 1], edges[i]), (i, width, px_per_mm))))
    to_board = solve_homography(corners_px, outline_mm)
    deep = max(_DEEP_MM, _DEEP_PX / px_per_mm)
    wane = []
    for i in (0, 2):
        for a, b, most in list_lacks(pixels, edges[i], _INWARD * width * px_per_mm, deep * px_per_mm):
            if (b - a) * length < _LONG_MM or (b - a) > _MOST or _is_corner(gone, i, (a, b), length):
                continue
            ends = np.array([edges[i].point_at(2 * share - 1) for share in (a, b)])
            start, end = sorted(float(x) for x in apply_homography(to_board, ends)[:, 0])
            doubt = max(1.0, 0.1 * most / px_per_mm, (2.0 + 2 * edges[i].spread_px) / px_per_mm)
            wane.append(Wane(i, start, end, most / px_per_mm, doubt))
    return tuple(wane), gone


def list_lacks(pixels: Pixels, edge: Edge, reach_px: float, least_px: float) -> list[tuple[float, float, float]]:
    """Stretches of an edge where the wood begins inside the line: start and end, shares of the edge, and depth, px.

    Going inward from the line, whatever is unlike the wood further in counts as missing as long as it is like what lies
    outside, or darker than wood; a whole stretch counts where it is greyer than the wood beside it, or like the floor.
    """
    reach = max(12, round(reach_px))
    profiles = look_along(pixels, edge, blocks=_BLOCKS, span_px=(-_OUTWARD_PX, reach))
    outside, inside = profiles[:, : _OUTWARD_PX - 3], profiles[:, _OUTWARD_PX + 1 :]
    depths = count_missing(inside, outside)
    lacks = (depths >= least_px).astype(np.uint8)
    closed = cv2.morphologyEx(lacks[None], cv2.MORPH_CLOSE, np.ones((1, 7), np.uint8))[0]
    return [
        (a / _BLOCKS, b / _BLOCKS, float(np.quantile(depths[a:b], 0.95)))
        for a, b in list_runs(closed > 0)
        if _is_no_wood(inside[a:b], outside[a:b], depths[a:b])
    ]


def count_missing(inside: Floats, outside: Floats) -> Floats:
    """How many offsets lack wood from the line on, for profiles of shape (blocks, offsets, 3), CIE Lab."""
    deeper = inside[:, inside.shape[1] // 2 :]
    wood = np.median(deeper, axis=1)
    # One block's wood may be a knot: its neighbours have a say.
    wood = np.asarray(cv2.blur(wood.astype(np.float32)[:, None, :], (1, 9)), float)[:, 0]
    spread = np.median(np.linalg.norm(deeper - wood[:, None, :], axis=2), axis=1)
    off = np.linalg.norm(inside - wood[:, None, :], axis=2)
    unlike = off > np.maximum(_UNLIKE, _UNLIKE_SPREADS * spread)[:, None]
    floor = np.linalg.norm(inside - np.median(outside, axis=1)[:, None, :], axis=2)
    other = (inside[:, :, 0] < wood[:, None, 0] - _DARKER) | (floor < 0.6 * off)
    # What lies behind may lie in the board's own shadow there: as dark as wood, and of the floor's colour.
    hue, ground, own = (_leave_light(c) for c in (inside, np.median(outside, axis=1)[:, None], wood[:, None]))
    from_own = np.linalg.norm(hue - own, axis=2)
    other |= (np.linalg.norm(hue - ground, axis=2) < 0.5 * from_own) & (from_own > _OTHER_HUE)
    missing = np.asarray(cv2.medianBlur((unlike & other).astype(np.uint8), 5), bool)
    return np.where(missing.all(axis=1), 0.0, np.argmin(missing, axis=1)).astype(float)


def _leave_light(lab: Floats) -> Floats:
    """Colour without light: a* and b* at the lightness of 60 that they would have there."""
    return np.asarray(60.0 * lab[..., 1:] / np.maximum(lab[..., :1], 10.0), float)


def _is_no_wood(inside: Floats, outside: Floats, depths: Floats) -> bool:
    """Whether a stretch differs from the wood just further in as bark or floor does, and not as a dark ring."""
    rows = []
    for profile, floor, depth in zip(inside, outside, depths.astype(int), strict=True):
        if depth >= _DEEP_PX:
            lacking, wood = np.median(profile[1:depth], axis=0), np.median(profile[depth + 2 : depth + 10], axis=0)
            apart = lacking - wood
            beyond = lacking - np.median(floor, axis=0)
            rows.append((np.linalg.norm(apart), np.linalg.norm(apart[1:]), np.linalg.norm(beyond)))
    if not rows:
        return False
    contrast, greyer, unlike_floor = np.median(np.array(rows), axis=0)
    return bool(contrast >= _CONTRAST and (greyer >= _GREYER or unlike_floor < _LIKE_FLOOR * contrast))


def find_gone(pixels: Pixels, edges: tuple[Edge, Edge], corner: tuple[int, float, float]) -> Gone | None:
    """A corner that is cut or broken off in a straight line, or None.

    Each line of wood is held against itself further along the board, and against what lies outside the corner.

    Parameters
    ----------
    pixels : ndarray of uint8
    edges : (Edge, Edge)
        The one that ends at the corner and the one that starts there.
    corner : (int, float, float)
        Which corner; the board's width, mm; photo pixels a millimetre.
    """
    at, width_mm, px_per_mm = corner
    size = max(12, round(min(_PATCH_MM, _PATCH_SHARE * width_mm) * px_per_mm))
    before, after = (_walk(edges[0], size, from_end=True), _walk(edges[1], size, from_end=False))
    along, across = (after, before) if at in (0, 2) else (before, after)
    start = edges[1].point_at(-1.0)
    i, j = np.meshgrid(np.arange(-8, 2 * size), np.arange(-8, size))
    places = (start + i[..., None] * along + j[..., None] * across - 0.5).astype(np.float32)
    seen = cv2.remap(pixels, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lab = np.asarray(cv2.cvtColor(cv2.blur(seen, (3, 3)).astype(np.float32) / 255, cv2.COLOR_RGB2Lab), float)
    # A shadow may lie along one of the two edges: what lies outside has a tone on either side.
    floors = [np.median(strip.reshape(-1, 3), axis=0) for strip in (lab[:6, : size // 2], lab[8 : size // 2, :6])]
    inside = lab[8:, 8 : 8 + size]
    off_wood = np.linalg.norm(inside - np.median(lab[8:, 8 + size :], axis=1)[:, None, :], axis=2)
    off_floor = np.min([np.linalg.norm(inside - floor, axis=2) for floor in floors], axis=0)
    missing = (off_floor < off_wood) & (off_wood > _UNLIKE)
    closed = cv2.morphologyEx(missing.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    _, parts = cv2.connectedComponents(cv2.medianBlur(closed, 5), connectivity=4)
    mine = int(np.median(parts[1:6, 1:6]))
    return _fit_cut((parts == mine).sum(axis=1).astype(float), at, px_per_mm) if mine else None


def _fit_cut(runs: Floats, at: int, px_per_mm: float) -> Gone | None:
    """The straight cut whose triangle has the area and the first moment of the rows that are missing."""
    whole = np.flatnonzero(runs < 2)
    rows = np.arange(whole[0] if whole.size else len(runs)) + 0.5
    mine = runs[: len(rows)]
    if len(rows) < _GONE_MM * px_per_mm or not mine.any():
        return None
    down = 3 * float((rows * mine).sum()) / float(mine.sum())
    long = 2 * float(mine.sum()) / down
    stray = float(np.abs(mine - np.maximum(0.0, long * (1 - rows / down))).mean())
    if min(long, down) < _GONE_MM * px_per_mm or stray > _ROUGH * long or max(long, down) >= len(runs):
        return None
    doubt = max(2.0, (3.0 + stray) / px_per_mm)
    if doubt > _UNSURE * min(long, down) / px_per_mm:
        return None
    return Gone(at, long / px_per_mm, down / px_per_mm, doubt)


def _walk(edge: Edge, size_px: int, *, from_end: bool) -> Floats:
    """One step of a pixel from a corner along an edge."""
    length = float(np.linalg.norm(edge.end - edge.start))
    t = min(1.0, 2 * size_px / length)
    step = edge.point_at(1.0 - t) - edge.point_at(1.0) if from_end else edge.point_at(t - 1.0) - edge.point_at(-1.0)
    return np.asarray(step / max(float(np.linalg.norm(step)), 1e-9), float)


def _is_corner(gone: tuple[Gone, ...], edge: int, run: tuple[float, float], length_mm: float) -> bool:
    """Whether a stretch is nothing but a corner that is gone."""
    first, last = edge, (edge + 1) % 4
    near = {g.corner: g.along_mm for g in gone}
    at_start = first in near and run[0] < 0.02 and run[1] * length_mm < 1.5 * near[first] + 15
    at_end = last in near and run[1] > 0.98 and (1 - run[0]) * length_mm < 1.5 * near[last] + 15
    return at_start or at_end
