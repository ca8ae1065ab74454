"""Stem and branch as one growth, found together: for short pieces that a branch bends through and through.

Every year lays one coat over stem and branch. Far from the branch the coat lies as far from the pith as the years have
brought it; in the branch, as far from the branch's own axis, which grows more slowly; between them the two flow into
one. The lines of a short knotty piece tell neither pith nor branch alone, so both are fitted to all of them at once. On
a long board the ends and the plain wood tell the pith, and this is not needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.geometry import Box
from grainplan.picture import Picture
from grainplan.wood.orient import Tensor, even_out, measure_tensor, read_direction
from grainplan.wood.pith import join_ring_lines, list_starts, trace_ring_lines
from grainplan.wood.solid_code import SeenSide, join_codes, learn_codes, place_rings
from grainplan.wood.solid_cone import Cone
from grainplan.wood.solid_grid import LAYERS, Layer, NodeGrid, Reals, place_pixels
from grainplan.wood.solid_improve import Misfit, improve_guess
from grainplan.wood.solid_knot import KnotPlace
from grainplan.wood.solid_pith import PithLine

CELL_MM, MOST_CELLS = 5.0, 40
"""A line is read in every cell of this size, and along no side in more cells than so many."""
RING_MM = 1.0
"""Deviation over which lightness is averaged before lines are read: marks of the saw and pores are finer than rings."""
STRAY = 0.15
"""Sine by which ring lines stray from those of an even tree."""
SAY = 150.0
"""How many independent places a side counts for where all its lines are sure."""
LEAST_SAY = 5.0
"""Weight of all lines on the ends below which they show no rings."""
SWAY_MM = 15.0
"""How far the pith ordinarily strays to one side from end to end of a short piece."""
BESIDE, THICKER = 0.35, 0.3
"""How far, in its radii, a branch may pass beside the middle of the box round it; stray of its radius, logarithm."""
LEAN = 0.5
"""Ordinary tangent of a branch's lean along the board."""
FLOW = (3.0, 1.0)
"""How abruptly coats flow into one (see :class:`grainplan.wood.solid_cone.Cone`), and the stray of it: broad, for no
published figure is known."""
KNOTTY, NEAR = 0.1, 2.0
"""A piece is knotty where this share of its cells lies nearer to a knot's middle than so many of its half widths."""
ASTRAY = 1.5
"""A knot whose middle the branch passes by more than so many of its radii belongs to another one."""
CODE_MM = 0.3
"""Smoothing of the codes by which two fits are compared."""
SMALL = np.array([0.5, 0.5, 0.5, 0.5, 0.3, 0.01, 0.01, 0.01, 0.02])
"""Steps by which slopes are taken, in the order of a guess: pith at the foot (y, z) and the head, where the branch
begins, the tangent of its lean, its turn about the pith, the logarithm of its spread, its flow."""


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Lines of rings on all sides: board places and unit vectors (n, 3), the axis square to their side, and weights."""

    places: Reals
    along: Reals
    axis: NDArray[np.int64]
    weight: Reals


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where a knot shows on a face or an edge: the middle of its box, its radius, and the axis square to the side."""

    middle_mm: tuple[float, float, float]
    radius_mm: float
    axis: int


@dataclass(frozen=True, slots=True, eq=False)
class _Evidence:
    lines: Lines
    spots: tuple[_Spot, ...]
    length_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Growth:
    """The pith of a short knotty piece with its branch, and the lines that tell it."""

    pith: PithLine
    lines: Lines


def grow_together(sides: Mapping[Layer, Picture], grid: NodeGrid, knots: Sequence[KnotPlace]) -> Growth | None:
    """Find pith and branch of a short knotty piece together, from the lines on all its sides.

    Parameters
    ----------
    sides : mapping of side to Picture
        At least one end.
    grid : NodeGrid
        Of the board.
    knots : sequence of KnotPlace
        On any of the sides. Inside their boxes no lines are read.

    Returns
    -------
    Growth or None
        None where the piece is not that knotty or its knots are not of one branch, as two on one side
        are not: pith and branches are then found one after the other.
    """
    knots = [knot for knot in knots if knot.on in sides]
    spots = tuple(_find_spot(knot, grid) for knot in knots if LAYERS[knot.on][0] != 0)
    if not spots or len({knot.on for knot in knots}) < len(knots) or _share_near(sides, knots) < KNOTTY:
        return None
    ends = [trace_ring_lines(picture) for layer, picture in sides.items() if LAYERS[layer][0] == 0]
    if not ends:
        return None
    parts = [_read_side(picture, grid, layer, knots) for layer, picture in sides.items()]
    lines = Lines(
        np.concatenate([part.places for part in parts]),
        np.concatenate([part.along for part in parts]),
        np.concatenate([part.axis for part in parts]),
        np.concatenate([part.weight for part in parts]),
    )
    together = join_ring_lines(ends)
    if together.weight.sum() < LEAST_SAY:
        return None
    evidence = _Evidence(lines, spots, grid.size_mm[0])
    starts = list_starts(together, (grid.size_mm[1], grid.size_mm[2]))
    fits = [
        improve_guess(lambda guess: _compare(evidence, guess), _guess_branch(start, spots), steps=SMALL)
        for start in starts
    ]
    found = _build(min(fits, key=lambda fit: fit[1])[0], grid.size_mm[0])
    beside = max(float(np.hypot(*_measure_miss(found, spot)[:2])) for spot in spots)
    return Growth(found, lines) if beside < ASTRAY else None


