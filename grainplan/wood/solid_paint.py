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
from grainplan.wood.solid_knot import KnotPatch, cut_patches, draw_knots
from grainplan.wood.solid_pith import PithLine, tell_plain

PART_MM = 250.0
"""Length over which a ring keeps its colour."""
THIN = 30.0
"""Square millimetres of a ring within one part that count as much as all the rest of it along the board."""
SLOW_MM = (40.0, 10.0)
"""Changes slower than this, along and across, are tone and not ring."""
COARSE_PX = 8
FOLLOW_MM = 6.0
"""How far sideways one step goes that follows a ring from the depth to the side."""
FIBRE_PX = 4
"""Pixels along the grain that are followed together."""
PLAIN = 0.15
"""How plain wood must be (see :func:`tell_plain`) to tell the colours of rings."""
FINE_MM = 1.0
"""Streaks narrower than this, either way, belong to no ring."""
FIBRES = np.float32(0.8)
"""Share of the side's fibres that is shown inside: they are that side's, and only like those of the depth."""


@dataclass(frozen=True, slots=True, eq=False)
class PaintSide:
    """One broad side taken apart: slow tone (coarse), ring place, and what ring and tone leave over."""

    tone: Floats
    ring_mm: Floats
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
    thickness_mm : float
    pith : PithLine
        With its branches.
    knots : tuple of KnotPatch
        What the sides show of the branches.
    """

    first_mm: float
    table: Floats
    sides: Mapping[Layer, PaintSide]
    px_per_mm: float
    thickness_mm: float
    pith: PithLine
    knots: tuple[KnotPatch, ...] = ()


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
    """Learn the colours of a board from its broad sides, those of its knots apart from those of its rings."""
    broad: tuple[Layer, Layer] = ("face", "back")
    rings: dict[Layer, Floats] = {}
    tones: dict[Layer, Floats] = {}
    details: dict[Layer, Floats] = {}
    plain: dict[Layer, Floats] = {}
    for layer in broad:
        picture = sides[layer]
        depth = 0.0 if layer == "face" else grid.size_mm[2]
        rings[layer] = measure_rings(nodes, grid, pith, depth_mm=depth, places_mm=centre_pixels(picture))
        plain[layer] = _mask_knots(picture, pith, depth)
        tones[layer] = _find_tone(picture, plain[layer])
        shape = (picture.pixels.shape[1], picture.pixels.shape[0])
        tone = cv2.resize(tones[layer], shape, interpolation=cv2.INTER_LINEAR)
        details[layer] = picture.pixels.astype(np.float32) - tone
    first = min(float(ring.min()) for ring in rings.values()) - 2.0
    last = max(float(ring.max()) for ring in rings.values()) + 2.0
    bins = int((last - first) / BIN_MM) + 2
    density = sides["face"].px_per_mm
    parts = max(1, round(grid.size_mm[0] / PART_MM))
    shown: dict[Layer, tuple[Floats, Floats, Floats | None]] = {}
    for layer in broad:
        wood = None
        if pith.cones:
            size = rings[layer].shape[::-1]
            wood = np.asarray(cv2.resize(plain[layer], size, interpolation=cv2.INTER_LINEAR), dtype=np.float32)
            details[layer] *= wood[..., None]
        shown[layer] = rings[layer], details[layer], wood
    table = _learn_table(shown, first_mm=first, shape=(parts, bins), area_mm2=1.0 / density**2)
    painted: dict[Layer, PaintSide] = {}
    for layer, (ring, detail, wood) in shown.items():
        rest = detail - _read_colours(table, first, ring)
        if wood is not None:
            rest *= wood[..., None]
        painted[layer] = PaintSide(tones[layer], ring, rest)
    patches = cut_patches(sides, pith, grid.size_mm[2])
    return Paint(first, table, painted, density, grid.size_mm[2], pith, patches)


def paint_level(paint: Paint, ring_mm: Floats, *, share: float, doubt_mm: float) -> tuple[Pixels, Pixels]:
    """Colour a surface whose ring places are known; `share` is its depth as a part of the thickness.

    Returns
    -------
    whole, rings_alone : ndarray of uint8, shape (rows, columns, 3)
        As crisp as wood is, with the fibres of the nearer side; and without fibres, each place the mean over all rings
        that it may have, normally spread by `doubt_mm`: the best estimate of its colour.
    """
    tone = _spread_tone(paint, share, ring_mm.shape)
    fibres = _follow_fibres(paint.sides["face" if share <= 0.5 else "back"], ring_mm, paint.px_per_mm)
    whole = tone + _read_colours(paint.table, paint.first_mm, ring_mm) + fibres
    rings = tone + _read_colours(_soften(paint.table, doubt_mm), paint.first_mm, ring_mm)
    for picture in (whole, rings):
        depth = share * paint.thickness_mm
        draw_knots(picture, paint.knots, paint.pith, depth_mm=depth, px_per_mm=paint.px_per_mm)
    return _round_colours(whole), _round_colours(rings)


def paint_rings(paint: Paint, ring_mm: Floats, *, share: float, doubt_mm: float) -> Pixels:
    """The rings alone as in :func:`paint_level`, on any pixels that cover the surface, and without its branches."""
    tone = _spread_tone(paint, share, ring_mm.shape)
    return _round_colours(tone + _read_colours(_soften(paint.table, doubt_mm), paint.first_mm, ring_mm))


def _spread_tone(paint: Paint, share: float, shape: tuple[int, ...]) -> Floats:
    face, back = paint.sides["face"], paint.sides["back"]
    coarse = face.tone * np.float32(1 - share) + back.tone * np.float32(share)
    return np.asarray(cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def _soften(table: Floats, doubt_mm: float) -> Floats:
    spread = max(doubt_mm / BIN_MM, 0.05)
    parts = [cv2.GaussianBlur(part, (0, 0), sigmaX=0.01, sigmaY=spread) for part in table]
    return np.asarray(np.stack(parts), dtype=np.float32)


def _round_colours(colour: NDArray[np.floating]) -> Pixels:
    return np.asarray(np.clip(colour + 0.5, 0, 255), dtype=np.uint8)


def _mask_knots(picture: Picture, pith: PithLine, depth_mm: float) -> Floats:
    """1 where a side shows plain wood, 0 where a knot; coarse."""
    shape = (max(2, picture.pixels.shape[1] // COARSE_PX), max(2, picture.pixels.shape[0] // COARSE_PX))
    x = (np.arange(shape[0]) + 0.5)[None, :] * (picture.width_mm / shape[0])
    y = (np.arange(shape[1]) + 0.5)[:, None] * (picture.height_mm / shape[1])
    return (tell_plain(pith, (x, y, np.full((1, 1), depth_mm))) > PLAIN).astype(np.float32)


def _find_tone(picture: Picture, plain: Floats) -> Floats:
    """The slow tone of the plain wood of a side, coarse."""
    small = cv2.resize(picture.pixels.astype(np.float32), plain.shape[::-1], interpolation=cv2.INTER_AREA)
    density = picture.px_per_mm / COARSE_PX
    along, across = SLOW_MM[0] * density, SLOW_MM[1] * density
    tone = np.asarray(cv2.GaussianBlur(small * plain[..., None], (0, 0), sigmaX=along, sigmaY=across), np.float32)
    if plain.min() < 1.0:
        share = np.asarray(cv2.GaussianBlur(plain, (0, 0), sigmaX=along, sigmaY=across), np.float32)[..., None]
        whole = (small * plain[..., None]).sum(axis=(0, 1)) / max(float(plain.sum()), 1.0)
        tone = np.asarray((tone + 0.01 * whole) / (share + 0.01), np.float32)
    return tone


def _learn_table(
    shown: Mapping[Layer, tuple[Floats, Floats, Floats | None]],
    *,
    first_mm: float,
    shape: tuple[int, int],
    area_mm2: float,
) -> Floats:
    """Mean colour by part of the length and ring bin, where a part has little of a ring drawn to the whole board's.

    Each side comes with its ring places, its colours without tone, and how plain its wood is (None: all of it).
    """
    parts, bins = shape
    total = np.zeros((parts * bins, 3))
    weight = np.zeros(parts * bins)
    for ring, detail, wood in shown.values():
        index = ((ring - np.float32(first_mm)) * np.float32(1 / BIN_MM) + np.float32(0.5)).astype(np.int32)
        part = np.arange(ring.shape[1]) * parts // ring.shape[1]
        index += (part * bins).astype(np.int32)[None]
        flat = index.ravel()
        counts = np.bincount(flat, None if wood is None else wood.ravel(), parts * bins)
        weight += counts[: parts * bins]
        for band in range(3):
            total[:, band] += np.bincount(flat, detail[..., band].ravel(), parts * bins)[: parts * bins]
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
    """The fine rest of a side's colours, brought from where the side shows the ring that a place at the depth has."""
    rows, columns = ring_mm.shape
    small = (max(2, columns // FIBRE_PX), rows)
    wanted = np.asarray(cv2.resize(ring_mm, small, interpolation=cv2.INTER_AREA), dtype=np.float32)
    shown = np.asarray(cv2.resize(side.ring_mm, small, interpolation=cv2.INTER_AREA), dtype=np.float32)
    row, apart = _find_rows(wanted, shown, px_per_mm)
    # Rings that this side does not show here have no fibres to follow; drawn-out ones would make smears.
    stretch = cv2.Sobel(row, cv2.CV_32F, 0, 1) / 8.0 - 1.0
    trust = np.exp(-4.0 * apart * apart) / (1.0 + 4.0 * stretch * stretch)
    from_row = cv2.resize(row, (columns, rows), interpolation=cv2.INTER_LINEAR)
    trust = cv2.resize(trust.astype(np.float32), (columns, rows), interpolation=cv2.INTER_LINEAR)
    column = np.ascontiguousarray(np.broadcast_to(np.arange(columns, dtype=np.float32), (rows, columns)))
    rest = cv2.remap(side.rest, column, from_row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    # There, the finest streaks of the place itself stand in, so that the wood does not look painted.
    box = 2 * round(FINE_MM * px_per_mm) + 1
    fine = side.rest - cv2.blur(side.rest, (box, box))
    return np.asarray(FIBRES * (rest * trust[..., None] + fine * (1.0 - trust)[..., None]), dtype=np.float32)


def _find_rows(wanted: Floats, shown: Floats, px_per_mm: float) -> tuple[Floats, Floats]:
    """For each place the row, in its own column, where a side shows the wanted ring, and by how much it misses it.

    Newton's steps from the place itself, so that the nearest such row is found.
    """
    rows, columns = shown.shape
    slope = np.gradient(cv2.GaussianBlur(shown, (0, 0), 0.5 * px_per_mm), axis=0).astype(np.float32)
    column, start = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
    row: Floats = start.astype(np.float32)
    apart: Floats = wanted - shown
    longest = FOLLOW_MM * px_per_mm
    for _ in range(6):
        steep = cv2.remap(slope, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        step = np.clip(apart * steep / (steep * steep + np.float32(0.003)), -longest, longest)
        row = np.clip(row + step, 0, rows - 1).astype(np.float32)
        there = cv2.remap(shown, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        apart = np.asarray(wanted - there, dtype=np.float32)
    return row, apart
