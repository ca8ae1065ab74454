"""Where the fibres end: a board's end told from floor and shadow of the same tone by the lines that stop there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.errors import NotFound
from grainplan.geometry import Floats
from grainplan.picture import Pixels

_LEFT_OUT = 0.04  # of the end, at the corners
_DETAIL_PX = 5.0  # lines of the wood are finer, across the board
_LIKE = (6, 16)  # the stretch of wood, px inward of the end, that the fibres are compared with
_NEAR = (1, 5)  # and the strips just inside and just outside that are held against it
_LEAST_FALL = 0.5  # of the correlation, from the inner strip to the outer one
_OTHER_FALL = 0.7  # of the largest one
_TURN_PX = 8
_SMEAR_PX = 1.3  # by which the blur of a photo carries the lines past the end


@dataclass(frozen=True, slots=True)
class FibreEnd:
    """Where the lines along the wood stop, near a chord.

    Parameters
    ----------
    off_px : float
        How far inward of the chord, along the board, at its middle.
    turn_px : float
        How much further at its end than at its middle.
    fall : float
        Correlation with the wood further in, just inside less just outside: near 1 at a clear end, near 0 in the middle
        of the wood and on the floor.
    """

    off_px: float
    turn_px: float
    fall: float


def find_fibre_end(pixels: Pixels, chord: Floats, inner: Floats, *, reach_px: float) -> FibreEnd | NotFound:
    """Find the line across a board at which its fibres stop.

    Parameters
    ----------
    pixels : ndarray of uint8
    chord : ndarray, shape (2, 2)
        Where the end is expected, px.
    inner : ndarray, shape (2, 2)
        The other ends of the two long edges that start from it.
    reach_px : float
        How far inward and outward the end is sought.
    """
    reach = math.ceil(reach_px)
    strip = _trace_along(pixels, chord, inner, reach)
    fall = _measure_fall(strip)
    # What lies on the floor may have lines of its own that stop; wood has none across it: the innermost counts.
    peak = fall >= cv2.dilate(fall[None], np.ones((1, 9), np.uint8))[0] - 1e-9
    clear = np.nonzero(peak & (fall >= max(_LEAST_FALL, _OTHER_FALL * float(fall.max()))))[0]
    if not clear.size:
        return NotFound("no line across the board at which the lines of its wood stop")
    best = int(clear[-1])
    half = len(strip) // 2
    first, last = (_place_fall(part, best) for part in (strip[:half], strip[half:]))
    turn = last - first
    off = _place_fall(strip, best) - reach
    return FibreEnd(off, turn if abs(turn) < _TURN_PX else 0.0, float(fall[best]))


def _place_fall(strip: Floats, near: int) -> float:
    """Where, near a column, the likeness to the wood inside falls to half, columns from the outermost end."""
    low, high = max(0, near - _TURN_PX), near + _TURN_PX + 1
    fall = _measure_fall(strip)
    best = low + int(fall[low:high].argmax())
    wood = strip[:, best + _NEAR[1] + _LIKE[0] : best + _NEAR[1] + _LIKE[1]].mean(axis=1)
    wood = wood - wood.mean()
    fine = strip - strip.mean(axis=0)
    alike = (wood @ fine) / np.sqrt((wood @ wood) * (fine**2).sum(axis=0) + 1e-9)
    half = 0.5 * float(alike[best + _NEAR[1] + 2 : best + _NEAR[1] + _LIKE[0]].mean())
    at = best + _NEAR[1] + 2
    while at > 1 and alike[at] > half:
        at -= 1
    share = (half - alike[at]) / max(float(alike[at + 1] - alike[at]), 1e-6)
    return float(at + np.clip(share, 0.0, 1.0) - _NEAR[1] + _SMEAR_PX)


def _trace_along(pixels: Pixels, chord: Floats, inner: Floats, reach: int) -> Floats:
    """The fine lines of the wood along the board: rows run down the end, columns inward from `reach` px outside."""
    count = int(np.clip(np.linalg.norm(chord[1] - chord[0]), 32, 512))
    t = (_LEFT_OUT + (1 - 2 * _LEFT_OUT) * (np.arange(count) + 0.5) / count)[:, None]
    start, far = chord[0] + (chord[1] - chord[0]) * t, inner[0] + (inner[1] - inner[0]) * t
    inward = (far - start) / np.linalg.norm(far - start, axis=1, keepdims=True)
    off = np.arange(-reach - _NEAR[1], reach + _LIKE[1] + 1)
    places = (start[:, None, :] + inward[:, None, :] * off[None, :, None] - 0.5).astype(np.float32)
    seen = cv2.remap(pixels, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    grey = cv2.cvtColor(seen, cv2.COLOR_RGB2GRAY).astype(np.float32)
    fine = grey - cv2.GaussianBlur(grey, (1, 0), sigmaX=0.01, sigmaY=_DETAIL_PX)
    return np.asarray(cv2.blur(fine, (3, 1)), float)


def _measure_fall(strip: Floats) -> Floats:
    """For an end at each offset from `-reach` to `reach`: how far the likeness to the wood falls there."""
    fine = strip - strip.mean(axis=0)
    sums = np.zeros((fine.shape[1] + 1, fine.shape[1] + 1))
    sums[1:, 1:] = (fine.T @ fine).cumsum(axis=0).cumsum(axis=1)
    middle = np.arange(_NEAR[1], fine.shape[1] - _LIKE[1])

    def products(a: tuple[int, int], b: tuple[int, int]) -> Floats:
        i, j, k, m = middle + a[0], middle + a[1], middle + b[0], middle + b[1]
        return np.asarray(sums[j, m] - sums[i, m] - sums[j, k] + sums[i, k], float)

    outer = (-_NEAR[1], -_NEAR[0])
    own = products(_LIKE, _LIKE)
    inside, outside = (products(s, _LIKE) / np.sqrt(products(s, s) * own + 1e-9) for s in (_NEAR, outer))
    return np.asarray(inside - outside, float)
