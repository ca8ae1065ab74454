"""How the grain runs on across a rail, at every place along a board at once: quick enough for thousands of places.

An end is taken as the lines that reach it: the mean of its last 20 mm along the grain, one row of lightness across the
board. Rows are laid on each other and moved along the end, as bands are in `match.edges`, and neighbouring windows move
together. On drawn boards this tells ends that belong together from strangers in 98 of 100 pairs; the pictures of both
ends laid on each other did so in 92, for pores and streaks end within the rail.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from grainplan.match.bands import EvenSurface

Floats = NDArray[np.float64]
Plane32 = NDArray[np.float32]

END_BAND_MM = 20.0
"""Shorter than the band beside an edge: what lies further from the rail says less about the lines that reach it."""
REACH_MM = 6.0
PLACE_STEP_MM = 5.0
"""Ends closer than this count as one."""
STRIDE_MM = 20.0
STRIDES = 3
TURN_MM = 1.0
"""How much the move may change from one stride to the next."""


@dataclass(frozen=True, slots=True)
class Ends:
    """Which ends meet at a rail, wherever along the board the first of them lies.

    Attributes
    ----------
    apart_mm : from the end of the first strip to the end of the second, along the board.
    mirrored : the wood of both lies toward the foot of the board (an end match); else the second lies beyond its end.
    grain_deg : grain to the length, positive toward larger y.
    hidden_mm : what the rail hides, along which lines are drawn on straight; 0 where they mirror.
    reach_mm : how far lines are looked for, either way.
    """

    apart_mm: float
    mirrored: bool = False
    grain_deg: float = 0.0
    hidden_mm: float = 0.0
    reach_mm: float = REACH_MM

    @property
    def middle_mm(self) -> float:
        """How far apart along the end two halves of one line lie in the board."""
        return 0.0 if self.mirrored else (self.apart_mm + END_BAND_MM) * math.tan(math.radians(self.grain_deg))

    @property
    def expected_mm(self) -> float:
        """How far apart along the end they must lie to meet, drawn on straight behind the rail."""
        return 0.0 if self.mirrored else (self.hidden_mm + END_BAND_MM) * math.tan(math.radians(self.grain_deg))


@dataclass(frozen=True, slots=True, eq=False)
class EndRuns:
    """Pairs of ends along a whole board, compared window by window across it.

    Attributes
    ----------
    ends : what was compared.
    at_mm : shape (places,), x of the end of the first strip.
    y_mm : shape (windows,), middles of the windows.
    fit, weight, move_mm : shape (places, windows); the move is how far each line misses its other half, either way.
    """

    ends: Ends
    at_mm: Floats
    y_mm: Floats
    fit: Floats
    weight: Floats
    move_mm: Floats

    def find(self, at_mm: float, y_mm: tuple[float, float]) -> tuple[int | None, NDArray[np.bool_]]:
        """Which place lies at `at_mm` (None beyond the board), and which windows lie in the strip, or the nearest."""
        inside = (self.y_mm >= y_mm[0]) & (self.y_mm <= y_mm[1])
        if not inside.any():
            inside[np.argmin(np.abs(self.y_mm - sum(y_mm) / 2))] = True
        place = int(np.argmin(np.abs(self.at_mm - at_mm)))
        return (None if abs(self.at_mm[place] - at_mm) > PLACE_STEP_MM else place), inside

    def average(self, at_mm: ArrayLike, y_mm: tuple[float, float]) -> tuple[Floats, Floats]:
        """Fit and miss (mm) of one strip at many places along the board; nan where the ends lie beyond it.

        Parameters
        ----------
        at_mm : array-like, shape (n,)
            x of the end of the first strip.
        y_mm : (float, float)
            The strip, across the board. Windows whose middle lies in it count, and at least the nearest one.
        """
        _, inside = self.find(0.0, y_mm)
        at = np.asarray(at_mm, float)
        rows = np.clip(np.round((at - self.at_mm[0]) / PLACE_STEP_MM).astype(int), 0, len(self.at_mm) - 1)
        weight = self.weight[rows][:, inside]
        total = weight.sum(axis=1)
        fit, miss = (
            (values[rows][:, inside] * weight).sum(axis=1) / total for values in (self.fit, np.abs(self.move_mm))
        )
        beyond = np.abs(at - self.at_mm[rows]) > PLACE_STEP_MM
        return np.where(beyond, np.nan, fit), np.where(beyond, np.nan, miss)


def draw_lines(surface: EvenSurface, grain_deg: float) -> Plane32:
    """The lines that reach each place of a board: its figure averaged over 20 mm along the grain."""
    half = round(END_BAND_MM * surface.px_per_mm / 2)
    drop = math.ceil(half * abs(math.tan(math.radians(grain_deg)))) + 1
    kernel = np.zeros((2 * drop + 1, 2 * half + 1), np.float32)
    for x in range(-half, half + 1):
        y = drop + x * math.tan(math.radians(grain_deg))
        low = int(y)
        kernel[low, x + half] += low + 1 - y
        kernel[low + 1, x + half] += y - low
    lines = cv2.filter2D(surface.figure, cv2.CV_32F, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)
    return np.asarray(lines, np.float32)


def compare_ends(first: Plane32, second: Plane32, ends: Ends, *, px_per_mm: float) -> EndRuns | None:
    """Compare the ends of two surfaces at every place along them; None where the board is too short or too narrow.

    Parameters
    ----------
    first, second : float32, shape (rows, columns)
        From `draw_lines`; one and the same where lower and upper panel come from one leaf.
    ends : Ends
    px_per_mm : float
    """
    rows, columns = (min(sizes) for sizes in zip(first.shape, second.shape, strict=True))
    half = END_BAND_MM / 2
    beyond = ends.apart_mm + (-half if ends.mirrored else half)
    low, high = max(2 * half, half - beyond), columns / px_per_mm - max(0.0, beyond + half)
    at = np.arange(math.ceil(low / PLACE_STEP_MM), math.floor(high / PLACE_STEP_MM) + 1) * PLACE_STEP_MM
    middle, reach = round(ends.middle_mm * px_per_mm), round(ends.reach_mm * px_per_mm)
    if len(at) == 0 or rows <= abs(middle) + reach + STRIDES * STRIDE_MM * px_per_mm:
        return None
    here, there = (
        lines[:rows, np.clip(((at + off) * px_per_mm).astype(int), 0, columns - 1)].T
        for lines, off in ((first, -half), (second, beyond))
    )
    lags = middle + np.arange(-reach, reach + 1)
    agreement, weight, starts = _correlate(here, there, lags, px_per_mm)
    chosen = _follow(agreement * weight[:, :, None], max(1, round(TURN_MM * px_per_mm)))
    fit = np.take_along_axis(agreement, chosen[:, :, None], axis=2)[:, :, 0]
    moved = lags[chosen] / px_per_mm - ends.expected_mm
    middles = (starts + STRIDES * STRIDE_MM * px_per_mm / 2) / px_per_mm
    return EndRuns(ends, at, middles, fit.T.astype(float), weight.T + 1e-6, moved.T)


def _correlate(
    here: Plane32, there: Plane32, lags: NDArray[np.int64], px_per_mm: float
) -> tuple[Plane32, Floats, Floats]:
    """Agreement of windows, shape (windows, places, lags), their texture in L*, and where they begin."""
    window, stride = round(STRIDES * STRIDE_MM * px_per_mm), round(STRIDE_MM * px_per_mm)
    width = here.shape[1]
    starts = np.arange(0, width - window + 1, stride)
    found = np.full((len(starts), len(here), len(lags)), -1.0, np.float32)
    mean_a, spread_a = _spread(here, starts, window)
    for place, lag in enumerate(lags.tolist()):
        # A window that reaches over the end of the row is compared where it still lies inside.
        moved = np.clip(starts + lag, 0, width - window)
        mean_b, spread_b = _spread(there, moved, window)
        product = np.stack(
            [
                (here[:, s : s + window] * there[:, m : m + window]).mean(axis=1)
                for s, m in zip(starts, moved, strict=True)
            ]
        )
        found[:, :, place] = (product - mean_a * mean_b) / np.sqrt(np.maximum(spread_a * spread_b, 1e-6))
        found[np.abs(starts + lag - moved) > 0, :, place] = -1.0
    lost = (found <= -1.0).all(axis=2)
    found[lost] = 0.0
    return found, np.sqrt(np.maximum(spread_a, 0.0)) * ~lost, starts.astype(float)


def _spread(rows: Plane32, starts: NDArray[np.int64], window: int) -> tuple[Floats, Floats]:
    """Mean and variance of each window, shape (windows, places)."""
    sums, squares = (
        np.concatenate([np.zeros((len(rows), 1)), np.cumsum(values, axis=1, dtype=np.float64)], axis=1)
        for values in (rows, rows * rows)
    )
    mean = (sums[:, starts + window] - sums[:, starts]).T / window
    return mean, (squares[:, starts + window] - squares[:, starts]).T / window - mean**2


def _follow(worth: Floats, turn: int) -> NDArray[np.int64]:
    """The lag of each window at each place, shape (windows, places): the best path that changes slowly."""
    kernel = np.ones((1, 2 * turn + 1), np.uint8)
    best = worth[0].astype(np.float32)
    history = [best]
    for window in worth[1:]:
        best = np.asarray(cv2.dilate(best, kernel), np.float32) + window.astype(np.float32)
        history.append(best)
    path = [best.argmax(axis=1)]
    lags = np.arange(best.shape[1])
    for earlier in history[-2::-1]:
        near = np.abs(lags[None, :] - path[-1][:, None]) <= turn
        path.append(np.where(near, earlier, -np.inf).argmax(axis=1))
    return np.stack(path[::-1])
