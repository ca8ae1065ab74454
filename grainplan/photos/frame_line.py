"""The straight frame that a photo's four corners span, held against the edges that are seen."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from grainplan.boards import BroadSide, Flaw
from grainplan.geometry import Box, Floats
from grainplan.photos.corners import View
from grainplan.photos.edges import Edge, fit_edge
from grainplan.photos.load import Photo
from grainplan.photos.wane import Gone, Wane, find_missing

_REACH_PX = 6.0
_LEAST_SUPPORT = 0.5
_SURE = 0.7
_END_MM = 2.0  # closer to the board's end than this, a photo's corner is one of the board's
# The four corners in the order in which they turn clockwise in the picture, and the first edge is the face edge.
_CLOCKWISE = {"face": [0, 1, 2, 3], "back": [1, 0, 3, 2]}
_CORNER_NAMES = (
    "foot, at the face edge",
    "head, at the face edge",
    "head, at the other edge",
    "foot, at the other edge",
)


@dataclass(frozen=True, slots=True)
class FrameLine:
    """Edges fitted near a frame, in the pixels of the photo as it was decoded.

    Parameters
    ----------
    edges : tuple of Edge
        Face edge, an end, other edge, other end, clockwise in the picture.
    corners_px, outline_mm : ndarray, shape (4, 2)
        The frame's corners in those pixels and in the board frame, clockwise in the picture.
    seen : tuple of bool
        Whether each edge could be followed; one that could not is the frame's own line.
    """

    edges: tuple[Edge, ...]
    corners_px: Floats
    outline_mm: Floats
    seen: tuple[bool, ...]


def fit_frame(photo: Photo, view: View, side: BroadSide) -> FrameLine:
    """Fit the edges of a broad side near the frame that its corners span."""
    order = _CLOCKWISE[side]
    corners, outline = photo.place(view.corners_px)[order], view.outline_mm[order]
    edges, seen = [], []
    for i in range(4):
        start, end = corners[i], corners[(i + 1) % 4]
        edge = fit_edge(photo.pixels, start, end, reach_px=_REACH_PX)
        followed = edge.support >= _LEAST_SUPPORT and abs(edge.curve[0]) <= 2 * _REACH_PX
        followed = followed and not _is_at_rim(photo, start, end)
        seen.append(followed)
        edges.append(edge if followed else replace(edge, curve=(0.0, 0.0, 0.0)))
    return FrameLine(tuple(edges), corners, outline, tuple(seen))


def _is_at_rim(photo: Photo, start: Floats, end: Floats) -> bool:
    """Whether an edge runs along the rim of the photo: nothing is seen beside it then."""
    ends, size = np.array([start, end]), np.array(photo.pixels.shape[1::-1], float)
    return bool((ends < _REACH_PX).all(axis=0).any() or (ends > size - _REACH_PX).all(axis=0).any())


def tell_missing(
    photo: Photo, frame: FrameLine, side: BroadSide, *, length_mm: float
) -> tuple[tuple[str, ...], tuple[Flaw, ...]]:
    """Where wood of the frame is missing: what to say of it, and as flaws for the maker to accept.

    Parameters
    ----------
    photo : Photo
    frame : FrameLine
        As :func:`fit_frame` gave it for this photo.
    side : {"face", "back"}
    length_mm : float
        Of the board: the corners of a part of it are no corners of the board.
    """
    wane, gone = find_missing(photo.pixels, frame.edges, frame.corners_px, frame.outline_mm)
    wane = tuple(w for w in wane if frame.seen[w.edge])
    ends = [min(abs(x), abs(x - length_mm)) <= _END_MM for x in frame.outline_mm[:, 0]]
    gone = tuple(g for g in gone if ends[g.corner] and frame.seen[g.corner] and frame.seen[g.corner - 1])
    told = [_say_wane(w) for w in wane] + [_say_gone(g, side) for g in gone]
    boxes = [_box_wane(w, frame) for w in wane] + [_box_gone(g, frame) for g in gone]
    return tuple(told), tuple(Flaw("wane", side, box, False, "program", _SURE) for box in boxes)


def _say_wane(wane: Wane) -> str:
    name = "face edge" if wane.edge == 0 else "other edge"
    return (
        f"wood is missing along its {name} from {max(0.0, wane.start_mm):.0f} to {wane.end_mm:.0f} mm from the foot, "
        f"up to {wane.deep_mm:.0f} ± {wane.doubt_mm:.0f} mm deep: wane, or broken out; the frame runs straight on there"
    )


def _say_gone(gone: Gone, side: BroadSide) -> str:
    return (
        f"its corner at the {_CORNER_NAMES[_CLOCKWISE[side][gone.corner]]} is gone, {gone.along_mm:.0f} mm along and "
        f"{gone.across_mm:.0f} mm across, each ± {gone.doubt_mm:.0f}; the frame has it where its edges would meet"
    )


def _box_wane(wane: Wane, frame: FrameLine) -> Box:
    low, high = float(frame.outline_mm[:, 0].min()), float(frame.outline_mm[:, 0].max())
    wide = float(frame.outline_mm[:, 1].max())
    across = (0.0, wane.deep_mm) if wane.edge == 0 else (wide - wane.deep_mm, wide)
    return Box(max(low, wane.start_mm), across[0], min(high, wane.end_mm), across[1])


def _box_gone(gone: Gone, frame: FrameLine) -> Box:
    x, y = (float(v) for v in frame.outline_mm[gone.corner])
    x0 = x if x == float(frame.outline_mm[:, 0].min()) else x - gone.along_mm
    y0 = y if y == 0.0 else y - gone.across_mm
    return Box(x0, y0, x0 + gone.along_mm, y0 + gone.across_mm)
