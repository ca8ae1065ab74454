"""A board that runs out of the picture: where a line square across it lies, at the rim of the photo."""

from __future__ import annotations

import numpy as np

from grainplan.geometry import Floats
from grainplan.photos.corners import FOCAL_PER_LONG_SIDE
from grainplan.photos.edges import Edge


def lay_open_end(edges: tuple[Edge, Edge], seen: Edge | None, *, right: bool, size_px: tuple[int, int]) -> Floats:
    """Lay a line square across a board just inside the rim that it runs out of.

    The two long edges are parallel on the board, so they tell in which direction of space its length runs. An end
    that is seen tells the direction across it; without one the camera is taken to be held level with the board, that
    is, its face to look as squarely at the camera as its length allows.

    Parameters
    ----------
    edges : (Edge, Edge)
        The upper and the lower one.
    seen : Edge or None
        The other end, where it is in the picture.
    right : bool
        Which rim.
    size_px : (int, int)
        Of the photo.

    Returns
    -------
    ndarray, shape (2, 2)
        Where that line meets the upper and the lower edge, px.
    """
    lines = [_line_through(e.point_at(-1.0), e.point_at(1.0), size_px) for e in edges]
    along = np.cross(lines[0], lines[1])
    along = along / np.linalg.norm(along)
    if seen is not None:
        across = np.cross(_line_through(seen.point_at(-1.0), seen.point_at(1.0), size_px), along)
    else:
        ahead = np.array([0.0, 0.0, 1.0])
        across = np.cross(ahead - (ahead @ along) * along, along)
    rim = float(size_px[0]) if right else 0.0
    at = rim
    ends = np.zeros((2, 2))
    for _ in range(3):
        upright = _line_through(np.array([at, 0.0]), np.array([at, float(size_px[1])]), size_px)
        middle = sum(_unit(np.cross(upright, line)) for line in lines)
        square = np.cross(np.asarray(middle), across)
        ends = np.array([_to_px(np.cross(square, line), size_px) for line in lines])
        over = float(ends[:, 0].max()) - rim if right else rim - float(ends[:, 0].min())
        at += -over if right else over
    return ends


def _line_through(one: Floats, other: Floats, size_px: tuple[int, int]) -> Floats:
    return np.asarray(np.cross(_to_ray(one, size_px), _to_ray(other, size_px)), float)


def _to_ray(place_px: Floats, size_px: tuple[int, int]) -> Floats:
    flat = (np.asarray(place_px, float) - np.array(size_px) / 2) / (FOCAL_PER_LONG_SIDE * max(size_px))
    return np.array([flat[0], flat[1], 1.0])


def _to_px(ray: Floats, size_px: tuple[int, int]) -> Floats:
    return np.asarray(ray[:2] / ray[2] * FOCAL_PER_LONG_SIDE * max(size_px) + np.array(size_px) / 2, float)


def _unit(ray: Floats) -> Floats:
    return np.asarray(ray / ray[2], float)
