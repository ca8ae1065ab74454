"""The pith line of a board, fitted to all of its sides at once.

On an end the ring lines stand square to the direction of the pith. On a broad side they follow the curves along which
the distance from the pith line stays the same, so they tell how the pith leans.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grainplan.errors import NotFound
from grainplan.picture import Picture
from grainplan.wood.pith import RingLines, join_ring_lines, list_starts, trace_ring_lines
from grainplan.wood.solid_cone import Cone
from grainplan.wood.solid_grid import LAYERS, Layer, NodeGrid, Reals, place_pixels
from grainplan.wood.solid_improve import Misfit, improve_guess
from grainplan.wood.solid_relax import LineCells, read_cells

END_BEND = 0.12
"""Sine by which ring lines on an end stray from circles (drawn boards: 4 to 7 degrees)."""
SIDE_BEND = 0.03
"""The same along a broad side, where the tree bends its rings over a longer way."""
LEAN_MM = 12.0
"""How far, at each end, the pith of an ordinary board strays from its mean place; common practice, no source."""
FARTHEST_MM = 1000.0
"""Straight rings leave the distance of the pith open; no tree is endless."""
SAY = 150.0
"""How many independent places a side counts for, whatever its number of pixels."""
SMALL = np.array([0.5, 0.5, 0.05, 0.05])
"""Steps by which slopes are taken, mm: of the pith's mean y and z, and of its half lean."""


@dataclass(frozen=True, slots=True)
class PithLine:
    """A straight pith: its (y, z) at the foot and at the head, and the board's length, mm; and the branches on it."""

    foot_yz_mm: tuple[float, float]
    head_yz_mm: tuple[float, float]
    length_mm: float
    cones: tuple[Cone, ...] = ()

    def at(self, x_mm: NDArray[np.floating]) -> tuple[Reals, Reals]:
        """Its y and z at places along the board."""
        share = np.asarray(x_mm, dtype=np.float64) / self.length_mm
        y = self.foot_yz_mm[0] + share * (self.head_yz_mm[0] - self.foot_yz_mm[0])
        z = self.foot_yz_mm[1] + share * (self.head_yz_mm[1] - self.foot_yz_mm[1])
        return np.asarray(y, dtype=np.float64), np.asarray(z, dtype=np.float64)

    def distance(self, x_mm: NDArray[np.floating], y_mm: NDArray[np.floating], z_mm: NDArray[np.floating]) -> Reals:
        """Distance from the pith in the cross-section at x, mm; the shapes of the places combine.

        Beside a branch, where rings climb, it is that of the same ring elsewhere.
        """
        pith_y, pith_z = self.at(x_mm)
        across, down = y_mm - pith_y, z_mm - pith_z
        away = np.asarray(np.hypot(across, down), dtype=np.float64)
        if not self.cones:
            return away
        flat = np.atleast_2d(away)
        places = [np.broadcast_to(values, flat.shape) for values in (np.asarray(x_mm, np.float64), across, down)]
        farthest = float(flat.max())
        for cone in self.cones:
            start, stop = cone.reach(farthest)
            columns = np.flatnonzero(((places[0] >= start) & (places[0] <= stop)).any(axis=0))
            if columns.size:
                cut = np.s_[:, columns[0] : columns[-1] + 1]
                spot = cone.measure(*(values[cut] for values in places))
                flat[cut] -= cone.climb(spot, flat[cut])
        return flat.reshape(away.shape)


def tell_plain(pith: PithLine, places_mm: tuple[Reals, Reals, Reals]) -> Reals:
    """How plain the wood is at places x, y, z: 1 far from branches, 0 inside one; their shapes combine."""
    x, y, z = places_mm
    pith_y, pith_z = pith.at(x)
    plain = np.ones(np.broadcast_shapes(x.shape, y.shape, z.shape))
    for cone in pith.cones:
        share = cone.measure(x, y - pith_y, z - pith_z).share
        plain *= 1.0 - np.exp(-0.5 * np.maximum(share - 1.0, 0.0) ** 2)
    return plain


