"""How well two leaf edges meet: the figure, the step and the tone along a seam, measured on pictures of both surfaces.

Two bands beside the seam are compared in windows along it. In each window the second band is moved a little along and
across until the two agree best: the agreement is the `fit`, the move square to the grain is the step. Mates are never
quite mirror images, for ring lines move sideways with depth; a search along the seam alone finds nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.match.colour import differ_ciede2000
from grainplan.picture import Picture

Floats = NDArray[np.float64]
BAND_MM = 30.0
WINDOW_MM = 60.0
STRIDE_MM = 20.0
ALONG_MM = 3.0
LEAST_ACROSS_MM = 6.0
MOST_ACROSS_MM = 18.0
"""A wider search would leave less than 12 mm of the two bands to compare."""
EVEN_MM = 20.0
SMOOTH_MM = 0.5
FINE_MM = 3.2
"""Panel-to-panel alignment of the strictest grade of the architectural woodwork standards, 1/8 in."""
FAIR_MM = 6.4
"""The same, middle grade, 1/4 in."""


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """One surface made ready for comparing: lightness without slow shading, and colour, at `px_per_mm`."""

    lightness: NDArray[np.float32]
    lab: NDArray[np.float32]
    px_per_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """The wood beside an edge; row 0 is at the edge, columns run along the board from its foot."""

    lightness: NDArray[np.float32]
    lab: NDArray[np.float32]
    px_per_mm: float


@dataclass(frozen=True, slots=True)
class Search:
    """How far the second band may move, and which way the grain runs.

    Attributes
    ----------
    across_mm : to either side, square to the seam.
    grain_deg : grain to the seam.
    mirrored : whether one band is the mirror image of the other (book) or not (slip, running).
    """

    across_mm: float = LEAST_ACROSS_MM
    grain_deg: float = 0.0
    mirrored: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class SeamScan:
    """A seam along the whole board, window by window.

    Attributes
    ----------
    x_mm : middles of the windows.
    fit, weight, step_mm, tone_de : one figure each.
    """

    x_mm: Floats
    fit: Floats
    weight: Floats
    step_mm: Floats
    tone_de: Floats

    def average(self, from_mm: Floats, to_mm: Floats) -> tuple[Floats, Floats, Floats]:
        """Mean fit, step and tone over stretches of the board, by texture (tone is not); nan where none is seen."""
        low, high = np.searchsorted(self.x_mm, from_mm), np.searchsorted(self.x_mm, to_mm)
        return (
            _mean_between(self.fit * self.weight, self.weight, low, high),
            _mean_between(self.step_mm * self.weight, self.weight, low, high),
            _mean_between(self.tone_de, np.ones(len(self.x_mm)), low, high),
        )


def _mean_between(values: Floats, weights: Floats, low: NDArray[np.int64], high: NDArray[np.int64]) -> Floats:
    total = np.concatenate([[0.0], np.cumsum(values)])
    weight = np.concatenate([[0.0], np.cumsum(weights)])
    share = weight[high] - weight[low]
    found = np.full(len(low), np.nan)
    np.divide(total[high] - total[low], share, out=found, where=share > 1e-9)
    return found


def prepare_ground(picture: Picture, *, px_per_mm: float = 2.0) -> Ground:
    """Make a surface ready: shading slower than 20 mm is taken out, and the lightness lightly smoothed."""
    scale = px_per_mm / picture.px_per_mm
    pixels = picture.pixels
    if abs(scale - 1) > 1e-6:
        size = (max(1, round(pixels.shape[1] * scale)), max(1, round(pixels.shape[0] * scale)))
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR).astype(
            np.uint8
        )
    lab = np.asarray(cv2.cvtColor(pixels.astype(np.float32) / 255, cv2.COLOR_RGB2Lab), np.float32)
    light = np.ascontiguousarray(lab[:, :, 0])
    smooth = cv2.GaussianBlur(light, (0, 0), SMOOTH_MM * px_per_mm) - cv2.GaussianBlur(
        light, (0, 0), EVEN_MM * px_per_mm
    )
    return Ground(np.asarray(smooth, np.float32), lab, px_per_mm)


def cut_band(ground: Ground, edge_mm: float, *, toward: int) -> Band:
    """The wood beside an edge of a strip.

    Parameters
    ----------
    ground : Ground
    edge_mm : float
        Where the edge lies, board frame.
    toward : {1, -1}
        Whether the strip lies toward larger or smaller y.
    """
    d = ground.px_per_mm
    rows = round(BAND_MM * d)
    first = round(edge_mm * d)
    index = first + np.arange(rows) if toward > 0 else first - 1 - np.arange(rows)
    index = np.clip(index, 0, ground.lightness.shape[0] - 1)
    return Band(ground.lightness[index], ground.lab[index], d)


def scan_seam(first: Band, second: Band, search: Search) -> SeamScan:
    """Compare two bands along the whole board.

    Parameters
    ----------
    first, second : Band
        The wood left and right of the seam, each from the seam outward.
    search : Search

    Returns
    -------
    SeamScan

    Notes
    -----
    Normalised cross-correlation of a window of 60 mm, the best over ±3 mm along and ±`across_mm` across; the texture
    weight of a window is the geometric mean of both standard deviations.
    """
    if not search.mirrored:
        first = Band(first.lightness[::-1], first.lab[::-1], first.px_per_mm)
    d = first.px_per_mm
    columns = min(first.lightness.shape[1], second.lightness.shape[1])
    window, stride = round(WINDOW_MM * d), round(STRIDE_MM * d)
    starts = np.arange(0, max(columns - window, 0) + 1, stride)
    a, b = first.lightness[:, :columns], second.lightness[:, :columns]
    window = min(window, columns)
    fit, along, across = _search_best(a, b, (starts, window), search, d)
    grain = np.radians(search.grain_deg)
    step = np.abs(across * np.cos(grain) - along * np.sin(grain))
    weight = np.sqrt(_spread(a, starts, window) * _spread(b, starts, window))
    tone = differ_ciede2000(_colours(first, starts, window), _colours(second, starts, window))
    return SeamScan((starts + window / 2) / d, fit, weight, step, tone)


def _search_best(
    a: NDArray[np.float32], b: NDArray[np.float32], windows: tuple[NDArray[np.int64], int], search: Search, d: float
) -> tuple[Floats, Floats, Floats]:
    starts, window = windows
    across_mm = min(max(search.across_mm, LEAST_ACROSS_MM), MOST_ACROSS_MM)
    steps_across = np.arange(-round(across_mm * d), round(across_mm * d) + 1)
    steps_along = np.arange(-round(ALONG_MM * d), round(ALONG_MM * d) + 1)
    best = np.full(len(starts), -1.0)
    along, across = np.zeros(len(starts)), np.zeros(len(starts))
    for dy in sorted(steps_across.tolist(), key=abs):
        upper, lower = (a[dy:], b[: len(b) - dy]) if dy >= 0 else (a[:dy], b[-dy:])
        for dx in sorted(steps_along.tolist(), key=abs):
            score = _correlate(upper, lower, dx, starts, window)
            better = score > best + 1e-9
            best[better], along[better], across[better] = score[better], dx / d, dy / d
    return best, along, across


def _correlate(
    a: NDArray[np.float32], b: NDArray[np.float32], dx: int, starts: NDArray[np.int64], window: int
) -> Floats:
    """Normalised cross-correlation of each window, the second band moved by `dx` columns."""
    moved = b if dx == 0 else np.concatenate([b[:, dx:], b[:, :dx]], axis=1) if dx > 0 else np.roll(b, -dx, axis=1)
    count = a.shape[0] * window

    def sums(rows: NDArray[np.float32]) -> Floats:
        total = np.concatenate([[0.0], np.cumsum(rows, dtype=float)])
        return np.asarray(total[starts + window] - total[starts])

    sa, sb = sums(a.sum(axis=0)), sums(moved.sum(axis=0))
    saa, sbb = sums(np.einsum("ij,ij->j", a, a)), sums(np.einsum("ij,ij->j", moved, moved))
    sab = sums(np.einsum("ij,ij->j", a, moved))
    spread = np.maximum(saa - sa**2 / count, 1e-6) * np.maximum(sbb - sb**2 / count, 1e-6)
    return np.asarray((sab - sa * sb / count) / np.sqrt(spread))


def _spread(band: NDArray[np.float32], starts: NDArray[np.int64], window: int) -> Floats:
    return np.array([float(band[:, s : s + window].std()) for s in starts])


def _colours(band: Band, starts: NDArray[np.int64], window: int) -> Floats:
    return np.array([band.lab[:, s : s + window].reshape(-1, 3).mean(axis=0) for s in starts], float).reshape(-1, 3)


def say_step(step_mm: float) -> str:
    """A step in the words of the panel alignment tolerances of the architectural woodwork standards.

    Architectural Woodwork Standards, 1st edition (2009), section 8, p. 193: alignment from panel to panel within 1/8 in
    (3.2 mm) in the strictest grade, 1/4 in (6.4 mm) in the middle one, no limit in the lowest. Those are for veneered
    panels; for strips of one solid panel the words are an analogy.
    """
    if step_mm <= FINE_MM:
        return "fine"
    return "fair" if step_mm <= FAIR_MM else "plain to see"