def weigh_rings(lines: Lines, pith: PithLine, *, seen: Mapping[Layer, SeenSide], nodes: Reals, grid: NodeGrid) -> float:
    """Evidence for rings that were placed on the sides, to tell the better of two ways: a log-likelihood.

    Lines speak for a pith that they run round; the sides, for rings that each of them shows in the code of the others
    (a normal model gains half the logarithm of 1 - r² for each independent look).
    """
    misfit = _compare_lines(lines, pith)
    rings = {layer: (side, place_rings(side, nodes, grid)) for layer, side in seen.items()}
    codes = learn_codes(rings, CODE_MM)
    found = []
    for layer, (side, ring) in rings.items():
        said = join_codes(codes, leave_out=layer).read(ring)
        power = float((said * said).sum()) * float((side.values * side.values).sum())
        found.append(float((said * side.values).sum()) / (power**0.5 + 1e-9))
    alike = max(float(np.mean(found)), 0.0)
    looks = SAY * len(seen)
    return -float(lines.weight @ np.log1p(0.5 * misfit * misfit)) - 0.5 * looks * float(np.log(1.0 - alike * alike))


def _lay_cells(picture: Picture) -> tuple[Reals, Reals]:
    """Places of the middles of a side's cells, along its columns and its rows, mm."""
    columns, rows = (
        int(np.clip(round(length / CELL_MM), 3, MOST_CELLS)) for length in (picture.width_mm, picture.height_mm)
    )
    return (
        (np.arange(columns, dtype=np.float64) + 0.5) * (picture.width_mm / columns),
        (np.arange(rows, dtype=np.float64) + 0.5) * (picture.height_mm / rows),
    )


def _go_away(box: Box, columns_mm: Reals, rows_mm: Reals) -> tuple[Reals, Reals]:
    """How far cells lie from the middle of a box, along columns and rows, in its half widths."""
    right = np.abs(columns_mm - (box.x0 + box.x1) / 2.0)[None, :] / max((box.x1 - box.x0) / 2.0, 0.5)
    down = np.abs(rows_mm - (box.y0 + box.y1) / 2.0)[:, None] / max((box.y1 - box.y0) / 2.0, 0.5)
    return right, down


def _share_near(sides: Mapping[Layer, Picture], knots: Sequence[KnotPlace]) -> float:
    """The part of all cells that lies near a knot on its side."""
    near = []
    for layer, picture in sides.items():
        columns, rows = _lay_cells(picture)
        mine = np.zeros((rows.size, columns.size), bool)
        for knot in (knot for knot in knots if knot.on == layer):
            mine |= np.hypot(*_go_away(knot.box, columns, rows)) < NEAR
        near.append(mine.ravel())
    return float(np.mean(np.concatenate(near)))


def _read_side(picture: Picture, grid: NodeGrid, layer: Layer, knots: Sequence[KnotPlace]) -> Lines:
    """The lines of a side, without those inside knots."""
    density = picture.px_per_mm
    pixel = measure_tensor(even_out(picture.lightness(), density), density, gradient_mm=RING_MM, smooth_mm=0.01)
    columns, rows = _lay_cells(picture)
    cells = columns.size, rows.size
    parts = [
        np.asarray(cv2.GaussianBlur(cv2.resize(part, cells, interpolation=cv2.INTER_AREA), (0, 0), 0.7), np.float32)
        for part in (pixel.columns, pixel.mixed, pixel.rows)
    ]
    field = read_direction(Tensor(parts[0], parts[1], parts[2]), density)
    energy = (parts[0] + parts[2]).astype(np.float64)
    weight = field.sure.astype(np.float64) ** 2 * np.minimum(energy / (float(np.median(energy)) + 1e-9), 1.0)
    for knot in (knot for knot in knots if knot.on == layer):
        weight[np.maximum(*_go_away(knot.box, columns, rows)) < 1.0] = 0.0
    places = np.stack(np.broadcast_arrays(*place_pixels(grid, layer, columns, rows)), axis=-1).reshape(-1, 3)
    along = np.zeros_like(places)
    angle = np.radians(field.angle_deg.astype(np.float64)).ravel()
    column, row = grid.axes(layer)
    along[:, column], along[:, row] = np.cos(angle), np.sin(angle)
    axis = np.full(angle.size, LAYERS[layer][0])
    return Lines(places, along, axis, weight.ravel() * (SAY / weight.size))


