"""The smooth distortion of a board's rings, relaxed against what its sides show.

Ring number is written as distance from the pith plus a distortion D, in millimetres, at the nodes of a grid. Lines on a
side must run along places of one ring, so the slope of (distance + D) along each line is nought; placed rings pull D to
a value; and D changes little from node to node. All three are squares, so D follows from one linear system, which is
solved by conjugate gradients.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.picture import Picture
from grainplan.wood.orient import Tensor, even_out, measure_tensor, read_direction
from grainplan.wood.solid_grid import LAYERS, STEP_MM, Layer, NodeGrid, Reals, take_layer

STEP_CHANGE_MM = (0.6, 0.6, 1.2)
"""Largest ordinary change of D over the usual step of the grid along, across and through (drawn boards)."""
HOLD = 1e-3
"""Pull of D toward nought, 1/mm²: only to keep the whole from drifting."""
END_STRAY, SIDE_STRAY = 0.10, 0.02
"""Sine by which a line read on an end or a broad side strays from its ring."""

KNOTTY = 0.35
"""Sine between a line and the ring lines of an unbent tree from which it counts as disturbed."""


@dataclass(frozen=True, slots=True, eq=False)
class LineCells:
    """The direction of the lines in each cell between four nodes of a side.

    `along_columns` and `along_rows` are the parts of a unit vector; `sure` is 0 to 1; `strength` is about 1 in the
    ordinary.
    """

    along_columns: Reals
    along_rows: Reals
    sure: Reals
    strength: Reals


@dataclass(frozen=True, slots=True, eq=False)
class LinePull:
    """What the lines of one side ask of D: (along · slope of D + `offset`)² · `weight`, summed over its cells.

    `calm` is 1 in ordinary wood and falls to 0 in knots.
    """

    along_columns: Reals
    along_rows: Reals
    offset: Reals
    weight: Reals
    calm: Reals


@dataclass(frozen=True, slots=True, eq=False)
class Anchor:
    """Values that D is pulled to at the nodes of a side, and how strongly (1/mm²)."""

    target: Reals
    strength: Reals


def read_cells(picture: Picture, grid: NodeGrid, layer: Layer) -> LineCells:
    """Directions of the lines on a side, one for each cell of the grid."""
    density = picture.px_per_mm
    pixel = measure_tensor(even_out(picture.lightness(), density), density, smooth_mm=0.01)
    columns, rows = grid.layer_counts(layer)
    parts = [
        np.asarray(
            cv2.GaussianBlur(cv2.resize(part, (columns - 1, rows - 1), interpolation=cv2.INTER_AREA), (0, 0), 0.55),
            dtype=np.float32,
        )
        for part in (pixel.columns, pixel.mixed, pixel.rows)
    ]
    field = read_direction(Tensor(parts[0], parts[1], parts[2]), density)
    energy = (parts[0] + parts[2]).astype(np.float64)
    angle = np.radians(field.angle_deg.astype(np.float64))
    strength = np.minimum(energy / (float(np.median(energy)) + 1e-9), 1.5)
    return LineCells(np.cos(angle), np.sin(angle), field.sure.astype(np.float64), strength)


def pull_along_lines(cells: LineCells, distance: Reals, grid: NodeGrid, layer: Layer) -> LinePull:
    """Turn directions into what they ask of D, where `distance` is the distance from the pith at the side's nodes."""
    slope_columns, slope_rows = _slope(distance, grid.layer_steps(layer))
    steep = np.hypot(slope_columns, slope_rows)
    stray = END_STRAY if LAYERS[layer][0] == 0 else SIDE_STRAY
    weight = cells.sure**2 * cells.strength / ((steep * stray) ** 2 + (0.3 * stray) ** 2)
    offset = cells.along_columns * slope_columns + cells.along_rows * slope_rows
    # A line that runs quite otherwise than rings can belongs to a knot or a scratch.
    calm = 1.0 / (1.0 + (offset / np.maximum(steep, 0.3) / KNOTTY) ** 4)
    return LinePull(cells.along_columns, cells.along_rows, offset, weight * calm, calm)


