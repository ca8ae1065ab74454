"""Smooth random fields: in the solid (three directions) and on flat pictures (floors, light)."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]


def weigh_spline(at: NDArray[np.floating], *, start: float, spacing: float, nodes: int) -> Field:
    """Weights of a uniform cubic B-spline, one row for each place in `at` and one column for each node."""
    place = np.atleast_1d(np.asarray(at, dtype=np.float64))
    position = (place - start) / spacing
    first = np.floor(position).astype(np.int64)
    t = position - first
    cubic = (
        (1 - t) ** 3 / 6,
        (3 * t**3 - 6 * t**2 + 4) / 6,
        (-3 * t**3 + 3 * t**2 + 3 * t + 1) / 6,
        t**3 / 6,
    )
    weights = np.zeros((place.size, nodes), dtype=np.float32)
    rows = np.arange(place.size)
    for step, weight in enumerate(cubic):
        column = np.clip(first + step - 1, 0, nodes - 1)
        np.add.at(weights, (rows, column), weight.astype(np.float32))
    return weights


@dataclass(frozen=True, slots=True)
class SmoothField:
    """A random field over a box, smooth in x, y and z, of mean zero.

    Its values are those of a cubic B-spline over random nodes. The spacing of the nodes is the correlation length
    of each direction: the autocorrelation of such a field falls to 0.49 at one spacing and to 0.05 at two.

    Parameters
    ----------
    nodes
        Random values, shape (nx, ny, nz), scaled so that the field itself has the wanted standard deviation.
    start
        Place of the first node, mm, in x, y and z.
    spacing
        Distance of the nodes, mm, in x, y and z.
    """

    nodes: Field
    start: tuple[float, float, float]
    spacing: tuple[float, float, float]

    def at(
        self, x_mm: NDArray[np.floating], y_mm: NDArray[np.floating], z_mm: NDArray[np.floating]
    ) -> NDArray[np.float32]:
        """Values on the grid of all x, y and z: shape (len(x), len(y), len(z))."""
        values = self.nodes
        weights = [
            weigh_spline(at, start=start, spacing=spacing, nodes=count)
            for at, start, spacing, count in zip(
                (x_mm, y_mm, z_mm), self.start, self.spacing, self.nodes.shape, strict=True
            )
        ]
        # The shortest direction first: it takes most of the work out of the other two.
        for axis in sorted(range(3), key=lambda direction: len(weights[direction])):
            values = np.moveaxis(np.tensordot(weights[axis], values, axes=(1, axis)), 0, axis)
        return np.ascontiguousarray(values, dtype=np.float32)


def make_field(
    random: np.random.Generator,
    *,
    size: tuple[float, float, float],
    spacing: tuple[float, float, float],
    deviation: float,
) -> SmoothField:
    """A smooth field of standard deviation `deviation` over a box of `size` mm, with a margin all round."""
    margin = [2.0 * step for step in spacing]
    counts = [
        int(np.ceil((length + 2 * edge) / step)) + 4 for length, edge, step in zip(size, margin, spacing, strict=True)
    ]
    # The variance of a cubic B-spline over unit white noise, averaged over places, is (151/315) in each direction.
    gain = deviation / (151.0 / 315.0) ** 1.5
    nodes = (random.standard_normal(counts) * gain).astype(np.float32)
    start = (-margin[0] - spacing[0], -margin[1] - spacing[1], -margin[2] - spacing[2])
    return SmoothField(nodes=nodes, start=start, spacing=spacing)


def draw_cloud(random: np.random.Generator, shape: tuple[int, int], *, cell_px: tuple[float, float]) -> Field:
    """A smooth picture of mean zero and deviation near one, with cells of `cell_px` (rows, columns)."""
    rows = max(2, int(np.ceil(shape[0] / cell_px[0])) + 3)
    columns = max(2, int(np.ceil(shape[1] / cell_px[1])) + 3)
    coarse = random.standard_normal((rows, columns)).astype(np.float32)
    big = cv2.resize(
        coarse,
        (int(np.ceil(columns * cell_px[1])), int(np.ceil(rows * cell_px[0]))),
        interpolation=cv2.INTER_CUBIC,
    )
    return np.ascontiguousarray(big[: shape[0], : shape[1]])