def _find_spot(knot: KnotPlace, grid: NodeGrid) -> _Spot:
    at = place_pixels(grid, knot.on, np.array([knot.middle[0]]), np.array([knot.middle[1]]))
    x, y, z = (float(value[0, 0]) for value in at)
    return _Spot((x, y, z), max(knot.radius_mm, 0.5), LAYERS[knot.on][0])


def _guess_branch(pith: Reals, spots: Sequence[_Spot]) -> Reals:
    """A first guess from a place of the pith: the branch runs through the middles of the knots."""
    middles = np.array([spot.middle_mm for spot in spots])
    off = middles[:, 1:] - pith
    away = np.hypot(off[:, 0], off[:, 1]) + 1.0
    turn = np.arctan2((off[:, 1] / away).sum(), (off[:, 0] / away).sum())
    lean = 0.0
    if float(np.ptp(away)) > 0.1 * float(away.max()):
        lean = float(np.clip(np.polyfit(away, middles[:, 0], 1)[0], -1.0, 1.0))
    begin = float((middles[:, 0] - lean * away).mean())
    spread = np.mean([spot.radius_mm / way for spot, way in zip(spots, away, strict=True)])
    return np.array([*pith, *pith, begin, lean, turn, np.log(np.clip(spread, 0.05, 0.6)), FLOW[0]])


def _build(guess: Reals, length_mm: float) -> PithLine:
    way = np.array([guess[5], np.cos(guess[6]), np.sin(guess[6])])
    way /= float(np.linalg.norm(way))
    cone = Cone(
        (float(guess[4]), 0.0, 0.0),
        (float(way[0]), float(way[1]), float(way[2])),
        float(np.exp(np.clip(guess[7], -5.0, 0.0))),
        flow=float(np.clip(guess[8], 1.0, 8.0)),
    )
    return PithLine((float(guess[0]), float(guess[1])), (float(guess[2]), float(guess[3])), length_mm, (cone,))


def _compare(evidence: _Evidence, guess: Reals) -> Misfit:
    """Misfit of every line in units of its usual stray, and of the guess itself with what is ordinary."""
    pith = _build(guess, evidence.length_mm)
    own = [(guess[2] - guess[0]) / SWAY_MM, (guess[3] - guess[1]) / SWAY_MM]
    own += [guess[5] / LEAN, (guess[8] - FLOW[0]) / FLOW[1]]
    for spot in evidence.spots:
        first, second, thicker = _measure_miss(pith, spot)
        own += [first / BESIDE, second / BESIDE, thicker / THICKER]
    return Misfit(_compare_lines(evidence.lines, pith), evidence.lines.weight, np.array(own))


def _compare_lines(lines: Lines, pith: PithLine) -> Reals:
    """Misfit of every line in units of its usual stray."""
    slope = np.empty_like(lines.places)
    for axis, step in enumerate(0.05 * np.eye(3)):
        ahead, behind = (pith.distance(*(lines.places + way * step).T) for way in (1.0, -1.0))
        slope[:, axis] = (ahead - behind) / 0.1
    across = slope.copy()
    across[np.arange(lines.axis.size), lines.axis] = 0.0
    sine = (slope * lines.along).sum(axis=1) / np.hypot(np.linalg.norm(across, axis=1), 0.1)
    return np.asarray(sine / STRAY, dtype=np.float64)


def _measure_miss(pith: PithLine, spot: _Spot) -> tuple[float, float, float]:
    """How far the branch passes beside a knot on that side, in the knot's radii, and the logarithm of their radii."""
    cone = pith.cones[0]
    begin_y, begin_z = pith.at(np.array(cone.start_mm[0]))
    begin = np.array([cone.start_mm[0], float(begin_y), float(begin_z)])
    way, middle = np.array(cone.way), np.array(spot.middle_mm)
    steep = way[spot.axis] if abs(way[spot.axis]) > 0.1 else 0.1
    miss = begin + way * ((middle[spot.axis] - begin[spot.axis]) / steep) - middle
    first, second = (float(miss[axis]) / spot.radius_mm for axis in range(3) if axis != spot.axis)
    thicker = np.log(float(cone.radius(np.array((middle - begin) @ way))) / spot.radius_mm)
    return first, second, float(thicker)
