"""Stains on a broad side: blots of grey or blue, and stripes across the board as stickers leave them.

Dark lines of the wood are redder than its body, and run with the grain. A blot is darker and not redder than the wood
before and behind it along the grain; a stripe is darker in nearly every row from edge to edge, whatever its hue, and
no whorl of knots lies in it (round one the wood is dark across the whole board too). Set on 32 drawn boards and three
real ones of sawn softwood (Kodytek, Bodzas, Bilik 2021, doi 10.5281/zenodo.4694695, CC BY 4.0), one of which has a
sticker's stripe; there are no labels, so the confidence stays at a half. Brown stains look like the wood's own
lines and are not found; a broad dark stripe may be taken for a shadow, and lightened, before it comes here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Flaw
from grainplan.geometry import Box, list_runs
from grainplan.picture import Pixels

Field = NDArray[np.float32]
_ALONG_MM = 2.0  # of a cell; across it is 1 mm
_AROUND_CELLS = 25  # of 8 × 1.5 mm: the wood before and behind
_DARKER, _BLUER = 0.05, 0.03  # logarithms: of brightness, and of blue over red
_BLACKER = 0.2  # so dark, it need only not be redder
_LEAST_MM2, _LEAST_MM = 150.0, 8.0
_FILL = 0.35  # of its box; what fills less runs along something
_LONGEST = 6.0  # length over width; longer ones are arrises, floor past a crooked edge, or streaks of the wood
_RIM_CELLS = 3
_ON_OTHERS = 0.3  # of its box
_STRIPE_DARKER = 0.03
_STRIPE_ROWS = 0.75
_STRIPE_MM = (8.0, 70.0)
_WHORL_MM = 8.0  # size of a knot that darkens the wood beside it, and how far
_CONFIDENCE = 0.5


def find_stains(pixels: Pixels, px_per_mm: float, on: Literal["face", "back"], *, small: Sequence[Flaw]) -> list[Flaw]:
    """Stains on a flattened broad side, longest side along the columns.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
    px_per_mm : float
    on : {"face", "back"}
    small : sequence of Flaw
        Knots and streaks already found: grey knots, checks and the pith are no stains.
    """
    darker, bluer = _compare(pixels, px_per_mm)
    if min(darker.shape) < 4 * _RIM_CELLS:
        return []
    high = pixels.shape[0] / px_per_mm
    stripes = [Box(a, 0.0, b, high) for a, b in _list_stripes(darker, [f for f in small if f.kind == "knot"])]
    blots = [box for box in _list_blots(darker, bluer, small) if not any(box.overlaps(s) for s in stripes)]
    return [Flaw("stain", on, box, False, "program", _CONFIDENCE) for box in (*stripes, *blots)]


def _compare(pixels: Pixels, px_per_mm: float) -> tuple[Field, Field]:
    """How much darker and how much bluer every cell is than the wood before and behind it."""
    rows, columns = pixels.shape[:2]
    size = (max(1, round(columns / px_per_mm / _ALONG_MM)), max(1, round(rows / px_per_mm)))
    bands = np.log(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32) + np.float32(4.0))
    light, hue = np.ascontiguousarray(bands.mean(axis=2)), np.ascontiguousarray(bands[:, :, 2] - bands[:, :, 0])
    smooth = [np.asarray(cv2.GaussianBlur(v, (0, 0), sigmaX=1.5, sigmaY=3.0), np.float32) for v in (light, hue)]
    return _find_around(smooth[0], (2.5, 5.6)) - smooth[0], smooth[1] - _find_around(smooth[1], (-1.6, 0.4))


def _find_around(values: Field, reach: tuple[float, float]) -> Field:
    low, high = reach
    rows, columns = values.shape
    small = cv2.resize(values, (max(1, columns // 4), max(1, round(rows / 1.5))), interpolation=cv2.INTER_AREA)
    coded = np.clip((small - low) / (high - low) * 255, 0, 255).astype(np.uint8)
    rim = _AROUND_CELLS // 2 + 1
    padded = np.pad(coded, rim, mode="reflect" if min(coded.shape) > rim else "edge")
    median = cv2.medianBlur(padded, _AROUND_CELLS)[rim:-rim, rim:-rim].astype(np.float32) / 255 * (high - low) + low
    return np.asarray(cv2.resize(median, (columns, rows), interpolation=cv2.INTER_LINEAR), np.float32)


def _list_stripes(darker: Field, knots: Sequence[Flaw]) -> list[tuple[float, float]]:
    share = (darker[_RIM_CELLS:-_RIM_CELLS] > _STRIPE_DARKER).mean(axis=0)
    chosen = np.convolve(share, np.ones(3) / 3, "same") > _STRIPE_ROWS
    found = []
    for start, end in ((a * _ALONG_MM, b * _ALONG_MM) for a, b in list_runs(chosen)):
        beside = [k.box for k in knots if k.box.x0 < end + _WHORL_MM and k.box.x1 > start - _WHORL_MM]
        whorl = any(min(box.width, box.height) >= _WHORL_MM for box in beside)
        if _STRIPE_MM[0] <= end - start <= _STRIPE_MM[1] and not whorl:
            length = darker.shape[1] * _ALONG_MM
            found.append((max(0.0, start - _ALONG_MM), min(length, end + _ALONG_MM)))
    return found


def _list_blots(darker: Field, bluer: Field, small: Sequence[Flaw]) -> list[Box]:
    grey = (darker > _DARKER) & (bluer > _BLUER)
    mask = (grey | ((darker > _BLACKER) & (bluer > 0))).astype(np.uint8)
    for rim in (mask[:_RIM_CELLS], mask[-_RIM_CELLS:], mask[:, :_RIM_CELLS], mask[:, -_RIM_CELLS:]):
        rim[:] = 0
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((9, 5), np.uint8)), np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    found = []
    for x, y, wide, high, area in stats[1:count].tolist():
        box = Box(x * _ALONG_MM, float(y), (x + wide) * _ALONG_MM, float(y + high))
        over = sum(_share(box, f) for f in small if f.box.overlaps(box))
        large = area * _ALONG_MM >= _LEAST_MM2 and min(box.width, box.height) >= _LEAST_MM
        blot = area * _ALONG_MM >= _FILL * box.area and box.width <= _LONGEST * box.height
        if large and blot and over <= _ON_OTHERS:
            found.append(box)
    return found


def _share(box: Box, flaw: Flaw) -> float:
    """How much of a blot is another flaw: of its area, or of its length where that is a thin line."""
    wide = min(box.x1, flaw.box.x1) - max(box.x0, flaw.box.x0)
    if flaw.kind in ("check", "pith"):
        return wide / box.width
    high = min(box.y1, flaw.box.y1) - max(box.y0, flaw.box.y0)
    return wide * high / box.area if flaw.kind == "knot" else 0.0
