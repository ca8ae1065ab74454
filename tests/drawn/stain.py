"""Stains laid on a flattened side: stripes as stickers leave them, blots of blue stain, of iron and water, of oil.

Colours and shapes are invented, after what one sees at the yard (common practice); edges run across the grain as well
as along it.
"""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.geometry import Box
from grainplan.picture import Picture
from tests.drawn.noise import draw_cloud

StainSort = Literal["sticker", "blue", "iron", "brown"]
_GAIN: dict[StainSort, tuple[float, float, float]] = {
    "sticker": (0.80, 0.82, 0.86),
    "blue": (0.72, 0.78, 0.86),
    "iron": (0.50, 0.52, 0.56),
    "brown": (0.86, 0.80, 0.70),
}


def lay_stain(side: Picture, sort: StainSort, *, seed: int) -> tuple[Picture, Box]:
    """The side with one stain on it, and the box that holds the stain."""
    random = np.random.default_rng(seed + 40_000)
    rows, columns = side.pixels.shape[:2]
    d = side.px_per_mm
    y, x = np.mgrid[:rows, :columns].astype(np.float32) / np.float32(d)
    rim = draw_cloud(random, (rows, columns), cell_px=(9.0 * d, 9.0 * d))
    if sort == "sticker":
        middle, half = random.uniform(0.15, 0.85) * columns / d, random.uniform(8.0, 14.0)
        slant = np.tan(np.radians(random.uniform(-4.0, 4.0)))
        inside = half + 0.8 * rim - np.abs(x - middle - slant * (y - rows / d / 2))
    else:
        middle, half = random.uniform(0.1, 0.9) * columns / d, random.uniform(14.0, 45.0)
        across, high = random.uniform(0.25, 0.75) * rows / d, random.uniform(12.0, 30.0)
        inside = (1.0 - np.hypot((x - middle) / half, (y - across) / high)) * high + 2.0 * rim
    cover = np.clip(0.5 + inside / 3.0, 0.0, 1.0)
    uneven = 0.8 + 0.15 * draw_cloud(random, (rows, columns), cell_px=(14.0 * d, 14.0 * d))
    strength = random.uniform(0.6, 1.0) * cover * np.clip(uneven, 0.3, 1.1)
    gain = 1.0 - strength[..., None] * (1.0 - np.array(_GAIN[sort], np.float32))
    pixels = np.clip(side.pixels.astype(np.float32) * gain + 0.5, 0, 255).astype(np.uint8)
    return Picture(pixels, d), _bound(cover > 0.5, d)


def _bound(mask: NDArray[np.bool_], px_per_mm: float) -> Box:
    x, y, wide, high = cv2.boundingRect(mask.astype(np.uint8))
    return Box(*(v / px_per_mm for v in (x, y, x + wide, y + high)))
