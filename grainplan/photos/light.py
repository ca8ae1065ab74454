"""Uneven light taken out, and the sides of one board brought to one light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.geometry import Floats, list_runs
from grainplan.picture import Pixels

_ROWS = 32
_TILE = 16
_KNOTS = 48  # places along the board at which brightness is read
_DEGREE = 3
_LIMIT = 0.35  # of the logarithm: more than that is a shadow or another wood, not fall-off
_EDGE_BAND = 0.12  # of the width, at either edge, where two broad sides show nearly the same wood
_AGREE_LIMIT = 0.25
_SHADOW_STEP_MM = 5.0
_SHADOW_DEPTH = 0.10  # of the logarithm
_SHADOW_LEAST_MM = 30.0
_PENUMBRA_MM = 45.0
_ALIKE, _ALIKE_SHARE = 0.4, 0.9  # of the depth, and of the rows that reach so much


def light_side(pixels: Pixels, px_per_mm: float, *, true_at_mm: float | None = None) -> tuple[Pixels, tuple[str, ...]]:
    """Even the light along a flattened broad side and lighten a shadow across it; what the maker must know.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
    px_per_mm : float
    true_at_mm : float, optional
        Where along the board the light is right as it is, as beside a grey card; elsewhere it is brought to that. None:
        to the mean along the board.
    """
    count = _count_steps(pixels, px_per_mm)
    small = _shrink(pixels, max(_KNOTS * 4, count))
    gain = _find_gain(small)
    seen = _shrink_on(small, count) * _spread_gain(gain, count, true_at=None)[None, :, None]
    evened = scale_columns(pixels, _spread_gain(gain, pixels.shape[1], true_at=_share(true_at_mm, pixels, px_per_mm)))
    shadow = _find_shadow(seen)
    if shadow is None:
        return evened, ()
    lifted, told = _lift(evened, shadow, count)
    # The shadow bent the first curve.
    again = _find_gain(_shrink(lifted, _KNOTS * 4))
    return scale_columns(
        lifted, _spread_gain(again, pixels.shape[1], true_at=_share(true_at_mm, pixels, px_per_mm))
    ), told


def even_light(pixels: Pixels) -> Pixels:
    """Take out light that falls off slowly along the length.

    Light changes brightness alone; wood that turns from sapwood to heart changes colour with it. So brightness along
    the board is explained by a smooth curve and by the red-to-blue ratio together, and only the curve is taken out. All
    three colours are scaled alike. Differences across the width are left: on a board they are wood far more often than
    light.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        A flattened broad side.
    """
    return scale_columns(pixels, _spread_gain(_find_gain(_shrink(pixels, _KNOTS * 4)), pixels.shape[1], true_at=None))


def _shrink(pixels: Pixels, columns: int) -> Floats:
    """A copy of 32 rows, of floats."""
    # Every other row is plenty for 32 of them, and half the work.
    half = pixels[:: max(1, min(2, pixels.shape[0] // 64))]
    return np.asarray(cv2.resize(half, (columns, _ROWS), interpolation=cv2.INTER_AREA), np.float64)


def _shrink_on(small: Floats, columns: int) -> Floats:
    if small.shape[1] == columns:
        return small
    return np.asarray(cv2.resize(small, (columns, _ROWS), interpolation=cv2.INTER_AREA), float)


def _count_steps(pixels: Pixels, px_per_mm: float) -> int:
    steps: int = round(pixels.shape[1] / px_per_mm / _SHADOW_STEP_MM)
    return max(24, steps)


def _share(at_mm: float | None, pixels: Pixels, px_per_mm: float) -> float | None:
    return None if at_mm is None else float(np.clip(at_mm * px_per_mm / pixels.shape[1], 0.0, 1.0))


def _spread_gain(gain: Floats, columns: int, *, true_at: float | None) -> Floats:
    """The gain at every column, and none at a share of the length where the light is right as it is."""
    at = (np.arange(columns) + 0.5) / columns * _KNOTS - 0.5
    row = np.interp(at, np.arange(_KNOTS), gain)
    return row if true_at is None else np.asarray(row / row[min(columns - 1, int(true_at * columns))], float)


def _find_gain(small: Floats) -> Floats:
    """The gain at places along the length that evens the light, mean 1 in the logarithm."""
    rows = np.log(_shrink_on(small, _KNOTS * 4) + 1.0)
    # Each row against itself first: a board half sapwood, half heart has no typical brightness of its own.
    rows -= np.median(rows, axis=1, keepdims=True)
    typical = np.median(rows.reshape(_ROWS, _KNOTS, 4, 3).transpose(1, 0, 2, 3).reshape(_KNOTS, -1, 3), axis=1)
    bright = typical.mean(axis=1)
    warm = typical[:, 0] - typical[:, 2]
    along = np.linspace(-1, 1, _KNOTS)
    curve = np.polynomial.legendre.legvander(along, _DEGREE)[:, 1:]
    base = np.column_stack([np.ones(_KNOTS), curve, warm - np.median(warm)])
    # A ridge on the colour term keeps it small where the colour hardly changes and noise would decide.
    ridge = np.diag([0.0] * (_DEGREE + 1) + [0.001])
    weight = np.ones(_KNOTS)
    found = np.zeros(base.shape[1])
    for _ in range(8):
        left = base.T * weight
        found = np.linalg.solve(left @ base + ridge, left @ bright)
        off = np.abs(bright - base @ found)
        weight = 1 / np.maximum(1.0, off / max(2.0 * float(np.median(off)), 1e-4))
    fall = np.clip(curve @ found[1 : 1 + _DEGREE], -_LIMIT, _LIMIT)
    return np.asarray(np.exp(fall.mean() - fall), float)


@dataclass(frozen=True, slots=True, eq=False)
class _Shadow:
    """Logarithmic gains along the length for each colour, and the stretch in steps, first and one past the last."""

    gain: Floats
    stretch: tuple[int, int]


def lift_shadow(pixels: Pixels, px_per_mm: float) -> tuple[Pixels, tuple[str, ...]]:
    """Lighten a shadow that lies across the board.

    A shadow darkens every row of a stretch alike, by at least a tenth and over at least 30 mm; wood, dirt and stains
    darken some rows and not others, and are left.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        A flattened broad side, its light evened.
    px_per_mm : float

    Returns
    -------
    pixels : ndarray of uint8
    told : tuple of str
        Where a shadow was lightened.
    """
    count = _count_steps(pixels, px_per_mm)
    shadow = _find_shadow(_shrink(pixels, count))
    return (pixels, ()) if shadow is None else _lift(pixels, shadow, count)


def _find_shadow(small: Floats) -> _Shadow | None:
    count = small.shape[1]
    rows = np.log(small[2:-2] + 1.0)
    rows -= np.median(rows, axis=1, keepdims=True)
    typical = np.median(rows, axis=0)
    dark = typical.mean(axis=1)
    alike = (-rows.mean(axis=2) > _ALIKE * np.abs(dark)).mean(axis=0) > _ALIKE_SHARE
    stretches = [
        (a, b) for a, b in list_runs((dark < -_SHADOW_DEPTH) & alike) if (b - a) * _SHADOW_STEP_MM >= _SHADOW_LEAST_MM
    ]
    if not stretches:
        return None
    gain = np.zeros((count, 3))
    around = round(_PENUMBRA_MM / _SHADOW_STEP_MM)
    for start, end in stretches:
        low, high = max(0, start - around), min(count - 1, end + around - 1)
        inside = np.arange(low, high + 1)
        # What is left at the rims of the stretch is the wood's own; between them it runs straight.
        own = np.stack([np.interp(inside, [low, high], typical[[low, high], i]) for i in range(3)], axis=1)
        gain[inside] = np.minimum(gain[inside], np.minimum(typical[inside] - own, 0.0))
    return _Shadow(gain, (stretches[0][0], stretches[-1][1]))


def _lift(pixels: Pixels, shadow: _Shadow, count: int) -> tuple[Pixels, tuple[str, ...]]:
    at = (np.arange(pixels.shape[1]) + 0.5) / pixels.shape[1] * count - 0.5
    row = np.exp(-np.stack([np.interp(at, np.arange(count), shadow.gain[:, i]) for i in range(3)], axis=1))
    first, last = (s * _SHADOW_STEP_MM for s in shadow.stretch)
    told = (
        f"a shadow lies across the board between {first:.0f} and {last:.0f} mm; it was lightened, but colours there "
        "are less sure: photograph the board in even light",
    )
    return scale_colours(pixels, row.astype(np.float32)[None]), told


def agree_colours(face: Pixels, back: Pixels, *, face_share: float = 0.5) -> tuple[Pixels, Pixels, float]:
    """Bring a board's face and back to one light.

    Their edges show the same wood, a board's thickness apart, so the bands along both edges are compared, and not the
    whole sides: a face of sapwood and a back of heart stay as different as they are.

    Parameters
    ----------
    face, back : ndarray of uint8
    face_share : float
        How much of the difference the face gives way: 0 where its colours are true and the back's are not, 1 the other
        way round.

    Returns
    -------
    face, back : ndarray of uint8
    apart : float
        The largest of the three gains between the photos, as a share (0.1: one photo is 10 % brighter in one colour).
    """
    between = np.log(_edge_colour(face)) - np.log(_edge_colour(back))
    apart = float(np.abs(np.expm1(between)).max())
    between = np.clip(between, -2 * _AGREE_LIMIT, 2 * _AGREE_LIMIT)
    over, under = (np.exp(between * s).astype(np.float32)[None, None, :] for s in (-face_share, 1 - face_share))
    return scale_colours(face, over), scale_colours(back, under), apart


def _edge_colour(pixels: Pixels) -> Floats:
    band = max(2, round(pixels.shape[0] * _EDGE_BAND))
    rim = 1 + band // 8  # the very edge may show a little floor or arris
    strips = [pixels[rim : rim + band], pixels[-rim - band : -rim]]
    typical = [np.median(cv2.resize(s, (256, 4), interpolation=cv2.INTER_AREA).reshape(-1, 3), axis=0) for s in strips]
    return np.asarray(np.mean(typical, axis=0) + 1.0, float)


def scale_columns(pixels: Pixels, gain: Floats) -> Pixels:
    """Multiply every column of a picture by its own gain."""
    return scale_colours(pixels, np.broadcast_to(gain.astype(np.float32)[None, :, None], (1, pixels.shape[1], 3)))


def scale_colours(pixels: Pixels, gain: Floats) -> Pixels:
    """Multiply a picture by gains, shape (1, 1, 3) or (1, columns, 3); what would be over white stays white."""
    if gain.shape[:2] == (1, 1):
        steps = np.arange(256, dtype=np.float32)[None, :, None] * gain.reshape(1, 1, 3)
        return np.asarray(cv2.LUT(pixels, np.clip(steps + 0.5, 0, 255).astype(np.uint8)), np.uint8)
    # A few rows at a time stay in the processor's cache, gains and all.
    width = pixels.shape[1] * 3
    row = np.broadcast_to(gain.astype(np.float32), (1, pixels.shape[1], 3)).reshape(1, width)
    some = np.ascontiguousarray(np.broadcast_to(row, (_TILE, width)))
    out = np.empty_like(pixels)
    for top in range(0, pixels.shape[0], _TILE):
        part = np.ascontiguousarray(pixels[top : top + _TILE]).reshape(-1, width)
        out[top : top + _TILE] = cv2.multiply(part, some[: len(part)], dtype=cv2.CV_8U).reshape(len(part), -1, 3)
    return out
