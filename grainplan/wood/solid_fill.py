"""How the rings bend inside a board, between what its sides show: the most likely field, and how far it may be off.

The distortion is taken for a sum of three random fields, fine, middle and slow, each with its own reach along, across
and through the wood. From its values on face and back the most likely values at a depth, and their variance, follow for
each frequency by itself (optimal linear estimation; kriging, Wiener filter). Near the ends it is drawn to what they
show.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from grainplan.wood.solid_grid import Layer, NodeGrid, Reals, cut_level

PARTS: tuple[tuple[float, tuple[float, float, float]], ...] = (
    (0.12, (50.0, 10.0, 2.5)),
    (0.28, (118.0, 25.0, 10.0)),
    (0.60, (350.0, 59.0, 34.0)),
)
"""Share of the variance, and reach (deviation of a Gaussian correlation, mm) along, across and through.
Held to the waviness of the drawn boards that the program is tested on; no published figures for sawn wood are known."""
READ_NOISE = 0.05
"""Variance of a ring place read on a side, as a part of the waves' own at one node."""
END_REACH_MM = (60.0, 140.0)
"""How far from an end its own bends still tell, for the narrowest and the widest of them."""
LEAST_DEVIATION_MM = 0.25
"""Waves of less height are not believed: they could not be told from none."""
FINE_SHARES = (1e-3, 0.05)
"""Power, as a part of the greatest, of the waves that tell the height of all: finer ones are not followed by the nodes,
slower ones are too few on a board."""

Waves = np.ndarray[tuple[int, ...], np.dtype[np.complex128]]


@dataclass(frozen=True, slots=True, eq=False)
class Filled:
    """The distortion all through a board.

    Parameters
    ----------
    nodes : ndarray, shape of the grid
        mm.
    deviation_mm : ndarray, shape (nx, nz)
        How far a ring may lie from where it is taken to be, one standard deviation, by place along and depth.
    """

    nodes: Reals
    deviation_mm: Reals


def fill_inside(nodes: Reals, grid: NodeGrid, seen: Collection[Layer]) -> Filled:
    """Estimate the distortion at every depth from its values on the sides.

    Parameters
    ----------
    nodes : ndarray, shape of the grid
        The relaxed distortion; its outer layers are used, its inside is replaced.
    grid : NodeGrid
        Of the board.
    seen : collection of sides
        Those that have photos.
    """
    trends, rests = _part_trends(nodes)
    waves = _transform(rests[0]), _transform(rests[1])
    height = _measure_height(waves, grid)
    thickness = grid.size_mm[2]
    filled = nodes.copy()
    deviation = np.zeros((grid.counts[0], grid.counts[2]))
    ends = [(index, layer) for index, layer in ((0, "foot"), (-1, "head")) if layer in seen]
    for level in range(grid.counts[2]):
        depth = level * grid.step_mm[2]
        shares, left = _estimate_shares(grid, depth)
        guess = _restore(shares[0] * waves[0] + shares[1] * waves[1], rests[0].shape)
        guess += trends[0] * (1 - depth / thickness) + trends[1] * (depth / thickness)
        near = np.zeros(grid.counts[0])
        for index, _ in ends:
            shown = cut_level(nodes, grid, 2, depth)[:, index]
            correction, share = _reach_in(shown - guess[:, index], grid, from_head=index == -1)
            guess += correction
            near = np.maximum(near, share)
        if 0 < level < grid.counts[2] - 1:
            filled[:, :, level] = guess.T
        deviation[:, level] = height * np.sqrt(left * (1.0 - near**2))
    return Filled(filled, deviation)


def measure_height(nodes: Reals, grid: NodeGrid) -> float:
    """Deviation of the bends of a board's rings, mm, from the distortion of its face and back."""
    _, rests = _part_trends(nodes)
    return _measure_height((_transform(rests[0]), _transform(rests[1])), grid)


def _part_trends(nodes: Reals) -> tuple[tuple[Reals, Reals], tuple[Reals, Reals]]:
    """The trends of face and back, and what they leave."""
    face, back = nodes[:, :, 0].T, nodes[:, :, -1].T
    trends = _fit_trend(face), _fit_trend(back)
    return trends, (face - trends[0], back - trends[1])


def _fit_trend(layer: Reals) -> Reals:
    """The part of a layer that is no wave but an error of the pith: low polynomials along and across."""
    x, y = np.meshgrid(np.linspace(-1, 1, layer.shape[1]), np.linspace(-1, 1, layer.shape[0]))
    terms = np.stack([np.ones_like(x), x, y, x * y, y * y], axis=-1).reshape(-1, 5)
    factors = np.linalg.lstsq(terms, layer.ravel(), rcond=None)[0]
    return np.asarray((terms @ factors).reshape(layer.shape), dtype=np.float64)


