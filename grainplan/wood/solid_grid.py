"""A grid of nodes through a board, its six sides as layers of that grid, and how pixels and nodes meet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.picture import Picture

Reals = NDArray[np.float64]
Floats = NDArray[np.float32]
Layer = Literal["face", "back", "foot", "head", "face edge", "back edge"]

LAYERS: dict[Layer, tuple[int, int]] = {
    "face": (2, 0),
    "back": (2, -1),
    "foot": (0, 0),
    "head": (0, -1),
    "face edge": (1, 0),
    "back edge": (1, -1),
}
"""Each side as an axis (0 x, 1 y, 2 z) and the first or the last node along it."""
STEP_MM = (20.0, 4.0, 2.5)
"""Wanted distance of the nodes along, across and through: rings bend faster in that order."""


@dataclass(frozen=True, slots=True)
class NodeGrid:
    """Nodes on a box, the outermost ones on its sides.

    Parameters
    ----------
    size_mm : three floats
        Length, width and thickness.
    counts : three ints
        Nodes in each direction, at least 3.
    """

    size_mm: tuple[float, float, float]
    counts: tuple[int, int, int]

    @property
    def step_mm(self) -> tuple[float, float, float]:
        """Distance of the nodes in each direction."""
        x, y, z = (size / (count - 1) for size, count in zip(self.size_mm, self.counts, strict=True))
        return x, y, z

    def axes(self, layer: Layer) -> tuple[int, int]:
        """Which axes the columns and the rows of a side run along."""
        first, second = (axis for axis in range(3) if axis != LAYERS[layer][0])
        return first, second

    def layer_steps(self, layer: Layer) -> tuple[float, float]:
        """Distance of the nodes along the columns and the rows of a side."""
        column, row = self.axes(layer)
        return self.step_mm[column], self.step_mm[row]

    def layer_counts(self, layer: Layer) -> tuple[int, int]:
        """Nodes along the columns and the rows of a side."""
        column, row = self.axes(layer)
        return self.counts[column], self.counts[row]


def lay_grid(size_mm: tuple[float, float, float], step_mm: tuple[float, float, float] = STEP_MM) -> NodeGrid:
    """A grid over a board of this size, its steps near `step_mm`; along a short piece they are closer."""
    step_mm = (min(step_mm[0], size_mm[0] / 16.0), step_mm[1], step_mm[2])
    x, y, z = (max(3, round(size / step) + 1) for size, step in zip(size_mm, step_mm, strict=True))
    return NodeGrid(size_mm, (x, y, z))


def take_layer(nodes: Reals, layer: Layer) -> Reals:
    """The nodes on one side, rows and columns as in its picture; a view, so writing to it writes to `nodes`."""
    axis, end = LAYERS[layer]
    flat: Reals = np.moveaxis(nodes, axis, 0)[end].T
    return flat


def place_pixels(
    grid: NodeGrid, layer: Layer, columns_mm: NDArray[np.floating], rows_mm: NDArray[np.floating]
) -> tuple[Reals, Reals, Reals]:
    """Board coordinates x, y, z of the places of a side, ready to combine (rows, columns)."""
    axis, end = LAYERS[layer]
    column, row = grid.axes(layer)
    places: list[Reals] = [np.zeros((1, 1))] * 3
    places[axis] = np.full((1, 1), 0.0 if end == 0 else grid.size_mm[axis])
    places[column] = np.asarray(columns_mm, dtype=np.float64)[None, :]
    places[row] = np.asarray(rows_mm, dtype=np.float64)[:, None]
    return places[0], places[1], places[2]


def spread_nodes(
    values: NDArray[np.floating],
    step_mm: tuple[float, float],
    columns_mm: NDArray[np.floating],
    rows_mm: NDArray[np.floating],
) -> Floats:
    """Values of a layer's nodes (rows, columns) at the places of pixels, linear between nodes."""
    column, row = np.meshgrid((columns_mm / step_mm[0]).astype(np.float32), (rows_mm / step_mm[1]).astype(np.float32))
    return np.asarray(
        cv2.remap(values.astype(np.float32), column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE),
        dtype=np.float32,
    )


def cut_level(nodes: Reals, grid: NodeGrid, axis: int, at_mm: float) -> Reals:
    """Values of the nodes on a plane square to an axis, linear between layers; rows and columns as in its picture."""
    place = np.clip(at_mm / grid.step_mm[axis], 0.0, grid.counts[axis] - 1.0)
    first = min(int(place), grid.counts[axis] - 2)
    share = place - first
    low, high = np.take(nodes, first, axis), np.take(nodes, first + 1, axis)
    mixed: Reals = (low * (1 - share) + high * share).T
    return mixed


def centre_pixels(picture: Picture) -> tuple[Reals, Reals]:
    """Places of a picture's pixel centres along its columns and its rows, mm."""
    rows, columns = picture.pixels.shape[:2]
    density = np.float64(picture.px_per_mm)
    return (np.arange(columns) + 0.5) / density, (np.arange(rows) + 0.5) / density
