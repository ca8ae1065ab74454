"""The colours of a surface inside a board, taken from what its broad sides show of the same rings.

A colour is three things added: the slow tone of the place, the colour of its ring in this part of the length, and the
fine fibres of the nearer side, followed along the ring to the depth asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.picture import Picture, Pixels
from grainplan.wood.solid_code import BIN_MM
from grainplan.wood.solid_grid import (
    Floats,
    Layer,
    NodeGrid,
    Reals,
    centre_pixels,
    cut_level,
    place_pixels,
    spread_nodes,
)
from grainplan.wood.solid_pith import PithLine

PART_MM = 250.0
"""Length over which a ring keeps its colour."""
THIN = 30.0
"""Square millimetres of a ring within one part that count as much as all the rest of it along the board."""
SLOW_MM = (40.0, 10.0)
"""Changes slower than this, along and across, are tone and not ring."""
COARSE_PX = 8
FOLLOW_MM = 12.0
"""How far sideways a fibre is followed from the side to the depth."""


@dataclass(frozen=True, slots=True, eq=False)
class PaintSide:
    """One broad side taken apart: slow tone (coarse), ring place, and what ring and tone leave over."""

    tone: Floats
    ring_mm: Floats
    slope: Floats
    rest: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Paint:
    """Colours of a board.

    Parameters
    ----------
    first_mm : float
        Ring place of the first bin.
    table : ndarray of float32, shape (parts, bins, 3)
        Colour of the rings, tone taken out, by part of the length.
    sides : mapping of "face", "back" to PaintSide
    px_per_mm : float
        Density of the sides.
    """

    first_mm: float
    table: Floats
    sides: Mapping[Layer, PaintSide]
    px_per_mm: float


def measure_rings(
    nodes: Reals,
    grid: NodeGrid,
    pith: PithLine,
    *,
    depth_mm: float,
    places_mm: tuple[NDArray[np.floating], NDArray[np.floating]],
) -> Floats:
    """Ring place (mm) of each pixel of a surface at a depth."""
    bend = spread_nodes(cut_level(nodes, grid, 2, depth_mm), (grid.step_mm[0], grid.step_mm[1]), *places_mm)
    x, y, _ = place_pixels(grid, "face", *places_mm)
    distance = pith.distance(x, y, np.full((1, 1), depth_mm)).astype(np.float32)
    return np.asarray(distance + bend, dtype=np.float32)


def mix_paint(sides: Mapping[Layer, Picture], nodes: Reals, grid: NodeGrid, pith: PithLine) -> Paint:
    """Learn the colours of a board from its broad sides."""
    rings: dict[Layer, Floats] = {}
    tones: dict[Layer, Floats] = {}
    details: dict[Layer, Floats] = {}
    for layer in ("face", "back"):
        picture = sides[layer]  # type: ignore[index]
        depth = 0.0 if layer == "face" else grid.size_mm[2]
        rings[layer] = measure_rings(nodes, grid, pith, depth_mm=depth, places_mm=centre_pixels(picture))  # type: ignore[index]
        tones[layer] = _find_tone(picture)  # type: ignore[index]
        shape = (picture.pixels.shape[1], picture.pixels.shape[0])
        tone = cv2.resize(tones[layer], shape, interpolation=cv2.INTER_LINEAR)  # type: ignore[index]
        details[layer] = picture.pixels.astype(np.float32) - tone  # type: ignore[index]
    first = min(float(ring.min()) for ring in rings.values()) - 2.0
    last = max(float(ring.max()) for ring in rings.values()) + 2.0
    bins = int((last - first) / BIN_MM) + 2
    density = sides["face"].px_per_mm
    parts = max(1, round(grid.size_mm[0] / PART_MM))
    table = _learn_table(rings, details, first_mm=first, shape=(parts, bins), area_mm2=1.0 / density**2)
    painted: dict[Layer, PaintSide] = {}
    for layer, ring in rings.items():
        rest = details[layer] - _read_colours(table, first, ring)
        slope = np.gradient(cv2.GaussianBlur(ring, (0, 0), 0.5 * density), 1.0 / density, axis=0).astype(np.float32)
        painted[layer] = PaintSide(tones[layer], ring, slope, rest)
    return Paint(first, table, painted, density)


def paint_level(paint: Paint, ring_mm: Floats, *, share: float) -> Pixels:
    """Colour a surface whose ring places are known; `share` is its depth as a part of the thickness."""
    rows, columns = ring_mm.shape
    face, back = paint.sides["face"], paint.sides["back"]
    tone = face.tone * np.float32(1 - share) + back.tone * np.float32(share)
    colour = cv2.resize(tone, (columns, rows), interpolation=cv2.INTER_LINEAR)
    colour += _read_colours(paint.table, paint.first_mm, ring_mm)
    colour += _follow_fibres(face if share <= 0.5 else back, ring_mm, paint.px_per_mm)
    return np.clip(colour + 0.5, 0, 255).astype(np.uint8)


def _find_tone(picture: Picture) -> Floats:
    """The slow tone of a side, coarse."""
    shape = (max(2, picture.pixels.shape[1] // COARSE_PX), max(2, picture.pixels.shape[0] // COARSE_PX))
    small = cv2.resize(picture.pixels.astype(np.float32), shape, interpolation=cv2.INTER_AREA)
    density = picture.px_per_mm / COARSE_PX
    return np.asarray(
        cv2.GaussianBlur(small, (0, 0), sigmaX=SLOW_MM[0] * density, sigmaY=SLOW_MM[1] * density), dtype=np.float32
    )


def _learn_table(
    rings: Mapping[Layer, Floats],
    details: Mapping[Layer, Floats],
    *,
    first_mm: float,
    shape: tuple[int, int],
    area_mm2: float,
) -> Floats:
    """Mean colour by part of the length and ring bin, where a part has little of a ring drawn to the whole board's."""
    parts, bins = shape
    total = np.zeros((parts * bins, 3))
    weight = np.zeros(parts * bins)
    for layer, ring in rings.items():
        index = ((ring - np.float32(first_mm)) * np.float32(1 / BIN_MM) + np.float32(0.5)).astype(np.int32)
        part = np.arange(ring.shape[1]) * parts // ring.shape[1]
        index += (part * bins).astype(np.int32)[None]
        flat = index.ravel()
        weight += np.bincount(flat, minlength=parts * bins)[: parts * bins]
        for band in range(3):
            total[:, band] += np.bincount(flat, details[layer][..., band].ravel(), parts * bins)[: parts * bins]
    total, weight = total.reshape(parts, bins, 3) * area_mm2, weight.reshape(parts, bins, 1) * area_mm2
    whole = total.sum(axis=0) / (weight.sum(axis=0) + 5.0)
    return np.asarray((total + THIN * whole[None]) / (weight + THIN), dtype=np.float32)


