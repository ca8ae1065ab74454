"""Any plane through a board: what a crosscut, a rip or a slanting cut will show."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.picture import Picture, Pixels
from grainplan.wood.solid import SOFTENED, TRUSTED, BoardSolid, InsideView, expect_agreement
from grainplan.wood.solid_code import BIN_MM
from grainplan.wood.solid_grid import Floats, Reals

SURE_STEP_MM = 4.0
Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class CutPlane:
    """A flat picture somewhere in a board.

    Parameters
    ----------
    corner_mm : (x, y, z)
        Board point of its upper left corner.
    right, down : (x, y, z)
        Unit vectors along its columns and its rows, square to each other.
    size_mm : (float, float)
        Width and height.
    """

    corner_mm: Vector
    right: Vector
    down: Vector
    size_mm: tuple[float, float]

    def __post_init__(self) -> None:
        right, down = np.array(self.right), np.array(self.down)
        if abs(np.linalg.norm(right) - 1) > 1e-6 or abs(np.linalg.norm(down) - 1) > 1e-6 or abs(right @ down) > 1e-6:
            raise ValueError("a cut takes two unit vectors that stand square to each other")
        if not all(size > 0 for size in self.size_mm):
            raise ValueError(f"a cut has a width and a height, got {self.size_mm}")


def lay_crosscut(size_mm: Vector, x_mm: float) -> CutPlane:
    """The end that a crosscut at `x_mm` from the foot lays bare: columns y and rows z, as all pictures of ends."""
    return CutPlane((x_mm, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (size_mm[1], size_mm[2]))


def lay_rip(size_mm: Vector, y_mm: float) -> CutPlane:
    """The edge that a rip at `y_mm` from the face edge lays bare: columns x and rows z."""
    return CutPlane((0.0, y_mm, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (size_mm[0], size_mm[2]))


def draw_cut(solid: BoardSolid, plane: CutPlane) -> InsideView:
    """Draw what a flat cut anywhere in a board will show, at the density of the board's sides.

    Parameters
    ----------
    solid : BoardSolid
        From :func:`grainplan.wood.solid.fit_solid`.
    plane : CutPlane
        Inside the board; what lies outside is drawn on from its skin.

    Returns
    -------
    InsideView
        Its two pictures are the same, the softer one: fibres and pores look otherwise on every kind of cut, and no side
        shows those of this one.

    Raises
    ------
    ValueError
        Where the cut lies wholly outside the board.
    """
    density = solid.paint.px_per_mm
    x, y, z = _spread(plane, 1.0 / density)
    length, width, thickness = solid.grid.size_mm
    if not _touches((x, length), (y, width), (z, thickness)):
        raise ValueError(f"the cut lies outside the board of {length:.0f} by {width:.0f} by {thickness:.0f} mm")
    ring = solid.pith.distance(x, y, z) + _sample(solid.filled.nodes, _to_nodes(solid, (x, y, z)))
    shares = np.array([0.0, 0.5, 1.0])
    levels = np.stack([expect_agreement(solid, float(share) * thickness) for share in shares], axis=2)
    coarse = _spread(plane, SURE_STEP_MM)
    place = _to_nodes(solid, coarse)
    sure = _sample(np.swapaxes(levels, 0, 1), (place[0], place[1], coarse[2] / thickness * 2.0)).astype(np.float32)
    spread = SOFTENED * float(solid.filled.deviation_mm.mean())
    pixels = _colour(solid, (x, y, z), ring, spread_mm=spread)
    confidence = float(sure.mean())
    caveats = solid.caveats
    if confidence < TRUSTED:
        caveats = (*caveats, f"on this cut the rings are a guess (expected agreement {confidence:.2f})")
    picture = Picture(pixels, density)
    return InsideView(picture, picture, sure, confidence, caveats)


def _spread(plane: CutPlane, step_mm: float) -> tuple[Reals, Reals, Reals]:
    """Board coordinates of the middles of a plane's pixels, each of shape (rows, columns)."""
    columns, rows = (max(1, round(size / step_mm)) for size in plane.size_mm)
    across = (np.arange(columns) + 0.5)[None, :] * (plane.size_mm[0] / columns)
    down = (np.arange(rows) + 0.5)[:, None] * (plane.size_mm[1] / rows)
    x, y, z = (plane.corner_mm[n] + across * plane.right[n] + down * plane.down[n] for n in range(3))
    return x, y, z


def _touches(*axes: tuple[Reals, float]) -> bool:
    inside = np.ones((1, 1), bool)
    for places, size in axes:
        inside = inside & (places >= -0.5) & (places <= size + 0.5)
    return bool(inside.any())


def _to_nodes(solid: BoardSolid, places: tuple[Reals, Reals, Reals]) -> tuple[Reals, Reals, Reals]:
    x, y, z = (place / step for place, step in zip(places, solid.grid.step_mm, strict=True))
    return x, y, z


def _sample(values: np.ndarray[tuple[int, ...], np.dtype[np.floating]], places: tuple[Reals, Reals, Reals]) -> Reals:
    """Values of a block (x, y, z) at fractional places, linear between them; beyond the block its skin holds."""
    lows, shares = [], []
    for axis, place in enumerate(places):
        held = np.clip(place, 0.0, values.shape[axis] - 1.0)
        low = np.minimum(held.astype(int), values.shape[axis] - 2)
        lows.append(low)
        shares.append(held - low)
    total = np.zeros(places[0].shape)
    for corner in np.ndindex(2, 2, 2):
        index = tuple(low + step for low, step in zip(lows, corner, strict=True))
        weight = np.ones(places[0].shape)
        for share, step in zip(shares, corner, strict=True):
            weight = weight * (share if step else 1.0 - share)
        total += weight * values[index]
    return total


def _colour(solid: BoardSolid, places: tuple[Reals, Reals, Reals], ring_mm: Reals, *, spread_mm: float) -> Pixels:
    """The colours of places by their rings, softened by how far these may be off, on the slow tone of the sides."""
    paint, (x, y, z) = solid.paint, places
    length, width, thickness = solid.grid.size_mm
    softness = max(spread_mm / BIN_MM, 0.05)
    table = np.stack([cv2.GaussianBlur(part, (0, 0), sigmaX=0.01, sigmaY=softness) for part in paint.table])
    part = np.clip(x / length * table.shape[0] - 0.5, 0.0, table.shape[0] - 1.0)
    ring = (ring_mm - paint.first_mm) / BIN_MM
    colour = np.zeros((*ring_mm.shape, 3), np.float32)
    face, back = paint.sides["face"].tone, paint.sides["back"].tone
    row, column = y / width * face.shape[0] - 0.5, x / length * face.shape[1] - 0.5
    share = np.clip(z / thickness, 0.0, 1.0)[..., None]
    colour += _read(table, ring, part)
    colour += _read(face, column, row) * (1.0 - share) + _read(back, column, row) * share
    return np.asarray(np.clip(colour + 0.5, 0, 255), np.uint8)


def _read(picture: Floats, column: Reals, row: Reals) -> Floats:
    """Values of a picture of three bands at fractional places."""
    return np.asarray(
        cv2.remap(
            np.asarray(picture, np.float32),
            column.astype(np.float32),
            row.astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.float32,
    )