def relax(
    grid: NodeGrid,
    pulls: Mapping[Layer, LinePull],
    *,
    start: Reals,
    anchors: Mapping[Layer, Anchor] | None = None,
    tolerance: float = 1e-3,
) -> Reals:
    """Solve for D by conjugate gradients, from `start`.

    Parameters
    ----------
    grid : NodeGrid
        Of the board.
    pulls : mapping of side to LinePull
        What the lines ask.
    start : ndarray, shape of the grid
        First guess, mm.
    anchors : mapping of side to Anchor, optional
        Values found by comparing rings.
    tolerance : float
        Relative size of the residual at which to stop.
    """
    held = anchors or {}
    right = np.zeros(grid.counts)
    for layer, pull in pulls.items():
        part = take_layer(right, layer)
        part += _spread_back(-pull.weight * pull.offset, pull, grid, layer)
    for layer, anchor in held.items():
        part = take_layer(right, layer)
        part += anchor.strength * anchor.target
    scale = _diagonal(grid, pulls, held)
    found = start.copy()
    rest = right - _apply(found, grid, pulls, held)
    eased = rest / scale
    way = eased.copy()
    product = float((rest * eased).sum())
    goal = tolerance**2 * (float((right * right / scale).sum()) + 1e-12)
    for _ in range(250):
        if product < goal:
            break
        moved = _apply(way, grid, pulls, held)
        length = product / float((way * moved).sum())
        found += length * way
        rest -= length * moved
        eased = rest / scale
        last, product = product, float((rest * eased).sum())
        way = eased + (product / last) * way
    return found


def _slope(nodes: Reals, steps: tuple[float, float]) -> tuple[Reals, Reals]:
    """Slope in each cell, along columns and rows."""
    right = (nodes[:-1, 1:] - nodes[:-1, :-1] + nodes[1:, 1:] - nodes[1:, :-1]) * (0.5 / steps[0])
    down = (nodes[1:, :-1] - nodes[:-1, :-1] + nodes[1:, 1:] - nodes[:-1, 1:]) * (0.5 / steps[1])
    return right, down


def _spread_back(cells: Reals, pull: LinePull, grid: NodeGrid, layer: Layer) -> Reals:
    """The transpose of the slope along the lines: from cells to nodes."""
    steps = grid.layer_steps(layer)
    right = cells * pull.along_columns * (0.5 / steps[0])
    down = cells * pull.along_rows * (0.5 / steps[1])
    nodes = np.zeros((cells.shape[0] + 1, cells.shape[1] + 1))
    nodes[:-1, 1:] += right - down
    nodes[:-1, :-1] -= right + down
    nodes[1:, 1:] += right + down
    nodes[1:, :-1] += down - right
    return nodes


def _usual_changes(grid: NodeGrid) -> list[float]:
    """Ordinary change of D from node to node in each direction of this grid, mm."""
    steps = zip(STEP_CHANGE_MM, grid.step_mm, STEP_MM, strict=True)
    return [change * step / usual for change, step, usual in steps]


def _apply(nodes: Reals, grid: NodeGrid, pulls: Mapping[Layer, LinePull], anchors: Mapping[Layer, Anchor]) -> Reals:
    """The linear system's left side."""
    total = HOLD * nodes
    for axis, usual in enumerate(_usual_changes(grid)):
        change = np.diff(nodes, axis=axis) / usual**2
        ahead = [slice(None)] * 3
        behind = [slice(None)] * 3
        ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
        total[tuple(ahead)] += change
        total[tuple(behind)] -= change
    for layer, pull in pulls.items():
        right, down = _slope(take_layer(nodes, layer), grid.layer_steps(layer))
        cells = pull.weight * (pull.along_columns * right + pull.along_rows * down)
        part = take_layer(total, layer)
        part += _spread_back(cells, pull, grid, layer)
    for layer, anchor in anchors.items():
        part = take_layer(total, layer)
        part += anchor.strength * take_layer(nodes, layer)
    return total


def _diagonal(grid: NodeGrid, pulls: Mapping[Layer, LinePull], anchors: Mapping[Layer, Anchor]) -> Reals:
    scale = np.full(grid.counts, HOLD + sum(2.0 / usual**2 for usual in _usual_changes(grid)))
    for layer, pull in pulls.items():
        steps = grid.layer_steps(layer)
        cell = 0.25 * pull.weight * ((pull.along_columns / steps[0]) ** 2 + (pull.along_rows / steps[1]) ** 2)
        part = take_layer(scale, layer)
        for rows in (slice(None, -1), slice(1, None)):
            for columns in (slice(None, -1), slice(1, None)):
                part[rows, columns] += cell
    for layer, anchor in anchors.items():
        part = take_layer(scale, layer)
        part += anchor.strength
    return scale
