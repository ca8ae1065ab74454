"""Where wood ends along a long edge, told by the colours of two areas and not by single lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grainplan.geometry import Floats
from grainplan.photos.edges import Edge, look_along
from grainplan.picture import Pixels

Mask = NDArray[np.bool_]
_BLOCKS = 48
_LEFT_OUT = 2  # blocks at each end, where the other edge's tones come in
_BAND_PX = (5, 26)  # of wood and of what lies beside it, from the edge
_REACH_PX = 9
_STEP_PX = 0.5
_EVEN = 2.0  # Lab, added to the spread of the colours: less nobody would tell apart
_MOST = 9.0  # squared deviations: no pixel says more


@dataclass(frozen=True, slots=True)
class Border:
    """The straight line near an edge that parts two areas best.

    Parameters
    ----------
    off_px, turn_px : float
        Inward of the edge at its middle, and how much more at its end.
    apart : float
        How far apart the two areas' colours are, in standard deviations of their own.
    gain : float
        How much better the line parts them than the edge does: squared deviations a block.
    """

    off_px: float
    turn_px: float
    apart: float
    gain: float


def find_border(pixels: Pixels, edge: Edge) -> Border:
    """Part the wood from what lies beside it by a line near an edge.

    Pixels are told apart in the direction in which the two colours differ most against how they vary in themselves
    (Fisher 1936, "The use of multiple measurements in taxonomic problems"): lines of the wood and a shadow, which vary
    in lightness, count little where the hue tells.
    """
    low, high = _BAND_PX
    offsets = np.arange(-high, high + 1)
    profiles = look_along(pixels, edge, blocks=_BLOCKS, span_px=(-high, high))[_LEFT_OUT:-_LEFT_OUT]
    tone, apart = _project(profiles, offsets >= low, offsets <= -low)
    inner, outer = (_smooth(np.median(tone[:, m], axis=1))[:, None] for m in (offsets >= low, offsets <= -low))
    near = np.abs(offsets) <= _REACH_PX + 6
    unlike = np.minimum((tone - inner) ** 2, _MOST) - np.minimum((tone - outer) ** 2, _MOST)
    # Misfit of a border before each pixel, up to what no border changes.
    misfit = -np.concatenate([np.zeros((len(tone), 1)), np.cumsum(unlike[:, near], axis=1)], axis=1)
    places = offsets[near][0] - 0.5 + np.arange(misfit.shape[1])
    grid = np.arange(-_REACH_PX, _REACH_PX + 0.01, _STEP_PX)
    off, turn = np.meshgrid(grid, grid, indexing="ij")
    total = np.zeros_like(off)
    for row, t in zip(misfit, np.linspace(-1, 1, _BLOCKS)[_LEFT_OUT:-_LEFT_OUT], strict=True):
        total += np.interp((off + turn * t).ravel(), places, row).reshape(off.shape)
    total[np.abs(off) + np.abs(turn) > _REACH_PX + 2] = np.inf
    i, j = np.unravel_index(int(total.argmin()), total.shape)
    middle = len(grid) // 2
    return Border(float(grid[i]), float(grid[j]), apart, float(total[middle, middle] - total[i, j]) / len(tone))


def _project(profiles: Floats, wood: Mask, beside: Mask) -> tuple[Floats, float]:
    """Each pixel along the direction that tells the two areas apart, in standard deviations, and how far apart."""
    spread = _EVEN**2 * np.eye(3)
    means = []
    for mask in (wood, beside):
        area = profiles[:, mask]
        blocks = area.mean(axis=1)
        means.append(blocks.mean(axis=0))
        spread = spread + np.cov((area - blocks[:, None]).reshape(-1, 3).T) / 2 + np.cov(blocks.T) / 2
    apart = means[0] - means[1]
    toward = np.linalg.solve(spread, apart)
    size = float(np.sqrt(max(apart @ toward, 1e-12)))
    return np.asarray(profiles @ toward / size, float), size


def _smooth(values: Floats) -> Floats:
    return np.asarray(np.convolve(np.pad(values, 2, mode="edge"), np.ones(5) / 5, mode="valid"), float)