def _read_colours(table: Floats, first_mm: float, ring_mm: Floats) -> Floats:
    """Ring colours at ring places, linear between bins and between parts of the length."""
    parts = table.shape[0]
    column = (ring_mm - np.float32(first_mm)) * np.float32(1 / BIN_MM)
    along = (np.arange(ring_mm.shape[1], dtype=np.float32) + 0.5) * np.float32(parts / ring_mm.shape[1]) - 0.5
    row = np.ascontiguousarray(np.broadcast_to(along[None].astype(np.float32), ring_mm.shape))
    return np.asarray(
        cv2.remap(table, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), dtype=np.float32
    )


def _follow_fibres(side: PaintSide, ring_mm: Floats, px_per_mm: float) -> Floats:
    """The fine rest of the side's colours, moved sideways to where its ring has come at this depth."""
    rows, columns = ring_mm.shape
    way = (ring_mm - side.ring_mm) * side.slope / (side.slope**2 + np.float32(0.12))
    way = cv2.GaussianBlur(np.clip(way, -FOLLOW_MM, FOLLOW_MM), (0, 0), 3.0 * px_per_mm)
    # Where neighbours come from far apart, what lies between is drawn out into smears: there it fades.
    stretch = cv2.Sobel(way, cv2.CV_32F, 0, 1) * np.float32(px_per_mm / 8.0)
    column, row = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
    row += way * np.float32(px_per_mm)
    rest = cv2.remap(side.rest, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(rest * (1.0 / (1.0 + 4.0 * stretch * stretch))[..., None], dtype=np.float32)