def _mirror(layer: Reals) -> Reals:
    wide = np.concatenate([layer, layer[:, ::-1]], axis=1)
    return np.concatenate([wide, wide[::-1]], axis=0)


def _transform(layer: Reals) -> Waves:
    return np.asarray(np.fft.rfft2(_mirror(layer)), dtype=np.complex128)


def _restore(waves: Waves, shape: tuple[int, ...]) -> Reals:
    whole = np.fft.irfft2(waves, (2 * shape[0], 2 * shape[1]))
    return np.asarray(whole[: shape[0], : shape[1]], dtype=np.float64)


def _measure_height(waves: tuple[Waves, Waves], grid: NodeGrid) -> float:
    """Deviation of the waves in millimetres, told by the finer ones of the sides.

    A board is too small to show the height of the slow waves, and errors of the pith look like them; the fine ones
    repeat many times.
    """
    power = np.sum([plane for plane, _ in _spread_power(grid)], axis=0)
    fine = (power > FINE_SHARES[0] * power.max()) & (power < FINE_SHARES[1] * power.max())
    size = 4.0 * grid.counts[0] * grid.counts[1]
    shown = sum(float(np.mean(np.abs(wave[fine]) ** 2 / power[fine])) for wave in waves) / (2.0 * size)
    return max(float(np.sqrt(shown)), LEAST_DEVIATION_MM)


def _spread_power(grid: NodeGrid) -> list[tuple[Reals, float]]:
    """Power by frequency of each part of the waves on a level, and its reach through the thickness."""
    rows, columns = 2 * grid.counts[1], 2 * grid.counts[0]
    across = np.minimum(np.arange(rows), rows - np.arange(rows)) * grid.step_mm[1]
    along = np.minimum(np.arange(columns), columns - np.arange(columns)) * grid.step_mm[0]
    found = []
    for share, (reach_x, reach_y, reach_z) in PARTS:
        plane = share * np.exp(-0.5 * (across / reach_y) ** 2)[:, None] * np.exp(-0.5 * (along / reach_x) ** 2)[None]
        found.append((np.maximum(np.fft.rfft2(plane).real, 0.0), reach_z))
    return found


def _estimate_shares(grid: NodeGrid, depth_mm: float) -> tuple[tuple[Reals, Reals], float]:
    """What face and back count for at a depth, by frequency, and the part of the variance that stays unknown."""
    thickness = grid.size_mm[2]
    same = opposite = to_face = to_back = np.zeros((2 * grid.counts[1], grid.counts[0] + 1))
    for power, reach_z in _spread_power(grid):

        def fade(way_mm: float, reach_mm: float = reach_z) -> float:
            return float(np.exp(-0.5 * (way_mm / reach_mm) ** 2))

        same = same + power
        opposite = opposite + power * fade(thickness)
        to_face = to_face + power * fade(depth_mm)
        to_back = to_back + power * fade(thickness - depth_mm)
    noisy = same + READ_NOISE
    divisor = noisy**2 - opposite**2
    from_face = (noisy * to_face - opposite * to_back) / divisor
    from_back = (noisy * to_back - opposite * to_face) / divisor
    left = same - from_face * to_face - from_back * to_back
    twice = np.full(left.shape[1], 2.0)  # the half spectrum holds each middle frequency once
    twice[0] = 1.0
    unknown = float((np.maximum(left, 0.0) * twice).sum() / (same * twice).sum())
    return (from_face, from_back), unknown


def _reach_in(miss: Reals, grid: NodeGrid, *, from_head: bool) -> tuple[Reals, Reals]:
    """Spread what an end shows otherwise than guessed into the board; also how much it tells by place."""
    waves = np.fft.rfft(np.concatenate([miss, miss[::-1]]))
    frequency = 2.0 * np.pi * np.fft.rfftfreq(2 * miss.size, grid.step_mm[1])
    reach = np.clip(5.0 / np.maximum(frequency, 1e-3), *END_REACH_MM)
    away = np.arange(grid.counts[0]) * grid.step_mm[0]
    if from_head:
        away = away[::-1]
    share = np.exp(-0.7 * (away[None] / reach[:, None]) ** 2)
    correction = np.fft.irfft(waves[:, None] * share, 2 * miss.size, axis=0)[: miss.size]
    told = np.exp(-0.7 * (away / float(np.mean(END_REACH_MM))) ** 2)
    return np.asarray(correction, dtype=np.float64), np.asarray(told, dtype=np.float64)