@dataclass(frozen=True, slots=True, eq=False)
class _Evidence:
    ends: tuple[tuple[float, RingLines], ...]
    broad: tuple[tuple[Reals, Reals, Reals, LineCells], ...]
    length_mm: float


def fit_pith_line(sides: Mapping[Layer, Picture], grid: NodeGrid) -> PithLine | NotFound:
    """Fit the pith line to the lines on all sides; several starts, robust to knots.

    Parameters
    ----------
    sides : mapping of side to Picture
        At least one end.
    grid : NodeGrid
        Of the board.
    """
    evidence = _gather(sides, grid)
    if not evidence.ends:
        return NotFound("there is no photo of an end, and the broad sides alone do not tell how deep the pith lies")
    together = join_ring_lines([lines for _, lines in evidence.ends])
    if together.weight.sum() < 5.0:
        return NotFound("the photos of the ends show no ring lines")
    starts = list_starts(together, (grid.size_mm[1], grid.size_mm[2]))
    fits = [
        improve_guess(lambda guess: _compare(evidence, guess), np.array([*start[:2], 0.0, 0.0]), steps=SMALL, rounds=30)
        for start in starts
    ]
    best = min(fits, key=lambda fit: fit[1])[0]
    best[:2] *= min(1.0, FARTHEST_MM / float(np.hypot(best[0], best[1])))
    return PithLine(
        (float(best[0] + best[2]), float(best[1] + best[3])),
        (float(best[0] - best[2]), float(best[1] - best[3])),
        grid.size_mm[0],
    )


def _gather(sides: Mapping[Layer, Picture], grid: NodeGrid) -> _Evidence:
    ends, broad = [], []
    for layer, picture in sides.items():
        axis, end = LAYERS[layer]
        if axis == 0:
            ends.append((1.0 if end == 0 else -1.0, trace_ring_lines(picture)))
            continue
        cells = read_cells(picture, grid, layer)
        steps, counts = grid.layer_steps(layer), grid.layer_counts(layer)
        columns = (np.arange(counts[0] - 1) + 0.5) * steps[0]
        rows = (np.arange(counts[1] - 1) + 0.5) * steps[1]
        x, y, z = np.broadcast_arrays(*place_pixels(grid, layer, columns, rows))
        broad.append((x, y, z, cells))
    return _Evidence(tuple(ends), tuple(broad), grid.size_mm[0])


def _compare(evidence: _Evidence, guess: Reals) -> Misfit:
    """Misfit of every line in units of its usual stray, and its weight; guess: mean y, z and half lean in y, z."""
    misfits, weights = [], []
    for sign, lines in evidence.ends:
        away = lines.places - (guess[:2] + sign * guess[2:])
        sine = (lines.along * away).sum(axis=1) / (np.linalg.norm(away, axis=1) + 1e-6)
        misfits.append(sine / END_BEND)
        weights.append(lines.weight * (SAY / max(lines.weight.sum(), 1.0)))
    for x, y, z, cells in evidence.broad:
        share = 1.0 - 2.0 * x / evidence.length_mm
        across, down = y - (guess[0] + guess[2] * share), z - (guess[1] + guess[3] * share)
        reach = np.hypot(across, down) + 1e-3
        slope_x = (across * guess[2] + down * guess[3]) * (2.0 / evidence.length_mm) / reach
        slope_row = (across if float(np.ptp(z)) == 0.0 else down) / reach
        sine = (cells.along_columns * slope_x + cells.along_rows * slope_row) / np.hypot(
            np.hypot(slope_x, slope_row), 0.05
        )
        weight = cells.sure**2 * cells.strength
        misfits.append(sine.ravel() / SIDE_BEND)
        weights.append((weight * (SAY / max(weight.sum(), 1.0))).ravel())
    misfits.append(guess[2:] / LEAN_MM)
    weights.append(np.ones(2))
    return Misfit(np.concatenate(misfits), np.concatenate(weights))
